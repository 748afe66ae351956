"""A receiver typed on the page, and a few items, for tests of parcels."""

from __future__ import annotations

from dataclasses import replace

from quirewell.record.apply import noun_of
from quirewell.record.bench import BenchState
from quirewell.record.books import Service
from quirewell.record.nouns import Item, ItemState
from quirewell.stages import parcel_service as terms
from quirewell.stages import parcelling
from quirewell.stages.parcel_items import candidates, plan_text

TODAY = "2026-11-28"
STUDIO = {"name": "the service", "currency": "crowns"}


def item(id: str, title: str = "", year: str = "1936", **more) -> ItemState:
    return ItemState(id, 1, Item(title or id.capitalize(), year), **more)


def kept(bench: BenchState, command, **form: str) -> BenchState:
    """The bench after a command of the page."""
    for draft in command(bench, form):
        noun: Service = noun_of(draft.kind, draft.body)
        held = {key: one for key, one in bench.services.items() if key != noun.id}
        bench = replace(bench, version=bench.version + 1, services={**held, noun.id: noun})
    return bench


def begun(**more: str) -> tuple[BenchState, str]:
    bench = kept(BenchState(), terms.set_service, **STUDIO, **more)
    return bench, next(iter(bench.services))


def filler() -> tuple[BenchState, str]:
    """The hand case of two good items and a filler that opens the cheap tier."""
    bench, id = begun()
    bench = kept(bench, terms.set_tier, service=id, name="three or more", fee="25", minimum="3")
    bench = kept(bench, terms.set_tier, service=id, name="any number", fee="40")
    bench = kept(bench, terms.set_parcel, service=id, name="parcel", fixed="10")
    for name, back in (("annual", "160"), ("one", "160"), ("two", "117")):
        bench = kept(bench, terms.type_item, service=id, item=name, goes="yes", value_now="100",
                     low=back, likely=back, high=back)  # fmt: skip
    return bench, id


ITEMS = (item("annual"), item("one"), item("two"))


def planned(bench: BenchState, id: str, states=ITEMS):
    among = candidates(states, bench.services[id], bench, TODAY)
    text, items, _ = plan_text(bench.services[id], among, TODAY)
    return parcelling.ask({"plan": text}), items
