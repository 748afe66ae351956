"""The strip's greys read in a scan, and a change of exposure told from noise."""

from __future__ import annotations

import numpy as np
import pytest

from quirewell.science.colour.spaces import lab_from_srgb
from quirewell.science.imaging.paper_change import light_change
from quirewell.science.imaging.strip import GREYS, draw_strip, find_strip
from quirewell.science.imaging.strip_greys import read_greys


def scanned(gain=1.0, seed=3):
    strip = draw_strip(150.0).astype(np.float64)
    ground = np.full((strip.shape[0] + 80, strip.shape[1] + 90), 60.0)
    ground[40:-40, 45:-45] = strip
    linear = np.where(ground / 255 <= 0.04045, ground / 255 / 12.92,
                      ((ground / 255 + 0.055) / 1.055) ** 2.4) * gain  # fmt: skip
    linear = np.clip(linear, 0, 1)
    out = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055) * 255
    out = out[..., None] + np.random.default_rng(seed).normal(0, 1.5, (*out.shape, 3))
    return np.clip(np.round(out), 0, 255).astype(np.uint8)


def read(pixels):
    found = find_strip(np.ascontiguousarray(pixels[..., 1]))
    return read_greys(pixels, found)


def test_steps_are_read_as_they_were_drawn():
    got = read(scanned())
    drawn = lab_from_srgb(np.repeat(np.array(GREYS)[:, None] / 255.0, 3, axis=1))[:, 0]
    assert got.steps_L == pytest.approx(drawn, abs=0.2)
    assert np.all(got.u_L < 0.3)


def test_a_changed_exposure_is_told_from_noise():
    first, again, brighter = (read(scanned(*pair)) for pair in ((1.0, 3), (1.0, 4), (0.9, 5)))
    greens = [tuple(float(value) for value in one.srgb[:, 1]) for one in (first, again, brighter)]
    same = light_change(greens[0], greens[1], top=1.0)
    other = light_change(greens[0], greens[2], top=1.0)
    assert not same.differs
    assert same.steps_L < 0.3
    assert other.differs
    assert other.steps_L > 2.0


def test_too_few_steps_say_nothing():
    steps = (0.2, None, None, 0.65, None, None)
    assert light_change(steps, steps, top=1.0) is None
    cut = scanned()
    found = find_strip(np.ascontiguousarray(cut[..., 1]))
    assert read_greys(cut[:20, :20], found) is None
