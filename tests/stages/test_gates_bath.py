"""A bath's ledger goes on by the record, says when to replace it, and lots past their day ask."""

from datetime import UTC, datetime
from decimal import Decimal

import pytest

from folding import Bench, annual, ready
from quirewell.record.bench import BenchState
from quirewell.record.books import StockLot
from quirewell.stages import treat
from quirewell.stages.bath_state import bath_state, pour_fresh
from quirewell.stages.gates import objections
from quirewell.stages.ledger_entry import keep_ledger
from quirewell.stages.lots_used import on_shelf, shelf_words
from quirewell.stages.methods import run_method
from quirewell.stages.refusal import Refusal
from quirewell.stages.step_table import STEP_KINDS
from quirewell.stages.stock import stock_view, used_in


def with_bath(litres: str = "0.3") -> tuple[Bench, str]:
    """The Annual before water, with a bath so small that it serves a few wraps only."""
    bench = ready(annual())
    test = {"place": "item", "colour": "black", "liquid": "lime water", "result": "no change"}
    bench.do(treat.record_spot_test(bench.state, test))
    bench.do(treat.mix_bath(bench.state, {"strength": "1:1", "litres": litres}))
    return bench, next(iter(bench.state.baths))


def through(bench: Bench, bath: str, places: str, minutes: str = "20", **form: str) -> None:
    given = {"kind": "lime-bath", "places": places, "bath": bath, "minutes": minutes, **form}
    bench.do(treat.start_step(bench.state, given))
    bench.do(treat.finish_step(bench.state, {"id": list(bench.state.steps)[-1]}))


def low_of(litres: str, lines: list[str]) -> int:
    """Where the band's low end lies, asked of the method itself."""
    params = {"strength": "0.5", "temperature_c": "20", "litres": litres, "leaf": "drained",
              "open": "no", "entries": ";".join(lines)}  # fmt: skip
    run = run_method("bath.ledger", "elsewhere", {}, params=params)
    return int(next(f.low90 for f in run.findings if f.quantity == "bath.replace_after_wrap"))


def test_the_ledger_goes_on_as_sheets_go_through() -> None:
    bench, bath = with_bath("5")
    assert bath_state(bench.state, bench.state.baths[bath]) is None
    bench.do(treat.record_reading(
        bench.state, {"quantity": "mass", "value": "5.1 g", "place": "w02", "moment": "before"}
    ))  # fmt: skip
    through(bench, bath, "w01 w02")
    run = bench.state.newest_run("bath.ledger", bath)
    assert run.params["entries"] == "wrap 4.7 g 20 min;wrap 5.1 g 20 min"
    through(bench, bath, "w03", "10")
    run = bench.state.newest_run("bath.ledger", bath)
    assert run.params["entries"].endswith("wrap 5.1 g 20 min;wrap 4.7 g 10 min")
    seen = bath_state(bench.state, bench.state.baths[bath])
    assert seen.wraps == 3 and not seen.now
    assert seen.change_low == low_of("5", run.params["entries"].split(";"))
    assert "low end of the band" in seen.says and str(seen.change_high) in seen.says


def test_what_a_person_kept_is_gone_on_from_and_never_counted_twice() -> None:
    bench, bath = with_bath("5")
    form = {"bath": bath, "entries": "wrap 9.9 g 7 min", "pickup_g_per_g": "2.1"}
    bench.do(treat.start_step(
        bench.state, {"kind": "lime-bath", "places": "w01", "bath": bath, "minutes": "7"}
    ))  # fmt: skip
    bench.do(keep_ledger(bench.state, form))
    bench.do(treat.finish_step(bench.state, {"id": list(bench.state.steps)[-1]}))
    run = bench.state.newest_run("bath.ledger", bath)
    assert run.params["entries"] == "wrap 9.9 g 7 min" and run.params["pickup_g_per_g"] == "2.1"
    through(bench, bath, "w02")
    run = bench.state.newest_run("bath.ledger", bath)
    assert run.params["entries"] == "wrap 9.9 g 7 min;wrap 4.7 g 20 min"
    assert run.params["pickup_g_per_g"] == "2.1"


def test_spent_it_says_replace_now_and_the_next_sheet_waits_until_it_is_fresh() -> None:
    bench, bath = with_bath()
    low = low_of("0.3", ["wrap 4.7 g 20 min"])
    assert 2 <= low <= 8
    through(bench, bath, " ".join(f"w{n:02d}" for n in range(1, low + 1)))
    seen = bath_state(bench.state, bench.state.baths[bath])
    assert seen.now and seen.says.startswith("Replace now:")
    form = {"kind": "lime-bath", "places": "w09", "bath": bath}
    with pytest.raises(Refusal) as caught:
        treat.start_step(bench.state, form)
    assert caught.value.rule == "bath-spent"
    treat.start_step(bench.state, {**form, "override": "a scrap, to see what is left in it"})
    bench.do(pour_fresh(bench.state, {"bath": bath}))
    seen = bath_state(bench.state, bench.state.baths[bath])
    assert (seen.wraps, seen.now) == (0, False)
    treat.start_step(bench.state, form)
    with pytest.raises(Refusal, match="No sheet has been in it"):
        pour_fresh(bench.state, {"bath": bath})


def test_more_sheets_at_once_than_it_serves_are_asked_about() -> None:
    bench, bath = with_bath()
    low = low_of("0.3", ["wrap 4.7 g 20 min"])
    form = {"kind": "lime-bath", "bath": bath, "minutes": "20"}
    many = " ".join(f"w{n:02d}" for n in range(1, low + 2))
    with pytest.raises(Refusal, match=f"serves {low} more of these {low + 1} wraps"):
        treat.start_step(bench.state, {**form, "places": many})
    treat.start_step(bench.state, {**form, "places": many.rsplit(" ", 1)[0]})


def test_a_planned_step_in_the_bath_is_no_sheet_in_it() -> None:
    bench, bath = with_bath()
    form = {"kind": "lime-bath", "places": "1-9", "bath": bath}
    bench.do(treat.plan_step(bench.state, form))
    assert bath_state(bench.state, bench.state.baths[bath]) is None


# --- lots -------------------------------------------------------------------------------------

CRUMBS = StockLot("lot-1", "vinyl eraser crumbs", "E-07", Decimal(100), unit="g",
                  keeps_until="2026-03-10")  # fmt: skip


def shelf(*lots: StockLot) -> BenchState:
    return BenchState(1, stock={lot.id: lot for lot in lots})


def clean(bench: Bench, at: str, held: BenchState, **form: str) -> None:
    given = {"kind": "surface-clean", "places": "w01", "at": at, "shelf": "lot-1", **form}
    bench.do(treat.start_step(bench.state, given, held))


@pytest.mark.parametrize(("day", "past"), [("2026-03-10", False), ("2026-03-11", True)])
def test_a_lot_past_its_last_day_is_asked_about_from_the_day_after(day, past):
    bench = annual()
    if past:
        with pytest.raises(Refusal, match="past its day") as caught:
            clean(bench, f"{day}T18:00:00Z", shelf(CRUMBS))
        assert caught.value.rule == "past-its-day"
        clean(bench, f"{day}T18:00:00Z", shelf(CRUMBS), override="tried on waste, still soft")
        assert [one.rule for one in bench.state.overrides.values()] == ["past-its-day"]
    else:
        clean(bench, f"{day}T18:00:00Z", shelf(CRUMBS))


def test_a_lot_typed_by_its_number_is_known_on_the_shelf() -> None:
    bench = annual()
    form = {"kind": "surface-clean", "places": "w01", "lots": "Vinyl eraser crumbs; E-07; 20 g"}
    with pytest.raises(Refusal, match="past its day"):
        treat.start_step(bench.state, {**form, "at": "2026-03-12T18:00:00Z"}, shelf(CRUMBS))


def test_what_is_left_goes_down_by_what_a_step_took() -> None:
    bench, held = annual(), shelf(CRUMBS)
    clean(bench, "2026-03-01T18:00:00Z", held, used="20")
    (lots, warns) = stock_view(held, used_in(bench.state), datetime(2026, 3, 2, tzinfo=UTC).date())
    assert lots[0].left_says == "80 g" and warns == ()
    step = next(iter(bench.state.steps))
    form = {"id": step, "shelf": "lot-1", "used": "0.075 kg", "at": "2026-03-01T19:00:00Z"}
    bench.do(treat.finish_step(bench.state, form, held))
    (lots, warns) = stock_view(held, used_in(bench.state), datetime(2026, 3, 2, tzinfo=UTC).date())
    assert lots[0].left_says == "5 g" and "nearly used up" in warns[0]
    assert "5 g left" in shelf_words(CRUMBS, Decimal(5)) and on_shelf(held) == (CRUMBS,)


@pytest.mark.parametrize(
    ("form", "field"),
    [({"shelf": "lot-9"}, "shelf"), ({"used": "some"}, "used"), ({"used": "-3 g"}, "used"),
     ({"shelf": "", "used": "3 g"}, "shelf")],
)  # fmt: skip
def test_what_cannot_be_taken_from_the_shelf_is_refused_at_its_box(form, field):
    with pytest.raises(Refusal) as caught:
        clean(annual(), "2026-03-01T18:00:00Z", shelf(CRUMBS), **form)
    assert caught.value.problems[0].field == field


def test_without_a_shelf_nothing_is_said_of_lots() -> None:
    found = objections(annual().state, STEP_KINDS["surface-clean"], ("w01",), at="2026-03-12")
    assert found == ()
