"""A hand iron passed over the fold: dry conduction for seconds, and what it costs in days.

The iron is a body at a temperature; release sheet, mended fold and what lies under it warm by
conduction through contacts, in the same cells as a press, with no water moving. Above 100 C damp
paper flashes into steam and nothing here holds: refused. Some benches iron near 121 C (common
practice, no source); that is shown with its dose and is no preset.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quirewell.science.limits import beyond
from quirewell.science.paper.heat_dose import HeatDose, dose_over
from quirewell.science.press.kernel import (
    CELL,
    DX,
    FACE,
    FACE_C,
    FACE_H,
    HEAT,
    JOINT,
    KIND,
    LAMBDA,
    MU,
    RHO,
    TIGHT,
)
from quirewell.science.press.march import march
from quirewell.science.press.materials import AIR_H, MATERIALS

Array = NDArray[np.float64]
HOTTEST_C, STEAM_C, DRY_RH = 150.0, 100.0, 0.65
# An iron on paper under the hand's weight [W/(m2 K)] (``asme1992``: 97 to 452).
CONTACT, CONTACT_LOW, CONTACT_HIGH = 200.0, 97.0, 452.0
_AFTER_S = 20.0


@dataclass(frozen=True, slots=True)
class Pass:
    """An iron held over a fold: its temperature [C], contact [s], release sheet [mm] or none (0),
    leaves in the fold under it, humidity in the paper [0..1], passes."""

    iron_c: float = 65.0
    seconds: float = 5.0
    release_mm: float = 0.5
    leaves: int = 2
    leaf_mm: float = 0.085
    start_c: float = 20.0
    rh: float = 0.5
    passes: int = 1


@dataclass(frozen=True, slots=True)
class Ironed:
    """The top leaf's course: times [s], temperature [C]; its peak and that under it, the dose."""

    t_s: Array
    top_c: Array
    peak_c: float
    under_c: float
    dose: HeatDose


def iron(one: Pass, contact: float = CONTACT) -> Ironed:
    """Follow one pass and what it costs, all passes summed.

    Raises
    ------
    ValueError
        For damp paper above 100 C, an iron above 150 C, or what cannot be.
    """
    _check(one)
    rows: list[tuple[float, float, float, float]] = []
    if one.release_mm > 0:
        sheet = MATERIALS["release"]
        rows += [(one.release_mm / 4, sheet.rho, sheet.heat, sheet.conducts)] * 4
    first_leaf = len(rows)
    leaf, board = MATERIALS["leaf"], MATERIALS["thin-board"]
    rows += [(one.leaf_mm, leaf.rho, leaf.heat, leaf.conducts)] * one.leaves
    rows += [(0.25, board.rho, board.heat, board.conducts)] * 12
    cells = np.zeros((len(rows), CELL))
    for i, (mm, rho, heat, conducts) in enumerate(rows):
        cells[i, [KIND, DX, RHO, HEAT, LAMBDA, MU]] = TIGHT, mm / 1000, rho, heat, conducts, 1e9
    for i in range(max(0, first_leaf - 1), first_leaf + one.leaves):
        cells[i, JOINT] = 1 / 2000
    faces = np.zeros((2, FACE))
    faces[:, FACE_C], faces[:, FACE_H] = one.start_c, AIR_H
    on = faces.copy()
    on[0, FACE_C], on[0, FACE_H] = one.iron_c, contact
    start, dry = np.full(len(rows), one.start_c), np.zeros(len(rows))
    hot = march(cells, on, start, dry, np.linspace(0, one.seconds, 61))
    after = march(cells, faces, hot.temperature_c[-1], dry, np.linspace(0, _AFTER_S, 61))
    t_s = np.concatenate([hot.t_s, one.seconds + after.t_s[1:]])
    top = np.concatenate([hot.temperature_c, after.temperature_c[1:]])
    held = top[:, first_leaf]
    gaps = np.diff(t_s)
    hours = (np.concatenate([gaps, [0]]) + np.concatenate([[0], gaps])) / 2 / 3600
    dose = dose_over(one.passes * hours, held, np.full(len(held), one.rh))
    under = float(top[:, first_leaf + one.leaves - 1].max())
    return Ironed(t_s, held, float(held.max()), under, dose)


def _check(one: Pass) -> None:
    problems = beyond((
        ("an iron", one.iron_c, 30, HOTTEST_C, "°C"),
        ("contact", one.seconds, 0.2, 120, "s"),
        ("a release sheet", one.release_mm, 0, 2, "mm"),
        ("leaves under it", one.leaves, 1, 60, ""),
        ("a leaf's thickness", one.leaf_mm, 0.03, 0.5, "mm"),
        ("the paper's start", one.start_c, 0, 60, "°C"),
        ("the paper's humidity", 100 * one.rh, 2, 100, "%"),
        ("passes", one.passes, 1, 50, ""),
    ))  # fmt: skip
    if one.iron_c > STEAM_C and one.rh > DRY_RH:
        problems.append(
            f"damp paper ({100 * one.rh:.0f} %) under an iron at {one.iron_c:g} °C flashes into "
            f"steam, which blisters it and can scald; let it dry to {100 * DRY_RH:.0f} % or less, "
            f"or iron below {STEAM_C:g} °C"
        )
    if problems:
        raise ValueError("; ".join(problems))


def both_ways(one: Pass) -> tuple[Ironed, Ironed, Ironed]:
    """The pass with a poor, a usual and a good contact of the iron."""
    return iron(one, CONTACT_LOW), iron(one), iron(one, CONTACT_HIGH)
