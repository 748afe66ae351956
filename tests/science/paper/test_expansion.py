from __future__ import annotations

import math

import pytest

from quirewell.science.paper.expansion import (
    BETA_ACROSS_PCT_PER_PCT,
    BETA_ALONG_PCT_PER_PCT,
    across_grain,
    expansion_pct_per_rh,
    humidity_term,
)


def test_low_coefficients_are_the_published_five_per_cent_row() -> None:
    """5 % more moisture: 0.05 % with the grain, 0.23 % across it (``printwiki_moisture``)."""
    assert 5 * BETA_ALONG_PCT_PER_PCT[0] == pytest.approx(0.05)
    assert 5 * BETA_ACROSS_PCT_PER_PCT[0] == pytest.approx(0.23)


def test_ten_per_cent_humidity_moves_the_width_by_the_computed_band() -> None:
    """10 % RH is 0.1 to 0.25 mm in 184 mm (computed in the press notes)."""
    middle, u = expansion_pct_per_rh(across=True)
    low, high = (184 * 10 * (middle + sign * u) / 100 for sign in (-1.5, 1.5))
    assert low < 0.13
    assert 0.25 < high < 0.5


def test_readings_narrow_and_shift_what_is_expected() -> None:
    unknown = humidity_term(True)
    same_day = humidity_term(True, same_day=True)
    equal = humidity_term(True, 48.0, 48.0)
    apart = humidity_term(True, 45.0, 60.0)
    assert same_day.u_pct < equal.u_pct < unknown.u_pct < apart.u_pct
    assert unknown.expected_pct == equal.expected_pct == 0.0
    assert apart.expected_pct == pytest.approx(15 * expansion_pct_per_rh(True)[0])
    assert humidity_term(True, 60.0, 45.0).expected_pct == -apart.expected_pct


def test_the_uncertainty_is_never_less_than_the_expected_movement() -> None:
    term = humidity_term(False, 30.0, 70.0)
    assert term.u_pct > abs(term.expected_pct)


def test_along_the_grain_moves_least() -> None:
    assert humidity_term(False).u_pct < 0.5 * humidity_term(True).u_pct


@pytest.mark.parametrize(
    ("grain", "across"),
    [("height", (True, False)), ("width", (False, True)), ("unknown", (True, True))],
)
def test_the_grain_decides_which_dimension_lies_across(
    grain: str, across: tuple[bool, bool]
) -> None:
    assert across_grain(grain) == across  # type: ignore[arg-type]


@pytest.mark.parametrize("bad", [-1.0, 101.0, math.nan])
def test_an_impossible_humidity_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 100 % RH"):
        humidity_term(True, 50.0, bad)
