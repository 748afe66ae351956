"""Lots of materials on the shelf: what is left, how long they keep, what is past its day.

Usual lives are common practice without a source, shown as such and never counted from: a lot has a
last day only where one was typed, or days once opened and the day it was opened.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal

from quirewell.record.bench import BenchState
from quirewell.record.books import StockLot
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState, Lot
from quirewell.stages import typed
from quirewell.stages.books import made, money_of, number_of
from quirewell.stages.own_sales import plain, same_title
from quirewell.stages.refusal import refused
from quirewell.stages.sale_entry import clean, day_text
from quirewell.studio.studio import STUDIO

Form = Mapping[str, str]
MOST = 1_000_000
NEARLY = Decimal("0.1")  # of what came, below which a lot is nearly used up (assumed)
SOON = 7  # days before its last day from which a lot is spoken of (assumed)
# How long it keeps once made or opened: common practice, no source.
USUAL: tuple[tuple[str, str], ...] = (
    ("wheat starch paste, cooked", "a few days cold at most; away at the first smell or skin"),
    ("methyl cellulose, mixed", "weeks, cold and closed; away when it smells, clouds or thins"),
    ("gelatine size, dissolved", "made for the day"),
    ("hydrogen carbonate solution", "loses its gas: made for the day"),
    ("lime water over its lime", "takes up carbon dioxide whenever it is open: test it, do not go "
     "by its age"),
    ("pH strips", "the date printed on the box"),
)  # fmt: skip
_FACTORS: Mapping[str, tuple[str, Decimal]] = {
    name: (kind, Decimal(factor))
    for name, kind, factor in (
        ("g", "g", "1"), ("kg", "g", "1000"), ("mg", "g", "0.001"), ("ml", "ml", "1"),
        ("cl", "ml", "10"), ("l", "ml", "1000"), ("mm", "mm", "1"), ("cm", "mm", "10"),
        ("m", "mm", "1000"),
    )
}  # fmt: skip


def keep_lot(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """A lot, new or (by ``id``) as it is now; only ``material`` is needed.

    Raises:
        Refusal: at the box that cannot be read.
    """
    known = bench.stock.get(form.get("id", ""))
    if form.get("id") and known is None:
        raise refused(form, "material", "this lot was set aside meanwhile; enter it anew")
    if not form.get("material", "").strip():
        raise refused(form, "material", "say which material it is")
    amount, unit = _amount(form, "amount")
    left, left_unit = _amount(form, "left")
    if left is not None and unit and left_unit and unit.lower() != left_unit.lower():
        raise refused(form, "left", f"say what is left in {unit}, as what came is")
    rate = bench.rate()
    cost, currency = money_of(form, "cost", rate.currency if rate else "")
    days = {name: _day(form, name) for name in ("got_on", "opened_on", "keeps_until")}
    looked = form.get("left_on", "").strip() or form.get("today", "")
    same = known is not None and left is not None and known.left == Decimal(left)
    if left is not None:
        looked = known.left_on if same and known is not None else looked
    body = {
        "id": known.id if known else f"lot-{bench.version + 1}",
        "material": clean(form["material"], 120), "lot": clean(form.get("lot", ""), 60),
        "amount": amount, "left": left, "unit": unit or left_unit, "cost": cost,
        "currency": currency, **days,
        "days_opened": number_of(form, "days_opened", most="36500"),
        "note": clean(form.get("note", ""), 500),
        "left_on": looked if left is not None else "",
    }  # fmt: skip
    if body["days_opened"] is not None and not str(body["days_opened"]).isdecimal():
        raise refused(form, "days_opened", "days are whole")
    return (Draft(STUDIO, "stock.kept", made(StockLot, body, form, "material")),)


def mark_lot(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """A lot ``opened`` or ``gone`` (``what``) on the day ``today``.

    Raises:
        Refusal: no such lot.
    """
    held = bench.stock.get(form.get("id", ""))
    if held is None:
        raise refused(form, "id", "there is no such lot; it may have been set aside meanwhile")
    if form.get("what") == "gone":
        now = replace(held, gone=True)
    elif form.get("what") == "opened":
        now = replace(held, opened_on=form.get("today", ""))
    else:
        raise refused(form, "what", "a lot is opened or gone")
    return (Draft(STUDIO, "stock.kept", to_body(now)),)


def _amount(form: Form, name: str) -> tuple[str | None, str]:
    text = form.get(name, "").strip()
    if not text:
        return None, clean(form.get("unit", ""), 20)
    try:
        amount = typed.amount(text)
    except typed.Unreadable as error:
        raise refused(form, name, f"{error}") from error
    if not 0 <= amount.value <= MOST:
        raise refused(form, name, f"this is 0 to {MOST}, got {text[:40]}")
    return plain(amount.value), clean(amount.unit or form.get("unit", ""), 20)


def _day(form: Form, name: str) -> str:
    text = form.get(name, "").strip()
    try:
        return day_text(text, "") if text else ""
    except typed.Unreadable as error:
        raise refused(form, name, f"{error}".partition(" (--")[0]) from error


# --- view -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class LotView:
    """A lot in words: ``warns`` what to mind now, ``left_says`` what is left as far as known."""

    lot: StockLot
    says: str
    left_says: str
    last_day: str
    warns: str


def last_day(lot: StockLot) -> date | None:
    """The last day of a lot: as typed, or by its days once opened, whichever comes first."""
    days = [date.fromisoformat(lot.keeps_until)] if lot.keeps_until else []
    if lot.opened_on and lot.days_opened is not None:
        with suppress(OverflowError):  # beyond the year 9999 it keeps for good
            days.append(date.fromisoformat(lot.opened_on) + timedelta(days=lot.days_opened))
    return min(days, default=None)


def past_its_day(lot: StockLot, today: date) -> str:
    """What to mind of a lot's age today; empty where there is nothing."""
    last = last_day(lot)
    if lot.gone or last is None:
        return ""
    name = lot.material + (f", lot {lot.lot}" if lot.lot else "")
    if last < today:
        return f"{name} is past its day ({last}): try it on waste first, or make it fresh."
    if (last - today).days <= SOON:
        return f"{name} keeps until {last}."
    return ""


def age_warnings(bench: BenchState, today: date) -> tuple[str, ...]:
    """What to mind before a step: lots past their last day."""
    return tuple(
        says for lot in bench.stock.values() if (says := past_its_day(lot, today))
        and "past its day" in says
    )  # fmt: skip


def stock_view(
    bench: BenchState, used: Sequence[tuple[Lot, str]], today: date
) -> tuple[tuple[LotView, ...], tuple[str, ...]]:
    """Lots on the shelf (those gone last), and what to mind of them all.

    ``used`` is every material used, with its day (``all_items.materials_used``).
    """
    lots = tuple(
        _lot(lot, used, today)
        for lot in sorted(
            bench.stock.values(), key=lambda one: (one.gone, one.material.casefold(), one.lot)
        )
    )
    return lots, tuple(one.warns for one in lots if one.warns)


def used_in(state: ItemState) -> list[tuple[Lot, str]]:
    """Every material used in a step of an item that was begun, with its day."""
    return [
        (lot, (step.done_at or step.started_at)[:10])
        for step in state.steps.values()
        if step.state != "planned"
        for lot in step.lots
    ]


def left_of(lot: StockLot, used: Iterable[tuple[Lot, str]]) -> tuple[Decimal | None, int]:
    """What is left of a lot in its unit, and how many uses of it could not be counted.

    What was seen to be left counts from the day it was looked at; uses of that day are taken to
    be in it.
    """
    start = lot.amount if lot.left is None else lot.left
    if not lot.lot:
        return start, 0
    mine = [
        (use, day) for use, day in used
        if same_title(use.lot, lot.lot) and same_title(use.material, lot.material)
        and (lot.left is None or not lot.left_on or day > lot.left_on)
    ]  # fmt: skip
    uncounted, spent = 0, Decimal(0)
    for use, _ in mine:
        found = _in_unit(use.amount, lot.unit)
        if found is None:
            uncounted += 1
        else:
            spent += found
    return (None if start is None else max(start - spent, Decimal(0))), uncounted


def _in_unit(text: str, unit: str) -> Decimal | None:
    """An amount as typed, turned into a unit; None where it cannot be."""
    found = re.fullmatch(r"\s*(\d+(?:[.,]\d+)?)\s*(\S*)\s*", text)
    if found is None:
        return None
    value, theirs = Decimal(found[1].replace(",", ".")), found[2].lower() or unit.lower()
    if theirs == unit.lower():
        return value
    if theirs not in _FACTORS or unit.lower() not in _FACTORS:
        return None
    (kind, factor), (own, per) = _FACTORS[theirs], _FACTORS[unit.lower()]
    return value * factor / per if kind == own else None


def _lot(lot: StockLot, used: Sequence[tuple[Lot, str]], today: date) -> LotView:
    left, uncounted = left_of(lot, used)
    warns = past_its_day(lot, today)
    name = lot.material + (f", lot {lot.lot}" if lot.lot else "")
    says = "not known"
    if left is not None:
        says = f"{plain(_short(left))} {lot.unit}".strip()
        if uncounted:
            uses = "one use" if uncounted == 1 else f"{uncounted} uses"
            says += f", less {uses} of no known amount"
        if not lot.gone and lot.amount and left <= NEARLY * lot.amount:
            up = "is used up" if left == 0 else f"is nearly used up ({says} left)"
            warns = f"{warns} {name} {up}.".strip()
    elif uncounted:
        says = f"not known; used {uncounted} times"
    last = last_day(lot)
    parts = [f"opened {lot.opened_on}"] if lot.opened_on else []
    parts += [f"came {lot.got_on}"] if lot.got_on else []
    parts += [f"{lot.cost:f} {lot.currency}".strip()] if lot.cost is not None else []
    return LotView(lot, ", ".join(parts), says, "" if last is None else last.isoformat(), warns)


def _short(value: Decimal) -> Decimal:
    rounded = value.quantize(Decimal("0.01"))
    return (
        rounded.normalize()
        if rounded != rounded.to_integral_value()
        else rounded.quantize(Decimal(1))
    )
