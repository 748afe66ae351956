"""Two scans held against the strip's known greys: planted exposures and tone curves."""

from __future__ import annotations

import numpy as np
import pytest

from quirewell.science.colour.exposure import (
    KnownGreys,
    expose_pair,
    exposure_of,
    greys_from_text,
    greys_text,
)
from quirewell.science.colour.spaces import lab_from_linear, linear_from_lab, srgb_from_linear

STEPS = (20.0, 35.0, 50.0, 65.0, 80.0, 92.0)
KNOWN = KnownGreys(STEPS, 0.3, True)


def light_of(lightness):
    steps = np.atleast_1d(np.asarray(lightness, dtype=float))
    return linear_from_lab(np.stack([steps, 0 * steps, 0 * steps], axis=-1))


def curved(light, curve):
    gain, offset, power = curve
    return offset + gain * light**power


def read_steps(curve, rng=None, own_L=STEPS):
    read = lab_from_linear(curved(light_of(own_L), curve))[:, 0]
    if rng is not None:
        read = read + rng.normal(0, 0.1, 6)
    return srgb_from_linear(light_of(read))


def read_paper(lightness, curve):
    return lab_from_linear(curved(light_of(lightness), curve))


def test_a_planted_curve_is_found_and_taken_out():
    curve = (0.94, 0.004, 1.06)
    one = exposure_of(read_steps(curve), KNOWN)
    assert (one.gain, one.offset, one.power) == pytest.approx(curve, abs=0.004)
    assert one.shift_L == pytest.approx(np.mean(lab_from_linear(
        curved(light_of(STEPS), curve))[:, 0] - STEPS))  # fmt: skip
    seen = np.array([[0.55, 0.45, 0.3]])
    assert one.true_light(curved(seen, curve)) == pytest.approx(seen, abs=0.003)
    assert one.read_light(one.true_light(seen)) == pytest.approx(seen)


def random_pair(seed):
    rng = np.random.default_rng(seed)
    before = np.array([rng.normal(0, 0.03), rng.normal(0, 0.003), rng.normal(0, 0.05)])
    after = before + np.array([rng.normal(0, 0.02), rng.normal(0, 0.001), rng.normal(0, 0.01)])
    curves = [(np.exp(one[0]), one[1], np.exp(one[2])) for one in (before, after)]
    own = np.array(STEPS) + rng.normal(0, KNOWN.u_L, 6)
    greys = [read_steps(curve, rng, own) for curve in curves]
    return curves, expose_pair(greys[0], greys[1], KNOWN)


@pytest.mark.parametrize("absolute", [True, False])
def test_the_change_of_a_paper_lies_inside_its_uncertainty(absolute):
    inside, errors = 0, []
    for seed in range(200):
        curves, pair = random_pair(seed)
        seen = [read_paper(one, curve) for one, curve in zip((72.0, 81.0), curves, strict=True)]
        got = [
            pair.lab(role, lab, absolute)[0, 0]
            for role, lab in zip(("before", "after"), seen, strict=True)
        ]
        true = 9.0 if absolute else (read_paper(81.0, curves[0]) - seen[0])[0, 0]
        u = np.hypot(*pair.u_change_L(seen[0][0, 0], seen[1][0, 0], absolute))
        errors.append(got[1] - got[0] - true)
        inside += abs(errors[-1]) <= 1.96 * u
    assert 0.91 <= inside / 200 <= 0.99
    assert np.std(errors) < 0.15


def test_the_same_greys_in_both_scans_change_nothing_between_them():
    pair = expose_pair(read_steps((0.9, 0.0, 1.0)), read_steps((0.9, 0.0, 1.0)), KNOWN)
    lab = np.array([[70.0, 3.0, 20.0], [np.nan, np.nan, np.nan]])
    assert pair.lab("after", lab, False)[0] == pytest.approx(lab[0], abs=1e-6)
    assert np.isnan(pair.lab("after", lab, True)[1]).all()
    assert pair.cast == pytest.approx((0.0, 0.0), abs=1e-9)


def test_a_lamp_that_changed_its_hue_is_kept_as_doubt():
    grey = read_steps((1.0, 0.0, 1.0))
    pair = expose_pair(grey, grey * np.array([1.0, 1.0, 0.98]), KNOWN)
    assert pair.cast[1] > 0.5


def test_clipped_and_hidden_steps_are_left_out_and_too_few_say_nothing():
    greys = read_steps((1.0, 0.0, 1.0))
    greys[5], greys[0] = 1.0, np.nan
    one = exposure_of(greys, KNOWN)
    assert np.isnan(one.off_L[[0, 5]]).all() and np.isfinite(one.off_L[1:5]).all()
    greys[1] = np.nan
    assert exposure_of(greys, KNOWN) is None
    assert expose_pair(greys, read_steps((1.0, 0.0, 1.0)), KNOWN) is None


def test_known_greys_survive_as_text():
    for known in (KNOWN, KnownGreys((21.25, 35, 50.5, 65, 79.125, 92), 0.5, False)):
        assert greys_from_text(greys_text(known)) == known


@pytest.mark.parametrize(
    "text",
    [
        "",
        "20 35 50 65 80 | 0.3 | scan",
        "20 35 50 65 80 92 | 0.3 | guess",
        "20 35 50 65 60 92 | 0.3 | scan",
        "20 35 50 65 80 92 | 0 | scan",
        "20 35 50 65 80 nan | 0.3 | scan",
        "20 35 50 65 80 92 | 0.3",
        "20 35 50 65 80 92 | 0.3 | scan | 5",
    ],
)
def test_other_texts_are_refused(text):
    with pytest.raises(ValueError, match="six lightnesses"):
        greys_from_text(text)
