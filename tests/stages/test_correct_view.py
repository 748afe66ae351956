"""The correcting form and what is told after it."""

from __future__ import annotations

from dataclasses import replace

from quirewell.record.codec import to_body
from quirewell.record.event import Event
from quirewell.record.finding import Finding, Input, Run
from quirewell.record.nouns import Capture, Correction, Gathering, Item, ItemState
from quirewell.stages.correct_view import correct_view, corrected_view

SCAN = Capture("p1", "a" * 64, "w01-outer-left-before.png", "image/png", 1200, 1800, 9,
               moment="before", place="w01.outer", panel="left")  # fmt: skip
OUTLINE = "100,80 900,90 890,1300 95,1290"


def run(id: str, width: float, tears: str = "", **params: str) -> Run:
    findings = (
        Finding(f"{id}.0", "leaf.width_mm", "w01.outer.left", width, 0.05, "mm"),
        Finding(f"{id}.1", "scale.um_per_px", "w01.outer.left", 100.0, 0.01, "um"),
        Finding(f"{id}.2", "leaf.area_mm2", "w01.outer.left", 51683.0, 40.0, "mm2"),
    )
    return Run(id, "leaf.measure", 2, "exact", "w01.outer.left", (Input("image", "p1", "a" * 64),),
               params, findings, drawing={"outline": OUTLINE, "tears": tears})  # fmt: skip


STATE = ItemState(
    "annual", 4, Item("Copperbeck Garden Annual"), Gathering(2), {"p1": SCAN},
    runs={"r1": run("r1", 180.0, "100,300 130,304; 895,700 850,710")}, touched={"r1": 3},
)  # fmt: skip


def held(state: ItemState, **values: object) -> ItemState:
    made = Correction("p1", **values)  # type: ignore[arg-type]
    key = "correction.p1"
    return replace(state, corrections={key: made}, touched={**state.touched, key: 6})


def event(seq: int, kind: str, body: dict[str, object]) -> Event:
    return Event(seq, "annual", seq, kind, body, f"2031-04-02T18:3{seq}:00Z", "", "", "", "")


def test_the_form_starts_from_what_was_found() -> None:
    view = correct_view(STATE, SCAN, {})
    assert [corner.found for corner in view.corners] == [
        "100, 80", "900, 90", "890, 1300", "95, 1290",
    ]  # fmt: skip
    assert [corner.value for corner in view.corners] == [""] * 4
    assert (view.corners[2].x, view.corners[2].y) == (890, 1300)
    assert (view.record, view.touched) == ("correction.p1", 0)


def test_without_a_leaf_found_the_handles_stand_inside_the_picture() -> None:
    view = correct_view(replace(STATE, runs={}), SCAN, {})
    assert [(corner.x, corner.y) for corner in view.corners] == [
        (100, 150), (1100, 150), (1100, 1650), (100, 1650),
    ]  # fmt: skip
    assert {corner.found for corner in view.corners} == {""}


def test_a_saved_corner_comes_back_and_what_was_typed_goes_before_it() -> None:
    state = held(STATE, corners="- 905,88 - -", ground="dark")
    view = correct_view(state, SCAN, {})
    assert view.corners[1].value == "905, 88" and view.corners[1].found == "900, 90"
    assert (view.corners[1].x, view.ground, view.touched) == (905, "dark", 6)
    typed = correct_view(state, SCAN, {"corner_2": "nonsense", "ground": "light"})
    assert typed.corners[1].value == "nonsense" and typed.corners[1].x == 900
    assert typed.ground == "light"


def test_tears_are_offered_with_their_length_and_keep_their_answer_when_found_again() -> None:
    view = correct_view(STATE, SCAN, {})
    assert [tear.says for tear in view.tears] == ["about 3 mm long", "about 5 mm long"]
    assert view.tears[0].field == "tear 100,300"
    moved = run("r1", 180.0, "106,304 130,304; 895,700 850,710")
    state = held(replace(STATE, runs={"r1": moved}), no_tears=("100,300",))
    again = correct_view(state, SCAN, {})
    assert [tear.answer for tear in again.tears] == ["no", ""]
    assert again.tears[0].field == "tear 100,300"


def test_after_measuring_again_both_values_stand_side_by_side() -> None:
    state = held(STATE, ground="dark")
    made = event(5, "measuring.corrected", to_body(state.corrections["correction.p1"]))
    waiting = corrected_view(state, SCAN, [made])
    assert waiting is not None and not waiting.measured and waiting.rows == ()
    assert (waiting.seq, waiting.at) == (5, "2031-04-02T18:35:00Z")
    both = replace(state, runs={**state.runs, "r2": run("r2", 181.25, ground="dark")})
    done = corrected_view(both, SCAN, [made])
    assert done is not None and done.measured
    rows = {row.name: (row.was, row.now, row.moved) for row in done.rows}
    assert rows == {"Width of the paper": ("180.00 ± 0.10 mm", "181.25 ± 0.10 mm", True)}


def test_an_undone_event_is_not_the_one_that_holds() -> None:
    state = held(STATE, ground="dark")
    body = to_body(state.corrections["correction.p1"])
    events = [
        event(5, "measuring.corrected", body),
        event(6, "measuring.corrected", {**body, "ground": "light"}),
        event(7, "event.undone", {"seq": "6"}),
    ]
    view = corrected_view(state, SCAN, events)
    assert view is not None and view.seq == 5


def test_a_picture_without_a_correction_tells_nothing() -> None:
    assert corrected_view(STATE, SCAN, []) is None
