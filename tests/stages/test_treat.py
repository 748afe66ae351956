"""Steps at the bench: the ink test asked for, overrides, corrections, and no undoing of water."""

from decimal import Decimal

import pytest

from folding import Bench, ready
from folding import annual as fresh
from quirewell.record.event import Draft
from quirewell.stages import treat
from quirewell.stages.refusal import Refusal
from quirewell.stages.step_table import STEP_KINDS
from quirewell.studio.faults import NotUndoable
from quirewell.studio.studio import Studio


def annual(wraps: int = 9) -> Bench:
    """The Annual with its checks answered and its pilot accepted: see test_checks, test_pilot."""
    return ready(fresh(wraps))


WET = [key for key, kind in STEP_KINDS.items() if kind.aqueous]


def put_test(bench: Bench, place: str, liquid: str = "water", result: str = "no change") -> None:
    form = {"place": place, "colour": "red", "liquid": liquid, "result": result}
    bench.do(treat.record_spot_test(bench.state, form))


def started(bench: Bench, kind: str, places: str = "w01", **form: str) -> str:
    bench.do(treat.start_step(bench.state, {"kind": kind, "places": places, **form}))
    return list(bench.state.steps)[-1]


# --- the gate ---------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", WET)
def test_aqueous_step_waits_for_an_ink_test(kind):
    bench = annual()
    with pytest.raises(Refusal) as caught:
        treat.start_step(bench.state, {"kind": kind, "places": "w01 w02"})
    assert caught.value.rule == "ink-test"
    assert "wrap 1 and wrap 2" in str(caught.value)
    assert caught.value.values["kind"] == kind


@pytest.mark.parametrize("kind", sorted(set(STEP_KINDS) - set(WET)))
def test_dry_step_starts_without_one(kind):
    bench = annual()
    assert bench.state.steps == {} and started(bench, kind) in bench.state.steps


@pytest.mark.parametrize("place", ["w01", "w01.outer.left", "item"])
def test_a_test_on_the_sheet_or_a_part_of_it_or_the_item_speaks_for_the_sheet(place):
    bench = annual()
    put_test(bench, place)
    assert bench.state.steps == {} and started(bench, "wash") in bench.state.steps


def test_a_test_on_another_sheet_does_not():
    bench = annual()
    put_test(bench, "w02")
    with pytest.raises(Refusal, match="No ink test is recorded for wrap 1"):
        treat.start_step(bench.state, {"kind": "wash", "places": "w01"})


def test_every_sheet_of_the_step_needs_its_test():
    bench = annual()
    put_test(bench, "w01")
    with pytest.raises(Refusal, match="recorded for wrap 2"):
        treat.start_step(bench.state, {"kind": "wash", "places": "1-2"})


def test_washing_the_whole_item_needs_every_sheet_tested():
    bench = annual(2)
    put_test(bench, "w01")
    put_test(bench, "w02")
    with pytest.raises(Refusal, match="recorded for cover"):
        treat.start_step(bench.state, {"kind": "wash", "places": "item"})


def test_bleeding_ink_stops_the_step():
    bench = annual()
    put_test(bench, "w01")
    put_test(bench, "w01.inner.right", result="bleeds")
    with pytest.raises(Refusal, match="red on wrap 1, inner side, right bleeds in water") as caught:
        treat.start_step(bench.state, {"kind": "wash", "places": "w01"})
    assert caught.value.rule == "ink-test"


def test_slight_change_does_not_stop_it():
    bench = annual()
    put_test(bench, "w01", result="slight")
    started(bench, "wash")


def test_lime_bath_asks_for_a_test_with_the_alkaline_liquid():
    bench = annual()
    put_test(bench, "w01", "water")
    with pytest.raises(Refusal, match="Test with the lime water itself"):
        treat.start_step(bench.state, {"kind": "lime-bath", "places": "w01"})
    put_test(bench, "w01", "lime water 1:1")
    started(bench, "lime-bath")


def test_bleeding_in_lime_water_only_leaves_plain_washing_open():
    bench = annual()
    put_test(bench, "w01", "water")
    put_test(bench, "w01", "lime water", "bleeds")
    with pytest.raises(Refusal, match="bleeds in lime water"):
        treat.start_step(bench.state, {"kind": "lime-bath", "places": "w01"})
    started(bench, "wash")


def test_a_solvent_test_says_nothing_about_water():
    bench = annual()
    put_test(bench, "w01", "isopropanol")
    with pytest.raises(Refusal, match="No ink test"):
        treat.start_step(bench.state, {"kind": "wash", "places": "w01"})


def test_a_test_set_aside_no_longer_speaks():
    bench = annual()
    put_test(bench, "w01")
    bench.do(treat.set_aside(bench.state, {"id": next(iter(bench.state.spot_tests))}))
    with pytest.raises(Refusal, match="No ink test"):
        treat.start_step(bench.state, {"kind": "wash", "places": "w01"})


def test_override_with_a_reason_allows_it_and_is_kept():
    bench = annual()
    step = started(bench, "wash", override="only black type on this wrap, checked by eye")
    (override,) = bench.state.overrides.values()
    assert (override.rule, override.step) == ("ink-test", step)
    assert bench.state.steps[step].state == "started"
    assert treat.view(bench.state)["steps"][0]["overrides"] == [
        {"rule": "ink-test", "reason": "only black type on this wrap, checked by eye"}
    ]


def test_override_needs_words():
    bench = annual()
    with pytest.raises(Refusal, match="reason in words") as caught:
        treat.start_step(bench.state, {"kind": "wash", "places": "w01", "override": "ok"})
    assert caught.value.rule == "ink-test"


def test_override_not_needed_is_not_recorded():
    bench = annual()
    put_test(bench, "item")
    started(bench, "wash", override="I would rather not test this one")
    assert bench.state.overrides == {}


def test_heat_on_paper_that_the_record_leaves_damp_is_asked_about():
    bench = annual()
    put_test(bench, "item")
    wash = started(bench, "wash")
    bench.do(treat.finish_step(bench.state, {"id": wash}))
    warm = {"kind": "press", "places": "w01", "temperature_c": "60"}
    with pytest.raises(Refusal, match="wetted and not dried") as caught:
        treat.start_step(bench.state, warm)
    assert caught.value.rule == "heat-on-damp"
    treat.start_step(bench.state, {**warm, "places": "w02"})
    treat.start_step(bench.state, {**warm, "temperature_c": "21"})
    for kind in ("refold", "dry"):  # an iron at the fold, a heater beside the rack
        with pytest.raises(Refusal, match="wetted and not dried"):
            treat.start_step(bench.state, {**warm, "kind": kind, "temperature_c": "121"})
    dry = started(bench, "dry")
    bench.do(treat.finish_step(bench.state, {"id": dry}))
    bench.do(treat.start_step(bench.state, warm))


# --- the course of a step ---------------------------------------------------------------------


def test_step_goes_from_planned_to_done_and_keeps_what_was_typed():
    bench = annual()
    plan = {"kind": "mend", "places": "w03 w04", "lots": "kozo tissue 5 g/m2; lot A12; 2 strips"}
    bench.do(treat.plan_step(bench.state, plan))
    (step,) = bench.state.steps
    put_test(bench, "item")
    begin = {"id": step, "who": "A. Bench", "at": "2026-03-01T18:05:00Z"}
    bench.do(treat.start_step(bench.state, begin))
    end = {"id": step, "minutes": "1 h 10", "temperature_c": "68F", "at": "2026-03-01T19:15:00Z"}
    bench.do(treat.finish_step(bench.state, end))
    done = bench.state.steps[step]
    assert done.places == ("w03", "w04") and done.who == "A. Bench"
    assert (done.minutes, done.temperature_c) == (Decimal(70), Decimal("20.0"))
    assert (done.lots[0].material, done.lots[0].lot) == ("kozo tissue 5 g/m2", "A12")
    assert (done.started_at, done.done_at) == (begin["at"], end["at"])
    assert done.state == "done"


def test_step_cannot_start_twice_nor_finish_unstarted():
    bench = annual()
    bench.do(treat.plan_step(bench.state, {"kind": "refold", "places": "all"}))
    (step,) = bench.state.steps
    with pytest.raises(Refusal, match="only planned"):
        treat.finish_step(bench.state, {"id": step})
    bench.do(treat.start_step(bench.state, {"id": step}))
    with pytest.raises(Refusal, match="cannot start again"):
        treat.start_step(bench.state, {"id": step})


def test_the_way_of_a_wash_is_kept_and_may_be_said_later():
    bench = annual()
    put_test(bench, "item")
    one = started(bench, "wash", way="cold, one wrap at a time")
    two = started(bench, "wash", "w02 w03")
    fast = "warm with surfactant, two wraps at a time"
    bench.do(treat.correct_step(bench.state, {"id": two, "way": fast}))
    assert bench.state.steps[one].way == "cold, one wrap at a time"
    assert bench.state.steps[two].way == fast
    bench.do(treat.correct_step(bench.state, {"id": two, "way": ""}))
    assert bench.state.steps[two].way == ""


@pytest.mark.parametrize(("kind", "way"), [("wash", "boiled"), ("dry", "one wrap at a time")])
def test_a_way_the_step_does_not_have_is_refused_with_those_it_has(kind, way):
    bench = annual()
    put_test(bench, "item")
    with pytest.raises(Refusal, match=f"there is no way '{way}'") as caught:
        treat.start_step(bench.state, {"kind": kind, "places": "w01", "way": way})
    (problem,) = caught.value.problems
    assert problem.field == "way"


def test_correction_is_a_new_event_and_keeps_the_rest():
    bench = annual()
    put_test(bench, "item")
    step = started(bench, "wash", minutes="20", note="one change of water")
    (event,) = bench.do(treat.correct_step(bench.state, {"id": step, "minutes": "25"}))
    assert event.kind == "step.corrected"
    assert bench.state.steps[step].minutes == 25
    assert bench.state.steps[step].note == "one change of water"
    assert bench.state.steps[step].state == "started"
    with pytest.raises(Refusal, match="kind of a step is not corrected"):
        treat.correct_step(bench.state, {"id": step, "kind": "dry"})


@pytest.mark.parametrize("kind", [key for key, row in STEP_KINDS.items() if row.wets_paper])
def test_step_that_wetted_paper_cannot_be_undone_or_set_aside(kind):
    bench = annual()
    put_test(bench, "item", "lime water")
    step = started(bench, kind)
    event = bench.events[-1]
    with pytest.raises(Refusal, match="cannot make it dry"):
        treat.undo(bench.state, event)
    with pytest.raises(Refusal, match="cannot make it dry"):
        treat.set_aside(bench.state, {"id": step})
    (finished,) = bench.do(treat.finish_step(bench.state, {"id": step}))
    with pytest.raises(Refusal, match="Correct what the step says"):
        treat.undo(bench.state, finished)
    assert bench.state.steps[step].state == "done"


def test_dry_step_and_a_plan_can_be_undone():
    bench = annual()
    bench.do(treat.plan_step(bench.state, {"kind": "wash", "places": "w01"}))
    bench.do(treat.undo(bench.state, bench.events[-1], "planned the wrong sheet"))
    assert bench.state.steps == {}
    started(bench, "surface-clean")
    bench.do(treat.undo(bench.state, bench.events[-1]))
    assert bench.state.steps == {}


@pytest.mark.parametrize(
    ("form", "field", "says"),
    [
        ({"kind": "varnish", "places": "w01"}, "kind", "no kind of step 'varnish'"),
        ({"kind": "", "places": "w01"}, "kind", "Choose what is to be done"),
        ({"kind": "dry", "places": "w12"}, "places", "wraps 1 to 9 (1 is the outermost), got wrap"),
        ({"kind": "dry", "places": "attic"}, "places", "names no place"),
        ({"kind": "dry", "places": "4-2"}, "places", "runs backwards; write 2-4"),
        ({"kind": "dry", "places": "w01", "minutes": "soon"}, "minutes", "write minutes as 20"),
        ({"kind": "dry", "places": "w01", "minutes": "-5"}, "minutes", "between 0 and 20160"),
        ({"kind": "dry", "places": "w01", "minutes": "99999"}, "minutes", "two weeks"),
        ({"kind": "dry", "places": "w01", "temperature_c": "400"}, "temperature_c", "150 °C"),
        ({"kind": "lime-bath", "places": "w01", "bath": "bath-9"}, "bath", "no such bath"),
    ],
)
def test_what_cannot_be_planned_is_refused_in_a_sentence(form, field, says):
    with pytest.raises(Refusal) as caught:
        treat.plan_step(annual().state, form)
    assert [problem.field for problem in caught.value.problems] == [field]
    assert says in str(caught.value)


@pytest.mark.parametrize(
    ("form", "field"),
    [
        ({"place": "w01", "colour": "", "result": "no change"}, "colour"),
        ({"place": "w01", "colour": "red", "result": "fine"}, "result"),
        ({"place": "w99", "colour": "red", "result": "slight"}, "place"),
        ({"place": "w01", "colour": "red", "result": "slight", "capture": "x"}, "capture"),
    ],
)
def test_what_is_no_ink_test_is_refused(form, field):
    with pytest.raises(Refusal) as caught:
        treat.record_spot_test(annual().state, form)
    assert caught.value.problems[0].field == field


# --- baths ------------------------------------------------------------------------------------


def test_bath_is_recorded_with_what_it_holds():
    bench = annual()
    form = {"strength": "1:1", "temperature_c": "68F", "litres": "4,0"}
    bench.do(treat.mix_bath(bench.state, form))
    (bath,) = treat.view(bench.state)["baths"]
    assert (bath["strength"], bath["temperature_c"], bath["litres"]) == (0.5, 20.0, 4.0)
    found = {row["key"]: row for row in bath["findings"]}
    assert found["pH"]["value"] == pytest.approx(12.39, abs=0.01)
    assert found["reserve_pct_caco3"]["low90"] < 0.145 < found["reserve_pct_caco3"]["high90"]
    assert bench.state.runs[bath["run"]].subject == bath["id"]


def test_two_like_baths_are_two_runs():
    bench = annual()
    for _ in range(2):
        bench.do(treat.mix_bath(bench.state, {"temperature_c": "20"}))
    assert len(bench.state.baths) == len(bench.state.runs) == 2


def test_every_wrong_field_of_a_bath_is_said_at_once():
    form = {"strength": "110%", "temperature_c": "68", "litres": "400"}
    with pytest.raises(Refusal) as caught:
        treat.mix_bath(annual().state, form)
    fields = {problem.field: problem.says for problem in caught.value.problems}
    assert set(fields) == {"strength", "temperature_c", "litres"}
    assert "Fahrenheit" in fields["temperature_c"] and "mL" in fields["litres"]
    assert caught.value.values == form


def test_unreadable_bath_field_is_refused():
    with pytest.raises(Refusal, match="'half' is no strength"):
        treat.mix_bath(annual().state, {"strength": "half"})


def test_reason_stays_as_long_as_the_step_that_rests_on_it():
    bench = annual()
    started(bench, "wash", override="only black type on this wrap, checked by eye")
    made = next(event for event in bench.events if event.kind == "override.made")
    with pytest.raises(Refusal, match="the reason stays"):
        treat.undo(bench.state, made)


def test_undo_of_another_items_entry_is_refused():
    bench, other = annual(), Bench(Draft("other", "item.opened", {"title": "Another"}))
    with pytest.raises(Refusal, match="another item"):
        treat.undo(bench.state, other.events[0])


def test_guard_holds_at_the_studios_door(tmp_path):
    studio = Studio.create(tmp_path / "studio", "Larkmoor paper bench")
    studio.append("annual", 0, [Draft("annual", "item.opened", {"title": "Annual"})])

    def save(command, form):
        state = studio.state("annual")
        return studio.append("annual", state.version, command(state, form))[-1]

    save(treat.record_spot_test, {"colour": "red", "result": "no change"})
    reason = "a trial item of no value, nothing on it but black type"
    wash = save(treat.start_step, {"kind": "wash", "places": "item", "override": reason})
    press = save(treat.start_step, {"kind": "refold", "places": "item"})
    with pytest.raises(NotUndoable, match="cannot make it dry"):
        studio.undo("annual", wash.seq, guard=treat.undo_guard)
    studio.undo("annual", press.seq, guard=treat.undo_guard)
    assert [step.kind for step in studio.state("annual").steps.values()] == ["wash"]
    studio.close()
