"""A leaf's paper tone on dense pages: what print hides must not pull it towards the margins."""

import numpy as np
import pytest

from quirewell.demo.scenes import render_leaf
from quirewell.science.imaging.leaf import find_leaf
from quirewell.science.imaging.leaf_tone import leaf_tone
from quirewell.science.imaging.strip import find_strip


def toned(seed, dpi=150, **planted):
    pixels, truth = render_leaf(seed, dpi, width_mm=150.0, height_mm=200.0, **planted)
    strip = find_strip(np.ascontiguousarray(pixels[..., 1]))
    px_mm = truth.um_per_px_x / 1000.0
    leaf = find_leaf(pixels, px_mm, "whole", [strip.box_px] if strip else [])
    return leaf_tone(pixels, leaf, px_mm), truth


def test_the_median_of_dense_pages_is_not_that_of_their_margins():
    errors, before = [], []
    for seed in (0, 4, 5, 8):
        found, truth = toned(seed)
        errors.append(np.array(found.summary.median) - truth.tone_median)
        bare = found.tiles.lab[found.tiles.bare]
        before.append(np.median(bare, axis=0) - truth.tone_median)
        assert 0.05 < found.hidden < 0.8
    errors, before = np.array(errors), np.array(before)
    # Bare places alone lie in the browner margins ...
    assert before[:, 0].mean() < -0.5
    # ... all unprinted paper together comes out without that pull.
    assert abs(errors[:, 0].mean()) < 0.35
    assert np.abs(errors).max() < 1.0


def test_how_far_the_browning_reaches_is_found_on_a_bare_leaf():
    found, _ = toned(3, dpi=75, printed=False)
    assert found.hidden < 0.15
    # 11 mm are planted, varying along the edges, and both edges of a corner add up.
    assert found.decay.found
    assert found.decay.decay_mm == pytest.approx(11.0, abs=max(3.0, 2 * found.decay.u_decay_mm))
