"""What an item cost, what it is held for, what went wrong, and what it sold for: commands.

Time is noted in :mod:`.time_spent`; here the minutes of steps are taken over as work.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import get_args

from quirewell.record.bench import BenchState
from quirewell.record.codec import from_body, to_body
from quirewell.record.dealing import COST_KINDS, Aim, Cost, Holding, Mishap, Sold, TimeSpent
from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState, Retract, Step
from quirewell.stages import sale_cells, typed
from quirewell.stages.own_sales import plain, rates_of
from quirewell.stages.places import read_places
from quirewell.stages.refusal import refused
from quirewell.stages.sale_entry import clean, day_text, fee_of, for_page

Form = Mapping[str, str]
_NOTE = 500
AIMS = (
    ("", "not said"), ("keep", "to keep"), ("sell", "to sell"),
    ("stand-in", "until a better one turns up"), ("a client's", "it is a client's"),
)  # fmt: skip
assert {key for key, _ in AIMS} == set(get_args(Aim))


def _money(form: Form, name: str, currency: str) -> tuple[Decimal | None, str]:
    """An amount out of a box and the currency it and the form name together."""
    text = form.get(name, "").strip()
    if not text:
        return None, currency
    try:
        amount = sale_cells.money(text, sale_cells.decimal_sign([text]))
        if currency and not sale_cells.agree(amount.currency, currency):
            raise typed.Unreadable(
                f"this is in {amount.currency} and money here is counted in {currency}; turn it "
                "into that first, at the rate of the day"
            )
    except typed.Unreadable as error:
        raise refused(form, name, for_page(error)) from error
    return amount.value, currency or amount.currency


def _on(form: Form, name: str) -> str:
    text = form.get(name, "").strip()
    try:
        return day_text(text, "") if text else ""
    except typed.Unreadable as error:
        raise refused(form, name, for_page(error)) from error


def currency_of(state: ItemState, bench: BenchState) -> str:
    """The one currency of an item's money: that of what was noted of it, else the practice's."""
    held = state.holdings.get("holding")
    there = [one.currency for one in state.costs.values() if one.currency]
    there += [held.currency] if held and held.currency else []
    there += [one.currency for one in state.sold.values() if one.currency]
    return there[0] if there else rates_of(bench).currency


def note_cost(state: ItemState, form: Form, bench: BenchState) -> tuple[Draft, ...]:
    """A cost: ``kind``, ``amount``; ``day`` and ``note`` may stay empty.

    Raises:
        Refusal: no amount, or one in another currency.
    """
    amount, unit = _money(form, "amount", currency_of(state, bench))
    if amount is None:
        raise refused(form, "amount", "say how much it was, as in 12.50")
    if form.get("kind", "") not in COST_KINDS:
        raise refused(form, "kind", f"a cost is one of {', '.join(COST_KINDS)}")
    body = {"id": f"cost-{state.version + 1}", "kind": form["kind"], "amount": plain(amount),
            "currency": unit, "day": _on(form, "day"),
            "note": clean(form.get("note", ""), _NOTE)}  # fmt: skip
    return (_draft(state, "cost.noted", Cost, body, form, "amount"),)


def hold(state: ItemState, form: Form, bench: BenchState) -> tuple[Draft, ...]:
    """What it is held for: ``aim``, ``asked``, ``value_now``, ``place``, ``wanted``, ``note``.

    Raises:
        Refusal: an amount that cannot be read, or a want that is not there.
    """
    unit = currency_of(state, bench)
    asked, unit = _money(form, "asked", unit)
    value, unit = _money(form, "value_now", unit)
    u, unit = _money(form, "value_u", unit)
    wanted = form.get("wanted", "")
    if wanted and wanted not in bench.wants:
        raise refused(form, "wanted", "there is no such want; it may have been set aside meanwhile")
    body = {
        "aim": form.get("aim", ""), "asked": asked and plain(asked), "currency": unit,
        "value_now": None if value is None else plain(value), "value_u": u and plain(u),
        "wanted": wanted, "place": clean(form.get("place", ""), 120),
        "note": clean(form.get("note", ""), _NOTE),
    }  # fmt: skip
    return (_draft(state, "holding.set", Holding, body, form, "asked"),)


def sell(state: ItemState, form: Form, bench: BenchState) -> tuple[Draft, ...]:
    """The item sold: ``price``, ``fees`` (an amount or per cent), ``on``, ``to``, ``note``.

    Raises:
        Refusal: no price, or one in another currency.
    """
    price, unit = _money(form, "price", currency_of(state, bench))
    if price is None:
        raise refused(form, "price", "say what it sold for; 0 where it was given away")
    fees = None
    if text := form.get("fees", "").strip():
        try:
            fees = fee_of(text, price, sale_cells.decimal_sign([text]), unit)
        except typed.Unreadable as error:
            raise refused(form, "fees", for_page(error)) from error
    body = {"price": plain(price), "currency": unit, "on": _on(form, "on"),
            "fees": None if fees is None else plain(fees), "to": clean(form.get("to", ""), 120),
            "note": clean(form.get("note", ""), _NOTE)}  # fmt: skip
    return (_draft(state, "item.sold", Sold, body, form, "price"),)


def note_mishap(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Something that went wrong: ``what``, ``place`` (a wrap, or empty for the whole), ``day``.

    Raises:
        Refusal: no words.
    """
    place = read_places(state, form, field="place", otherwise="item")[0]
    body = {"id": f"mishap-{state.version + 1}", "what": clean(form.get("what", ""), _NOTE),
            "place": place, "day": _on(form, "day"),
            "done_about": clean(form.get("done_about", ""), _NOTE)}  # fmt: skip
    return (_draft(state, "mishap.noted", Mishap, body, form, "what"),)


def set_aside(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Set a cost, time, mishap or sale aside: ``id``; it stays in the journal.

    Raises:
        Refusal: no such record.
    """
    key = form.get("id", "")
    if not any(key in held for held in (state.costs, state.times, state.mishaps, state.sold)):
        raise refused(form, "id", "there is no such record; it may have been set aside meanwhile")
    return (Draft(state.id, "record.retracted", to_body(Retract(key))),)


def _draft(
    state: ItemState, kind: str, noun: type, body: Mapping[str, object], form: Form, field: str
) -> Draft:
    given = {name: value for name, value in body.items() if value is not None}
    try:
        made: object = from_body(noun, given)
    except ValueError as error:
        raise refused(form, field, f"{error}".removeprefix(f"{noun.__name__}: ")) from error
    return Draft(state.id, kind, to_body(made))


def time_from_steps(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Take the minutes of done steps over as work, a record each; steps taken before are left.

    Raises:
        Refusal: there is nothing to take over.
    """
    taken = {one.note.removeprefix("from ") for one in state.times.values()}
    steps = [
        one for one in state.steps.values()
        if one.state == "done" and one.minutes and one.id not in taken
    ]  # fmt: skip
    if form.get("step"):
        steps = [one for one in steps if one.id == form["step"]]
    if not steps:
        raise refused(
            form, "step", "there is no done step with minutes that was not taken over yet"
        )
    return tuple(
        Draft(state.id, "time.noted", to_body(_step_time(state, step, place)))
        for place, step in enumerate(steps)
    )


def _step_time(state: ItemState, step: Step, place: int) -> TimeSpent:
    wraps = len({one for one in step.places if one.startswith(("w", "c"))})
    return TimeSpent(f"time-{state.version + 1 + place}", step.kind, minutes=step.minutes,
                     wraps=wraps or None, who=step.who, note=f"from {step.id}")  # fmt: skip
