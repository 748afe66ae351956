"""Drying a washed wrap: the window until it distorts, blotters and when to change them, the rack.

A wet sheet dries at a steady rate while its surface is wet; at 63 +- 3 % solids (0.59 g of water a
gram) fibres begin to bind and the sheet to distort, in all papers tried (``sugarman1992``): it must
be under restraint before. Between blotters water is shared at once, by mass.
"""

from __future__ import annotations

from dataclasses import dataclass

from quirewell.science.evidence.normal import Z90
from quirewell.science.press.evaporation import STILL, evaporation

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
            f"a wet sheet holds 0.2 to 6 g/g, weighs 20 to 400 g/m2 and dries by one or two faces; "
            f"got {wet_g_g:g} g/g, {sheet_g_m2:g} g/m2, {faces}"
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
        raise ValueError("a sheet holds 0.05 to 6 g/g at 20 to 400 g/m2; a blotter 50 to 2000 g/m2")
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
