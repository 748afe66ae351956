"""What comes after a treatment: checks a year on, the day the next is asked for, and claims.

Days are ISO 8601 (2027-03-31); amounts are decimals in the currency beside them. Money and names
are private: no report and nothing that is shared holds them.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from quirewell.record.dealing import check_day, check_money

Checked = Literal["tone_step", "lightness", "pH", "words"]
CHECKED: tuple[Checked, ...] = ("tone_step", "lightness", "pH", "words")
Against = Literal["carrier", "insurer", "grading service", "buyer", "other"]
AGAINST: tuple[Against, ...] = ("carrier", "insurer", "grading service", "buyer", "other")
ClaimState = Literal["open", "paid", "part paid", "refused", "withdrawn"]
CLAIM_STATES: tuple[ClaimState, ...] = ("open", "paid", "part paid", "refused", "withdrawn")


@dataclass(frozen=True, slots=True)
class Later:
    """A check after treatment: one quantity on one place, or words; ``on`` is the day it was made.

    ``resolution`` is the instrument's smallest step, ``off_scale`` as in a reading; ``capture`` a
    picture taken with it.
    """

    id: str
    on: str
    place: str = "item"
    quantity: Checked = "words"
    value: Decimal | None = None
    unit: str = ""
    method: str = ""
    resolution: Decimal | None = None
    words: str = ""
    capture: str = ""
    note: str = ""
    temperature_c: Decimal | None = None
    off_scale: Literal["below", "above"] | None = None
    as_typed: str = ""

    def __post_init__(self) -> None:
        check_day(self.on, "the day of a check")
        if not self.on:
            raise ValueError("a check needs the day it was made on, as 2027-03-31")
        if self.quantity == "words" and not self.words.strip():
            raise ValueError("a check without a reading says in words what was seen")
        if self.quantity != "words" and self.value is None:
            raise ValueError(f"a check of {self.quantity} needs what was read")


@dataclass(frozen=True, slots=True)
class NextCheck:
    """The day on which the next check is asked for, where it is not a year after the last."""

    on: str
    note: str = ""

    def __post_init__(self) -> None:
        check_day(self.on, "the day of the next check")
        if not self.on:
            raise ValueError("the next check needs a day, as 2027-03-31")


@dataclass(frozen=True, slots=True)
class Claim:
    """A claim made after treatment: against whom, what for, how much, and how it ended."""

    id: str
    against: Against
    on: str
    what: str
    amount: Decimal | None = None
    currency: str = ""
    state: ClaimState = "open"
    paid: Decimal | None = None
    closed_on: str = ""
    note: str = ""
    name: str = ""

    def __post_init__(self) -> None:
        check_day(self.on, "the day of a claim")
        check_day(self.closed_on, "the day a claim was closed")
        check_money(self.amount, "a claim")
        check_money(self.paid, "what was paid")
        if not self.what.strip():
            raise ValueError("a claim says in a few words what for")
        if self.closed_on and self.on and self.closed_on < self.on:
            raise ValueError(
                f"a claim of {self.on} cannot have been closed before it, on {self.closed_on}"
            )
        if self.state == "open" and self.closed_on:
            raise ValueError("an open claim was not closed yet; choose how it ended")
        if self.paid is not None and self.state not in ("paid", "part paid"):
            raise ValueError(f"nothing is paid on a claim that is {self.state}; choose paid")
        if self.paid is not None and self.amount is not None and self.paid > self.amount:
            raise ValueError(f"more was paid ({self.paid}) than was claimed ({self.amount})")
