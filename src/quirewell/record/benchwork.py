"""What the bench work itself leaves in the record: entries sent once, checks, the pilot, trials,
things to keep; and of the studio: recipes, what the bench has, plans worked out.

Instants are ISO 8601 in UTC; ids of entries are made by the device that sent them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal

from quirewell.record.finding import Run


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry as a device sent it: ``id`` is made by the device, so that the same entry sent
    again is known; ``at`` is when it was made there, which may be long before it was saved.
    ``command`` and ``record`` say what it did."""

    id: str
    at: str
    device: str = ""
    command: str = ""
    record: str = ""


@dataclass(frozen=True, slots=True)
class Check:
    """A question asked before a step, answered by a person: ``key`` is one of the stage's checks.

    ``none`` answers that there is nothing of the kind (no tape, no mould seen).
    """

    id: str
    key: str
    answer: Literal["yes", "no", "none"]
    places: tuple[str, ...] = ("item",)
    at: str = ""
    note: str = ""
    capture: str = ""


@dataclass(frozen=True, slots=True)
class Keep:
    """Something that must survive the treatment: a date stamp, a pencil price, a signature."""

    id: str
    what: str
    place: str = "item"
    why: str = ""
    capture: str = ""


@dataclass(frozen=True, slots=True)
class Pilot:
    """The sheet, or the scrap of like paper, that goes through water before all others.

    ``accepted`` is empty until a person has looked at it dry, a day later, and said yes or no;
    ``through`` are the kinds of wet step it went through.
    """

    id: str
    place: str = ""
    scrap: str = ""
    why: str = ""
    washed_at: str = ""
    dried_at: str = ""
    looked_at: str = ""
    measured: str = ""
    accepted: Literal["", "yes", "no"] = ""
    note: str = ""
    capture: str = ""
    through: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Trial:
    """Two ways of one step set against each other over pairs of neighbouring sheets.

    ``pairs`` are texts "w02 w03": the first of each pair is treated the first way (``way_a``), as
    the lot with ``seed`` fell. ``margin`` (in ``unit``) is locked at ``locked_at``.
    """

    id: str
    kind: str
    way_a: str
    way_b: str
    pairs: tuple[str, ...]
    seed: str
    quantity: str = "tone"
    unit: str = ""
    margin: Decimal | None = None
    sd: Decimal | None = None
    locked_at: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Recipe:
    """A course of treatment as text (TOML), in one of its editions; older ones are kept, and so
    are those set ``aside``, since sheets may have been treated by them. ``on`` is the day."""

    id: str
    key: str
    edition: int
    name: str
    text: str
    note: str = ""
    on: str = ""
    aside: bool = False


@dataclass(frozen=True, slots=True)
class Shop:
    """What the bench has to work with, as text: trays, rack places, people, working hours."""

    id: str
    text: str


@dataclass(frozen=True, slots=True)
class BenchPlan:
    """A bench plan as it was worked out; ``items`` are the ids behind the names in it."""

    id: str
    run: Run
    at: str = ""
    note: str = ""
    items: Mapping[str, str] = field(default_factory=dict)
