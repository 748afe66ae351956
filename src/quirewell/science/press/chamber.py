"""A humidity chamber: how long until a leaf, a fan of leaves or a closed pamphlet is damp through,
how much water that takes and whether the tray can give it, and what goes wrong meanwhile.

A single leaf waits for the film of air around it, a closed pamphlet for what is inside: the first
takes half an hour, the second a night. Whichever is slower, paper or supply, is the answer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from quirewell.science.limits import beyond
from quirewell.science.paper.air import dew_point, mixing_ratio
from quirewell.science.paper.mould import days_until
from quirewell.science.paper.sorption import CURVES, Curve, water_at
from quirewell.science.press.evaporation import evaporation
from quirewell.science.press.kernel import DX, FACE_BETA, FACE_C, FACE_H, FACE_P, p_sat
from quirewell.science.press.march import march
from quirewell.science.press.materials import AIR_H
from quirewell.science.press.stack import Knobs, Pamphlet, Room, Side, Stack, cut, faces_of

Array = NDArray[np.float64]
Open = Literal["open leaf", "fanned", "closed"]
WAYS: tuple[Open, ...] = ("open leaf", "fanned", "closed")
# A chamber is never left unseen longer than this (from memory).
MOST_HOURS_UNSEEN = 48.0
# Between fanned leaves air stands: a third of the film's transfer (from memory).
_FANNED = 3.0
_LEAF_LOW, _LEAF_HIGH = 3 / 8, 30 / 8


@dataclass(frozen=True, slots=True)
class Chamber:
    """Air held in it [C, 0..1], inside [L], wet area that feeds it [m2], room's air [C, 0..1]."""

    temperature_c: float = 20.0
    rh: float = 0.95
    litres: float = 60.0
    wet_m2: float = 0.1
    room_c: float = 20.0
    room_rh: float = 0.5


@dataclass(frozen=True, slots=True)
class Damping:
    """How an item takes up damp: hours to half, to nine tenths (low, middle, high); water [g/m2] of
    leaf and [g] in all; hours the supply needs; the longer of both."""

    way: Open
    half_h: tuple[float, float, float]
    most_h: tuple[float, float, float]
    water_g: float
    supply_h: float
    limited_by: Literal["paper", "supply"]

    @property
    def hours(self) -> float:
        """Hours until nine tenths of the way, by what is slower."""
        return max(self.most_h[1], self.supply_h)


def damping(
    pamphlet: Pamphlet, way: Open, chamber: Chamber, width_mm: float = 184.0,
    height_mm: float = 260.0,
) -> Damping:  # fmt: skip
    """How an item of so many wraps takes up damp in a chamber.

    Raises
    ------
    ValueError
        For a chamber drier than the paper, or what cannot be.
    """
    _check(pamphlet, chamber, width_mm, height_mm)
    runs = []
    for curve in CURVES:
        for leaf_mu in (_LEAF_LOW, 1.0, _LEAF_HIGH):
            runs.append(_times(pamphlet, way, chamber, Knobs(curve=curve, leaf_mu=leaf_mu)))
    halves, mosts = (sorted(run[k] for run in runs) for k in (0, 1))
    sheets = 2 * pamphlet.wraps
    area = width_mm * height_mm / 1e6
    dry = area * (sheets * pamphlet.leaf_g_m2 + (2 * 900 * pamphlet.cover_mm * pamphlet.cover))
    taken = float(np.mean([_taken(curve, pamphlet, chamber) for curve in CURVES]))
    water = dry * taken
    supply = _supply(water, chamber)
    middle = float(np.median(mosts))
    return Damping(
        way, (halves[0], float(np.median(halves)), halves[-1]), (mosts[0], middle, mosts[-1]),
        water, supply, "paper" if middle >= supply else "supply",
    )  # fmt: skip


def _taken(curve: Curve, pamphlet: Pamphlet, chamber: Chamber) -> float:
    after = water_at(chamber.rh, chamber.temperature_c, curve)
    return after - water_at(pamphlet.start_rh, pamphlet.start_c, curve)


def _times(pamphlet: Pamphlet, way: Open, chamber: Chamber, knobs: Knobs) -> tuple[float, float]:
    """Hours to half and to nine tenths of the water taken up at last."""
    if way == "closed":
        stack = Stack((), replace(pamphlet, centre=None), (), Room())
        films = (1.0, 1.0)
    else:
        stack = Stack((), Pamphlet(1, pamphlet.leaf_mm, pamphlet.leaf_g_m2, False,
                                   start_c=pamphlet.start_c, start_rh=pamphlet.start_rh), (),
                      Room())  # fmt: skip
        films = (1.0, 0.0)
    cells = cut(stack, knobs)
    faces = faces_of(stack, Side(), Side(), knobs)
    slow = _FANNED if way == "fanned" else 1.0
    for row, share in zip(faces, films, strict=True):
        row[FACE_C], row[FACE_P] = chamber.temperature_c, chamber.rh * p_sat(chamber.temperature_c)
        row[FACE_BETA] *= share / slow
        row[FACE_H] = AIR_H if share else 1e-6
    # One wrap of two leaves with its inner face shut is one leaf, both faces, mirrored.
    array = cells.cells[:1].copy() if way != "closed" else cells.cells
    if way != "closed":
        array[0, DX] /= 2
        array[0, 7] = 0.0
    count = len(array)
    horizon = 3600.0 * (12.0 if way != "closed" else 24.0 * 30)
    times = np.concatenate([[0.0], np.geomspace(20.0, horizon, 400)])
    found = march(array, faces, cells.start_c[:count], cells.start_w[:count], times)
    water = found.water_kg_m3 @ array[:, DX]
    rho = array[:, 2]
    last = float(
        np.sum(water_at(chamber.rh, chamber.temperature_c, knobs.curve) * rho * array[:, DX])
    )
    share_done = (water - water[0]) / (last - water[0])
    return tuple(float(np.interp(level, share_done, times)) / 3600 for level in (0.5, 0.9))  # type: ignore[return-value]


def _supply(grams: float, chamber: Chamber) -> float:
    """Hours until the wet area has given so much into air as damp as it is held."""
    rate = evaporation(chamber.temperature_c, chamber.rh).g_m2_h * chamber.wet_m2
    return math.inf if rate <= 0 else grams / rate


@dataclass(frozen=True, slots=True)
class Watch:
    """What to watch: hours until mould could begin to grow (model, very sensitive class), the cap
    without looking, how far a wall may cool before it drips [K], and what opening the lid costs
    [g of vapour, minutes of supply]."""

    mould_h: float
    unseen_h: float
    margin_k: float
    lid_g: float
    lid_min: float


def watch(chamber: Chamber) -> Watch:
    """What goes wrong in a chamber and when.

    Raises
    ------
    ValueError
        For a chamber that cannot be.
    """
    _check(Pamphlet(start_rh=0.06), chamber, 184.0, 260.0)
    days = days_until(chamber.temperature_c, 100 * chamber.rh)
    inside = mixing_ratio(chamber.temperature_c, chamber.rh)
    outside = mixing_ratio(chamber.room_c, chamber.room_rh)
    air_g = 1.2 * chamber.litres
    lid = max(0.0, inside - outside) * air_g
    margin = chamber.temperature_c - dew_point(chamber.temperature_c, chamber.rh)
    return Watch(
        24 * days, min(MOST_HOURS_UNSEEN, 24 * days / 2), margin, lid, 60 * _supply(lid, chamber),
    )  # fmt: skip


def _check(pamphlet: Pamphlet, chamber: Chamber, width_mm: float, height_mm: float) -> None:
    problems = beyond((
        ("the chamber", chamber.temperature_c, 5, 40, "°C"),
        ("its humidity", 100 * chamber.rh, 30, 98.9, "%"),
        ("its volume", chamber.litres, 1, 2000, "L"),
        ("its wet area", chamber.wet_m2, 0.001, 5, "m2"),
        ("the room", chamber.room_c, 5, 40, "°C"),
        ("the room's humidity", 100 * chamber.room_rh, 5, 95, "%"),
        ("the width", width_mm, 30, 1000, "mm"),
        ("the height", height_mm, 30, 1000, "mm"),
    ))  # fmt: skip
    if not problems and pamphlet.start_rh >= chamber.rh:
        problems.append(
            f"the paper at {100 * pamphlet.start_rh:.0f} % is no drier than the chamber at "
            f"{100 * chamber.rh:.0f} %: nothing is taken up"
        )
    if problems:
        raise ValueError("; ".join(problems))
