"""A fitted target as a line of text, and the published limits beside it."""

import numpy as np
import pytest

from quirewell.science.colour import fit_target
from quirewell.science.colour.spaces import lab_from_linear
from quirewell.science.colour.target_use import target_from_text, target_text, use_of
from quirewell.science.colour.tolerances import LIMITS, STANDING, beside
from spectral_bench import chart, lab, seen_by


@pytest.mark.parametrize("model", ["linear", "root"])
def test_a_target_read_back_predicts_the_same(model):
    light = chart() @ seen_by("narrow")
    fit = fit_target(light, lab(chart()), model=model)
    again = target_from_text(target_text(use_of(fit)))
    assert again.model == model
    assert again.predict(light) == pytest.approx(fit.predict(light), abs=1e-5)
    assert again.correct(lab_from_linear(light)) == pytest.approx(fit.predict(light), abs=1e-5)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "root | 1 2 3 | 1 1 1",
        "cubic | 1 2 3 4 5 6 7 8 9 | 1 1 1",
        "linear | 1 2 3 4 5 6 7 8 nan | 1 1 1",
        "linear | 1 2 3 4 5 6 7 8 x | 1 1 1",
        "linear | 1 2 3 4 5 6 7 8 9 | 1 1 0",
        "linear | 1 2 3 4 5 6 7 8 9 | 1 1",
        "linear " * 500,
    ],
)
def test_other_texts_are_refused(text):
    with pytest.raises(ValueError, match=r"target\.use"):
        target_from_text(text)


def test_every_limit_is_shown_with_the_figure_and_its_standing():
    rows = beside({"target.dE00_mean": 3.6})
    assert len(rows) == 3
    assert all(row["value"] == 3.6 and row["standing"] == STANDING for row in rows)
    assert [row["meets"] for row in rows] == ["A", "2*", "light"]
    assert beside({"target.dE00_mean": 20.0})[0]["meets"] == "none"


def test_limits_grow_from_class_to_class():
    assert all(np.diff(limit.limits).min() >= 0 for limit in LIMITS)
