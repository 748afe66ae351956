"""Corrections by hand: what is taken, what is refused, and which run then holds."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from quirewell.record.apply import RecordError, apply, noun_of
from quirewell.record.codec import to_body
from quirewell.record.event import Draft, Event
from quirewell.record.finding import Finding, Input, Run
from quirewell.record.nouns import Capture, Correction, Gathering, Item, ItemState
from quirewell.record.shapes import read_shapes
from quirewell.stages import examine, survey
from quirewell.stages.correcting import (
    correct_measuring,
    corrected_words,
    correction_params,
    fits,
    form_of,
)
from quirewell.stages.refusal import Refusal
from quirewell.stages.results import page_results
from studio_help import ITEM, capture, studio_with_item

SCAN = Capture("p1", "a" * 64, "w01-outer-left-before.png", "image/png", 1000, 1400, 9,
               moment="before", place="w01.outer", panel="left")  # fmt: skip
STATE = ItemState("annual", 4, Item("Copperbeck Garden Annual"), Gathering(2), {"p1": SCAN})
CORNERS = {"corner_1": "100, 80", "corner_2": "900,90", "corner_3": "890; 1300",
           "corner_4": "95 1290"}  # fmt: skip


def corrected(form: dict[str, str], state: ItemState = STATE) -> Correction:
    (draft,) = correct_measuring(state, {"capture": "p1", **form})
    assert draft.kind == "measuring.corrected"
    held = noun_of(draft.kind, draft.body)
    assert isinstance(held, Correction)
    return held


def with_correction(held: Correction, at: int = 6) -> ItemState:
    key = f"correction.{held.capture}"
    return replace(STATE, corrections={key: held}, touched={key: at})


def run(id: str, width: float, **params: str) -> Run:
    finding = Finding(f"{id}.0", "leaf.width_mm", "w01.outer.left", width, 0.05, "mm")
    return Run(id, "leaf.measure", 2, "exact", "w01.outer.left", (Input("image", "p1", "a" * 64),),
               {"panel": "left", **params}, (finding,))  # fmt: skip


def refused(form: dict[str, str]) -> str:
    with pytest.raises(Refusal) as said:
        correct_measuring(STATE, {"capture": "p1", **form})
    assert said.value.values["capture"] == "p1"
    return str(said.value)


def test_corners_set_by_hand_become_parameters_of_the_measurement() -> None:
    held = corrected({**CORNERS, "ground": "light"})
    assert held.corners == "100,80 900,90 890,1300 95,1290"
    params = survey.measure_params(with_correction(held), SCAN)
    assert params == {"panel": "left", "corners": held.corners, "ground": "light"}


def test_corners_that_stay_as_found_are_not_written_down() -> None:
    held = corrected({"corner_1": " ", "ground": "dark"})
    assert held.corners == ""
    assert correction_params(with_correction(held), "p1") == {"ground": "dark"}


@pytest.mark.parametrize(
    ("field", "text", "says"),
    [
        ("corner_2", "left", "across and down"),
        ("corner_2", "nan, 4", "far outside"),
        ("corner_2", "12", "across and down"),
        ("corner_3", "5000, 20", "far outside"),
        ("corner_2", "60, 900", "do not go round"),
        ("corner_1", "890, 1300", "do not go round"),
        ("corner_1", "-300, 80", "far outside"),
    ],
)
def test_corners_that_cannot_be_are_refused_in_a_sentence(field: str, text: str, says: str) -> None:
    assert says in refused({**CORNERS, field: text})


def test_one_corner_dragged_leaves_the_others_as_found() -> None:
    outline = {"outline": "100,80 900,90 890,1300 95,1290"}
    state = replace(STATE, runs={"r1": replace(run("r1", 180.0), drawing=outline)})
    held = corrected({"corner_3": "895.25, 1310"}, state)
    assert held.corners == "- - 895.2,1310 -"
    assert corrected_words(held) == ("lower right corner set by hand",)
    with pytest.raises(Refusal, match="changed places") as said:
        correct_measuring(state, {"capture": "p1", "corner_3": "90, 70"})
    assert said.value.problems[0].field == "corner_3"


def test_a_part_painted_out_is_cut_at_the_rim_of_the_picture() -> None:
    held = corrected({"ignore": "900,1200 1200,1200 1200,1500; 1,1 20,1 20.04,20"})
    assert held.ignore == "900,1200 1000,1200 1000,1400; 1,1 20,1 20,20"
    assert len(read_shapes(correction_params(with_correction(held), "p1")["ignore"])) == 2


@pytest.mark.parametrize(
    ("ignore", "says"),
    [
        ("1,1 20,1", "three points"),
        ("1,1 2,2 3,3", "span an area"),
        ("1,1 20,1 x,4", "two pixel numbers"),
        ("0,0 1000,0 1000,1400 0,1400", "too little"),
        (" ".join(f"{n},{n % 7}" for n in range(5000)), "2000 points"),
        ("; ".join("1,1 20,1 20,20" for _ in range(41)), "40 shapes"),
    ],
)
def test_parts_that_cannot_be_left_out_are_refused(ignore: str, says: str) -> None:
    assert says in refused({"ignore": ignore})


def test_a_form_that_changes_nothing_makes_no_event() -> None:
    assert "Nothing was changed" in refused({"corner_1": ""})
    held = corrected({"ground": "dark"})
    with pytest.raises(Refusal, match="Nothing was changed"):
        correct_measuring(with_correction(held), {"capture": "p1", "ground": "dark"})


def test_a_correction_can_be_taken_back_by_saving_all_as_found() -> None:
    held = corrected({"ground": "dark"})
    again = corrected({"corner_1": ""}, with_correction(held))
    assert correction_params(with_correction(again), "p1") == {}
    assert corrected_words(again) == ("everything is as it was found",)


def test_tears_are_answered_by_the_point_they_begin_at() -> None:
    held = corrected({"tear 10,20": "no", "tear 40,2.5": "yes", "tear 7,7": ""})
    assert (held.no_tears, held.tears) == (("10,20",), ("40,2.5",))
    assert correction_params(with_correction(held), "p1") == {}


def test_the_form_shows_what_was_saved() -> None:
    form = {**CORNERS, "ignore": "1,1 20,1 20,20", "tear 10,20": "no"}
    shown = form_of(corrected(form))
    assert shown["corner_3"] == "890, 1300"
    assert shown["tear 10,20"] == "no"
    assert corrected(shown) == corrected(form)


def test_a_picture_that_is_not_there_is_not_corrected() -> None:
    with pytest.raises(Refusal, match="not in this item"):
        correct_measuring(STATE, {"capture": "p9", "ground": "dark"})
    body = to_body(Correction("p9", ground="dark"))
    event = Event(9, "annual", 5, "measuring.corrected", body, "", "", "", "", "")
    with pytest.raises(RecordError, match="no picture"):
        apply(STATE, event)


@pytest.mark.parametrize(
    "values", [{"corners": "1,1 2,2"}, {"ignore": "1,1 5,5"}, {"no_tears": ("1,1 2,2",)},
               {"corners": "1,1 - -"}],
)  # fmt: skip
def test_the_record_itself_takes_no_impossible_shape(values: dict[str, str]) -> None:
    with pytest.raises(ValueError):
        Correction("p1", **values)  # type: ignore[arg-type]


def test_a_scan_with_a_newer_correction_is_measured_again_and_the_old_run_stays() -> None:
    held = corrected({"ground": "dark"})
    first = run("r1", 180.0)
    state = replace(with_correction(held), runs={"r1": first})
    assert examine.unmeasured(state) == (SCAN,)
    (call,) = survey.to_measure(state, lambda sha: Path("x"))
    assert call.arguments[4] == {"panel": "left", "ground": "dark"}
    both = replace(state, runs={"r1": first, "r2": run("r2", 181.0, ground="dark")})
    assert examine.unmeasured(both) == ()
    assert set(both.runs) == {"r1", "r2"}
    assert page_results(both)[0].at("before", "leaf.width_mm").value == 181.0


def test_once_the_correction_is_undone_the_first_run_speaks_again() -> None:
    runs = {"r1": run("r1", 180.0), "r2": run("r2", 181.0, ground="dark")}
    undone = replace(STATE, runs=runs, touched={"r1": 3, "r2": 7})
    assert examine.unmeasured(undone) == ()
    held = examine.latest_measure(undone, SCAN)
    assert held is not None and held.id == "r1" and fits(undone, held)
    assert page_results(undone)[0].at("before", "leaf.width_mm").value == 180.0


def test_a_correction_in_the_studio_is_undone_and_rebuilt_alike(tmp_path: Path) -> None:
    with studio_with_item(tmp_path / "studio") as studio:
        studio.append(ITEM, None, [capture("p1", place="w01.outer")])
        state = studio.state(ITEM)
        first = correct_measuring(state, {"capture": "p1", "ground": "dark"})
        studio.append(ITEM, state.version, first)
        state = studio.state(ITEM)
        form = {"capture": "p1", "ground": "light", "ignore": "1,1 20,1 20,20"}
        (event,) = studio.append(ITEM, state.version, correct_measuring(state, form))
        assert studio.state(ITEM).corrections["correction.p1"].ground == "light"
        assert studio.rebuild_differs() == []
        studio.undo(ITEM, event.seq)
        assert studio.state(ITEM).corrections["correction.p1"] == Correction("p1", ground="dark")
        assert studio.rebuild_differs() == []


def test_a_picture_with_a_correction_can_still_be_set_aside(tmp_path: Path) -> None:
    from quirewell.stages.intake import set_aside

    state = with_correction(Correction("p1", ground="dark"))
    (draft,) = set_aside(state, {"capture": "p1"})
    assert isinstance(draft, Draft) and draft.kind == "record.retracted"


AFTER = replace(SCAN, id="p2", sha256="b" * 64, moment="after")


def compared(id: str, **params: str) -> Run:
    inputs = (Input("before", "p1", "a" * 64), Input("after", "p2", "b" * 64))
    finding = Finding(f"{id}.0", "change.width_pct", "w01.outer.left", 0.1, 0.05, "%")
    return Run(id, "pair.compare", 2, "seeded", "w01.outer.left", inputs, params, (finding,))


def test_what_was_painted_out_of_a_scan_is_left_out_of_its_comparison_too() -> None:
    shape = "1,1 20,1 20,20"
    captures = {"p1": SCAN, "p2": AFTER}
    plain = replace(STATE, captures=captures, runs={"r1": compared("r1")})
    assert survey.to_compare(plain, lambda sha: Path("x")) == ()
    painted = replace(plain, corrections={"correction.p2": Correction("p2", ignore=shape)})
    (call,) = survey.to_compare(painted, lambda sha: Path("x"))
    assert call.arguments[4]["ignore_after"] == shape
    assert "ignore_before" not in call.arguments[4]
    done = replace(painted, runs={**plain.runs, "r2": compared("r2", ignore_after=shape)})
    assert survey.to_compare(done, lambda sha: Path("x")) == ()
    assert next(iter(page_results(done))).pair == done.runs["r2"]
    undone = replace(done, corrections={}, touched={"r1": 3, "r2": 7})
    assert survey.to_compare(undone, lambda sha: Path("x")) == ()
    assert next(iter(page_results(undone))).pair == undone.runs["r1"]


def test_corners_and_ground_do_not_ask_for_another_comparison() -> None:
    state = replace(
        STATE,
        captures={"p1": SCAN, "p2": AFTER},
        runs={"r1": compared("r1")},
        corrections={"correction.p1": Correction("p1", "8,9 - - -", ground="dark")},
    )
    assert survey.to_compare(state, lambda sha: Path("x")) == ()
