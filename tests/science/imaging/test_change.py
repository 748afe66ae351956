from __future__ import annotations

import math

import numpy as np
import pytest

from quirewell.science.evidence.uncertainty import BudgetTerm
from quirewell.science.imaging.change import (
    AxisChange,
    axis_change,
    cheapest_cure,
    judge,
    scanner_bend_um,
    scanner_term,
)
from quirewell.science.paper.expansion import HumidityTerm


def _axis(name: str, value: float, u: float = 0.02, humidity: float = 0.0) -> AxisChange:
    return axis_change(
        name, value, u, BudgetTerm("scale", 0.0), BudgetTerm("scanner", 0.0),
        HumidityTerm(0.0, humidity, "test"),
    )  # fmt: skip


def test_a_change_above_the_budget_is_called_and_named() -> None:
    verdict = judge(_axis("width", 0.30), _axis("height", 0.01))
    assert verdict.word == "changed"
    assert verdict.says.startswith("changed (width)")


def test_no_change_states_the_smallest_that_would_have_been_seen() -> None:
    verdict = judge(_axis("width", 0.01), _axis("height", 0.0))
    assert verdict.word == "unchanged"
    assert verdict.says.startswith("unchanged within 0.08 %")


def test_a_margin_is_kept_only_when_change_and_uncertainty_fit_inside() -> None:
    axes = _axis("width", 0.05), _axis("height", 0.0)
    assert judge(*axes, margin_pct=0.10).word == "unchanged"
    assert judge(*axes, margin_pct=0.08).word == "changed"
    assert judge(_axis("width", 0.02), _axis("height", 0.0), margin_pct=0.05).word == "cannot tell"


def test_a_real_but_small_change_may_still_lie_inside_the_margin() -> None:
    verdict = judge(_axis("width", 0.10, u=0.01), _axis("height", 0.0, u=0.01), margin_pct=0.25)
    assert verdict.word == "unchanged"


def test_a_budget_too_wide_for_what_washing_leaves_cannot_tell_and_names_the_cure() -> None:
    verdict = judge(_axis("width", 0.0, humidity=0.2), _axis("height", 0.0))
    assert verdict.word == "cannot tell"
    assert "hygrometer" in verdict.says


@pytest.mark.parametrize("term", ["match", "scale", "scanner", "humidity"])
def test_the_cure_answers_the_largest_term(term: str) -> None:
    size = {name: 0.1 if name == term else 0.01 for name in ("match", "scale", "scanner")}
    humid = 0.1 if term == "humidity" else 0.01
    axis = axis_change(
        "width", 0.0, size["match"], BudgetTerm("scale", size["scale"]),
        BudgetTerm("scanner", size["scanner"]), HumidityTerm(0.0, humid, ""),
    )  # fmt: skip
    words = {"match": "resolution", "scale": "strip", "scanner": "place", "humidity": "hygrometer"}
    assert words[term] in cheapest_cure(axis)


def test_unchanged_leaves_are_called_changed_in_about_5_of_100() -> None:
    rng = np.random.default_rng(5)
    called = [
        judge(_axis("width", w), _axis("height", h)).word == "changed"
        for w, h in 0.02 * rng.normal(size=(4000, 2))
    ]
    assert np.mean(called) == pytest.approx(0.05, abs=0.012)


def test_a_true_change_of_the_smallest_detectable_size_is_called_in_95_of_100() -> None:
    rng = np.random.default_rng(6)
    smallest = _axis("width", 0.0).smallest_pct
    called = [_axis("width", smallest + 0.02 * e).called for e in rng.normal(size=4000)]
    assert np.mean(called) == pytest.approx(0.95, abs=0.012)


def test_moving_a_leaf_on_the_glass_costs_up_to_the_published_error() -> None:
    same = scanner_term(184.0, 0.0, turned=False)
    moved = scanner_term(184.0, 25.0, turned=False)
    turned = scanner_term(184.0, 0.0, turned=True)
    assert same.u < moved.u < turned.u
    assert same.u == pytest.approx(0.0186, abs=5e-4)
    assert turned.u == pytest.approx(0.108, abs=2e-3)


def test_a_margin_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="above 0 %"):
        judge(_axis("width", 0.0), _axis("height", 0.0), margin_pct=0.0)


def test_a_calibrated_scanner_leaves_less_than_an_unchecked_one() -> None:
    for moved, turned in ((0.0, False), (25.0, False), (0.0, True)):
        unchecked = scanner_term(184.0, moved, turned)
        checked = scanner_term(184.0, moved, turned, length_u_um=35.0, repeat_um=8.0)
        assert checked.u < unchecked.u
        assert checked.basis.startswith("calibrated scanner")
    still = scanner_term(184.0, 0.0, False, length_u_um=35.0, repeat_um=8.0)
    assert still.u == pytest.approx(100 * math.sqrt(2) * 8.0 / 260_000, rel=1e-9)


def test_the_bend_a_scanner_feigns_is_that_of_the_calibrated_one_when_there_is_one() -> None:
    plain, calibrated = scanner_bend_um(10.0, False), scanner_bend_um(10.0, False, 50.0, 3.0)
    assert plain.u == pytest.approx(2**0.5 * np.hypot(7.0, 0.2 * 240 / 3**0.5))
    assert calibrated.u == pytest.approx(2**0.5 * np.hypot(3.0, 0.2 * 50.0))
    assert scanner_bend_um(0.0, True, 50.0, 3.0).u == pytest.approx(2**0.5 * np.hypot(3.0, 50.0))
    assert "uncalibrated" in plain.basis and "calibrated scanner" in calibrated.basis
    assert scanner_bend_um(10.0, False, 50.0, None).u == plain.u


def test_the_sentence_gives_the_95_per_cent_range_rounded_to_itself() -> None:
    """``jcgm100`` 6.3.3: expanded uncertainty, k = 2."""
    axes = _axis("width", 0.1234, u=0.05), _axis("height", -0.01, u=0.05)
    spread = 2 * axes[0].u_pct
    assert f"width +{axes[0].value_pct:.2f} \u00b1 {spread:.2f} %" in judge(*axes).says
    assert "(u " not in judge(*axes).says
