"""What an item costs, who it belongs to, what was agreed about it, and what came of it.

Amounts are decimals in the currency that stands beside them; days are ISO 8601 (2026-03-31).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Literal

CostKind = Literal[
    "bought", "material", "outside help", "service fee", "post", "insurance", "sale fee", "other"
]
COST_KINDS: tuple[CostKind, ...] = (
    "bought", "material", "outside help", "service fee", "post", "insurance", "sale fee", "other",
)  # fmt: skip
Aim = Literal["", "keep", "sell", "stand-in", "a client's"]
MOST_MONEY = Decimal(1_000_000_000)


def check_day(day: str, what: str) -> None:
    """A day as 2026-03-31, or empty.

    Raises:
        ValueError: anything else.
    """
    if day:
        try:
            date.fromisoformat(day)
        except ValueError as error:
            raise ValueError(f"{what} is a day as 2026-03-31, got {day[:40]!r}") from error


def check_money(amount: Decimal | None, what: str) -> None:
    """An amount of 0 or more, or none.

    Raises:
        ValueError: below nothing, or more than any item can be.
    """
    if amount is not None and not 0 <= amount <= MOST_MONEY:
        raise ValueError(f"{what} lies between 0 and {MOST_MONEY}, got {amount}")


@dataclass(frozen=True, slots=True)
class Cost:
    """Money that went into an item: what for, how much, when."""

    id: str
    kind: CostKind
    amount: Decimal
    currency: str = ""
    day: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        check_money(self.amount, "a cost")
        check_day(self.day, "the day of a cost")


@dataclass(frozen=True, slots=True)
class TimeSpent:
    """Work on an item: ``doing`` in words (or the kind of a step); ``started_at`` and
    ``ended_at`` are instants where a timer ran; ``minutes`` where it was typed."""

    id: str
    doing: str
    started_at: str = ""
    ended_at: str = ""
    minutes: Decimal | None = None
    wraps: int | None = None
    who: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        if self.minutes is not None and not 0 < self.minutes <= 60_000:
            raise ValueError(f"minutes of work lie above 0 and up to 60000, got {self.minutes}")


@dataclass(frozen=True, slots=True)
class Mishap:
    """Something that went wrong, told openly: what, where, in which step, what was done.

    ``kind`` is a key of the pages for such moments, ``at`` and ``over_at`` are instants."""

    id: str
    what: str
    place: str = "item"
    step: str = ""
    day: str = ""
    done_about: str = ""
    kind: str = ""
    at: str = ""
    capture: str = ""
    over_at: str = ""

    def __post_init__(self) -> None:
        if not self.what.strip():
            raise ValueError("say in a few words what went wrong")


@dataclass(frozen=True, slots=True)
class Holding:
    """What an item is held for; ``asked`` the price it is offered at, ``value_now`` what it would
    bring as it lies (typed, where no sales say it), ``wanted`` the id of the want it stands in
    for."""

    aim: Aim = ""
    asked: Decimal | None = None
    value_now: Decimal | None = None
    value_u: Decimal | None = None
    currency: str = ""
    wanted: str = ""
    place: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        check_money(self.asked, "a price asked")
        check_money(self.value_now, "a value")
        check_money(self.value_u, "the uncertainty of a value")


@dataclass(frozen=True, slots=True)
class Options:
    """The practitioner's own table of options for an item, as text, in the form that the weighing
    reads; ``aim`` says what is sought, "permanence" having no money in it."""

    text: str
    aim: Literal["", "gain", "permanence", "both"] = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Choice:
    """The option taken, with the reason, and the owner's consent where there is one.

    ``run`` is the weighing it was taken from.
    """

    option: str
    reason: str = ""
    run: str = ""
    consent_by: str = ""
    consent_on: str = ""

    def __post_init__(self) -> None:
        check_day(self.consent_on, "the day of consent")


@dataclass(frozen=True, slots=True)
class Custody:
    """An item taken into custody for its owner, and given back.

    ``limits`` are agreed bounds, a line each ("stop and ring if ...").
    """

    client: str
    received_on: str = ""
    insured: Decimal | None = None
    currency: str = ""
    limits: tuple[str, ...] = ()
    came_with: str = ""
    condition: str = ""
    returned_on: str = ""
    returned_how: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        check_money(self.insured, "an insured value")
        check_day(self.received_on, "the day it was received")
        check_day(self.returned_on, "the day it was returned")


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a quote or an invoice; hours where it is work."""

    what: str
    amount: Decimal
    hours: Decimal | None = None

    def __post_init__(self) -> None:
        check_money(self.amount, "an amount")


@dataclass(frozen=True, slots=True)
class Quote:
    """What the work was said to cost, line by line; ``most`` is the limit agreed."""

    id: str
    lines: tuple[Line, ...]
    currency: str = ""
    day: str = ""
    holds_until: str = ""
    most: Decimal | None = None
    note: str = ""
    run: str = ""

    def __post_init__(self) -> None:
        check_money(self.most, "a limit")
        check_day(self.day, "the day of a quote")
        check_day(self.holds_until, "the last day of a quote")


@dataclass(frozen=True, slots=True)
class Invoice:
    """What was asked in the end; ``tax_pct`` as the law of the place has it; ``paid_on`` when.

    A cancelled one keeps its number, which is given out once.
    """

    id: str
    number: str
    lines: tuple[Line, ...]
    currency: str = ""
    day: str = ""
    tax_pct: Decimal | None = None
    paid_on: str = ""
    note: str = ""
    cancelled_on: str = ""

    def __post_init__(self) -> None:
        check_day(self.day, "the day of an invoice")
        check_day(self.paid_on, "the day of payment")
        check_day(self.cancelled_on, "the day it was cancelled")


@dataclass(frozen=True, slots=True)
class Returned:
    """A grade that came back: on the ten-point scale or in the service's own words.

    ``parcel`` is the parcel it went in, ``run`` the estimate made before it left.
    """

    id: str
    grade: Decimal | None = None
    words: str = ""
    on: str = ""
    service: str = ""
    parcel: str = ""
    run: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        check_day(self.on, "the day it came back")
        if self.grade is not None and not 0 < self.grade <= 10:
            raise ValueError(f"a grade lies above 0 and up to 10, got {self.grade}")


@dataclass(frozen=True, slots=True)
class Sold:
    """The item sold: price before fees, fees, to whom (kept private)."""

    price: Decimal
    currency: str = ""
    on: str = ""
    fees: Decimal | None = None
    to: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        check_money(self.price, "a price")
        check_money(self.fees, "fees")
        check_day(self.on, "the day of the sale")


@dataclass(frozen=True, slots=True)
class Answered:
    """What a person said to a proposal of the program: ``id`` names the proposal.

    ``defect`` is the defect noted where it was accepted.
    """

    id: str
    answer: Literal["accepted", "rejected"]
    defect: str = ""
    note: str = ""
