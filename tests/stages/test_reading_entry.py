"""Readings as typed: units, commas, Fahrenheit, off-scale strips, and what is refused."""

from dataclasses import replace
from decimal import Decimal

import pytest

from folding import annual
from quirewell.stages import treat
from quirewell.stages.refusal import Refusal
from quirewell.stages.treat_view import reading_u

PH = {"quantity": "pH", "method": "electrode on the paper", "place": "w03.outer.left"}
STRIP = {"quantity": "pH", "method": "strip on the paper", "place": "w03"}


def taken(**form: str):
    bench = annual()
    bench.do(treat.record_reading(bench.state, form))
    return list(bench.state.readings.values())


@pytest.mark.parametrize(
    ("value", "ph", "celsius"),
    [
        ("7.9 at 21C", "7.9", "21"),
        ("7,9 at 21,5 °C", "7.9", "21.5"),
        ("7.9 @ 70F", "7.9", "21.1"),
        ("pH 7.9 at 21", "7.9", "21"),
    ],
)
def test_ph_is_read_with_its_temperature(value, ph, celsius):
    (reading,) = taken(**PH, value=value)
    assert (reading.value, reading.temperature_c) == (Decimal(ph), Decimal(celsius))
    assert reading.as_typed == value
    assert reading.method == "electrode on the paper"
    assert reading.resolution == Decimal("0.1")


def test_temperature_may_stand_in_its_own_field():
    (reading,) = taken(**PH, value="7.9", temperature="70F")
    assert reading.temperature_c == Decimal("21.1")


def test_strip_needs_no_thermometer_and_counts_half_steps():
    (reading,) = taken(**STRIP, value="6")
    assert reading.temperature_c is None
    assert reading.resolution == Decimal("0.5")


def test_a_meter_keeps_its_buffers_and_far_beyond_them_is_less_sure():
    (near,) = taken(
        quantity="pH", value="7.9 at 21C", method="electrode on the paper", buffers="7, 10.01"
    )
    assert near.buffers == (Decimal(7), Decimal("10.01"))
    (far,) = taken(
        quantity="pH", value="12.4 at 21C", method="electrode in the bath", buffers="4.01; 7.00"
    )
    plain = replace(far, buffers=())
    assert reading_u(near) == reading_u(replace(near, buffers=()))
    assert reading_u(far)[0] > reading_u(plain)[0]
    assert "5.4 beyond its buffers" in reading_u(far)[1]


@pytest.mark.parametrize("buffers", ["seven", "0.5, 7", "1, 2, 3, 4, 5, 6"])
def test_what_are_no_buffers_is_refused_in_a_sentence(buffers):
    with pytest.raises(Refusal) as caught:
        taken(quantity="pH", value="7 at 21C", method="electrode on the paper", buffers=buffers)
    (problem,) = caught.value.problems
    assert problem.field == "buffers"


def test_a_strip_has_no_buffers():
    with pytest.raises(Refusal, match="strip is set on no buffers"):
        taken(quantity="pH", value="7", method="strip on the paper", buffers="7")


@pytest.mark.parametrize(
    ("value", "side", "limit"),
    [("<6", "below", "6"), ("> 8,5", "above", "8.5"), ("below 5", "below", "5"),
     ("over 9", "above", "9")],
)  # fmt: skip
def test_off_scale_strip_is_kept_as_a_limit(value, side, limit):
    bench = annual()
    bench.do(treat.record_reading(bench.state, {**STRIP, "value": value}))
    (reading,) = bench.state.readings.values()
    assert (reading.off_scale, reading.value) == (side, Decimal(limit))
    (row,) = treat.view(bench.state)["readings"]
    assert row["u"] is None and row["said"] == f"{side} {limit}"


@pytest.mark.parametrize(
    ("quantity", "value", "expected", "unit", "step"),
    [
        ("mass", "4,7 g", "4.7", "g", "0.1"),
        ("mass", "4700 mg", "4.7", "g", "0.001"),
        ("mass", "4.70", "4.70", "g", "0.01"),
        ("thickness", "90 um", "0.09", "mm", "0.001"),
        ("thickness", "0,09", "0.09", "mm", "0.01"),
        ("thickness", "3.5 mil", "0.0889", "mm", "0.00254"),
        ("width", "18.45 cm", "184.5", "mm", "0.1"),
        ("height", "10 1/4 in", "260.35", "mm", "6.35"),
        ("tone_step", "6", "6", "step", "1"),
        ("temperature", "68F", "20.0", "C", "0.5"),
        ("humidity", "52%", "52", "%", "1"),
    ],
)
def test_units_are_turned_into_one(quantity, value, expected, unit, step):
    (reading,) = taken(quantity=quantity, value=value, place="w01")
    assert reading.value == Decimal(expected)
    assert (reading.unit, reading.as_typed) == (unit, value)
    if quantity != "temperature":
        assert reading.resolution == Decimal(step)


@pytest.mark.parametrize(
    "typed", ["184.5 x 260", "184,5 × 260 mm", "18.45 x 26.0 cm", "184.5mm by 260mm"]
)
def test_size_is_two_readings(typed):
    width, height = taken(quantity="size", value=typed, place="w01")
    assert (width.quantity, width.value) == ("width", Decimal("184.5"))
    assert (height.quantity, height.value) == ("height", Decimal("260"))
    assert width.as_typed == height.as_typed == typed
    assert width.id != height.id


@pytest.mark.parametrize(
    ("form", "field", "says"),
    [
        ({**STRIP, "value": "79"}, "value", "is a decimal point missing? 7.9 is a pH"),
        ({**STRIP, "value": "-1"}, "value", "between 0 and 14"),
        ({**STRIP, "value": "acid"}, "value", "'acid' is not a number; write it as 7.9 at 21C"),
        ({**STRIP, "value": ""}, "value", "Type the reading"),
        ({**STRIP, "value": "6 at 70"}, "value", "was it Fahrenheit? Write 70F"),
        ({**STRIP, "value": "6 at hot"}, "value", "'hot' is not a temperature"),
        ({**PH, "value": "7.9"}, "value", "needs its temperature"),
        ({**STRIP, "value": "6", "temperature": "70"}, "temperature", "was it Fahrenheit?"),
        ({**STRIP, "value": "6 at 200C"}, "value", "between 0 and 60 °C, got 200 °C."),
        ({"quantity": "temperature", "value": "68"}, "value", "was it Fahrenheit? Write 68F"),
        ({"quantity": "pH", "value": "7"}, "method", "Choose one of: strip on the paper"),
        ({"quantity": "mass", "value": "1,234"}, "value", "two ways; write 1.234 or 1234"),
        ({"quantity": "mass", "value": "4 lb"}, "value", "read in g, mg, kg, oz, got 'lb'"),
        ({"quantity": "mass", "value": "0"}, "value", "between 0.01 and 5000 g"),
        ({"quantity": "thickness", "value": "90"}, "value", "another unit? Write it as 0.09 mm"),
        ({"quantity": "size", "value": "184.5"}, "value", "write width x height"),
        ({"quantity": "width", "value": "10 1/0 in"}, "value", "divides by nothing"),
        ({"quantity": "smell", "value": "3"}, "quantity", "smell cannot be read; choose pH"),
        ({**STRIP, "value": "6", "place": "w77"}, "place", "got wrap 77"),
        ({**STRIP, "value": "6", "moment": "during"}, "moment", "before or after treatment"),
        ({**STRIP, "value": "6", "resolution": "0"}, "resolution", "above 0"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(form, field, says):
    with pytest.raises(Refusal) as caught:
        treat.record_reading(annual().state, form)
    assert [problem.field for problem in caught.value.problems] == [field]
    assert says in str(caught.value)
    assert caught.value.values == form


def test_correction_keeps_place_method_and_identity():
    bench = annual()
    bench.do(treat.record_reading(bench.state, {**PH, "value": "7.9 at 21C"}))
    (known,) = bench.state.readings
    (event,) = bench.do(treat.correct_reading(bench.state, {"id": known, "value": "7.4"}))
    reading = bench.state.readings[known]
    assert event.kind == "reading.corrected"
    assert (reading.value, reading.temperature_c) == (Decimal("7.4"), Decimal("21"))
    assert (reading.place, reading.method) == (PH["place"], PH["method"])


@pytest.mark.parametrize(
    ("form", "says"),
    [
        ({"id": "reading-99", "value": "7"}, "no such reading"),
        ({"quantity": "mass", "value": "7"}, "keeps its quantity"),
    ],
)
def test_correction_of_something_else_is_refused(form, says):
    bench = annual()
    bench.do(treat.record_reading(bench.state, {**STRIP, "value": "6"}))
    (known,) = bench.state.readings
    with pytest.raises(Refusal, match=says):
        treat.correct_reading(bench.state, {"id": known, **form})
