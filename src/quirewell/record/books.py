"""The books of a practice: own sales, wants, stock, rates, clients, parcels. They belong to the
studio and not to one item, and live in its own stream.

Amounts are decimals in the currency that stands beside them; days are ISO 8601 (2026-03-31).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal

from quirewell.record.dealing import check_day, check_money
from quirewell.record.finding import Run


@dataclass(frozen=True, slots=True)
class Sale:
    """One sale seen or made: price before fees, at a grade on the ten-point scale.

    ``own`` says that it was a sale of this practice; ``treated`` that treatment was disclosed;
    ``came`` names the table it was read from.
    """

    id: str
    title: str
    price: Decimal
    currency: str = ""
    grade: Decimal | None = None
    on: str = ""
    fees: Decimal | None = None
    treated: bool | None = None
    own: bool | None = None
    item: str = ""
    note: str = ""
    came: str = ""

    def __post_init__(self) -> None:
        if not self.price > 0:
            raise ValueError(f"a price lies above 0, got {self.price}")
        check_money(self.price, "a price")
        check_money(self.fees, "fees")
        check_day(self.on, "the day of a sale")
        if self.grade is not None and not 0 < self.grade <= 10:
            raise ValueError(f"a grade lies above 0 and up to 10, got {self.grade}")


@dataclass(frozen=True, slots=True)
class Want:
    """A publication looked for: from which grade, up to which price; ``item`` is the copy that
    stands in for it until a better one turns up."""

    id: str
    title: str
    year: str = ""
    grade_from: Decimal | None = None
    most: Decimal | None = None
    currency: str = ""
    item: str = ""
    met: bool = False
    note: str = ""

    def __post_init__(self) -> None:
        if not self.title.strip():
            raise ValueError("say what is wanted")
        check_money(self.most, "the most to pay")


@dataclass(frozen=True, slots=True)
class StockLot:
    """A lot of a material on the shelf: how much came, what is left, when it was opened and when
    it must be gone; ``days_opened`` how long it keeps once opened; ``left_on`` the day that what is
    left was looked at."""

    id: str
    material: str
    lot: str = ""
    amount: Decimal | None = None
    left: Decimal | None = None
    unit: str = ""
    cost: Decimal | None = None
    currency: str = ""
    got_on: str = ""
    opened_on: str = ""
    keeps_until: str = ""
    days_opened: int | None = None
    gone: bool = False
    note: str = ""
    left_on: str = ""

    def __post_init__(self) -> None:
        if not self.material.strip():
            raise ValueError("say which material it is")
        check_money(self.cost, "a cost")
        for day, what in (
            (self.got_on, "the day it came"),
            (self.opened_on, "the day it was opened"),
            (self.keeps_until, "its last day"),
            (self.left_on, "the day it was looked at"),
        ):
            check_day(day, what)


@dataclass(frozen=True, slots=True)
class Rates:
    """What an hour of work is worth here, in which currency money is counted, and what goes on top
    (``overhead_pct`` of the work, ``sale_fee_pct`` of a price)."""

    id: str
    currency: str
    hour: Decimal | None = None
    overhead_pct: Decimal | None = None
    sale_fee_pct: Decimal | None = None
    note: str = ""

    def __post_init__(self) -> None:
        check_money(self.hour, "an hour's rate")


@dataclass(frozen=True, slots=True)
class Disclosures:
    """The practice's own table of what must be told after which treatment, as text, with the day
    it was last held against what the receivers ask for."""

    id: str
    rows: str
    checked_on: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        check_day(self.checked_on, "the day it was checked")


@dataclass(frozen=True, slots=True)
class GradeRules:
    """The practice's own rows of grading rules and its own scale, laid over the built-in ones.

    ``adding`` says how kinds of damage add up ("root", or "" for a plain sum).
    """

    id: str
    rules: str = ""
    scale: str = ""
    note: str = ""
    adding: str = ""
    on: str = ""

    def __post_init__(self) -> None:
        check_day(self.on, "the day of the rules")


@dataclass(frozen=True, slots=True)
class Client:
    """Somebody things are treated for; private, and never in what is shared."""

    id: str
    name: str
    reach: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise ValueError("a client needs a name")


@dataclass(frozen=True, slots=True)
class Offer:
    """Something looked at before it was bought.

    ``pictures`` are hashes of the seller's photographs kept as they came, ``answers`` what is
    known of each question by its key, ``run`` what it would be worth.
    """

    id: str
    title: str
    seller: str = ""
    asking: Decimal | None = None
    post: Decimal | None = None
    currency: str = ""
    day: str = ""
    pictures: tuple[str, ...] = ()
    answers: Mapping[str, str] = field(default_factory=dict)
    params: Mapping[str, str] = field(default_factory=dict)
    run: Run | None = None
    state: Literal["looking", "bid", "bought", "let go"] = "looking"
    item: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        if not self.title.strip():
            raise ValueError("say what is offered; a working title will do")
        check_money(self.asking, "an asking price")
        check_money(self.post, "postage")
        check_day(self.day, "the day it was seen")


@dataclass(frozen=True, slots=True)
class Service:
    """A receiver of parcels: its tiers and the parcels to come, as the text that the plan for
    parcels reads, in the practice's own words, with the day it was last checked.

    ``typed`` is what was typed about items for its parcels, by the item's id.
    """

    id: str
    name: str
    text: str
    checked_on: str = ""
    note: str = ""
    typed: Mapping[str, Mapping[str, str]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise ValueError("give the receiver a name of your own")
        check_day(self.checked_on, "the day it was checked")


@dataclass(frozen=True, slots=True)
class Plan:
    """A plan for parcels as it was worked out; ``items`` are the ids behind the names in it."""

    id: str
    run: Run
    service: str = ""
    day: str = ""
    note: str = ""
    items: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Sent:
    """One item in a parcel: the tier it goes in, the value declared, the estimate it left with."""

    item: str
    tier: str = ""
    declared: Decimal | None = None
    run: str = ""


@dataclass(frozen=True, slots=True)
class Parcel:
    """A parcel and where it is; ``tracking`` as the carrier gives it."""

    id: str
    name: str
    entries: tuple[Sent, ...]
    service: str = ""
    plan: str = ""
    state: Literal["packing", "on its way", "arrived", "coming back", "back"] = "packing"
    sent_on: str = ""
    back_on: str = ""
    tracking: str = ""
    insured: Decimal | None = None
    cost: Decimal | None = None
    currency: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        check_day(self.sent_on, "the day it was sent")
        check_day(self.back_on, "the day it came back")
        check_money(self.insured, "an insured value")
        check_money(self.cost, "a cost")
