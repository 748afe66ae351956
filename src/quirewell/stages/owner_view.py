"""What was agreed with an item's owner and how it stands: limits, quote against actual, invoices.

Page, papers and command line read this and nothing else.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal
from typing import Literal

from quirewell.record.bench import BenchState
from quirewell.record.dealing import Custody, Invoice, Line, Quote
from quirewell.record.nouns import ItemState
from quirewell.science.planning.bill import (
    NEAR_PCT,
    REACHED_PCT,
    Bill,
    share_pct,
    to_hundredths,
)
from quirewell.stages.amounts import money
from quirewell.stages.custody import Owner, held_of, owner_of
from quirewell.stages.quoting import hours_in, newest_quote, passed_on, sum_of, worth_of
from quirewell.stages.time_spent import hours_of

Level = Literal["", "near", "reached"]
NO_QUOTE = "No quote is made yet, so there is no limit to hold the work against."


@dataclass(frozen=True, slots=True)
class Against:
    """A quote against what was done: how near the limit is, in sentences and in rows
    (what, agreed, so far, share)."""

    level: Level
    says: tuple[str, ...]
    rows: tuple[tuple[str, str, str, str], ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Deal:
    """A quote or an invoice with its sums."""

    of: Quote | Invoice
    lines: tuple[tuple[str, str, str], ...]
    bill: Bill
    unit: str

    @property
    def net(self) -> str:
        """The sum of the lines as shown."""
        return money(self.bill.net, self.unit)

    @property
    def tax(self) -> str:
        """The tax as shown."""
        return money(self.bill.tax, self.unit)

    @property
    def total(self) -> str:
        """What is asked in all, as shown."""
        return money(self.bill.total, self.unit)


@dataclass(frozen=True, slots=True)
class OwnerView:
    """Everything the owner's page shows of one item."""

    owner: Owner
    held: Custody | None
    insured: str
    quote: Deal | None
    older: tuple[Deal, ...]
    against: Against
    invoices: tuple[Deal, ...]


def owner_view(state: ItemState, bench: BenchState) -> OwnerView:
    """What was agreed about an item, and how it stands."""
    held, quote = held_of(state), newest_quote(state)
    older = [one for one in state.quotes.values() if one is not quote]
    return OwnerView(
        owner_of(state, bench), held,
        money(held.insured, held.currency) if held else "",
        deal_of(quote) if quote else None,
        tuple(deal_of(one) for one in reversed(older)),
        against(state, bench),
        tuple(deal_of(one) for one in reversed(state.invoices.values())),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Owned:
    """What an item's own page tells of its owner: the words of the way there, and a limit that is
    near or reached."""

    link: str
    level: Level
    says: tuple[str, ...]


def item_owned(state: ItemState, bench: BenchState) -> Owned:
    """An item's owner in a line; nothing is held against a limit once it was given back."""
    held, name = held_of(state), owner_of(state, bench).name
    if held is None:
        return Owned("Somebody else's? Custody, quote and papers", "", ())
    whose = name or "its owner"
    if held.returned_on:
        return Owned(f"Given back to {whose} on {held.returned_on}", "", ())
    seen = against(state, bench)
    return Owned(f"In custody for {whose}: quote, time, papers", seen.level, seen.says)


def deal_of(of: Quote | Invoice) -> Deal:
    """A quote or an invoice as it is shown."""
    tax = of.tax_pct if isinstance(of, Invoice) else None
    return Deal(of, lines_of(of.lines, of.currency), sum_of(of.lines, tax), of.currency)


def lines_of(lines: Iterable[Line], unit: str) -> tuple[tuple[str, str, str], ...]:
    """Lines as (what, hours, amount)."""
    return tuple(
        (one.what, "" if one.hours is None else f"{one.hours}", money(one.amount, unit))
        for one in lines
    )


def against(state: ItemState, bench: BenchState) -> Against:
    """The quote that holds against the time and the costs noted."""
    quote = newest_quote(state)
    if quote is None:
        return Against("", (NO_QUOTE,))
    hours, quoted = hours_of(state.times.values()), hours_in(quote.lines)
    limit = quote.most if quote.most is not None else sum_of(quote.lines).net
    named = "limit agreed" if quote.most is not None else "sum quoted"
    spent, notes = _spent(state, bench, quote, hours)
    rows: list[tuple[str, str, str, str]] = []
    told: list[tuple[Level, str]] = []
    if quoted:
        share = share_pct(hours, quoted)
        rows.append(("Hours", f"{quoted} h", f"{hours} h", _pct(share)))
        told.append(_told(share, "hours quoted", f"{hours} h of {quoted} h"))
    if spent is not None:
        share = share_pct(spent, limit)
        so_far, all_ = money(spent, quote.currency), money(limit, quote.currency)
        rows.append((f"{named[:1].upper()}{named[1:]}", all_, so_far, _pct(share)))
        told.append(_told(share, named, f"{so_far} of {all_}"))
    says = [says for _, says in told if says]
    levels = [level for level, _ in told]
    level: Level = "reached" if "reached" in levels else "near" if "near" in levels else ""
    if not says:
        says = ["The work stays within what was agreed, so far as time and costs are noted."]
    return Against(level, tuple(says), tuple(rows), notes)


def _spent(
    state: ItemState, bench: BenchState, quote: Quote, hours: Decimal
) -> tuple[Decimal | None, tuple[str, ...]]:
    """What time and costs come to in the quote's currency, and what could not be counted."""
    notes = []
    counted, others = Decimal(0), dict[str, Decimal]()
    for cost in passed_on(state):
        if cost.currency in ("", quote.currency):
            counted += to_hundredths(cost.amount)
        else:
            others[cost.currency] = others.get(cost.currency, Decimal(0)) + cost.amount
    for unit, amount in others.items():
        notes.append(
            f"{money(to_hundredths(amount), unit)} of costs are not counted in: the quote is in "
            f"{quote.currency}. Note them in {quote.currency} to count them."
        )
    if not hours:
        return counted, tuple(notes)
    worth, says = worth_of(hours, quote, bench)
    return (None if worth is None else counted + worth), (*notes, says)


def _told(share: Decimal | None, named: str, so_far: str) -> tuple[Level, str]:
    if share is None or share < NEAR_PCT:
        return "", ""
    if share < REACHED_PCT:
        return "near", (
            f"{_pct(share)} of the {named} are used ({so_far}): plan what is left, and ring the "
            "owner before it is passed."
        )
    return "reached", (
        f"The {named} {'are' if named.startswith('hours') else 'is'} reached ({so_far}): stop, and "
        "ring the owner before anything more is done."
    )


def _pct(share: Decimal | None) -> str:
    """A share rounded down, so that no limit seems reached before it is."""
    return "" if share is None else f"{share.quantize(Decimal(1), ROUND_FLOOR)} %"
