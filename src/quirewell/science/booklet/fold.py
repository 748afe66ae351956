"""How the cover's overhang can be split between front and back.

Flat cover ``S``, outermost wrap's half width ``W``, fold ``x`` from the front edge: the front
stands over by ``f = x - a/2 - W``, the back by ``b = S - x - a/2 - W``; ``a`` is what goes round
the spine. ``f + b = S - a - 2 W`` stays the same wherever the fold lies: a shift ``d`` gives the
front ``d`` and takes it from the back. The old crease then lies ``|d|`` from the new fold, a line
that stays. Plain geometry; holds while cover and block keep their sizes (same humidity).

``a`` is known only from a first fold. Without one it lies between 0 (a pressed sharp fold) and
``kappa T / 2`` (a full spine), even between: half of that with u over sqrt(12).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from quirewell.science.booklet.reading import Reading

# How well a fold is laid where it was meant, by hand [mm] (assumed).
LAID_U_MM = 0.25
# An old crease of which nobody said where it lies: the middle, within [mm] (assumed).
CREASE_U_MM = 0.5
# Looks, by own judgement [mm]: flush below the first, clear from the second, plain from the third.
FLUSH_MM, CLEAR_MM, PLAIN_MM = 0.3, 0.5, 1.0


@dataclass(frozen=True, slots=True)
class Split:
    """Overhang in front and behind as it is [mm]: + the cover stands out, - the block does."""

    front: Reading
    back: Reading
    u_total: float | None = None

    @property
    def total(self) -> Reading:
        """What no fold changes: front and back together; ``u_total`` where their doubts go
        together."""
        apart = math.hypot(self.front.u, self.back.u)
        u = apart if self.u_total is None else self.u_total
        return Reading(self.front.value + self.back.value, u)

    @property
    def u_uneven(self) -> float:
        """u of half of back less front [mm]: ``V(f - b) = 2 V(f) + 2 V(b) - V(f + b)``."""
        twice = 2 * self.front.u**2 + 2 * self.back.u**2 - self.total.u**2
        return math.sqrt(max(twice, 0.0)) / 2


@dataclass(frozen=True, slots=True)
class Choice:
    """One way to fold: overhangs expected [mm] (the hand's own doubt in), shift of the fold
    (+: the front gains), the old crease's distance, and what it looks like."""

    name: str
    front: Reading
    back: Reading
    shift: Reading
    crease_mm: float
    possible: bool
    looks: str


@dataclass(frozen=True, slots=True)
class Plan:
    """The choices and the one advised, the range of the front's overhang that keeps both above
    ``-tolerance`` (None where no fold can), and why."""

    total: Reading
    choices: tuple[Choice, ...]
    advised: Choice
    front_range: tuple[float, float] | None
    says: str


@dataclass(frozen=True, slots=True)
class Check:
    """What was measured after folding against the plan [mm]: ``off`` the fold from where it was
    meant (+: the front has more), ``grown`` the sum from what it was; each with its verdict."""

    off: Reading
    grown: Reading
    holds: bool
    says: str


def allowance_of_first_fold(
    cover: Reading, block: Reading, front: Reading, back: Reading
) -> Reading:
    """What goes round the spine [mm], from a first fold: ``a = S - 2 W - f - b``."""
    value = cover.value - 2 * block.value - front.value - back.value
    return Reading(value, math.hypot(cover.u, 2 * block.u, front.u, back.u))


def allowance_unknown(thickness_mm: float, kappa: float = 1.3) -> Reading:
    """What may go round the spine [mm] of a block ``thickness_mm`` thick before any fold."""
    most = kappa * thickness_mm / 2
    return Reading(most / 2, most / math.sqrt(12))


def split_at(
    cover: Reading, block: Reading, allowance: Reading, crease: Reading | None = None
) -> Split:
    """The split with the fold at ``crease`` [mm from the front edge]; without one in the middle.

    Raises
    ------
    ValueError
        a cover too narrow or too wide for the block, a crease outside the cover
    """
    left = cover.value - 2 * block.value
    whole = math.hypot(cover.u, 2 * block.u, allowance.u)
    if not (block.value > 0 and abs(left) <= 0.25 * cover.value):
        raise ValueError(
            f"a flat cover is about twice as wide as the block; got {cover.value:g} mm and "
            f"{block.value:g} mm. The cover is measured flat and whole, the block from fold to "
            "reading edge"
        )
    if crease is None:
        each = (left - allowance.value) / 2
        u = math.hypot(whole / 2, CREASE_U_MM)
        return Split(Reading(each, u), Reading(each, u), whole)
    if not 0.25 * cover.value < crease.value < 0.75 * cover.value:
        raise ValueError(
            f"the crease lies near the middle of the cover, measured from its front edge; got "
            f"{crease.value:g} mm of {cover.value:g} mm"
        )
    half = allowance.value / 2
    rest = math.hypot(block.u, allowance.u / 2)
    return Split(
        Reading(crease.value - half - block.value, math.hypot(crease.u, rest)),
        Reading(
            cover.value - crease.value - half - block.value, math.hypot(cover.u, crease.u, rest)
        ),
        whole,
    )


def plan(
    now: Split, *, tolerance_mm: float = 0.0, asked: tuple[float, float] | None = None,
    roll: Reading | None = None,
) -> Plan:  # fmt: skip
    """Ways to fold, and the one advised.

    Parameters
    ----------
    now
        the split as it is, on the old crease
    tolerance_mm
        how far the block may stand out beyond the cover [mm]
    asked
        the overhangs wished for, front and back; answered by the least ``max(|f - f*|, |b - b*|)``
        that is possible
    roll
        how far the block's front reading edge stands out beyond its back one [mm]

    Raises
    ------
    ValueError
        a negative tolerance
    """
    if tolerance_mm < 0:
        raise ValueError(f"the tolerance is 0 mm or more, got {tolerance_mm:g}")
    total = now.total
    low, high = -tolerance_mm, total.value + tolerance_mm
    able = low <= high
    even_u = total.u / 2
    f0, b0 = now.front.value, now.back.value
    keep_u = now.u_uneven
    choices = [_choice("keep the old crease", now, 0.0, tolerance_mm, now.front.u, now.back.u, 0.0)]
    choices.append(_choice("even split", now, (b0 - f0) / 2, tolerance_mm, even_u, even_u, keep_u))
    if roll is not None:
        shift = (b0 - f0 - roll.value) / 2
        u = math.hypot(total.u, roll.u) / 2
        choices.append(_choice("least roll", now, shift, tolerance_mm, u, u,
                               math.hypot(keep_u, roll.u / 2)))  # fmt: skip
    if asked is not None:
        front = (total.value + asked[0] - asked[1]) / 2
        held = min(max(front, low), high) if able else total.value / 2
        if not able or held == front:
            doubts = (even_u, even_u, keep_u)
        elif held == low:
            doubts = (0.0, total.u, now.front.u)
        else:
            doubts = (total.u, 0.0, now.back.u)
        choices.append(_choice("asked split", now, held - f0, tolerance_mm, *doubts))
    advised, why = _advised(choices, now, tolerance_mm, able, roll)
    if advised not in choices:
        choices.append(advised)
    says = f"Front and back together are {total.value:.2f} mm wherever the fold lies. {why}"
    return Plan(total, tuple(choices), advised, (low, high) if able else None, says)


def _choice(
    name: str, now: Split, shift: float, tolerance: float, u_front: float, u_back: float,
    u_shift: float,
) -> Choice:  # fmt: skip
    front, back = now.front.value + shift, now.back.value - shift
    hand = LAID_U_MM if shift else 0.0
    slack = 1e-9
    possible = front >= -tolerance - slack and back >= -tolerance - slack
    looks = f"{_look(front, 'front')}, {_look(back, 'back')}"
    if abs(shift) >= 0.05:
        half = "front" if shift > 0 else "back"
        looks += f"; the old crease is a line on the {half}, {abs(shift):.1f} mm from the new fold"
    return Choice(
        name, Reading(front, math.hypot(u_front, hand)), Reading(back, math.hypot(u_back, hand)),
        Reading(shift, u_shift), abs(shift), possible, looks,
    )  # fmt: skip


def _look(over: float, side: str) -> str:
    if abs(over) < FLUSH_MM:
        return f"flush in {side}" if side == "front" else "flush at the back"
    where = "in front" if side == "front" else "at the back"
    how = "a little " if abs(over) < CLEAR_MM else "clearly " if abs(over) >= PLAIN_MM else ""
    if over > 0:
        return f"the cover stands out {how}{where}, {over:.1f} mm"
    return f"the leaves stand out {how}{where}, {-over:.1f} mm, and take the wear"


def _advised(
    choices: list[Choice], now: Split, tolerance: float, able: bool, lead: Reading | None
) -> tuple[Choice, str]:
    by_name = {one.name: one for one in choices}
    if "asked split" in by_name:
        return by_name["asked split"], (
            "The asked split, or the nearest to it that is possible."
            if able
            else "No fold keeps both within the tolerance; the nearest is the even split."
        )
    if not able:
        return by_name["even split"], (
            "The cover is too narrow to reach over the block on both sides within the tolerance: "
            "evenly split it is least."
        )
    roll = by_name.get("least roll")
    if roll and roll.possible and lead and abs(lead.value) > max(2 * lead.u, CLEAR_MM):
        return roll, "The roll is large enough to be worth a new crease."
    keep = by_name["keep the old crease"]
    if keep.possible:
        return keep, "The old crease serves; any other fold leaves it as a line."
    lacks = -tolerance - now.front.value
    shift = lacks if lacks > 0 else now.back.value + tolerance
    side = now.front if lacks > 0 else now.back
    if abs(shift) <= 2 * side.u:
        return keep, (
            f"What is lacking, {abs(shift):.2f} mm, is no more than the reading's doubt: the old "
            "crease serves."
        )
    u_front, u_back = (0.0, now.total.u) if lacks > 0 else (now.total.u, 0.0)
    least = _choice("least shift", now, shift, tolerance, u_front, u_back, side.u)
    return least, "The least shift that brings the cover over the block on both sides."


def check(aim: Choice, total: Reading, front: Reading, back: Reading) -> Check:
    """Hold what was measured after folding against the plan.

    A fold in the wrong place moves front and back against each other; growth, shrinkage or a rule
    held askew changes their sum. Told beyond two standard uncertainties of the readings before and
    after; the hand's own doubt is what is looked for.
    """
    f, b = front.value - aim.front.value, back.value - aim.back.value
    u = math.hypot(front.u, back.u, total.u)
    off, grown = Reading((f - b) / 2, u / 2), Reading(f + b, u)
    moved, changed = abs(off.value) > 2 * off.u, abs(grown.value) > 2 * grown.u
    parts = []
    if changed:
        parts.append(
            f"front and back together are {grown.value:+.2f} mm from what they were: no fold does "
            "that; paper grew or shrank, or the rule was held askew"
        )
    if moved:
        way = "front" if off.value > 0 else "back"
        parts.append(f"the fold lies {abs(off.value):.2f} mm off, so that the {way} has too much")
    return Check(
        off, grown, not parts, "; ".join(parts) or "the fold lies where it was meant, in its doubt"
    )
