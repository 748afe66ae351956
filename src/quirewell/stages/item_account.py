"""An item's money as a page shows it: the account, what went in, what it is held for."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from quirewell.record.bench import BenchState
from quirewell.record.dealing import Cost, Holding, Mishap, Sold
from quirewell.record.finding import Finding, Run
from quirewell.record.nouns import ItemState
from quirewell.stages.accounting import METHOD
from quirewell.stages.books import copies
from quirewell.stages.item_money import currency_of
from quirewell.stages.methods import run_method
from quirewell.stages.naming import place_words
from quirewell.stages.own_sales import plain, rates_of
from quirewell.stages.step_table import STEP_KINDS
from quirewell.stages.time_spent import TimeView, seconds_of, time_view
from quirewell.stages.worthing import METHOD as WORTH


@dataclass(frozen=True, slots=True)
class Line:
    """A record in words, with its amount or time where it has one."""

    id: str
    says: str
    amount: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class MoneyView:
    """An item's money as a page shows it; ``records`` are those the account is added up from."""

    currency: str
    account: Run
    lines: tuple[Line, ...]
    figures: Mapping[str, str]
    says: str
    band_says: str
    costs: tuple[Line, ...]
    time: TimeView
    mishaps: tuple[Line, ...]
    holding: Holding
    aim_says: str
    sold: Line | None
    steps_say: str
    records: tuple[str, ...] = ()


def currencies_of(state: ItemState) -> tuple[str, ...]:
    """Every currency an item's own money is noted in."""
    held = [one.currency for one in state.costs.values()]
    held += [one.currency for one in state.sold.values()]
    return tuple(dict.fromkeys(filter(None, held)))


def account_params(state: ItemState, bench: BenchState) -> dict[str, str]:
    """What is known of an item's money as parameters of ``item.account``."""
    rates = rates_of(bench)
    out = {"currency": currency_of(state, bench)}
    if currencies_of(state)[1:]:
        return out
    table = io.StringIO()
    writer = csv.writer(table, lineterminator="\n")
    writer.writerow(("kind", "amount"))
    for one in state.costs.values():
        writer.writerow((one.kind, plain(one.amount)))
    if state.costs:
        out["costs"] = table.getvalue()
    seconds = sum((seconds_of(one) for one in state.times.values()), Decimal(0))
    if seconds:
        out["minutes"] = plain((seconds / 60).quantize(Decimal("0.0001")).normalize())
    same = not rates.currency or rates.currency == out["currency"]
    if rates.hour is not None and same:
        out["hourly"] = plain(rates.hour)
    if rates.overhead_pct is not None:
        out["overhead_pct"] = plain(rates.overhead_pct)
    return {name: text for name, text in (out | _price(state, rates.sale_fee_pct)).items() if text}


def _price(state: ItemState, fee_pct: Decimal | None) -> dict[str, str]:
    sold = state.sold.get("sold")
    if sold is not None:
        fees = sold.fees if sold.fees is not None else None
        return {"price": plain(sold.price), "price_is": "sold",
                "fee": "" if fees is None else plain(fees)}  # fmt: skip
    held, share = state.holdings.get("holding"), "" if fee_pct is None else plain(fee_pct)
    if held is not None and held.asked is not None:
        return {"price": plain(held.asked), "price_is": "asked", "fee_pct": share}
    run = state.newest_run(WORTH, "item")
    found = {one.quantity: one.value for one in run.findings} if run is not None else {}
    mean = found.get("worth.mean")
    if run is None or mean is None:
        return {"fee_pct": share}
    out = {"price": f"{mean:.2f}", "price_is": "likely", "fee_pct": share}
    for band, level in (("interval", run.drawing.get("level", "")), ("typed", "0.9")):
        low, high = found.get(f"worth.{band}_low"), found.get(f"worth.{band}_high")
        if low is not None and high is not None and level:
            return out | {"low": f"{low:.2f}", "high": f"{high:.2f}", "level": level}
    return out


def money_view(state: ItemState, bench: BenchState) -> MoneyView:
    """An item's money: what it cost, what came of it, what it is held for."""
    run = run_method(METHOD, "item", {}, params=account_params(state, bench))
    by = {one.quantity: one for one in run.findings}
    unit = currency_of(state, bench)
    lines = tuple(
        Line("", one.subject, one.text) for one in run.findings if one.quantity == "account.line"
    )
    held = state.holdings.get("holding") or Holding()
    sold = state.sold.get("sold")
    return MoneyView(
        unit, run, lines, {key.removeprefix("account."): one.text for key, one in by.items()},
        _says(by, unit, state),
        _of_ten(by["account.profit_low"]) if "account.profit_low" in by else "",
        tuple(_cost_line(one) for one in state.costs.values()),
        time_view(state),
        tuple(_mishap_line(one) for one in state.mishaps.values()),
        held, held_says(state, bench),
        None if sold is None else Line("sold", _sold_says(sold), f"{sold.price:f}", sold.note),
        _steps_say(state), _records(state),
    )  # fmt: skip


def _records(state: ItemState) -> tuple[str, ...]:
    """Ids of what the account is added up from: costs, time, and what it sold or is held for."""
    price: list[str] = list(state.sold) or [
        key for key, one in state.holdings.items() if one.asked is not None
    ]
    run = None if price else state.newest_run(WORTH, "item")
    return (*state.costs, *state.times, *price, *([f"run:{run.id}"] if run is not None else ()))


def _says(by: Mapping[str, Finding], unit: str, state: ItemState) -> str:
    several = currencies_of(state)
    if several[1:]:
        return (
            f"Its money is noted in {' and '.join(several)} and is not added up; note it in one "
            "currency, turned at the rate of the day."
        )

    def text(key: str) -> str:
        return f"{by[f'account.{key}'].text} {unit}".strip()

    profit = by.get("account.profit")
    if profit is None:
        if not by["account.spent"].value:
            return "Nothing is noted of what it cost yet; what was paid for it comes first."
        return (
            f"It cost {text('spent')} so far; sold for less than {text('break_even')} it would "
            "lose money."
            if "account.break_even" in by
            else f"It cost {text('spent')} so far."
        )
    value = profit.value or 0.0
    word = "leaves" if value > 0 else "loses" if value < 0 else "leaves nothing:"
    amount = f"{abs(value):.2f} {unit}".strip()
    if profit.u is None:  # at a likely price: no more figures than a guess has
        low, high = by.get("account.profit_low"), by.get("account.profit_high")
        amount = f"about {abs(value):.0f} {unit}".strip()
        band = (
            ", with no band: too few sales"
            if low is None or high is None
            else (f" ({low.value:.0f} to {high.value:.0f} {_of_ten(low)})")
        )
        return f"{_capital(profit.note)} it {word} {amount}{band}."
    sold = state.sold.get("sold")
    more = " The fees of the sale are not noted." if sold and sold.fees is None else ""
    return f"{_capital(profit.note)} it {word} {amount}.{more}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _of_ten(end: Finding) -> str:
    return "for nine sales of ten" if end.note.endswith("90 %") else "for eight sales of ten"


def _cost_line(one: Cost) -> Line:
    says = f"{one.kind}, {one.day}" if one.day else one.kind
    return Line(one.id, says, f"{one.amount:f} {one.currency}".strip(), one.note)


def doing_words(doing: str) -> str:
    """A kind of step in words, anything else as it was typed."""
    kind = STEP_KINDS.get(doing)
    return kind.name if kind else doing


def duration(minutes: Decimal) -> str:
    """Minutes in words.

    >>> duration(Decimal("95.4")), duration(Decimal("12.5"))
    ('1 h 35 min', '12.5 min')
    """
    if minutes < 60:
        return f"{minutes.normalize():f} min"
    whole = int(minutes.to_integral_value())
    return f"{whole // 60} h {whole % 60} min" if whole % 60 else f"{whole // 60} h"


def _mishap_line(one: Mishap) -> Line:
    where = "" if one.place == "item" else f", {place_words(one.place)}"
    return Line(one.id, f"{one.what}{where}", one.day, one.done_about)


def _sold_says(sold: Sold) -> str:
    parts = [f"sold for {sold.price:f} {sold.currency}".strip()]
    parts += [f"on {sold.on}"] if sold.on else []
    parts += [f"fees {sold.fees:f}"] if sold.fees is not None else []
    parts += [f"to {sold.to}"] if sold.to else []
    return ", ".join(parts)


def held_says(state: ItemState, bench: BenchState) -> str:
    """What an item is held for, in a sentence; empty where nothing is said."""
    if "sold" in state.sold:
        return f"It is {_sold_says(state.sold['sold'])}."
    held = state.holdings.get("holding")
    stands = [one for one in bench.wants.values() if one.item == state.id and not one.met]
    if stands:
        return f"It stands in for a wanted copy of {stands[0].title} until a better one turns up."
    wanted = [one for one in bench.wants.values() if not one.met and copies((state,), one)]
    also = ""
    if wanted:
        least = "" if wanted[0].grade_from is None else f" from grade {wanted[0].grade_from:f} on"
        also = f"A copy of {wanted[0].title} is wanted{least}: see the wants."
    if held is None or not held.aim:
        return also
    says = {
        "keep": "It is to keep", "sell": "It is to sell",
        "stand-in": "It is kept until a better one turns up", "a client's": "It is a client's",
    }[held.aim]  # fmt: skip
    asked = f", asked {held.asked:f} {held.currency}".rstrip() if held.asked is not None else ""
    return f"{says}{asked}. {also}".strip()


def _steps_say(state: ItemState) -> str:
    """Minutes that steps took, which are the paper's time and not yet work."""
    timed = [one for one in state.steps.values() if one.state == "done" and one.minutes]
    if not timed:
        return ""
    total = sum((one.minutes or Decimal(0) for one in timed), Decimal(0))
    return (
        f"Steps recorded {duration(total)} in all. That is how long each lasted, not how long you "
        "worked: take over what was work."
    )
