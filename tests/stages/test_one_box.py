"""Readings as people write them, told apart by their words and units, and read back."""

from __future__ import annotations

import pytest

from quirewell.record.codec import from_body
from quirewell.record.nouns import Gathering, Item, ItemState, Reading
from quirewell.stages.one_box import keep_reading, read_back
from quirewell.stages.refusal import Refusal

STATE = ItemState("annual", 3, Item("Copperbeck Garden Annual"), Gathering(9))


@pytest.mark.parametrize(
    ("typed", "quantity", "value"),
    [
        ("pH 7.9 at 21C", "pH", "7.9"),
        ("PH7,9@21 C", "pH", "7.9"),
        ("7.9 at 70F", "pH", "7.9"),
        ("ph below 6", "pH", "6"),
        ("12.5 g", "mass", "12.5"),
        ("12,5g", "mass", "12.5"),
        ("450 mg", "mass", "0.450"),
        ("L* 78", "lightness", "78"),
        ("L*78.4", "lightness", "78.4"),
        ("78 L*", "lightness", "78"),
        ("21C", "temperature", "21"),
        ("70 F", "temperature", "21.1"),
        ("temp 21", "temperature", "21"),
        ("52 %", "humidity", "52"),
        ("RH 52", "humidity", "52"),
        ("90 um", "thickness", "0.09"),
        ("thickness 0.09 mm", "thickness", "0.09"),
        ("width 184.5", "width", "184.5"),
        ("height 10 1/4 in", "height", "260.35"),
        ("step 6", "tone_step", "6"),
        ("6 steps", "tone_step", "6"),
    ],
)
def test_the_words_and_the_unit_say_which_quantity(typed: str, quantity: str, value: str) -> None:
    (draft,) = keep_reading(STATE, {"value": typed, "place": "w03"})
    reading = from_body(Reading, draft.body)
    assert (reading.quantity, reading.value) == (quantity, type(reading.value)(value))


@pytest.mark.parametrize(
    "typed", ["184.5 x 260", "184.5x260 mm", "18.45 by 26.0 cm", "184,5 × 260"]
)
def test_a_size_leaves_two_readings(typed: str) -> None:
    wide, high = (from_body(Reading, one.body) for one in keep_reading(STATE, {"value": typed}))
    assert (wide.quantity, float(wide.value)) == ("width", 184.5)
    assert (high.quantity, float(high.value)) == ("height", 260)


def test_it_is_read_back_with_its_method_place_and_moment() -> None:
    form = {"value": "pH 7.9 at 21C", "place": "3", "moment": "after"}
    assert read_back(STATE, form) == (
        "pH 7.9 at 21 °C (strip on the damp surface) on wrap 3, after treatment"
    )
    assert read_back(STATE, {"value": "184.5 x 260", "place": "w02"}) == (
        "Size 184.5 x 260 mm, width x height, on wrap 2, during treatment"
    )
    assert read_back(STATE, {"value": "L* 78"}) == (
        "Lightness L* 78 on the whole item, during treatment"
    )
    assert read_back(STATE, {"value": "pH below 6.0"}).startswith("pH below 6.0 (strip")


def test_what_leaves_it_open_is_asked_not_guessed() -> None:
    with pytest.raises(Refusal, match="does not say what it is"):
        keep_reading(STATE, {"value": "7.9"})
    with pytest.raises(Refusal, match="of what"):
        keep_reading(STATE, {"value": "184.5 mm"})
    (draft,) = keep_reading(STATE, {"value": "7.9", "expected": "pH"})
    assert draft.body["quantity"] == "pH"
    (draft,) = keep_reading(STATE, {"value": "12.5 g", "expected": "pH"})
    assert draft.body["quantity"] == "mass", "what is written comes before what was expected"
    for ugly in (
        "",
        "   ",
        "pH",
        "pH pH 7",
        "x",
        "184.5 x",
        "L* 178",
        "-5 g",
        "1e9 g",
        "pH 7.9 at",
    ):
        with pytest.raises(Refusal):
            keep_reading(STATE, {"value": ugly})
