"""Taking apart: what was seen is kept as it was seen, and nothing typed is lost."""

from __future__ import annotations

from decimal import Decimal

import pytest

from folding import annual
from quirewell.stages import taking_apart
from quirewell.stages.refusal import Refusal


def test_one_line_and_the_rest_as_made() -> None:
    bench = annual()
    count = len(bench.state.gathering.sheets())
    form = {"pages.w01": "? 1 2 -", "faced.w02": "inside out", "as_made": "yes"}
    bench.do(taking_apart.note_sheets(bench.state, form))
    found = bench.state.found
    assert len(found) == count
    assert (found["found.w01"].pages, found["found.w01"].faced) == ("? 1 2 -", "as made")
    assert found["found.w02"].faced == "inside out"
    assert found["found.c"].position == 0
    shown = taking_apart.view(bench.state)
    assert shown.looked == count
    with pytest.raises(Refusal, match="Nothing new was said"):
        taking_apart.note_sheets(bench.state, {"as_made": "yes"})


def test_the_pages_a_sheet_would_have_in_its_place() -> None:
    # 4 n pages, outer sides 4n-2i+2 and 2i-1: common practice of saddle stitching, no source.
    bench = annual()
    wraps = bench.state.gathering.wraps
    rows = {row.place: row.expected for row in taking_apart.view(bench.state).sheets}
    assert rows["w01"] == f"{4 * wraps} 1 2 {4 * wraps - 1}"
    assert rows["c"] == "- - - -"


@pytest.mark.parametrize(
    ("form", "says"),
    [
        ({"pages.w01": "36 1"}, "Wrap 1: printed page numbers are four"),
        ({"pages.w01": "36 x"}, "or of a single leaf two, front and back"),
        ({"pages.s01": "17"}, "Single leaf 1: printed page numbers are two, front and back"),
        ({"pages.s01": "17 18 19 20"}, "Single leaf 1: printed page numbers are two"),
        ({"after.s01": "16"}, "Single leaf 1: write its two pages"),
        ({"pages.s01": "17 18", "after.s01": "the end"}, "a number, or empty; got 'the end'"),
        ({"pages.w01": "36 1 2 xx"}, "Wrap 1: printed page numbers are four"),
        ({"faced.w01": "sideways"}, "Wrap 1"),
        ({"pages.w01": "4 1 2 3", "position.w01": "two"}, "whole number, got 'two'"),
        ({"pages.w01": "4 1 2 3", "position.w01": "300"}, "from 0"),
        ({}, "Nothing new was said"),
    ],
)
def test_lines_that_cannot_be_are_sentences_and_keep_what_was_typed(form, says) -> None:
    bench = annual()
    with pytest.raises(Refusal, match=says) as caught:
        taking_apart.note_sheets(bench.state, form)
    assert caught.value.values == form


def test_a_staple_is_recorded_changed_and_told() -> None:
    bench = annual()
    form = {"number": "1", "upper_mm": "65,5", "lower_mm": "78.5", "crown": "outside",
            "legs": "folded inwards", "rust": "heavy", "care": "replace"}  # fmt: skip
    bench.do(taking_apart.note_staple(bench.state, form))
    assert bench.state.staples["staple-1"].upper_mm == Decimal("65.5")
    assert taking_apart.note_staple(bench.state, form) == ()
    bench.do(taking_apart.note_staple(bench.state, {**form, "wire_mm": "0.55"}))
    shown = taking_apart.view(bench.state)
    assert shown.staples[0].says == (
        "legs at 65.5 and 78.5 mm, wire 0.55 mm, crown outside, legs folded inwards, heavy rust, "
        "replace"
    )
    assert shown.disclosed == ("Staple 1: replace.",)
    assert not shown.staples[1].known


@pytest.mark.parametrize(
    ("form", "field", "says"),
    [
        ({"number": "7"}, "number", "staples 1 to 2"),
        ({"number": "1", "upper_mm": "80", "lower_mm": "60"}, "upper_mm", "nearer the head"),
        ({"number": "1", "wire_mm": "5"}, "wire_mm", "up to 2, got 5"),
        ({"number": "1", "upper_mm": "near the top"}, "upper_mm", "is not a number"),
        ({"number": "1", "crown": "upside"}, "upper_mm", "crown"),
    ],
)
def test_a_staple_that_cannot_be(form, field, says) -> None:
    with pytest.raises(Refusal, match=says) as caught:
        taking_apart.note_staple(annual().state, form)
    assert caught.value.problems[0].field == field
