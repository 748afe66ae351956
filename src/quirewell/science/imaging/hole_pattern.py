"""Which candidates are the legs of staples, how they are numbered, and which are missing.

A staple leaves two holes in a line along the fold. Staples sit alike about the middle of the
sheet (common practice, no source); that is used only to say which of two legs is missing, and
said where it was.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from quirewell.science.imaging.hole_shape import Shape

# The legs of a stitched or stapled booklet stand so far apart [mm] (common practice, no source).
NARROWEST_MM, WIDEST_MM, USUAL_MM = 7.0, 22.0, 13.0
# How far from its expected place a hole is looked for, and from a mirrored one.
NEAR_MM = 3.0
_MIRROR_MM = 5.0
_MOST = 12
_MOST_STAPLES = 4
_LONE = 0.45


@dataclass(frozen=True, slots=True)
class Leg:
    """One place of the pattern: the candidate, or None where it is missing, with where it should
    be [mm from the head], None where that is not known."""

    shape: Shape | None
    y_mm: float | None


@dataclass(frozen=True, slots=True)
class Settled:
    """Legs from the head, candidates left over with why, and what to know."""

    legs: tuple[Leg, ...]
    left_over: tuple[tuple[Shape, str], ...]
    warnings: tuple[str, ...]


def settle_expected(shapes: Sequence[Shape], expected: Sequence[float]) -> Settled:
    """Candidates at the places expected [mm from the head], nearest first."""
    pairs = sorted(
        (abs(shape.y_mm - y) - 0.5 * _worth(shape), number, index)
        for number, y in enumerate(expected)
        for index, shape in enumerate(shapes)
        if abs(shape.y_mm - y) <= NEAR_MM
    )
    taken: dict[int, int] = {}
    for _, number, index in pairs:
        if number not in taken and index not in taken.values():
            taken[number] = index
    legs = tuple(
        Leg(shapes[taken[number]] if number in taken else None, y)
        for number, y in enumerate(expected)
    )
    over = tuple(
        (shape, f"no hole is expected {shape.y_mm:.1f} mm from the head")
        for index, shape in enumerate(shapes)
        if index not in taken.values()
    )
    return Settled(legs, over, ())


def settle(shapes: Sequence[Shape], count: int, height_mm: float) -> Settled:
    """Candidates put together as staples; ``count`` holes should be there (0: nobody knows)."""
    best = sorted(sorted(shapes, key=_worth, reverse=True)[:_MOST], key=lambda shape: shape.y_mm)
    most = count // 2 if count else _MOST_STAPLES
    staples = _best(best, most)
    used = [leg for staple in staples for leg in staple]
    over = tuple(
        (shape, _why_over(shape, count)) for shape in shapes if not any(shape is u for u in used)
    )
    legs, says = _completed(staples, count, height_mm)
    return Settled(legs, over, says)


def _why_over(shape: Shape, count: int) -> str:
    if shape.kind == "spot":
        return "a spot without ground and without a partner"
    if count:
        return f"{count} holes are expected, and others fit a staple better"
    return "it fits no staple"


def _worth(shape: Shape) -> float:
    """How much a candidate looks like a staple's hole."""
    worth = 1.0 if shape.kind == "hole" else 0.35
    worth -= 0.3 * min(abs(shape.x_mm), 2.0)
    if not 0.3 <= shape.size_mm <= 2.2:
        worth -= 0.25
    return worth - (0.1 if shape.torn else 0.0)


def _best(shapes: Sequence[Shape], most: int) -> list[tuple[Shape, ...]]:
    """The staples (pairs, or single legs) of greatest worth, at most so many, from the head."""
    best: tuple[float, list[tuple[Shape, ...]]] = (0.0, [])
    units: list[tuple[float, tuple[Shape, ...]]] = [
        (_worth(shape) - _LONE, (shape,)) for shape in shapes if shape.kind == "hole"
    ]
    for one, other in itertools.combinations(shapes, 2):
        if NARROWEST_MM <= other.y_mm - one.y_mm <= WIDEST_MM:
            worth = _worth(one) + _worth(other) - 0.3 * abs(one.x_mm - other.x_mm)
            worth -= 0.02 * abs(other.y_mm - one.y_mm - USUAL_MM)
            units.append((worth, (one, other)))
    units = sorted(units, key=lambda unit: unit[0], reverse=True)[:60]
    for size in range(1, most + 1):
        if len(units) > 24 and size > 2:
            units = units[:24]
        for chosen in itertools.combinations(units, size):
            held = sorted((unit[1] for unit in chosen), key=lambda legs: legs[0].y_mm)
            if any(a[-1].y_mm >= b[0].y_mm for a, b in itertools.pairwise(held)):
                continue
            gaps = [legs[1].y_mm - legs[0].y_mm for legs in held if len(legs) == 2]
            worth = sum(unit[0] for unit in chosen)
            worth -= 0.06 * (max(gaps) - min(gaps)) if len(gaps) > 1 else 0.0
            if worth > best[0] + 1e-9:
                best = worth, held
    return best[1]


def _completed(
    staples: list[tuple[Shape, ...]], count: int, height_mm: float
) -> tuple[tuple[Leg, ...], tuple[str, ...]]:
    """Legs with the missing ones put in their places."""
    says: list[str] = []
    pairs = [legs for legs in staples if len(legs) == 2]
    gap = _median([b.y_mm - a.y_mm for a, b in pairs]) if pairs else None
    legs: list[Leg] = []
    for staple in staples:
        if len(staple) == 2:
            legs += [Leg(leg, leg.y_mm) for leg in staple]
            continue
        lone = staple[0]
        upper = _is_upper(lone, pairs, height_mm)
        if upper is None and not count:
            legs.append(Leg(lone, lone.y_mm))
            says.append(
                f"The hole {lone.y_mm:.1f} mm from the head has no partner; it may be no staple's."
            )
            continue
        if upper is None:
            says.append(
                f"Of the staple with the hole {lone.y_mm:.1f} mm from the head one leg is missing, "
                "and nothing says which: the hole may be numbered one too low. Give the expected "
                "places."
            )
        place = None if gap is None else lone.y_mm + (gap if upper is not False else -gap)
        missing = Leg(None, place)
        legs += [Leg(lone, lone.y_mm), missing] if upper is not False else [
            missing, Leg(lone, lone.y_mm)
        ]  # fmt: skip
    if legs and count > len(legs):
        legs, more = _with_lost_staples(legs, count, height_mm)
        says += more
    return tuple(legs), tuple(says)


def _is_upper(lone: Shape, pairs: Sequence[tuple[Shape, ...]], height_mm: float) -> bool | None:
    """Whether a lone hole is its staple's upper leg, by the other staples mirrored."""
    apart = [
        (abs(height_mm - leg.y_mm - lone.y_mm), place == 1)
        for pair in pairs
        for place, leg in enumerate(pair)
    ]
    near = min(apart, default=(_MIRROR_MM + 1.0, False))
    return near[1] if near[0] <= _MIRROR_MM else None


def _with_lost_staples(
    legs: list[Leg], count: int, height_mm: float
) -> tuple[list[Leg], list[str]]:
    """Whole staples of which nothing was found, put before or after by mirroring what was."""
    held = [leg.y_mm for leg in legs if leg.y_mm is not None]
    lost = count - len(legs)
    above = sum(held) / len(held) > height_mm / 2.0
    mirrored = sorted(height_mm - y for y in held)
    places = mirrored[:lost] if len(mirrored) == lost else [None] * lost
    missing = [Leg(None, place) for place in places]
    says = [
        f"{lost} of {count} holes were not found; they are counted "
        f"{'above' if above else 'below'} the others because staples sit alike about the middle."
    ]
    return (missing + legs if above else legs + missing), says


def _median(values: list[float]) -> float:
    ordered = sorted(values)
    middle = len(ordered) // 2
    return ordered[middle] if len(ordered) % 2 else 0.5 * (ordered[middle - 1] + ordered[middle])
