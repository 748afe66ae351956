"""Whether a colour target was lit evenly: shading, half of it in shadow, glare, clipping.

Every patch may be lit more or less than the others: with one unknown factor a patch and one
matrix for all, the hues still fix the matrix, and the factors show the light (alternating least
squares).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.difference import ciede2000
from quirewell.science.colour.spaces import lab_from_xyz, xyz_from_lab
from quirewell.science.colour.target24 import COLUMNS, ROWS
from quirewell.science.imaging.chart import Chart

Array = NDArray[np.float64]
Fault = Literal["", "uneven", "shadow", "clipped"]
_ROUNDS = 60
UNEVEN = 0.12
SHADOW = 0.22
TOO_UNEVEN = 0.4
# A patch that stands out so far from all others has something lying on it.
GLARE_DE00 = 8.0
LEAST_PATCHES = 16
LEAST_NEUTRALS = 3


@dataclass(frozen=True, slots=True)
class ChartLight:
    """How a target was lit.

    ``share`` (24,) is the light on each patch, 1 in the middle; ``slope`` how much it changes
    from one side to the other [share]; ``glare`` patches with a reflection or dirt on them,
    ``used`` those that may be fitted. ``fault`` is what forbids the fit ("shadow", "clipped"),
    "uneven" what widens it; ``says`` tells it all in sentences.
    """

    share: Array
    slope: float
    glare: NDArray[np.bool_]
    used: NDArray[np.bool_]
    fault: Fault
    says: tuple[str, ...]


def chart_light(chart: Chart, lab: NDArray[np.floating]) -> ChartLight:
    """Judge the light on a target whose patches are ``lab`` (24, 3), CIELAB D50."""
    reference = np.asarray(lab, dtype=np.float64)
    used = ~chart.clipped & (chart.light.max(axis=1) > 1e-4)
    if int(used.sum()) < LEAST_PATCHES or int(used[18:].sum()) < LEAST_NEUTRALS:
        return ChartLight(
            np.ones(24), 0.0, np.zeros(24, bool), used, "clipped",
            (f"{_count(24 - int(used.sum()))} burnt out or cut off, too many to fit the rest: "
             "expose less (the white patch just below full), with automatic contrast off, and "
             "take the target again",),
        )  # fmt: skip
    share, error = _shares(chart.light, reference, used)
    glare = used & (error > GLARE_DE00) & (error > 4.0 * np.median(error[used]))
    if glare.any():
        share, error = _shares(chart.light, reference, used & ~glare)
    good = used & ~glare
    slope, step, side, dark = _uneven(share, good)
    says = _says(chart, glare)
    fault: Fault = ""
    if int(good.sum()) < LEAST_PATCHES:
        fault = "clipped"
        says.append("Too few patches are left to fit: take the target again without reflections")
    elif step > SHADOW:
        fault = "shadow"
        says.append(
            f"The {side} of the target is in shadow: {dark} of its patches get {100 * step:.0f} % "
            "less light than the others. Nothing can be fitted to it; light it evenly and take it "
            "again"
        )
    elif slope > UNEVEN:
        fault = "shadow" if slope > TOO_UNEVEN else "uneven"
        says.append(
            f"The light falls off by {100 * slope:.0f} % across the target: move the lamps away, "
            "or take a plain white sheet in the same place and give it as the flat field"
        )
    return ChartLight(share, slope, glare, good, fault, tuple(says))


def _count(patches: int) -> str:
    return f"{patches} patch is" if patches == 1 else f"{patches} patches are"


def _says(chart: Chart, glare: NDArray[np.bool_]) -> list[str]:
    says = []
    if chart.clipped.any():
        count = int(chart.clipped.sum())
        says.append(f"{_count(count)} burnt out or cut off in one colour, and left out")
    if glare.any():
        says.append(
            f"{_count(int(glare.sum()))} far from its colour (a reflection, a shadow's edge or "
            "dirt), and left out"
        )
    return says


def _shares(light: Array, lab: Array, used: NDArray[np.bool_]) -> tuple[Array, Array]:
    """Light on each patch, median 1, and what error [CIEDE2000] is left when it is allowed for."""
    xyz = xyz_from_lab(lab)
    weight = np.maximum(xyz[:, 1], 1e-3) ** (-2.0 / 3.0)
    factor = np.ones(len(light))
    kept = np.flatnonzero(used)
    seen = light
    for _ in range(_ROUNDS):
        lit = seen[kept] * (factor[kept] * weight[kept])[:, None]
        matrix = np.linalg.lstsq(lit, xyz[kept] * weight[kept, None], rcond=None)[0]
        guess = seen @ matrix
        square = np.maximum((guess * guess).sum(axis=1), 1e-12)
        wanted = np.maximum((guess * xyz).sum(axis=1) / square, 1e-3)
        # Dark patches say little of the light and are pulled towards 1.
        trust = xyz[:, 1] / (xyz[:, 1] + 0.02)
        factor = np.exp(trust * np.log(wanted / np.median(wanted[kept])))
    error = ciede2000(lab_from_xyz(np.maximum(guess * factor[:, None], 0.0)), lab)
    share = 1.0 / factor
    return np.asarray(share / np.median(share[kept])), np.asarray(error)


def _uneven(share: Array, good: NDArray[np.bool_]) -> tuple[float, float, str, int]:
    """Fall of light from side to side; and step across the clearest straight line, if one is.

    A step counts when it explains the light much better than an even slope does.
    """
    column, row = np.meshgrid(np.arange(COLUMNS), np.arange(ROWS))
    at = np.column_stack([column.ravel() - 2.5, row.ravel() - 1.5])[good]
    log = np.log(share[good])
    design = np.column_stack([np.ones(len(at)), at])
    plane = np.linalg.lstsq(design, log, rcond=None)[0]
    over_plane = float(np.abs(log - design @ plane).mean())
    slope = float(np.exp(np.abs(plane[1:] * [COLUMNS - 1, ROWS - 1]).max()) - 1.0)
    best = (0.0, np.inf, "half", 0)
    for angle in np.arange(0, 180, 15):
        along = at @ [np.cos(np.radians(angle)), np.sin(np.radians(angle))]
        for edge in np.unique(along)[:-1]:
            low = along <= edge + 1e-9
            if min(low.sum(), (~low).sum()) < 4:
                continue
            ends = np.median(log[low]), np.median(log[~low])
            left = float(np.abs(log - np.where(low, *ends)).mean())
            if left < best[1]:
                dark = low if ends[0] < ends[1] else ~low
                step = 1.0 - float(np.exp(-abs(ends[0] - ends[1])))
                best = step, left, _side(at[dark].mean(axis=0)), int(dark.sum())
    clear = best[1] < 0.8 * over_plane
    return slope, best[0] if clear else 0.0, best[2], best[3]


def _side(middle: Array) -> str:
    """Which part of the target, as it lies with its dark brown upper left."""
    x, y = middle[0] / 2.5, middle[1] / 1.5
    if abs(x) >= abs(y):
        return "right half" if x > 0 else "left half"
    return "lower half" if y > 0 else "upper half"
