"""Quotes and invoices: their lines as typed or begun from what is known, and their sums.

A quote once made is not altered: a new one takes its place, the older stay to be seen. So with
invoices; a wrong one is cancelled, keeps its number, and is written anew under the next.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from quirewell.record.bench import BenchState
from quirewell.record.codec import to_body
from quirewell.record.dealing import Cost, Invoice, Line, Quote, TimeSpent
from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState, Retract
from quirewell.science.planning.bill import Bill, bill, to_hundredths, work
from quirewell.stages import typed
from quirewell.stages.amounts import (
    Form,
    amount_in,
    currency_in,
    day_in,
    line_in,
    money,
    sentence,
    words_in,
)
from quirewell.stages.refusal import no
from quirewell.stages.time_spent import hours_of

MOST_LINES, MOST_HOURS = 30, Decimal(10_000)
# What an owner is asked to pay back; what the item itself cost and what its sale takes are not.
PASSED_ON = ("material", "outside help", "service fee", "post", "insurance", "other")
MOST_TAX_PCT = Decimal(100)


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a form, as text: what stands in its three boxes."""

    what: str = ""
    hours: str = ""
    amount: str = ""


# --- lines to begin from ----------------------------------------------------------------------


def row_of(what: str, hours: Decimal | None, amount: Decimal | None, hourly: Decimal | None) -> Row:
    """A line as its form begins with it. An amount that is its hours at the rate of the books is
    left empty, so that it follows when the hours are changed."""
    follows = hours is not None and hourly is not None and amount in (None, work(hours, hourly))
    return Row(
        what, "" if hours is None else str(hours),
        "" if follows or amount is None else str(to_hundredths(amount)),
    )  # fmt: skip


def rows_of(lines: Iterable[Line], bench: BenchState) -> tuple[Row, ...]:
    """Lines as the form shows them."""
    return tuple(row_of(one.what, one.hours, one.amount, hourly(bench)) for one in lines)


def hourly(bench: BenchState) -> Decimal | None:
    """What an hour costs by the books; None where that is not set."""
    rate = bench.rate()
    return rate.hour if rate else None


def newest_quote(state: ItemState) -> Quote | None:
    """The quote that holds: the one made last."""
    return max(state.quotes.values(), key=_serial, default=None)


def newest_invoice(state: ItemState) -> Invoice | None:
    """The invoice written last."""
    return max(state.invoices.values(), key=_serial, default=None)


def _serial(one: Quote | Invoice) -> int:
    """When it was first written: a payment noted later moves no invoice."""
    found = re.search(r"\d+$", one.id)
    return int(found[0]) if found else 0


def actual_rows(state: ItemState, bench: BenchState, unit: str = "") -> tuple[Row, ...]:
    """Lines from what was done: the time by what was done, and the costs passed on in ``unit``."""
    by_doing: dict[str, list[TimeSpent]] = {}
    for one in state.times.values():
        by_doing.setdefault(one.doing or "Work", []).append(one)
    rows = []
    for doing, spent in by_doing.items():
        if hours := hours_of(spent):
            worth, _ = worth_of(hours, newest_quote(state), bench)
            rows.append(row_of(doing, hours, worth, hourly(bench)))
    for cost in passed_on(state):
        if cost.currency in ("", unit):
            rows.append(row_of(_cost_words(cost), None, cost.amount, None))
    return tuple(rows)


def worth_of(hours: Decimal, quote: Quote | None, bench: BenchState) -> tuple[Decimal | None, str]:
    """What hours come to, and how they were counted: as the quote asks for its own hours, or at
    the rate of the books in the quote's currency; None where neither is known."""
    worked = [one for one in quote.lines if one.hours] if quote else []
    quoted = hours_in(worked)
    if quoted:
        paid = sum((one.amount for one in worked), Decimal(0))
        says = "Hours are counted at what the quote asks for its hours."
        return to_hundredths(hours * paid / quoted), says
    rate, unit = bench.rate(), quote.currency if quote else ""
    if rate is not None and rate.hour is not None and unit in ("", rate.currency):
        return work(
            hours, rate.hour
        ), f"Hours are counted at {money(rate.hour, rate.currency)} each."
    return None, (
        "What an hour costs is not known, so hours are not turned into money; give a quote with "
        "hours in its lines, or set the rate in the books."
    )


def passed_on(state: ItemState) -> tuple[Cost, ...]:
    """Costs that an owner is asked for."""
    return tuple(one for one in state.costs.values() if one.kind in PASSED_ON)


def _cost_words(cost: Cost) -> str:
    words = f"{cost.kind[:1].upper()}{cost.kind[1:]}"
    return f"{words}: {cost.note}" if cost.note else words


# --- commands -------------------------------------------------------------------------------


def make_quote(state: ItemState, bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """Make a quote: ``what-0``, ``hours-0``, ``amount-0`` .. line by line (an amount left empty is
    hours times the rate), ``currency``, ``day``, ``holds_until``, ``most``, ``note``, ``run``.

    Raises:
        Refusal: no line, or something in one that cannot be; the sentence names the line.
    """
    lines = _lines(form, _rate(bench, form))
    unit = _unit(form, bench, "")
    most = amount_in(form, "most", "the most agreed")
    day, until = (
        day_in(form, name, what)
        for name, what in (("day", "the day of the quote"), ("holds_until", "its last day"))
    )
    if day and until and until < day:
        raise no(form, "holds_until", f"It cannot end ({until}) before it was made ({day}).")
    made = Quote(
        f"quote-{state.version + 1}", lines, unit, day, until, most,
        words_in(form, "note", "a note"), form.get("run", "")[:80],
    )  # fmt: skip
    return (_draft(state, "quote.made", made, form),)


def write_invoice(
    state: ItemState, bench: BenchState, taken: Mapping[str, str], form: Form
) -> tuple[Draft, ...]:
    """Write an invoice: lines as :func:`make_quote`, ``number``, ``tax_pct`` [%], ``day``,
    ``note``. ``taken`` are the numbers given out before, with the title they went to.

    Raises:
        Refusal: no number, one given out before, or a line that cannot be.
    """
    number = line_in(form, "number", "a number", 40)
    if not number:
        raise no(form, "number", f"Give it a number; the next would be {next_number(taken)}.")
    if number in taken:
        says = (
            f"{number} was given out before ({taken[number]}); the next would be "
            f"{next_number(taken)}."
        )
        raise no(form, "number", says)
    quote = newest_quote(state)
    made = Invoice(
        f"invoice-{state.version + 1}", number, _lines(form, _rate(bench, form)),
        _unit(form, bench, quote.currency if quote else ""), day_in(form, "day", "its day"),
        _tax(form), "", words_in(form, "note", "a note"),
    )  # fmt: skip
    return (_draft(state, "invoice.written", made, form),)


def note_paid(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Note the day an invoice was paid: ``id``, ``paid_on``.

    Raises:
        Refusal: there is no such invoice, or no day.
    """
    return (_draft(state, "invoice.written", _dated(state, form, "paid_on", "paid"), form),)


def cancel_invoice(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Cancel an invoice: ``id``, ``cancelled_on``; its number stays given out.

    Raises:
        Refusal: there is no such invoice, or no day.
    """
    made = _dated(state, form, "cancelled_on", "cancelled")
    return (_draft(state, "invoice.written", made, form),)


def _dated(state: ItemState, form: Form, field: str, done: str) -> Invoice:
    held = state.invoices.get(form.get("id", ""))
    if held is None:
        raise no(form, field, "There is no such invoice here.")
    day = day_in(form, field, f"the day it was {done}")
    if not day:
        raise no(form, field, f"Write the day it was {done}, as 2026-03-31.")
    changed: dict[str, Any] = {field: day}
    return replace(held, **changed)


def set_quote_aside(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Set a quote aside; it stays in the journal, and the one before it holds again.

    Raises:
        Refusal: there is no such quote.
    """
    known = form.get("id", "")
    if known not in state.quotes:
        raise no(form, "id", "That quote is already set aside.")
    return (Draft(state.id, "record.retracted", to_body(Retract(known))),)


def _rate(bench: BenchState, form: Form) -> Decimal | None:
    typed_rate = amount_in(form, "rate", "what an hour costs")
    return hourly(bench) if typed_rate is None else typed_rate


def _unit(form: Form, bench: BenchState, before: str) -> str:
    rate = bench.rate()
    unit = currency_in(form, otherwise=before or (rate.currency if rate else ""))
    if not unit:
        raise no(form, "currency", "Say in which currency, as GBP or EUR.")
    return unit


def _lines(form: Form, rate: Decimal | None) -> tuple[Line, ...]:
    lines = [line for n in range(MOST_LINES) if (line := _line(form, n, rate)) is not None]
    if not lines:
        raise no(form, "what-0", "Write at least one line: what is done, and hours or an amount.")
    return tuple(lines)


def _line(form: Form, n: int, rate: Decimal | None) -> Line | None:
    what = line_in(form, f"what-{n}", f"line {n + 1}", 300)
    hours = _hours(form, f"hours-{n}", n)
    amount = amount_in(form, f"amount-{n}", f"the amount of line {n + 1}")
    if not what and hours is None and amount is None:
        return None
    if amount is None:
        if hours is None:
            says = f"Line {n + 1} ({what[:40]}) needs hours or an amount; 0 where nothing is asked."
            raise no(form, f"amount-{n}", says)
        if rate is None:
            says = f"Line {n + 1} has hours but no amount, and what an hour costs is not set."
            raise no(form, f"amount-{n}", says)
        amount = work(hours, rate)
    return Line(what or "Work", amount, hours)


def _hours(form: Form, name: str, n: int) -> Decimal | None:
    text = form.get(name, "").strip()
    if not text:
        return None
    try:
        hours = typed.number(text)
    except typed.Unreadable as error:
        raise no(form, name, sentence(f"line {n + 1}, hours: {error}")) from error
    if not 0 <= hours <= MOST_HOURS:
        says = f"Line {n + 1}: hours lie between 0 and {MOST_HOURS}, got {text[:40]}."
        raise no(form, name, says)
    return hours


def _tax(form: Form) -> Decimal | None:
    text = form.get("tax_pct", "").strip().rstrip("%").strip()
    if not text:
        return None
    try:
        pct = typed.number(text)
    except typed.Unreadable as error:
        raise no(form, "tax_pct", sentence(str(error))) from error
    if not 0 <= pct <= MOST_TAX_PCT:
        says = f"A tax lies between 0 and {MOST_TAX_PCT} per cent, got {text[:40]}."
        raise no(form, "tax_pct", says)
    return pct


def _draft(state: ItemState, kind: str, made: object, form: Form) -> Draft:
    try:
        return Draft(state.id, kind, to_body(made))
    except ValueError as error:
        raise no(form, "note", f"{error}.") from error


# --- numbers and sums -------------------------------------------------------------------------


def next_number(taken: Iterable[str]) -> str:
    """The invoice number after the last: its final digits one up, as many of them.

    >>> next_number(["2026-009", "2026-002"]), next_number(["A7"]), next_number([])
    ('2026-010', 'A8', '1')
    """
    found = [(match[1], match[2]) for one in taken if (match := re.fullmatch(r"(.*?)(\d+)", one))]
    if not found:
        return "1"
    head, digits = max(found, key=lambda one: (one[0], int(one[1])))
    return f"{head}{int(digits) + 1:0{len(digits)}d}"


def sum_of(lines: Sequence[Line], tax_pct: Decimal | None = None) -> Bill:
    """The sums of a quote or an invoice."""
    return bill((one.amount for one in lines), tax_pct)


def hours_in(lines: Iterable[Line]) -> Decimal:
    """The hours of all lines."""
    return sum((one.hours for one in lines if one.hours is not None), Decimal(0))
