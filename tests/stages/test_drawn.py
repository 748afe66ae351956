"""Layers drawn over a measured picture: what is in each, and what is never drawn."""

from __future__ import annotations

import pytest

from quirewell.record.finding import Run
from quirewell.record.nouns import Correction
from quirewell.stages.drawn import layers_of, tear_paths


def drawn(**drawing: str) -> Run:
    return Run("r1", "leaf.measure", 2, "exact", "w01.outer.left", (), drawing=drawing)


def by_key(run: Run | None, held: Correction | None = None) -> dict[str, tuple[str, ...]]:
    return {layer.key: tuple(mark.points for mark in layer.marks) for layer in layers_of(run, held)}


def test_an_edge_that_is_not_in_the_picture_is_drawn_in_the_second_style() -> None:
    run = drawn(outline="10,10 90,12 88,120 9,118", edges="head left foot")
    (layer,) = layers_of(run, None)
    assert [mark.points for mark in layer.marks] == [
        "10,10 90,12", "90,12 88,120", "88,120 9,118", "9,118 10,10",
    ]  # fmt: skip
    assert [mark.faint for mark in layer.marks] == [False, True, False, False]


def test_boxes_tears_stains_and_tiles_become_shapes() -> None:
    run = drawn(
        losses="1,2,11,22 5,5,6,6",
        tears="10,10 20,12 30,15; 50,50 60,55",
        stains="1,1 9,1 9,9; 1,1 2,2",
        tone="0,0,56,73.8,5.7,21.8",
    )
    shapes = by_key(run)
    assert shapes["losses"] == ("1,2 11,2 11,22 1,22", "5,5 6,5 6,6 5,6")
    assert shapes["tears"] == ("10,10 20,12 30,15", "50,50 60,55")
    assert shapes["stains"] == ("1,1 9,1 9,9",)
    assert shapes["tiles"] == ("0,0 56,0 56,56 0,56",)
    tears = next(layer for layer in layers_of(run, None) if layer.key == "tears")
    assert [mark.says for mark in tears.marks] == ["1", "2"]
    assert len(tear_paths(run.drawing)) == 2


def test_what_was_set_right_by_hand_is_drawn_too() -> None:
    held = Correction("p1", "1,2 - - 5,6", "0,0 9,0 9,9; 20,20 30,20 30,30")
    shapes = by_key(None, held)
    assert shapes["corners"] == ("1,2", "5,6")
    assert shapes["ignore"] == ("0,0 9,0 9,9", "20,20 30,20 30,30")


def test_every_layer_says_its_line_in_words() -> None:
    run = drawn(outline="10,10 90,12 88,120 9,118", fold="90,12 88,120", strip="1,1 9,1 9,9")
    for layer in layers_of(run, Correction("p1", "1,2 - - -")):
        assert layer.name and layer.says


@pytest.mark.parametrize(
    "drawing",
    [{}, {"outline": "10,10 90,12"}, {"outline": "a,b c,d e,f g,h"}, {"stains": "x; 1,1"},
     {"tears": "5,5"}, {"paper": "1,1 2,2"}],
)  # fmt: skip
def test_a_drawing_that_cannot_be_read_is_left_out(drawing: dict[str, str]) -> None:
    assert layers_of(drawn(**drawing), None) == ()


def test_a_tear_said_to_be_none_is_drawn_thin_and_says_so() -> None:
    run = drawn(tears="10,10 20,12; 50,50 60,55; 90,90 99,99")
    held = Correction("p1", no_tears=("12,13",), tears=("50,50",))
    (layer,) = layers_of(run, held)
    assert [(mark.says, mark.faint) for mark in layer.marks] == [
        ("1 no tear", True), ("2 confirmed", False), ("3", False),
    ]  # fmt: skip
