"""A pamphlet between boards as cells: what lies above it, itself leaf by leaf, what lies below."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from quirewell.science.limits import beyond
from quirewell.science.paper.air import film_beta
from quirewell.science.paper.sorption import CURVES, Curve, water_at
from quirewell.science.press.kernel import (
    CELL,
    DX,
    FACE,
    FACE_BETA,
    FACE_C,
    FACE_H,
    FACE_P,
    HEAT,
    JOINT,
    KIND,
    LAMBDA,
    LAMBDA_WET,
    MU,
    RHO,
    TIGHT,
    TIGHT_STORAGE,
    p_sat,
)
from quirewell.science.press.materials import (
    AIR_CONVECTION,
    AIR_H,
    MATERIALS,
    Contacts,
    Material,
)

Array = NDArray[np.float64]
HOTTEST_C = 95.0
_WET_CONDUCTS = 1.5
# Cells of a layer that is no leaf. Where it takes up water the outermost are at most so thick, and
# each further in twice as thick: a damp front is thinner than half a millimetre. Else one for so
# many millimetres, at most so many.
_FACE_MM = 0.05
_CELL_MM, _MOST_CELLS = 0.5, 12


@dataclass(frozen=True, slots=True)
class Layer:
    """A layer: material, thickness [mm]; its own start [C], [0..1] where it is not the room's."""

    material: Material
    mm: float
    start_c: float | None = None
    start_rh: float | None = None


@dataclass(frozen=True, slots=True)
class Pamphlet:
    """The item: wraps, leaf [mm, g/m2], cover [mm] or none, start, what lies in its centrefold."""

    wraps: int = 14
    leaf_mm: float = 0.085
    leaf_g_m2: float = 52.7
    cover: bool = True
    cover_mm: float = 0.12
    start_c: float = 20.0
    start_rh: float = 0.8
    centre: Layer | None = None


@dataclass(frozen=True, slots=True)
class Room:
    """Air around the press: [C], [0..1]."""

    temperature_c: float = 20.0
    rh: float = 0.5


@dataclass(frozen=True, slots=True)
class Side:
    """What a face of the stack meets: a platen at a temperature [C] (None: air of the room)."""

    platen_c: float | None = None


@dataclass(frozen=True, slots=True)
class Stack:
    """Layers above and below a pamphlet, both listed from top to bottom, in a room."""

    above: tuple[Layer, ...]
    pamphlet: Pamphlet
    below: tuple[Layer, ...]
    room: Room = field(default_factory=Room)


@dataclass(frozen=True, slots=True)
class Knobs:
    """What nobody knows: curve of sorption, contacts, factors on the resistance to vapour of the
    leaf, of all else, and on conduction of paper."""

    curve: Curve = "tryding"
    contacts: Contacts = field(default_factory=Contacts)
    leaf_mu: float = 1.0
    other_mu: float = 1.0
    conducts: float = 1.0


@dataclass(frozen=True, slots=True)
class Cells:
    """A stack cut into cells, top to bottom: the array of :mod:`.kernel`, a start, and which cells
    are which: ``layer`` numbers the layers (above, then the pamphlet as -1, then below),
    ``leaf`` numbers the pamphlet's sheets from 0 at the top (-1 for what is none)."""

    cells: Array
    start_c: Array
    start_w: Array
    layer: NDArray[np.int64]
    leaf: NDArray[np.int64]
    names: tuple[str, ...]
    dry_kg_m2: Array = field(repr=False)

    @property
    def sheets(self) -> NDArray[np.int64]:
        """Indices of the pamphlet's sheets, cover included, top to bottom."""
        return np.flatnonzero(self.leaf >= 0)


def cut(stack: Stack, knobs: Knobs = Knobs()) -> Cells:
    """Cut a stack into cells: one for a leaf, more for a board, thin ones at its faces.

    Raises
    ------
    ValueError
        With every reason at once, for what cannot be.
    """
    problems = list(_problems(stack))
    if problems:
        raise ValueError("; ".join(problems))
    rows: list[tuple[Layer, int, int, str]] = []
    for number, layer in enumerate(stack.above):
        rows += [(part, number, -1, layer.material.name) for part in _parts(layer)]
    rows += [(layer, -1, leaf, name) for layer, leaf, name in _sheets(stack.pamphlet)]
    for number, layer in enumerate(stack.below, len(stack.above)):
        rows += [(part, number, -1, layer.material.name) for part in _parts(layer)]
    cells = np.zeros((len(rows), CELL))
    start = np.zeros((2, len(rows)))
    for i, (layer, _, leaf, _) in enumerate(rows):
        cells[i] = _cell(layer, leaf, stack.pamphlet, knobs)
        start[:, i] = _start(layer, stack.room, knobs.curve, cells[i, RHO])
    for i in range(len(rows) - 1):
        cells[i, JOINT] = _joint(rows[i], rows[i + 1], knobs.contacts)
    return Cells(
        cells, start[0], start[1], np.array([row[1] for row in rows]),
        np.array([row[2] for row in rows]), tuple(row[3] for row in rows),
        cells[:, RHO] * cells[:, DX],
    )  # fmt: skip


def faces_of(stack: Stack, top: Side, bottom: Side, knobs: Knobs = Knobs()) -> Array:
    """Faces (2, 6) of a stack: platens that let no vapour through, or the room's air."""
    out = np.zeros((2, FACE))
    for row, side in zip(out, (top, bottom), strict=True):
        if side.platen_c is None:
            row[FACE_C], row[FACE_H] = stack.room.temperature_c, AIR_H
            row[FACE_BETA] = film_beta(AIR_CONVECTION, stack.room.temperature_c)
            row[FACE_P] = stack.room.rh * p_sat(stack.room.temperature_c)
        else:
            row[FACE_C], row[FACE_H] = side.platen_c, knobs.contacts.platen
    return out


def _parts(layer: Layer) -> list[Layer]:
    material = layer.material
    if material.stores == "like paper":
        half = 2.0 ** np.arange(math.ceil(math.log2(layer.mm / 2 / _FACE_MM + 1)))
        shares = np.concatenate([half, half[::-1]]) / (2 * half.sum())
    else:
        many = min(_MOST_CELLS, max(1, math.ceil(layer.mm / _CELL_MM)))
        shares = np.ones(1) if material.conducts > 10 else np.full(many, 1 / many)
    return [replace(layer, mm=layer.mm * float(share)) for share in shares]


def _sheets(pamphlet: Pamphlet) -> list[tuple[Layer, int, str]]:
    """The pamphlet's sheets from the top: cover, leaves, what lies in the centre, leaves, cover."""
    start = (pamphlet.start_c, pamphlet.start_rh)
    leaf = Layer(MATERIALS["leaf"], pamphlet.leaf_mm, *start)
    cover = Layer(MATERIALS["cover"], pamphlet.cover_mm, *start)
    half = [(leaf, f"leaf {k}") for k in range(1, pamphlet.wraps + 1)]
    other = [(leaf, f"leaf {k}") for k in range(pamphlet.wraps + 1, 2 * pamphlet.wraps + 1)]
    upper = [(cover, "upper cover"), *half] if pamphlet.cover else half
    lower = [*other, (cover, "lower cover")] if pamphlet.cover else other
    out: list[tuple[Layer, int, str]] = []
    for layer, name in upper:
        out.append((layer, len(out), name))
    sheets = len(out)
    if pamphlet.centre is not None:
        name = pamphlet.centre.material.name
        out += [(part, -1, f"{name} in the centrefold") for part in _parts(pamphlet.centre)]
    for layer, name in lower:
        out.append((layer, sheets, name))
        sheets += 1
    return out


def _cell(layer: Layer, leaf: int, pamphlet: Pamphlet, knobs: Knobs) -> Array:
    made = np.zeros(CELL)
    material = layer.material
    is_leaf = leaf >= 0 and material.key == "leaf"
    paper = material.stores == "like paper"
    made[KIND] = CURVES.index(knobs.curve) if paper else TIGHT
    made[DX] = layer.mm / 1000
    made[RHO] = pamphlet.leaf_g_m2 / layer.mm if is_leaf else material.rho
    made[HEAT], made[LAMBDA] = material.heat, material.conducts * (knobs.conducts if paper else 1)
    made[LAMBDA_WET] = _WET_CONDUCTS if paper else 0.0
    factor = knobs.leaf_mu if is_leaf else knobs.other_mu if paper else 1.0
    made[MU] = max(1.0, material.mu * factor)
    return made


def _start(layer: Layer, room: Room, curve: Curve, rho: float) -> tuple[float, float]:
    warm = room.temperature_c if layer.start_c is None else layer.start_c
    damp = room.rh if layer.start_rh is None else layer.start_rh
    if layer.material.stores == "nothing":
        return warm, damp * TIGHT_STORAGE
    return warm, rho * _water_at(damp, warm, curve)


_water_at = lru_cache(maxsize=256)(water_at)


def _joint(
    upper: tuple[Layer, int, int, str], lower: tuple[Layer, int, int, str], contacts: Contacts
) -> float:
    inside = upper[1] == lower[1] and upper[2] < 0 and lower[2] < 0
    if inside:
        return 0.0
    hard = upper[0].material.hard or lower[0].material.hard
    return 1.0 / (contacts.hard if hard else contacts.paper)


def _problems(stack: Stack) -> Sequence[str]:
    pamphlet = stack.pamphlet
    found = beyond((
        ("wraps", pamphlet.wraps, 1, 60, ""),
        ("a leaf's thickness", pamphlet.leaf_mm, 0.03, 0.5, "mm"),
        ("a leaf's mass", pamphlet.leaf_g_m2, 20, 250, "g/m²"),
        ("the cover's thickness", pamphlet.cover_mm, 0.03, 1.0, "mm"),
        ("the pamphlet's start", pamphlet.start_c, 0, 60, "°C"),
        ("the pamphlet's humidity", 100 * pamphlet.start_rh, 5, 98, "%"),
        ("the room", stack.room.temperature_c, 5, 40, "°C"),
        ("the room's humidity", 100 * stack.room.rh, 5, 95, "%"),
        *(
            (f"{layer.material.name}'s thickness", layer.mm, 0.01, 60, "mm")
            for layer in (*stack.above, *stack.below)
        ),
    ))  # fmt: skip
    if pamphlet.leaf_g_m2 / pamphlet.leaf_mm > 1400:
        found.append(
            f"a leaf of {pamphlet.leaf_g_m2:g} g/m² cannot be {pamphlet.leaf_mm:g} mm thin: that "
            "is denser than fibre"
        )
    if len(stack.above) > 20 or len(stack.below) > 20:
        found.append("at most 20 layers lie above or below")
    return found
