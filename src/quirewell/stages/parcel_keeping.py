"""Plans and parcels kept in the books: a plan as worked out, its parcels made, sent and back."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any, Literal, cast, get_args

from quirewell.record.bench import BenchState
from quirewell.record.books import Parcel, Plan, Sent
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.finding import Run
from quirewell.record.nouns import ItemState, Retract
from quirewell.stages import typed
from quirewell.stages.grading import METHOD as GRADE
from quirewell.stages.parcel_items import names_of, parcels_by_item
from quirewell.stages.parcel_service import STREAM, rows_of
from quirewell.stages.refusal import no
from quirewell.stages.working_rows import PLAN

Form = Mapping[str, str]
State = Literal["packing", "on its way", "arrived", "coming back", "back"]
STATES: tuple[str, ...] = get_args(State)
CENT = Decimal("0.01")


def keep_plan(
    bench: BenchState, run: Run, service: str, items: Mapping[str, str], day: str, note: str = ""
) -> tuple[Draft, ...]:
    """Keep a plan as it was worked out."""
    held = Plan(f"plan-{bench.version + 1}", run, service, day, note, dict(items))
    return (Draft(STREAM, "parcels.planned", to_body(held)),)


def told_of(plan: Plan) -> dict[str, Any]:
    """A plan as plain data, as the page and the command line read it."""
    held: dict[str, Any] = json.loads(plan.run.drawing["told"])
    return held


def make_parcel(bench: BenchState, form: Form, states: Iterable[ItemState]) -> tuple[Draft, ...]:
    """Make a parcel as a ``plan`` says (``parcel``, its name there), or by hand: ``name`` and
    ``items`` (ids with spaces between).

    Raises:
        Refusal: no such plan, nothing in it, or an item that is in another open parcel.
    """
    by_id = {state.id: state for state in states}
    id = f"parcel-{bench.version + 1}"
    if form.get("plan"):
        plan = bench.plans.get(form["plan"])
        told = told_of(plan) if plan is not None else {"assignments": []}
        mine = [row for row in told["assignments"] if row["parcel"] == form.get("parcel", "")]
        if plan is None or not mine:
            raise no(form, "parcel", "That plan has no such parcel; work the plan out again.")
        entries = tuple(
            Sent(plan.items.get(row["item"], row["item"]), row["tier"],
                 Decimal(str(row["declared"])).quantize(CENT))
            for row in mine
        )  # fmt: skip
        held = Parcel(
            id, _free(bench, form["parcel"]), entries, plan.service, plan.id,
            insured=sum((one.declared or Decimal(0) for one in entries), Decimal(0)),
            currency=str(told["currency"]),
        )  # fmt: skip
    else:
        name = form.get("name", "").strip()
        if not name:
            raise no(form, "name", "Give the parcel a name.")
        chosen = tuple(dict.fromkeys(form.get("items", "").split()))
        if not chosen:
            raise no(form, "items", "Choose at least one item for it.")
        held = Parcel(id, name, tuple(Sent(item) for item in chosen), form.get("service", ""))
    _check_entries(bench, held, by_id, form)
    entries = tuple(
        replace(one, run=run.id) if (run := by_id[one.item].newest_run(GRADE, PLAN)) else one
        for one in held.entries
    )
    return (Draft(STREAM, "parcel.kept", to_body(replace(held, entries=entries))),)


def _free(bench: BenchState, name: str) -> str:
    """A name no parcel made before bears: the name itself, or with a count behind it."""
    taken = {one.name for one in bench.parcels.values()}
    tries = (f"{name} ({count})" for count in range(2, len(taken) + 3))
    return next(one for one in (name, *tries) if one not in taken)


def planned_name(parcel: Parcel) -> str:
    """What a parcel made is called in its plan, the count behind its name taken off."""
    return re.sub(r" \(\d+\)$", "", parcel.name)


def _check_entries(
    bench: BenchState, parcel: Parcel, by_id: Mapping[str, ItemState], form: Form
) -> None:
    away, names = parcels_by_item(bench), names_of(by_id.values())
    for one in parcel.entries:
        if one.item not in by_id:
            raise no(form, "items", f"There is no item {one.item!r} in this studio.")
        other = away.get(one.item)
        if other is not None and other.id != parcel.id:
            says = (
                f"{names[one.item]} is already in {other.name}, which is not back; take "
                "it out there first."
            )
            raise no(form, "items", says)


def change_parcel(bench: BenchState, form: Form, today: str) -> tuple[Draft, ...]:
    """Say where a parcel is: ``state``, days, tracking, what it was insured for and what it cost;
    ``out`` takes one item out of it before it is sent.

    A parcel said to be on its way, or back, without a day takes today's.

    Raises:
        Refusal: a day or amount that cannot be, or one that is back before it was sent.
    """
    old = _parcel(bench, form)
    if form.get("out"):
        if old.state != "packing":
            raise no(form, "out", "This parcel has been sent; what was in it stays written.")
        left = tuple(one for one in old.entries if one.item != form["out"])
        return (Draft(STREAM, "parcel.kept", to_body(replace(old, entries=left))),)
    state = form.get("state", old.state)
    if state not in STATES:
        raise no(form, "state", f"A parcel is {', '.join(STATES)}; got {state!r}.")
    sent_on, back_on = form.get("sent_on", "").strip(), form.get("back_on", "").strip()
    if state != "packing" and not sent_on:
        sent_on = old.sent_on or ("" if state == "back" else today)
    if state == "back" and not back_on:
        back_on = old.back_on or today
    if back_on and state != "back":
        raise no(form, "back_on", "It has a day on which it came back: say that it is back.")
    try:
        new = replace(
            old, state=cast(State, state), sent_on=sent_on, back_on=back_on,
            tracking=form.get("tracking", "").strip(), note=form.get("note", "").strip(),
            insured=_money(form, "insured"), cost=_money(form, "cost"),
        )  # fmt: skip
    except ValueError as error:
        says = f"{error}"
        field = "back_on" if "came back" in says else "sent_on" if "sent" in says else "insured"
        raise no(form, field, f"{says[:1].upper()}{says[1:]}.") from error
    if sent_on and back_on and date.fromisoformat(back_on) < date.fromisoformat(sent_on):
        says = f"It cannot be back on {back_on} when it was sent on {sent_on}; which day is wrong?"
        raise no(form, "back_on", says)
    return (Draft(STREAM, "parcel.kept", to_body(new)),)


def aside(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """Set a plan, a parcel or a receiver aside; it stays in the journal.

    Raises:
        Refusal: there is none of that id.
    """
    id = form.get("id", "")
    if id not in {**bench.plans, **bench.parcels, **bench.services}:
        raise no(form, "id", "There is no such record; it may have been set aside meanwhile.")
    return (Draft(STREAM, "record.retracted", to_body(Retract(id))),)


# --- how long it takes ----------------------------------------------------------------------


def due(bench: BenchState, parcel: Parcel) -> str:
    """The day a parcel should be back, by the slowest tier in it; empty where that is not known."""
    service = bench.services.get(parcel.service)
    if not parcel.sent_on or service is None:
        return ""
    weeks = {str(row.get("name")): row.get("weeks") for row in rows_of(service, "tier")}
    held = [weeks.get(one.tier) for one in parcel.entries]
    known = [Decimal(str(one)) for one in held if one is not None]
    if not known or len(known) < len(held):
        return ""
    days = int(-(-max(known) * 7 // 1))
    return date.fromordinal(date.fromisoformat(parcel.sent_on).toordinal() + days).isoformat()


def late_words(bench: BenchState, parcel: Parcel, today: str) -> str:
    """How a parcel keeps to its time, in words."""
    if parcel.state == "packing":
        return "not sent yet"
    if not parcel.sent_on:
        return "the day it was sent is not known"
    expected = due(bench, parcel)
    if not expected:
        return f"sent on {parcel.sent_on}; how long its tiers take is not known"
    end = parcel.back_on or today
    days = (date.fromisoformat(end) - date.fromisoformat(expected)).days
    if parcel.state == "back":
        if days > 0:
            return f"back on {end}, {_days(days)} later than its tiers said"
        when = f"{_days(-days)} before" if days else "on the day"
        return f"back on {end}, {when} its tiers said"
    if days > 0:
        return f"was due back on {expected}: {_days(days)} late"
    return f"due back about {expected}, in {_days(-days)}" if days else "due back today"


def _days(count: int) -> str:
    return f"{count} day{'' if count == 1 else 's'}"


def _parcel(bench: BenchState, form: Form) -> Parcel:
    held = bench.parcels.get(form.get("id", ""))
    if held is None:
        raise no(form, "id", "There is no such parcel; it may have been set aside meanwhile.")
    return held


def _money(form: Form, name: str) -> Decimal | None:
    text = form.get(name, "").strip()
    if not text:
        return None
    try:
        return typed.number(text)
    except typed.Unreadable as error:
        raise no(form, name, f"{error}.") from error
