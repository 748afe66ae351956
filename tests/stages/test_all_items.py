"""What a look over all items says when it reads only its part, held against reading everything."""

from __future__ import annotations

import importlib
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from quirewell.record.codec import to_body
from quirewell.record.dealing import Sold, TimeSpent
from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState, Lot, Step
from quirewell.stages import all_items, books, memory, stock
from quirewell.stages.clients import clients_view
from quirewell.stages.decisions import decisions
from quirewell.stages.item_entry import look_items
from quirewell.stages.methods import run_method
from quirewell.stages.parcel_items import names_of
from quirewell.stages.returns_view import returns_view
from quirewell.stages.today import lying_wet
from quirewell.studio.studio import STUDIO, Studio
from quirewell.web.show_hide import hidden_of, sums_in
from quirewell.web.show_mode import hidden_now

HERE = Path(__file__).parent
DAY = date(2031, 4, 2)


@pytest.fixture(scope="module")
def grown(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    """A studio of years, small: every kind of record that the benchmark of growth makes."""
    folder = tmp_path_factory.mktemp("grown") / "studio"
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(HERE.parents[1] / "benchmarks"))
        importlib.import_module("growth_studio").make(folder, 24, 4)
    with Studio.open(folder) as studio:
        wet = Step("wet", "wash", ("w01",), "done", started_at="2031-01-01T10:00Z",
                   done_at="2031-01-01T11:00Z", lots=(Lot("paste", "A1", "5 g"),))  # fmt: skip
        studio.append("item-00007", None, [Draft("item-00007", "step.done", to_body(wet))])
        yield studio


def full_of(studio: Studio) -> list[ItemState]:
    return [studio.state(line.id) for line in studio.items()]


def remembered(states: list[ItemState], studio: Studio) -> object:
    return run_method(
        memory.METHOD, "bench", {}, params=memory.table_params(states, studio.bench())
    )


@pytest.mark.parametrize(
    "name",
    ["CLIENTS", "COSTS", "DECISIONS", "HIDDEN", "INVOICES", "MEMORY", "MISHAPS", "PARCELS", "PLAN",
     "RETURNS", "RUNS", "STOCK"],
)  # fmt: skip
def test_a_slice_holds_what_the_whole_item_holds(grown: Studio, name: str) -> None:
    wanted = getattr(all_items, name)
    for part, whole in zip(grown.states(*wanted), full_of(grown), strict=True):
        assert (part.id, part.version, part.item) == (whole.id, whole.version, whole.item)
        for one in wanted:
            collection, _, method = one.partition(":")
            held = getattr(whole, collection)
            if method:
                held = {key: run for key, run in held.items() if run.method == method}
            assert getattr(part, collection) == held
        assert part.touched.items() <= whole.touched.items()


VIEWS: dict[str, tuple[tuple[str, ...], Callable[[list[ItemState], Studio], Any]]] = {
    "clients": (all_items.CLIENTS, lambda some, at: clients_view(at.bench(), some)),
    "decisions": (all_items.DECISIONS, lambda some, at: decisions(some)),
    "returns": (all_items.RETURNS, lambda some, at: returns_view(some, at.bench())),
    "names in a plan": (all_items.PLAN, lambda some, at: names_of(some)),
    "a collection that comes in": (
        all_items.COSTS,
        lambda some, at: look_items("title,paid\nTansy Reader No. 9,3\n", {}, some, DAY),
    ),
}


@pytest.mark.parametrize("name", VIEWS)
def test_a_view_says_the_same_of_the_slice(grown: Studio, name: str) -> None:
    wanted, view = VIEWS[name]
    assert view(grown.states(*wanted), grown) == view(full_of(grown), grown)


def test_what_lies_wet_and_what_was_used_is_that_of_all_items(grown: Studio) -> None:
    full = full_of(grown)
    used = all_items.materials_used(grown)
    assert used == [row for state in full for row in stock.used_in(state)] != []
    at_hand = all_items.items_at_hand(grown, grown.bench())
    now = datetime(2031, 1, 2, tzinfo=UTC)
    assert lying_wet(at_hand, now) == lying_wet(full, now) != ()
    assert [state.id for state in at_hand] == [
        state.id for state in full if state.id in {one.id for one in at_hand}
    ]


def test_the_memory_is_that_of_all_items_after_each_save_and_each_new_rate(grown: Studio) -> None:
    assert memory.memory_run(grown) == remembered(full_of(grown), grown)
    item = "item-00002"
    for noun, kind in (
        (TimeSpent("late", "mend", minutes=Decimal(45), wraps=9), "time.noted"),
        (Sold(Decimal(90), "GBP", "2031-01-03", Decimal(3)), "item.sold"),
    ):
        grown.append(item, None, [Draft(item, kind, to_body(noun))])
        assert memory.memory_run(grown) == remembered(full_of(grown), grown)
    before = memory.memory_run(grown).params.get("profit")
    drafts = books.set_rates(grown.bench(), {"currency": "GBP", "hour": "20", "overhead_pct": "50"})
    grown.append(STUDIO, None, drafts)
    assert memory.memory_run(grown) == remembered(full_of(grown), grown)
    assert memory.memory_run(grown).params.get("profit") != before


def test_show_mode_hides_what_all_records_hold(grown: Studio) -> None:
    full = full_of(grown)
    runs = [run for state in full for run in state.runs.values()]
    assert runs
    assert hidden_now(grown) == hidden_of(full, grown.bench(), lambda units: sums_in(runs, units))


def test_tables_are_as_the_journal_makes_them_after_all_this(grown: Studio) -> None:
    assert grown.rebuild_differs() == []
