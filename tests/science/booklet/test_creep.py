"""Creep against planted truth, scipy's regression and the identity of the left-out residual."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from quirewell.science.booklet.against_others import fit, hold
from quirewell.science.booklet.creep import (
    Creep,
    TooFew,
    Width,
    compare,
    fit_widths,
    nesting,
)
from quirewell.science.booklet.reading import Reading

KT = 0.11


def planted(rng, wraps=14, kt=KT, scatter=0.12, u=0.12, odd=None, width=368.0, tall=None):
    out = []
    for i in range(wraps):
        wide = width - 2 * kt * i + rng.normal(0, scatter)
        height = 260 + rng.normal(0, scatter)
        if odd and i + 1 in odd:
            wide += odd[i + 1]
            height += tall or 0.0
        out.append(Width(i + 1, wide, u, None if tall is None else height))
    return out


def test_slope_and_its_u_are_scipys():
    rng = np.random.default_rng(3)
    wraps = np.arange(14)
    widths = 368 - 0.22 * wraps + rng.normal(0, 1.0, 14)
    theirs = stats.linregress(wraps, widths)
    ours = fit_widths(
        [Width(int(i) + 1, float(w), 0.05) for i, w in zip(wraps, widths, strict=True)]
    )
    assert ours.odd == () and ours.dof == 12
    assert -2 * ours.kappa_t_mm == pytest.approx(theirs.slope)
    assert 2 * ours.u_kappa_t_mm == pytest.approx(theirs.stderr)
    half = stats.t.ppf(0.95, 12) * theirs.stderr / 2
    assert ours.high90 - ours.kappa_t_mm == pytest.approx(half)


def test_left_out_residual_is_its_identity():
    """t_i = e_i / (s(i) sqrt(1 - h_i)), ``belsley1980`` (from memory)."""
    rng = np.random.default_rng(5)
    design = np.column_stack([np.ones(12), np.arange(12.0)])
    values = design @ [3.0, 1.0] + rng.normal(0, 1, 12)
    u = np.full(12, 1e-3)
    held = hold(design, values, u)
    assert bool(held.kept.all())
    hat = design @ np.linalg.inv(design.T @ design) @ design.T
    left = values - hat @ values
    h = np.diag(hat)
    total = float(left @ left)
    without = np.sqrt((total - left**2 / (1 - h)) / (12 - 3))
    assert np.allclose(held.times, left / (without * np.sqrt(1 - h)))


@pytest.mark.parametrize("wraps", [4, 8, 14])
def test_bands_hold_the_truth(wraps):
    """At least 90 of 100, counted to three of its own standard deviations."""
    rng = np.random.default_rng(1936 + wraps)
    many = 300
    inside = sum(
        one.low90 <= KT <= one.high90
        for one in (fit_widths(planted(rng, wraps)) for _ in range(many))
    )
    assert inside / many > 0.90 - 3 * (0.9 * 0.1 / many) ** 0.5


def test_spread_of_fits_is_theirs():
    rng = np.random.default_rng(7)
    fits = [fit_widths(planted(rng, 14)) for _ in range(200)]
    theory = 0.12 / (2 * np.sqrt(np.sum((np.arange(14) - 6.5) ** 2)))
    assert np.std([one.kappa_t_mm for one in fits]) == pytest.approx(theory, rel=0.2)
    assert np.median([one.u_kappa_t_mm for one in fits]) == pytest.approx(theory, rel=0.2)
    assert sum(bool(one.odd) for one in fits) <= 8


@pytest.mark.parametrize("wrap", [1, 6, 14])
@pytest.mark.parametrize("off", [-1.2, 1.2])
def test_a_wrap_of_another_copy_is_named_and_no_other(wrap, off):
    rng = np.random.default_rng(11)
    fits = [fit_widths(planted(rng, 14, odd={wrap: off})) for _ in range(60)]
    assert sum([one.wrap for one in fit_.odd] == [wrap] for fit_ in fits) >= 55
    said = next(fit_.odd[0] for fit_ in fits if fit_.odd)
    assert said.off_mm == pytest.approx(off, abs=0.5) and abs(said.times) > 3
    word = "wider" if off > 0 else "narrower"
    assert (
        f"wrap {wrap} is" in said.says and word in said.says and "times their scatter" in said.says
    )
    assert ("trimmed again" in said.says) == (off < 0)


def test_two_odd_wraps_do_not_hide_each_other():
    rng = np.random.default_rng(13)
    fits = [fit_widths(planted(rng, 14, odd={1: 1.5, 2: 1.5})) for _ in range(60)]
    assert sum([one.wrap for one in each.odd] == [1, 2] for each in fits) >= 54
    assert np.mean([one.kappa_t_mm for one in fits]) == pytest.approx(KT, abs=0.004)


def test_heights_speak_for_or_against():
    rng = np.random.default_rng(17)
    both = fit_widths(planted(rng, odd={5: 1.5}, tall=1.2)).odd[0]
    assert "also" in both.says and "taller" in both.says
    only = fit_widths(planted(rng, odd={5: 1.5}, tall=0.0)).odd[0]
    assert "height is like the others'" in only.says


def test_a_wrap_elsewhere_in_the_order_says_where_it_would_fit():
    rng = np.random.default_rng(19)
    fitted = fit_widths(planted(rng, scatter=0.03, u=0.05, odd={3: -2 * KT * 8}))
    assert [(one.wrap, one.like) for one in fitted.odd] == [(3, 11)]
    assert "A wrap 11 would be as wide" in fitted.odd[0].says


def test_works_from_four_and_says_too_few_below():
    widths = [Width(i, 368 - 0.2 * i, 0.1) for i in range(1, 5)]
    assert isinstance(fit_widths(widths), Creep)
    with pytest.raises(TooFew, match="got 3: too few"):
        fit_widths(widths[:3])
    with pytest.raises(ValueError, match="twice"):
        fit_widths([*widths, widths[0]])


def test_half_of_the_wraps_against_the_other_half_accuses_none():
    widths = [Width(i, 368 - 0.2 * i + (5 if i % 2 else 0), 0.1) for i in range(1, 9)]
    fitted = fit_widths(widths)
    assert not fitted.agree and fitted.odd == ()


def test_the_factor_and_what_it_says():
    rng = np.random.default_rng(23)
    fitted = fit_widths(planted(rng, 14, kt=1.3 * 0.085, scatter=0.05, u=0.05))
    factor = nesting(fitted, Reading(0.085, 0.004))
    assert factor.low90 < 1.3 < factor.high90 and "trade's 1.2 to 1.4" in factor.says
    thin = nesting(fitted, Reading(0.3, 0.01))
    assert thin.high90 < 1 and "less than any fold can do" in thin.says
    assert "more than any fold can do" in nesting(fitted, Reading(0.05, 0.001)).says
    backwards = fit_widths([Width(i, 300 + 0.2 * i, 0.05) for i in range(1, 10)])
    assert "grow inwards" in nesting(backwards).says
    with pytest.raises(ValueError, match="ten leaves together"):
        nesting(fitted, Reading(0.085, 0.04))


def test_the_factors_band_holds_the_truth():
    rng = np.random.default_rng(29)
    inside = 0
    for _ in range(300):
        leaf = Reading(float(rng.normal(0.085, 0.008)), 0.008)
        factor = nesting(fit_widths(planted(rng, 9, kt=1.3 * 0.085)), leaf)
        inside += factor.low90 <= 1.3 <= factor.high90
    assert 0.85 < inside / 300 < 0.98


@settings(deadline=None, derandomize=True)
@given(growth=st.floats(-4, 4), kt=st.floats(0.05, 0.2))
def test_even_growth_changes_the_intercept_and_not_the_slope(growth, kt):
    before = [Width(i + 1, 368 - 2 * kt * i + 0.1 * (-1) ** i, 0.12) for i in range(9)]
    after = [Width(one.wrap, one.width_mm + growth, 0.12) for one in before]
    change = compare(fit_widths(before), fit_widths(after))
    assert change.kappa_t.value == pytest.approx(0, abs=1e-9)
    assert change.width.value == pytest.approx(growth, abs=1e-9)
    if abs(growth) > 0.5:
        assert ("grew" if growth > 0 else "shrank") in change.says


def test_unequal_growth_is_told():
    before = fit_widths([Width(i + 1, 368 - 0.22 * i, 0.05) for i in range(9)])
    after = fit_widths([Width(i + 1, 368 - 0.05 * i, 0.05) for i in range(9)])
    assert "inner wraps became wider" in compare(before, after).says


def test_an_understated_u_gives_way_to_the_scatter():
    rng = np.random.default_rng(31)
    design = np.column_stack([np.ones(20), np.arange(20.0)])
    loose = fit(design, rng.normal(0, 1, 20), np.full(20, 0.1), False)
    assert loose.scatter == pytest.approx(10, rel=0.4) and loose.dof == 18
