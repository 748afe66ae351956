"""The Annual's companions: from noted damage to a table of decisions to three parcels.

Tiers, fees and days are made up; the receiver does not exist.
"""

from __future__ import annotations

from quirewell.demo.bench import Bench
from quirewell.demo.companions import COMPANIONS, CURRENCY, Companion
from quirewell.demo.story import ACTOR
from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState
from quirewell.stages import item_money, noting, overview
from quirewell.stages import parcel_service as terms
from quirewell.stages.grade_entry import damage_table
from quirewell.stages.methods import run_method
from quirewell.stages.parcel_items import candidates, plan_text
from quirewell.stages.parcel_keeping import keep_plan, make_parcel
from quirewell.stages.parcelling import METHOD
from quirewell.stages.weigh_begin import weigh_begins
from quirewell.stages.weigh_entry import keep_weighing
from quirewell.stages.working import keep_form
from quirewell.studio.studio import STUDIO

OPENED, WEIGHED, PLANNED = "2026-03-28T10:00", "2026-03-28T16:00", "2026-03-29T10:00"
TIERS = (
    {"name": "patient", "fee": "18", "ceiling": "150", "minimum": "3", "to_year": "1975",
     "weeks": "20"},
    {"name": "plain", "fee": "34", "ceiling": "400", "weeks": "12"},
    {"name": "swift", "fee": "75", "weeks": "4"},
)  # fmt: skip
PARCELS = tuple(
    {"name": f"parcel {number}", "when": week, "fixed": "6", "per_item": "1.50",
     "insurance_pct": "0.6", "cap": "900"}
    for number, week in enumerate(("0", "4", "10"), 1)
)  # fmt: skip


def fill(bench: Bench) -> None:
    """Open the companions, note their damage, weigh each, plan their parcels, make the first."""
    bench.clock.set(OPENED)
    ids = [_open(bench, one) for one in COMPANIONS]
    bench.clock.set(WEIGHED)
    _terms(bench, ids)
    for item in ids:
        _weigh(bench, item)
    bench.clock.set(PLANNED)
    _plan(bench)


def _open(bench: Bench, one: Companion) -> str:
    studio = bench.studio
    item = studio.new_id(f"{one.title} {one.year}")
    form = {"title": one.title, "year": str(one.year), "form": "stapled, nested wraps",
            "paper": "groundwood newsprint"}  # fmt: skip
    studio.append(item, 0, overview.open_item(item, form), ACTOR)
    for defect in one.defects():
        _save(bench, item, noting.note_defect(studio.state(item), {**defect, "moment": "before"}))
    state, held = studio.state(item), studio.bench()
    bought = {"kind": "bought", "amount": one.paid}
    _save(bench, item, item_money.note_cost(state, bought, held))
    kept = {"aim": "sell", "value_now": one.value_now, "place": "the second shelf"}
    _save(bench, item, item_money.hold(studio.state(item), kept, held))
    return item


def _weigh(bench: Bench, item: str) -> None:
    studio = bench.studio
    graded = {"working": "grade", "defects": damage_table(studio.state(item))}
    _save(bench, item, keep_form(studio.state(item), graded))
    begun = weigh_begins(studio.state(item), studio.bench())
    _save(bench, item, keep_weighing(studio.state(item), begun))


def _terms(bench: Bench, ids: list[str]) -> None:
    _keep(bench, terms.set_service(bench.studio.bench(), {
        "name": "the service", "currency": CURRENCY, "wait_pct": "0.4", "hours": "12",
        "wait_for": "2", "checked_on": PLANNED[:10],
    }))  # fmt: skip
    service = next(iter(bench.studio.bench().services))
    for row in TIERS:
        _keep(bench, terms.set_tier(bench.studio.bench(), {**row, "service": service}))
    for row in PARCELS:
        _keep(bench, terms.set_parcel(bench.studio.bench(), {**row, "service": service}))
    for item, one in zip(ids, COMPANIONS, strict=True):
        if one.ready:
            form = {"service": service, "item": item, "ready": str(one.ready)}
            _keep(bench, terms.type_item(bench.studio.bench(), form))


def _plan(bench: Bench) -> None:
    studio, day = bench.studio, PLANNED[:10]
    held, states = studio.bench(), _states(bench)
    service = next(iter(held.services.values()))
    text, items, _ = plan_text(service, candidates(states, service, held, day), day)
    run = run_method(METHOD, "plan", {}, (), {"plan": text})
    _keep(bench, keep_plan(held, run, service.id, items, day))
    plan = next(iter(studio.bench().plans))
    form = {"plan": plan, "parcel": PARCELS[0]["name"]}
    _keep(bench, make_parcel(studio.bench(), form, states))


def _states(bench: Bench) -> list[ItemState]:
    return [bench.studio.state(entry.id) for entry in bench.studio.items()]


def _save(bench: Bench, item: str, drafts: tuple[Draft, ...]) -> None:
    bench.studio.append(item, bench.studio.state(item).version, drafts, ACTOR)


def _keep(bench: Bench, drafts: tuple[Draft, ...]) -> None:
    bench.studio.append(STUDIO, None, drafts, ACTOR)
