"""The fall of tone towards the edges, and the tone of paper under print."""

import numpy as np
import pytest

from quirewell.science.colour.tone_profile import filled, fit_decay, weighted_median


def field(decay_mm=14.0, fall=(16.0, -4.0, -6.0), noise=0.5, seed=0, size=(120, 90)):
    rng = np.random.default_rng(seed)
    y = np.minimum(np.arange(size[0]), np.arange(size[0])[::-1])[:, None] * 2.0 + 1.0
    x = np.minimum(np.arange(size[1]), np.arange(size[1])[::-1])[None, :] * 2.0 + 1.0
    e = np.minimum(x, y)
    lab = np.array([80.0, 4.0, 20.0]) - np.exp(-e / decay_mm)[..., None] * np.array(fall)
    return lab + noise * rng.standard_normal(lab.shape), e


@pytest.mark.parametrize("decay_mm", [6.0, 12.0, 25.0])
def test_decay_depth_and_centre_come_back(decay_mm):
    lab, e = field(decay_mm)
    found = fit_decay(e, lab[..., 0], np.ones(e.shape, bool))
    assert found.found
    assert found.decay_mm == pytest.approx(decay_mm, abs=max(2 * found.u_decay_mm, 0.3))
    assert found.fall_L == pytest.approx(16.0, abs=max(2 * found.u_fall_L, 0.5))
    assert found.residual_L == pytest.approx(0.5, rel=0.1)


def test_a_stain_does_not_change_the_decay():
    lab, e = field(12.0)
    lab[70:100, 30:60, 0] -= 12.0
    found = fit_decay(e, lab[..., 0], np.ones(e.shape, bool))
    assert found.decay_mm == pytest.approx(12.0, abs=2.0)


def test_even_paper_has_no_decay():
    lab, e = field(fall=(0.0, 0.0, 0.0))
    assert not fit_decay(e, lab[..., 0], np.ones(e.shape, bool)).found


def test_too_few_tiles_or_no_margin_give_none():
    lab, e = field()
    assert fit_decay(e, lab[..., 0], e > 30.0) is None
    few = np.zeros(e.shape, bool)
    few[:3, :3] = True
    assert fit_decay(e, lab[..., 0], few) is None


def test_paper_under_print_takes_the_tone_around_it_not_the_margins():
    lab, e = field(noise=0.1)
    seen = lab.copy()
    seen[20:100, 15:42] = np.nan
    seen[20:100, 47:75] = np.nan
    whole = filled(seen, e, np.ones(e.shape, bool))
    error = (whole - lab)[20:100, 15:42]
    assert np.abs(np.median(error, axis=(0, 1))).max() < 0.4
    assert np.array_equal(whole[:10], lab[:10])


def test_all_bare_paper_gone_leaves_nothing():
    lab, e = field()
    assert np.isnan(filled(lab * np.nan, e, np.ones(e.shape, bool))).all()


def test_a_weighted_median_counts_weight():
    values = np.array([[1.0, 10.0], [2.0, 20.0], [3.0, 30.0]])
    assert weighted_median(values, np.array([1.0, 1.0, 1.0])) == pytest.approx([2.0, 20.0])
    assert weighted_median(values, np.array([1.0, 1.0, 9.0])) == pytest.approx([3.0, 30.0])
