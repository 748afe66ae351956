"""Typed text: numbers, temperatures, times, strengths."""

from decimal import Decimal

import pytest

from quirewell.stages import typed


@pytest.mark.parametrize(
    ("text", "value"),
    [("7.9", "7.9"), ("7,9", "7.9"), (" ,5 ", "0.5"), ("\u22122", "-2"), ("0,125", "0.125")],
)
def test_numbers_with_point_or_comma(text, value):
    assert typed.number(text) == Decimal(value)


@pytest.mark.parametrize("text", ["", "x", "1.2.3", "1 2", "nan", "inf", "1e3", "1,234"])
def test_what_is_no_number(text):
    with pytest.raises(typed.Unreadable):
        typed.number(text)


@pytest.mark.parametrize(
    ("text", "celsius"),
    [("21", "21"), ("21 C", "21"), ("21°C", "21"), ("70F", "21.1"), ("32 degrees F", "0.0"),
     ("294.15 K", "21.00"), ("-3", "-3"), ("20,5c", "20.5")],
)  # fmt: skip
def test_temperatures(text, celsius):
    assert typed.temperature_c(text) == Decimal(celsius)


@pytest.mark.parametrize("text", ["warm", "21 X", "", "C"])
def test_what_is_no_temperature(text):
    with pytest.raises(typed.Unreadable, match="21C or 70F"):
        typed.temperature_c(text)


@pytest.mark.parametrize(
    ("text", "value"),
    [("20", 20), ("20 min", 20), ("1 h 30", 90), ("2 hours", 120), ("1.5h", 90), ("0", 0)],
)
def test_minutes(text, value):
    assert typed.minutes(text) == value


@pytest.mark.parametrize("text", ["", "soon", "h", "1:30:00"])
def test_what_is_no_time(text):
    with pytest.raises(typed.Unreadable):
        typed.minutes(text)


@pytest.mark.parametrize(
    ("text", "share"),
    [("saturated", "1"), ("50 %", "0.5"), ("1:1", "0.5"), ("1+3", "0.25"), ("0,1", "0.1"),
     ("1:2", "0.3333"), ("33 per cent", "0.33"), ("1:0", "1")],
)  # fmt: skip
def test_strengths(text, share):
    assert typed.strength(text) == Decimal(share)


@pytest.mark.parametrize("text", ["half", "0:1", "1:-1", "", "%"])
def test_what_is_no_strength(text):
    with pytest.raises(typed.Unreadable):
        typed.strength(text)
