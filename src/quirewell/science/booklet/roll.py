"""Spine roll from a rule, and how far a fold should be worked.

A block of thickness ``T = n t + 2 t_c`` sheared by ``theta`` shows a bevel ``T tan(theta)`` across
its fore-edge. A fold ``d`` off the middle gives one half what it takes from the other: front and
back reading edges differ by ``2 d``. Plain geometry. Angles and offsets are positive where the
front stands out. Holds for a closed block whose leaves lie on one another; a spine that is
swollen or torn is no shear.

A fold belongs in the middle of a sheet whose two reading edges were trimmed in one cut. As it lies
flat, outer side up, head away, the right half is the front. ``shift = (left - right) / 2``:
positive moves the fold to the left, into the back half, and the front gains.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from quirewell.science.booklet.fore_edge import Halves
from quirewell.science.booklet.reading import Reading
from quirewell.science.evidence.detectable import decision_factor, smallest_detectable

# A step at the reading edge shows in raking light from here on [mm] (own judgement).
SEEN_MM = 0.3
STEEPEST_DEG = 60.0


@dataclass(frozen=True, slots=True)
class Move:
    """How far a sheet's fold should be worked, and what it leaves: ``shift`` [mm] (+: to the left
    as it lies outer side up, the front gains), ``crease_mm`` the old crease's distance from the
    new fold; 0 where it is better left."""

    name: str
    shift: Reading
    crease_mm: float
    worth: bool
    says: str


@dataclass(frozen=True, slots=True)
class Rolled:
    """The block's lead after less before [mm], the smallest true change that would have been called
    in 95 of 100 cases [mm], and whether this one is called."""

    change: Reading
    smallest_mm: float
    changed: bool
    says: str


def block_thickness(leaves: int, leaf: Reading, cover: Reading | None) -> Reading:
    """Thickness [mm] of a closed block: its leaves [-] and, where there is one, both halves of its
    cover.

    >>> round(block_thickness(28, Reading(0.085, 0.0), Reading(0.12, 0.0)).value, 2)
    2.62
    """
    own = cover or Reading(0.0, 0.0)
    return Reading(leaves * leaf.value + 2 * own.value, math.hypot(leaves * leaf.u, 2 * own.u))


def bevel(thickness: Reading, roll: Reading) -> Reading:
    """Bevel [mm] across the fore-edge of a block rolled by ``roll`` [degrees].

    >>> round(bevel(Reading(2.62, 0.0), Reading(20.0, 0.0)).value, 2)
    0.95
    """
    angle = math.radians(roll.value)
    slope = math.tan(angle)
    u = math.hypot(slope * thickness.u, thickness.value * (1 + slope**2) * math.radians(roll.u))
    return Reading(thickness.value * slope, u)


def roll_of_bevel(bevel_mm: Reading, thickness: Reading) -> Reading:
    """Roll [degrees] from the bevel: ``tan(theta) = bevel / T``.

    Raises
    ------
    ValueError
        a thickness that is not above twice its doubt, or a roll beyond 60 degrees
    """
    if not thickness.value > 2 * thickness.u:
        raise ValueError(
            f"the block's thickness must be known: got {thickness.value:g} mm with u "
            f"{thickness.u:g} mm"
        )
    slope = bevel_mm.value / thickness.value
    angle = math.degrees(math.atan(slope))
    if abs(angle) > STEEPEST_DEG:
        raise ValueError(
            f"a bevel of {bevel_mm.value:g} mm across {thickness.value:g} mm is {angle:.0f} "
            f"degrees; up to {STEEPEST_DEG:.0f} are taken. Was the thickness of the closed block "
            "meant?"
        )
    u = math.hypot(bevel_mm.u, slope * thickness.u) / thickness.value / (1 + slope**2)
    return Reading(angle, math.degrees(u))


def fold_offset(front_less_back: Reading) -> Reading:
    """How far a fold lies off its place [mm], from how far the front reading edge stands out beyond
    the back one: half of that."""
    return Reading(front_less_back.value / 2, front_less_back.u / 2)


def moves(sheets: Sequence[Halves]) -> tuple[Move, ...]:
    """How far each sheet's fold should be worked, from its two half widths.

    ``u`` of the shift is that of a half by sqrt(2)/2. A fold is better left where the shift is not
    beyond its own doubt (2 u), or too small to be seen (0.3 mm): every move leaves a line.
    """
    out = []
    for one in sheets:
        shift = Reading((one.back_mm - one.front_mm) / 2, one.u_mm / math.sqrt(2))
        worth = abs(shift.value) > max(2 * shift.u, SEEN_MM / 2)
        out.append(Move(one.name, shift, abs(shift.value) if worth else 0.0, worth,
                        _says(shift, worth)))  # fmt: skip
    return tuple(out)


def _says(shift: Reading, worth: bool) -> str:
    if not worth:
        return f"leave the fold on its old crease: {abs(shift.value):.2f} mm off the middle " + (
            "is no more than its doubt" if abs(shift.value) <= 2 * shift.u else "is not seen"
        )
    way = "left, into the back half" if shift.value > 0 else "right, into the front half"
    half = "front" if shift.value > 0 else "back"
    return (
        f"work the fold {abs(shift.value):.2f} mm to the {way} (outer side up, head away); the old "
        f"crease stays as a line on the {half}, {abs(shift.value):.2f} mm from the new fold"
    )


def rolled(before: Reading, after: Reading) -> Rolled:
    """What became of the roll: the front reading edge beyond the back one, before and after [mm].

    Both readings count as independent. A change is called beyond 1.96 u, so that one in twenty is
    called where there is none.

    >>> rolled(Reading(1.4, 0.25), Reading(1.3, 0.25)).says
    'no change of the roll was seen; one of 1.27 mm or more would surely have been seen'
    """
    change = Reading(after.value - before.value, math.hypot(before.u, after.u))
    k = decision_factor()
    smallest = smallest_detectable(change.u, k)
    if abs(change.value) <= k * change.u:
        says = (
            f"no change of the roll was seen; one of {smallest:.2f} mm or more would surely have "
            "been seen"
        )
        return Rolled(change, smallest, False, says)
    if before.value * after.value < 0 and abs(after.value) > k * after.u:
        how = "leans the other way now"
    else:
        how = "is less" if abs(after.value) < abs(before.value) else "is more"
    return Rolled(
        change, smallest, True,
        f"the roll {how}: the front reading edge stood {before.value:+.2f} mm beyond the back one, "
        f"now {after.value:+.2f} mm; this change is beyond the readings' doubt",
    )  # fmt: skip
