"""What a bench plan is made of: works, waits, trays, people and hours; and the answer.

All times are whole minutes from the plan's origin (midnight at the start of its first day).
Lengths are rounded up to the plan's grid and wet waits down, so that what is planned can be done.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Status = Literal["proved", "found", "impossible", "unknown"]


@dataclass(frozen=True, slots=True)
class Work:
    """One work on one sheet of one item, or on the whole item (``sheet`` empty).

    ``hands``: a person is needed all the while, so it lies within working hours and never across
    a break; a work without hands (a bath, drying) runs on through the night. ``uses`` names the
    equipment of which it takes one place each while it lasts. ``minutes`` [min] is the time to
    plan with: of drying the 90 % time, with ``likely_minutes`` beside it.
    """

    id: str
    item: str
    sheet: str
    step: str
    minutes: int
    hands: bool = False
    uses: tuple[str, ...] = ()
    likely_minutes: int | None = None


@dataclass(frozen=True, slots=True)
class Wait:
    """``after`` starts at least ``least`` and at most ``most`` [min] after ``before`` ends.

    ``wet`` waits are those a wet sheet spends: the second objective keeps them short.
    """

    before: str
    after: str
    least: int = 0
    most: int | None = None
    wet: bool = False


@dataclass(frozen=True, slots=True)
class Hold:
    """One place of ``equipment`` is held from the start of ``first`` to the end of ``last``."""

    equipment: str
    first: str
    last: str


@dataclass(frozen=True, slots=True)
class Tray:
    """Works that sheets may do together: the steps ``steps`` of ``most`` sheets at once, in one
    place of ``equipment``, each step as long as its longest member.

    Sheets go together through all the steps. ``alone`` are sheets that go by themselves (a
    cover); sheets of two items only where ``mix_items``.
    """

    steps: tuple[str, ...]
    equipment: str
    most: int = 2
    alone: tuple[str, ...] = ()
    mix_items: bool = False


@dataclass(frozen=True, slots=True)
class Fixed:
    """What really happened: a work begun at ``start``, and ended at ``end`` where it is over."""

    work: str
    start: int
    end: int | None = None


@dataclass(frozen=True, slots=True)
class Shop:
    """The bench: places of each equipment, people, and working hours as (start, end) [min]."""

    places: Mapping[str, int]
    hours: tuple[tuple[int, int], ...]
    people: int = 1
    grid_min: int = 5


@dataclass(frozen=True, slots=True)
class Problem:
    """A bench plan to be made. ``given``: which sheets share a tray, where that is settled
    ((item, sheet), ...); ``now`` [min]: nothing that has not begun starts before it."""

    works: tuple[Work, ...]
    waits: tuple[Wait, ...]
    shop: Shop
    holds: tuple[Hold, ...] = ()
    trays: tuple[Tray, ...] = ()
    given: tuple[tuple[tuple[str, str], ...], ...] | None = None
    fixed: tuple[Fixed, ...] = ()
    now: int = 0


@dataclass(frozen=True, slots=True)
class Placed:
    """When a work is done [min]; ``together`` names the tray it shares with others."""

    work: str
    start: int
    end: int
    together: str = ""


@dataclass(frozen=True, slots=True)
class Answer:
    """A bench plan: how sure it is, when everything is done, and no earlier than when.

    ``conflict`` are the rules that cannot hold together, a smallest set of them, in words a
    person can act on. ``slack`` [min]: how much later a work may end with all others kept in
    order and the end not later.
    """

    status: Status
    placed: tuple[Placed, ...] = ()
    makespan: int | None = None
    bound: int | None = None
    wet_wait: int | None = None
    conflict: tuple[str, ...] = ()
    slack: Mapping[str, int] = field(default_factory=dict)
    by: Literal["solver", "rule"] = "solver"
    seconds: float = 0.0
