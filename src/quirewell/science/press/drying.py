"""Drying a washed wrap: the window until it distorts, blotters and when to change them, the rack.

A wet sheet dries at a steady rate while its surface is wet; at 63 +- 3 % solids (0.59 g of water a
gram) fibres begin to bind and the sheet to distort, in all papers tried (``sugarman1992``): it must
be under restraint before. Between blotters water is shared at once, by mass.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from quirewell.science.evidence.normal import Z90
from quirewell.science.limits import beyond
from quirewell.science.paper.sorption import CURVES
from quirewell.science.press.evaporation import STILL, evaporation
from quirewell.science.press.kernel import RHO
from quirewell.science.press.march import march
from quirewell.science.press.materials import MATERIALS
from quirewell.science.press.stack import (
    HOTTEST_C,
    Knobs,
    Layer,
    Pamphlet,
    Room,
    Side,
    Stack,
    cut,
    faces_of,
)

# Solids at the onset of distortion, mean and its spread (``sugarman1992``).
ONSET_SOLIDS, ONSET_U = 0.63, 0.03
# After the steady rate the last water takes about a third longer (from memory).
TAIL = 1.3
# A blotter wetter than this no longer draws (common practice, no source), and dry paper [g/g].
BLOTTER_FULL, DRY = 0.15, 0.08


@dataclass(frozen=True, slots=True)
class Window:
    """Minutes until a sheet begins to distort (low, middle, high), and until it is dry."""

    restrain_min: tuple[float, float, float]
    dry_min: float
    g_m2_h: float
    surface_c: float


def onset_water(solids: float = ONSET_SOLIDS) -> float:
    """Water content [g/g] at so many solids (a share).

    >>> round(onset_water(), 3)
    0.587
    """
    return 1 / solids - 1


def window(
    wet_g_g: float, sheet_g_m2: float, temperature_c: float, rh: float, faces: int = 2,
    convection: float = STILL,
) -> Window:  # fmt: skip
    """How long a sheet may lie before it must be under restraint.

    Raises
    ------
    ValueError
        For a sheet or air that cannot be, or one already past the onset.
    """
    if not (0.2 <= wet_g_g <= 6 and 20 <= sheet_g_m2 <= 400 and faces in (1, 2)):
        raise ValueError(
            f"a wet sheet holds 0.2 to 6 g/g, weighs 20 to 400 g/m² and dries by one or two faces; "
            f"got {wet_g_g:g} g/g, {sheet_g_m2:g} g/m², {faces}"
        )
    one = evaporation(temperature_c, rh, convection)
    if one.g_m2_h <= 0:
        raise ValueError("in saturated air nothing dries")
    rate = faces * one.g_m2_h

    def minutes(water: float) -> float:
        return max(0.0, 60 * (wet_g_g - water) * sheet_g_m2 / rate)

    marks = [onset_water(ONSET_SOLIDS + k * Z90 * ONSET_U) for k in (-1, 0, 1)]
    times = [minutes(mark) for mark in marks]
    dry = TAIL * minutes(DRY)
    return Window((times[0], times[1], times[2]), dry, one.g_m2_h, one.surface_c)


@dataclass(frozen=True, slots=True)
class Change:
    """A set of blotters: sheet's water [g/g] when it comes out, the blotters', and minutes."""

    sheet_g_g: float
    blotter_g_g: float
    minutes: float


def blotters(
    wet_g_g: float, sheet_g_m2: float, blotter_g_m2: float = 300.0, blotter_start: float = 0.07,
    goal_g_g: float = 0.09, faces: int = 2,
) -> tuple[Change, ...]:  # fmt: skip
    """Changes of blotters until a sheet holds no more than the goal; at most twelve.

    Water is shared by mass between sheet and blotters at once; a thick blotter takes longer to
    spread it: minutes grow from 10 (first) by what common practice leaves (10, 30, 60, then hours).

    Raises
    ------
    ValueError
        For blotters wetter than the goal, which never dry a sheet to it, or what cannot be.
    """
    if not (0.05 <= wet_g_g <= 6 and 20 <= sheet_g_m2 <= 400 and 50 <= blotter_g_m2 <= 2000):
        raise ValueError("a sheet holds 0.05 to 6 g/g at 20 to 400 g/m²; a blotter 50 to 2000 g/m²")
    if not (0 <= blotter_start < goal_g_g):
        raise ValueError(
            f"blotters at {blotter_start:g} g/g cannot dry a sheet to {goal_g_g:g} g/g; dry them "
            "first"
        )
    out: list[Change] = []
    water = wet_g_g
    usual = (10.0, 30.0, 60.0, 240.0, 720.0)
    while water > goal_g_g and len(out) < 12:
        mass = faces * blotter_g_m2
        shared = (water * sheet_g_m2 + blotter_start * mass) / (sheet_g_m2 + mass)
        out.append(Change(shared, shared, usual[min(len(out), len(usual) - 1)]))
        water = shared
    return tuple(out)


@dataclass(frozen=True, slots=True)
class WarmPress:
    """A damp sheet between blotters in a press: minutes (low, middle, high) until nine tenths of
    what they will share is shared, and the sheet's water then [g/g]."""

    minutes: tuple[float, float, float]
    shared_g_g: float


def warm_press(
    water_g_g: float, sheet_g_m2: float, platen_c: float, blotter_g_m2: float = 300.0,
    blotter_start: float = 0.07,
) -> WarmPress:  # fmt: skip
    """A sheet of at most 0.6 g/g between a blotter above and below, both platens warm.

    Vapour alone is followed, no liquid: a wetter sheet is blotted first, and gives its water by
    touch. In a closed press the water goes nowhere but into the blotters.

    Raises
    ------
    ValueError
        For a wetter sheet, a platen above 95 C, or blotters that cannot be.
    """
    wrong = beyond(
        (
            ("the sheet's water", water_g_g, 0.05, 0.6, "g/g"),
            ("the sheet", sheet_g_m2, 40, 400, "g/m²"),
            ("the platens", platen_c, 15, HOTTEST_C, "°C"),
            ("a blotter", blotter_g_m2, 50, 2000, "g/m²"),
            ("a blotter's water", blotter_start, 0.0, 0.3, "g/g"),
        )
    )
    if wrong:
        raise ValueError("; ".join(wrong))
    blotter = MATERIALS["blotter"]
    around = Layer(blotter, blotter_g_m2 / blotter.rho)
    mm = sheet_g_m2 / MATERIALS["leaf"].rho
    # Two half sheets, so that the one sheet has a middle.
    stack = Stack(
        (around,), Pamphlet(1, mm / 2, sheet_g_m2 / 2, False, start_rh=0.5), (around,), Room()
    )
    times = np.concatenate([[0.0], np.geomspace(5.0, 24 * 3600.0, 300)])
    found, shared = [], 0.0
    for curve in CURVES:
        for factor in (0.5, 1.0, 2.0):
            knobs = Knobs(curve=curve, other_mu=factor, leaf_mu=3 / 8 if factor < 1 else factor)
            cells = cut(stack, knobs)
            rho = cells.cells[:, RHO]
            start = np.where(cells.leaf >= 0, water_g_g, blotter_start) * rho
            warm = Side(platen_c)
            course = march(
                cells.cells, faces_of(stack, warm, warm, knobs), cells.start_c, start, times
            )
            u = (course.water_kg_m3[:, cells.sheets] / rho[cells.sheets]).mean(axis=1)
            shared = float(u[-1])
            done = (u - u[0]) / (u[-1] - u[0])
            found.append(float(np.interp(0.9, done, times)) / 60)
    found.sort()
    return WarmPress((found[0], float(np.median(found)), found[-1]), shared)
