"""Open tears: thin lines of ground that run from an edge into the leaf.

Each free edge is laid out straight (depth against place along it). A pixel speaks for a tear by
how much it is like the ground and unlike the paper on *both* sides of it, so that the border of
a dark picture is no tear. Paths then grow inward from the edge: each collects what speaks for
it, may bridge a short gap, and ends where it has collected most. A line of print far from the
edge is never reached; one that starts at the edge is, so a person confirms every tear.

A closed tear shows no ground and is invisible in flat light.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from quirewell.science.imaging.edges import Side
from quirewell.science.imaging.leaf import Leaf
from quirewell.science.imaging.tear_paths import collected, traced
from quirewell.science.imaging.tear_strip import ENTRY_MM, NEEDED, EdgeStrip, lay_out

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8 | np.uint16]

SHALLOWEST_MM = 2.0
_GAP_MM = 0.6
# A tear seldom turns: each turn by 12 degrees costs as much as so much of a gap.
_TURN_MM = 0.05
_ARM_MM = 0.5
_APART_MM = 1.5
_MOST = 40
# A printed rule that runs off the sheet is longer, straighter and more upright than a tear.
_RULE_MM = 22.0
_RULE_OFF_MM = 0.08
_RULE_DEG = 2.5
# How far the end found may lie from the true one: from planted tears. Among print the end is
# seen only in part of them, and on a light ground its thin part does not show.
TIP_U_MM = 0.35
TIP_PRINT_U_MM = 4.0
TIP_LIGHT_U_MM = 2.0
COURSE_U = 0.02


@dataclass(frozen=True, slots=True)
class OpenTear:
    """A tear as proposed: its edge, distance of its mouth along that edge from the edge's left
    or upper end, length along its course and greatest gap [mm], and its course [px] (n, 2) of
    the picture from the mouth to the tip. ``evidence`` is the mean share of ground in it;
    ``ends_in_print`` says that its end is lost among print, ``hard_to_see`` that the ground is
    light, on which a thin end does not show."""

    side: Side
    along_mm: float
    length_mm: float
    tip_u_mm: float
    course_u_mm: float
    width_mm: float
    evidence: float
    ends_in_print: bool
    hard_to_see: bool
    course_px: Array


@dataclass(frozen=True, slots=True)
class Tears:
    """All tears proposed, deepest first; ``smallest_gap_mm`` is the narrowest that would show."""

    found: tuple[OpenTear, ...]
    smallest_gap_mm: float


def find_tears(pixels: Pixels, leaf: Leaf, px_mm: float) -> Tears | None:
    """Look for open tears from every edge that shows ground; None when none does.

    Parameters
    ----------
    pixels
        picture (H, W, 3) in sRGB encoding
    px_mm
        size of a pixel [mm]
    """
    if not leaf.region.ground.any():
        return None
    found: list[OpenTear] = []
    gaps = []
    for side, edge in leaf.edges.items():
        if side == leaf.fold:
            continue
        strip = lay_out(pixels, leaf, side, edge, px_mm)
        if strip is None:
            continue
        found += _grown(strip)
        gaps.append(strip.smallest_gap_mm)
    if not gaps:
        return None
    ordered = sorted(found, key=lambda tear: -tear.length_mm)
    return Tears(tuple(ordered[:_MOST]), max(gaps))


def _grown(strip: EdgeStrip) -> list[OpenTear]:
    """Paths from the entries inward, the best first, none beside one that was taken."""
    step = strip.step_mm
    total, state, back = collected(
        strip.evidence, strip.entry, strip.needed, strip.first_row, round(_ARM_MM / step),
        _GAP_MM / step, _TURN_MM / step,
    )  # fmt: skip
    good = np.flatnonzero(total > 0.5 * SHALLOWEST_MM / step)
    order = good[np.argsort(total.ravel()[good], kind="stable")[::-1]]
    used = np.zeros(total.shape, bool)
    reach = max(1, round(_APART_MM / step))
    found: list[OpenTear] = []
    for index in order:
        row, column = divmod(int(index), total.shape[1])
        if used[row, column]:
            continue
        rows, columns = traced(back, int(state[row, column]), row, column)
        beside = used[rows, columns].any()
        for at, across in zip(rows, columns, strict=True):
            used[at, max(0, across - reach) : across + reach + 1] = True
        tear = None if beside else _tear(strip, rows, columns)
        if tear is not None:
            found.append(tear)
        if len(found) >= _MOST:
            break
    return found


def _tear(strip: EdgeStrip, rows: list[int], columns: list[int]) -> OpenTear | None:
    """A path as a tear; None when it does not go deep enough beyond its entry."""
    step = strip.step_mm
    inner = [at for at, (r, c) in enumerate(zip(rows, columns, strict=True))
             if not strip.entry[r, c]]  # fmt: skip
    if not inner or (len(rows) - inner[0]) * step < SHALLOWEST_MM - ENTRY_MM:
        return None
    depth = (rows[-1] - strip.first_row + 1) * step
    if depth < SHALLOWEST_MM:
        return None
    window = max(3, round(0.8 / step))
    across = uniform_filter1d(np.array(columns, dtype=np.float64), window, mode="nearest")
    run = np.hypot(np.diff(across), 1.0).sum() * step
    length = float(run + (rows[0] - strip.first_row + 1) * step)
    values = strip.share[rows, columns]
    gap = float(_gap_mm(strip, rows, columns))
    at = np.round(across).astype(int).clip(0, strip.x_px.shape[1] - 1)
    course = np.column_stack([strip.x_px[rows, at], strip.y_px[rows, at]]).astype(np.float64)
    if _is_rule(strip, rows, across):
        return None
    in_print = _ends_in_print(strip, rows[-1], columns[-1])
    tip = TIP_PRINT_U_MM if in_print else TIP_LIGHT_U_MM if strip.light else TIP_U_MM
    return OpenTear(
        strip.side,
        strip.from_mm + float(columns[0] * step),
        length,
        tip,
        COURSE_U * length,
        gap,
        float(np.mean(values)),
        in_print,
        strip.light,
        course,
    )


def _ends_in_print(strip: EdgeStrip, row: int, column: int) -> bool:
    """Whether print lies where a path ends or just beyond, so that its end may be hidden."""
    ahead, aside = round(2.5 / strip.step_mm), round(1.0 / strip.step_mm)
    part = strip.needed[row : row + ahead + 1, max(0, column - aside) : column + aside + 1]
    return bool((part > NEEDED).any())


def _is_rule(strip: EdgeStrip, rows: list[int], across: Array) -> bool:
    """Whether a path is a printed rule that runs off the sheet: long, upright to the edge,
    straight and of one width, as no tear is."""
    step = strip.step_mm
    if len(rows) * step < _RULE_MM:
        return False
    slope, offset = np.polyfit(rows, across, 1)
    off = 1.4826 * float(np.median(np.abs(across - offset - slope * np.array(rows)))) * step
    third = len(rows) // 3
    columns = np.round(across).astype(int).tolist()
    wide, narrow = (
        float(_gap_mm(strip, rows[part], columns[part], 0.5))
        for part in (slice(0, third), slice(-third, None))
    )
    same = 0.7 < wide / max(narrow, 1e-6) < 1.4
    return bool(off < _RULE_OFF_MM and abs(math.degrees(math.atan(slope))) < _RULE_DEG and same)


def _gap_mm(strip: EdgeStrip, rows: list[int], columns: list[int], quantile: float = 0.9) -> Array:
    """Gap of a tear: share of ground summed across it; its greatest unless stated."""
    reach = max(2, round(0.7 / strip.step_mm))
    sums = []
    for row, column in zip(rows, columns, strict=True):
        part = strip.share[row, max(0, column - reach) : column + reach + 1]
        sums.append(float(np.clip(part, 0.0, 1.0)[part > 0.15].sum()))
    return np.asarray(np.quantile(sums, quantile) * strip.step_mm)
