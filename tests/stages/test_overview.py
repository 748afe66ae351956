"""An item at a glance, and what the drawing is coloured by."""

from __future__ import annotations

import pytest

from quirewell.record.finding import Finding, Input, Run
from quirewell.record.nouns import Capture, Gathering, Item, ItemState, Step
from quirewell.stages import overview
from quirewell.stages.examine import sheet_view
from quirewell.stages.refusal import Refusal
from quirewell.stages.shades import shade, shades


def _capture(place: str, panel: str, moment: str) -> Capture:
    id = f"{place}-{panel}-{moment}"
    return Capture(
        id, id, f"{id}.tif", "image/tiff", 100, 100, 1,
        place=place, panel=panel, moment=moment,  # type: ignore[arg-type]
    )  # fmt: skip


def _run(capture: Capture, quantity: str, value: float, u: float, at: int) -> Run:
    finding = Finding("f", quantity, f"{capture.place}.{capture.panel}", value, u, "mm")
    return Run(
        f"r{at}", "leaf.measure", 1, "exact", finding.subject,
        (Input("image", capture.id, capture.sha256),), findings=(finding,),
    )  # fmt: skip


def _state(*values: tuple[str, float, float]) -> ItemState:
    captures = [_capture(place, "left", "before") for place, _, _ in values]
    runs = [
        _run(capture, "leaf.width_mm", value, u, at)
        for at, (capture, (_, value, u)) in enumerate(zip(captures, values, strict=True))
    ]
    return ItemState(
        "annual", 9, Item("Copperbeck Garden Annual"), Gathering(4),
        captures={one.id: one for one in captures}, runs={one.id: one for one in runs},
        touched={one.id: at for at, one in enumerate(runs)},
    )  # fmt: skip


def test_a_difference_within_the_uncertainty_gets_no_colour_of_its_own() -> None:
    made = shade(_state(("w01.outer", 195.0, 0.6), ("w02.outer", 195.9, 0.6)), "width")
    assert len({mark.level for mark in made.marks}) == 1
    assert "more than the uncertainty" in made.says


def test_levels_run_from_the_lowest_value_to_the_highest() -> None:
    state = _state(("w01.outer", 190.0, 0.1), ("w02.outer", 195.0, 0.1), ("w03.outer", 200.0, 0.1))
    made = shade(state, "width")
    assert [mark.level for mark in made.marks] == [0, 2, 5]
    assert made.marks[0].place == "w01.outer.left"


def test_both_faces_of_a_leaf_make_one_mark() -> None:
    state = _state(("w01.outer", 190.0, 0.2), ("w02.outer", 195.0, 0.1))
    inner = _capture("w01.inner", "right", "before")
    run = _run(inner, "leaf.width_mm", 191.0, 0.1, 7)
    state.captures[inner.id] = inner
    state.runs[run.id] = run
    marks = {mark.place: mark for mark in shade(state, "width").marks}
    assert marks["w01.outer.left"].value == pytest.approx(190.5)
    assert marks["w01.outer.left"].u == 0.2


def test_every_shade_says_something_even_when_nothing_is_known() -> None:
    state = ItemState("annual", 1, Item("Copperbeck Garden Annual"), Gathering(2))
    for made in shades(state):
        assert made.says
        assert all(mark.level is None for mark in made.marks)


def test_progress_tells_each_stage_in_the_jobs_order() -> None:
    state = _state(("w01.outer", 190.0, 0.2))
    state.steps["s"] = Step("s", "wash", ("w01",), "started")
    says = {line.stage: line.says for line in overview.progress(state)}
    assert list(says) == [
        "intake", "examine", "decide", "treat", "rejoin", "finish", "prove", "send",
    ]  # fmt: skip
    assert says["intake"] == "1 picture"
    assert says["examine"] == "1 of 1 scans measured"
    assert says["treat"] == "0 of 1 step done, 1 in hand"
    assert says["rejoin"] == "nothing laid yet"
    assert says["send"] == "not planned yet"


def test_a_card_says_what_is_there_and_what_comes_next() -> None:
    card = overview.card_view(_state(("w01.outer", 190.0, 0.2)))
    assert card.says == "1 picture; 1 of 1 scans measured"
    assert card.next == "Examine"


def test_a_sheet_shows_its_faces_left_before_right_and_its_neighbours() -> None:
    state = _state(("w02.outer", 190.0, 0.2))
    for panel in ("right", "left"):
        capture = _capture("w02.outer", panel, "after")
        state.captures[capture.id] = capture
    view = sheet_view(state, "w02")
    assert (view.previous, view.following) == ("w01", "w03")
    assert view.pages[0].title == "Outer side: page 14 left, page 3 right"
    assert [one.panel for one in view.pages[0].after] == ["left", "right"]
    assert view.pages[0].before[0].main[0].said == "190.00 ± 0.40 mm"
    with pytest.raises(KeyError):
        sheet_view(state, "w09")


@pytest.mark.parametrize(
    ("form", "says"),
    [
        ({}, "Give the item a title"),
        ({"title": "x" * 201}, "201 signs; 200 at most"),
        ({"title": "x", "year": "1936 " * 20}, "put the rest into the notes"),
        ({"title": "x", "wraps": "2.5"}, "whole number"),
        ({"title": "x", "wraps": "0"}, "between 1 and 99"),
        ({"title": "x", "wraps": "9", "staples": "12"}, "between 0 and 9"),
    ],
)
def test_an_item_that_cannot_be_is_refused_with_what_was_typed(
    form: dict[str, str], says: str
) -> None:
    with pytest.raises(Refusal, match=says) as refused:
        overview.open_item("x", form)
    assert refused.value.values == form
