"""Fitting a target: choice by left-out patches, paper tones, and change of paper within 0.15."""

import numpy as np
import pytest

from quirewell.science.colour import fit_target
from quirewell.science.colour.characterise import MODELS, _metric
from quirewell.science.colour.difference import ciede2000
from quirewell.science.colour.spaces import linear_from_lab
from quirewell.science.colour.target24 import NEUTRALS, PATCHES, edition_lab
from spectral_bench import CAMERAS, chart, lab, papers, seen_by


def noisy(reflectance, response, seed, share=0.003):
    rng = np.random.default_rng(seed)
    return (reflectance @ response) * (1 + share * rng.standard_normal((len(reflectance), 3)))


def test_a_camera_that_sees_as_the_eye_does_is_fitted_exactly():
    lab24 = edition_lab("after-2014")
    mix = np.array([[0.8, 0.25, 0.05], [0.1, 0.85, 0.1], [0.02, 0.25, 0.6]])
    fit = fit_target(linear_from_lab(lab24) @ mix.T, lab24)
    assert fit.de00.max() < 1e-6 and fit.model == "linear"
    other = np.array([[76.0, 4.0, 20.0], [60.0, 9.0, 28.0]])
    assert fit.predict(linear_from_lab(other) @ mix.T) == pytest.approx(other, abs=1e-5)


@pytest.mark.parametrize("camera", sorted(CAMERAS))
@pytest.mark.parametrize("illuminant", ["D50", "D65"])
def test_change_of_paper_colour_is_within_fifteen_hundredths(camera, illuminant):
    response = seen_by(camera, illuminant)
    fit = fit_target(noisy(chart(), response, 1), lab(chart()))
    before, after = papers(40, 2), papers(40, 2, share=0.6)
    planted = ciede2000(lab(before), lab(after))
    seen = ciede2000(fit.predict(before @ response), fit.predict(after @ response))
    assert planted.mean() > 1.0
    assert np.abs(seen - planted).mean() < 0.15


@pytest.mark.parametrize("camera", sorted(CAMERAS))
def test_the_stated_uncertainty_of_a_paper_tone_is_not_too_small(camera):
    response = seen_by(camera)
    fit = fit_target(noisy(chart(), response, 3), lab(chart()))
    error = np.abs(fit.predict(papers(60, 4) @ response) - lab(papers(60, 4)))
    assert (error < 2 * np.array(fit.u_lab)).mean() > 0.9


def test_measured_paper_tones_bring_papers_closer():
    response = seen_by("overlapping")
    plain, helped = [], []
    test = papers(60, 5)
    for seed in range(4):
        light = noisy(chart(), response, seed)
        three = papers(3, 90 + seed)
        with_papers = fit_target(
            light, lab(chart()), papers_rgb=three @ response, papers_lab=lab(three)
        )
        without = fit_target(light, lab(chart()))
        plain.append(ciede2000(without.predict(test @ response), lab(test)).mean())
        helped.append(ciede2000(with_papers.predict(test @ response), lab(test)).mean())
        assert np.isfinite(with_papers.left_out[with_papers.model].papers)
    assert np.mean(helped) < 0.8 * np.mean(plain)


def test_the_model_is_chosen_by_left_out_patches_not_by_the_fit():
    response = seen_by("narrow")
    light = noisy(chart(), response, 6, share=0.05)
    both = {model: fit_target(light, lab(chart()), model=model) for model in MODELS}
    # The richer model always fits its own patches better ...
    assert both["root"].de00.mean() < both["linear"].de00.mean()
    chosen = fit_target(light, lab(chart()))
    scores = {model: chosen.left_out[model].score for model in MODELS}
    # ... and is kept only where it predicts unknown ones better.
    assert chosen.model == ("root" if scores["root"] < 0.97 * scores["linear"] else "linear")
    assert all(check.de00.mean() > both[m].de00.mean() for m, check in chosen.left_out.items())


def test_few_patches_get_the_plain_model():
    fit = fit_target((chart() @ seen_by("narrow"))[8:20], lab(chart())[8:20])
    assert fit.model == "linear" and set(fit.left_out) == {"linear"}


def test_the_metric_is_that_of_small_colour_differences():
    rng = np.random.default_rng(7)
    at = np.column_stack([rng.uniform(20, 95, 40), rng.uniform(-5, 40, 40), rng.uniform(0, 60, 40)])
    step = 0.02 * rng.standard_normal((40, 3))
    size = np.linalg.norm(np.einsum("nij,nj->ni", _metric(at), step), axis=1)
    assert size == pytest.approx(ciede2000(at, at + step), rel=0.03)


@pytest.mark.parametrize(
    ("rgb", "reference", "says"),
    [
        (np.ones((5, 3)), np.ones((5, 3)), "at least 10"),
        (np.ones((24, 3)), np.ones((23, 3)), "same patches"),
        (np.full((24, 3), np.nan), np.ones((24, 3)), "must be numbers"),
        (np.ones((24, 3)), np.full((24, 3), 400.0), "no CIELAB"),
        (np.ones((24, 3)), np.full((24, 3), 50.0), "nothing can be fitted"),
    ],
)
def test_what_cannot_be_fitted_is_refused_in_a_sentence(rgb, reference, says):
    with pytest.raises(ValueError, match=says):
        fit_target(rgb, reference)


def test_paper_tones_need_both_halves():
    light = chart() @ seen_by("narrow")
    with pytest.raises(ValueError, match="both"):
        fit_target(light, lab(chart()), papers_rgb=light[:2])
    with pytest.raises(ValueError, match="m x 3"):
        fit_target(light, lab(chart()), papers_rgb=light[:2], papers_lab=light[:3])


def test_editions_differ_and_must_be_named():
    one, two = edition_lab("before-2014"), edition_lab("after-2014")
    # First row of the older edition as the imaging notes give it.
    assert one[:2] == pytest.approx(np.array([[37.99, 13.56, 14.06], [65.71, 18.13, 17.81]]))
    assert ciede2000(one, two).max() > 1.0 and len(PATCHES) == 24
    assert np.hypot(*two[list(NEUTRALS), 1:].T).max() < 4.0
    with pytest.raises(ValueError, match="look on its back"):
        edition_lab("2020")
