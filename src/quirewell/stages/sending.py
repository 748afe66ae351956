"""The send stage of one item: where it is in plans and parcels and why, what must be told, how to
pack it, and what came back."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import lru_cache
from typing import Any

from quirewell.record.bench import BenchState
from quirewell.record.books import Parcel, Plan
from quirewell.record.codec import from_body, to_body
from quirewell.record.dealing import Returned, Sold
from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState, Retract
from quirewell.stages import typed
from quirewell.stages.disclosure import age_words, must_tell, policy
from quirewell.stages.grading import METHOD as GRADE
from quirewell.stages.outlooking import CLIMATE
from quirewell.stages.parcel_keeping import late_words
from quirewell.stages.parcel_lists import PACKING, parcels_of
from quirewell.stages.parcels_view import came_back
from quirewell.stages.refusal import no
from quirewell.stages.working_rows import PLAN, STORE

Form = Mapping[str, str]
Command = Callable[[ItemState, dict[str, str]], tuple[Draft, ...]]
STORING = (
    "In its own sleeve on a stiff board, lying or upright without leaning, dark, away from heat, "
    "and where the air changes little. Look again after a month."
)


@dataclass(frozen=True, slots=True)
class SendView:
    """The item's own page of the send stage."""

    places: tuple[dict[str, str], ...]
    parcels: tuple[dict[str, str], ...]
    tell_service: tuple[str, ...]
    tell_buyer: tuple[str, ...]
    tell_age: str
    packing: tuple[str, ...]
    storing: tuple[str, ...]
    returned: tuple[dict[str, str], ...]
    sold: str
    estimate: str
    choices: tuple[tuple[str, str], ...]


def view(state: ItemState, bench: BenchState, today: str) -> SendView:
    """Everything the page says of one item."""
    mine = parcels_of(bench, state.id)
    done = [one.kind for one in state.steps.values() if one.state == "done"]
    own = bench.disclosure()
    table = policy(own.rows if own else "")
    return SendView(
        places(state.id, bench),
        tuple(
            {"id": parcel.id, "name": parcel.name, "state": parcel.state,
             "late": late_words(bench, parcel, today), "tracking": parcel.tracking,
             "tier": one.tier,
             "declared": "" if one.declared is None else
             f"{one.declared:.2f} {parcel.currency}".strip()}
            for parcel, one in mine
        ),
        must_tell(done, table, "service"), must_tell(done, table, "buyer"),
        age_words(own.checked_on if own else "", date.fromisoformat(today)),
        PACKING, _storing(state),
        tuple(
            {"id": one.id, "says": came_back(one), "note": one.note}
            for one in state.returned.values()
        ),
        _sold(state), _estimate(state),
        (("", "none of these"), *((parcel.id, f"{parcel.name}, {parcel.state}")
                                  for parcel, _ in mine)),
    )  # fmt: skip


def places(item: str, bench: BenchState) -> tuple[dict[str, str], ...]:
    """Where an item is in the newest plan of each receiver, and why."""
    newest: dict[str, Plan] = {one.service: one for one in bench.plans.values()}
    out = []
    for service, plan in newest.items():
        held = _lines(plan.run.drawing["told"], tuple(plan.items.items())).get(item)
        if held is None:
            continue
        name = bench.services[service].name if service in bench.services else "a receiver"
        out.append({"service": name, "day": plan.day, **held})
    return tuple(out)


@lru_cache(maxsize=8)
def _lines(told: str, items: tuple[tuple[str, str], ...]) -> dict[str, dict[str, str]]:
    """By item: short (the place in a word or two) and why, out of a plan's text."""
    data: dict[str, Any] = json.loads(told)
    ids, unit = dict(items), str(data["currency"])
    out = {}
    for row in data["assignments"]:
        when = "now" if not row["week"] else f"in {row['week']:g} weeks"
        gain = row["gain"]
        out[ids.get(row["item"], "")] = {
            "short": f"planned: {row['parcel']}", "goes": "yes",
            "where": f"{row['parcel']}, {when}; tier {row['tier']}, {row['way']}; to declare "
                     f"{row['declared']:.2f} {unit}",
            "why": f"It {row['says']} {unit}." if row["says"][-1:].isdigit() else
                   f"It {row['says'].rstrip('.')}.",
            "gain": f"{gain['value']:.2f} {unit} (90 %: {gain['low90']:.0f} to "
                    f"{gain['high90']:.0f})",
        }  # fmt: skip
    for row in data["not_sent"]:
        out[ids.get(row["item"], "")] = {
            "short": "stays, by the plan", "goes": "", "where": "not sent",
            "why": f"It {row['says'].rstrip('.')}.", "gain": "",
        }  # fmt: skip
    return out


def progress_words(state: ItemState, bench: BenchState | None) -> str:
    """Where the item stands in the send stage, in a word or two."""
    if "sold" in state.sold:
        return "sold"
    if bench is not None:
        mine = parcels_of(bench, state.id)
        if mine and mine[0][0].state != "back":
            return f"{mine[0][0].name}, {mine[0][0].state}"
    if state.returned:
        return f"came back: {came_back(list(state.returned.values())[-1])}"
    if bench is not None:
        if mine:
            return f"back with {mine[0][0].name}"
        planned = places(state.id, bench)
        if planned:
            return planned[-1]["short"]
    return "not planned yet"


def _storing(state: ItemState) -> tuple[str, ...]:
    """How to store it, and what its own store's climate says where that was logged."""
    run = state.newest_run(CLIMATE, STORE)
    if run is None:
        return (STORING,)
    value = {one.quantity: one.value for one in run.findings}
    mean_c, rh = value.get("climate.mean_c"), value.get("climate.mean_rh_pct")
    says = f"Where it lies now: {mean_c:.1f} °C and {rh:.0f} % on average, by its logger."
    cooler = value.get("climate.two_cooler")
    if cooler is not None:
        says += f" Two degrees cooler all the time would keep it about {cooler:.1f} times as long."
    damp = [line for line in run.warnings if line.startswith("Damp")]
    return (STORING, says, *damp)


def _sold(state: ItemState) -> str:
    held = state.sold.get("sold")
    if held is None:
        return ""
    fees = "" if held.fees is None else f", fees {held.fees:.2f}"
    return f"{held.price:.2f} {held.currency}".strip() + fees + (f", on {held.on}" * bool(held.on))


def _estimate(state: ItemState) -> str:
    run = state.newest_run(GRADE, PLAN)
    found = next((one for one in run.findings if one.quantity == "condition.grade"), None) if (
        run) else None  # fmt: skip
    if found is None or found.value is None:
        return ""
    return f"{found.value:.1f} ({found.low90:.1f} to {found.high90:.1f})"


# --- commands -------------------------------------------------------------------------------


def returned(bench: BenchState) -> Command:
    """The command that keeps a grade that came back: ``grade`` or ``words``, ``on``, ``parcel``."""

    def command(state: ItemState, form: dict[str, str]) -> tuple[Draft, ...]:
        grade = _number(form, "grade")
        words, on = form.get("words", "").strip(), form.get("on", "").strip()
        if grade is None and not words:
            raise no(form, "grade", "Give the grade that came back, as a number, in words or both.")
        parcel = bench.parcels.get(form.get("parcel", ""))
        if form.get("parcel") and parcel is None:
            raise no(form, "parcel", "That parcel was set aside; choose another or none.")
        run = ""
        if parcel is not None:
            run = next((one.run for one in parcel.entries if one.item == state.id), "")
        if not run and (held := state.newest_run(GRADE, PLAN)) is not None:
            run = held.id
        old = form.get("id", "")
        try:
            noun = Returned(
                old if old in state.returned else f"returned-{state.version + 1}", grade, words,
                on, parcel.service if parcel else "", parcel.id if parcel else "", run,
                form.get("note", "").strip(),
            )  # fmt: skip
        except ValueError as error:
            field = "on" if "day" in str(error) else "grade"
            raise no(form, field, f"{error}"[:1].upper() + f"{error}"[1:] + ".") from error
        _in_order(parcel, on, form)
        return (_draft(state, "grade.returned", noun),)

    return command


def _in_order(parcel: Parcel | None, on: str, form: Form) -> None:
    if parcel is None or not on or not parcel.sent_on:
        return
    if date.fromisoformat(on) < date.fromisoformat(parcel.sent_on):
        says = (
            f"It cannot come back on {on}: {parcel.name} was sent on {parcel.sent_on}; which day "
            "is wrong?"
        )
        raise no(form, "on", says)


def sold(state: ItemState, form: dict[str, str]) -> tuple[Draft, ...]:
    """Keep that it was sold: ``price`` before fees, ``fees``, ``currency``, ``on``, ``to``.

    Raises:
        Refusal: no price, or an amount or day that cannot be.
    """
    price = _number(form, "price")
    if price is None:
        raise no(form, "price", "Give the price before fees.")
    texts = {name: form.get(name, "").strip() for name in ("currency", "on", "to", "note")}
    try:
        noun = Sold(price, texts["currency"], texts["on"], _number(form, "fees"), texts["to"],
                    texts["note"])  # fmt: skip
    except ValueError as error:
        says = str(error)
        field = "on" if "day" in says else "fees" if says.startswith("fees") else "price"
        says = says.replace("fees lies", "fees lie")
        raise no(form, field, f"{says[:1].upper()}{says[1:]}.") from error
    return (_draft(state, "item.sold", noun),)


def aside(state: ItemState, form: dict[str, str]) -> tuple[Draft, ...]:
    """Set a returned grade or the sale aside; it stays in the journal.

    Raises:
        Refusal: there is none.
    """
    id = form.get("id", "")
    if id not in {**state.returned, **state.sold}:
        raise no(form, "id", "That record is already set aside.")
    return (_draft(state, "record.retracted", Retract(id)),)


def _draft(state: ItemState, kind: str, noun: Any) -> Draft:
    body = to_body(noun)
    from_body(type(noun), body)
    return Draft(state.id, kind, body)


def _number(form: Form, name: str) -> Decimal | None:
    text = form.get(name, "").strip()
    if not text:
        return None
    try:
        return typed.number(text)
    except typed.Unreadable as error:
        raise no(form, name, f"{error}.") from error
