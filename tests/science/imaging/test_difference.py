from __future__ import annotations

import numpy as np
import pytest

from paired_pages import plant, printed_page, shoot
from quirewell.science.imaging.bare import bare_paper
from quirewell.science.imaging.difference import (
    affine_text,
    difference_picture,
    warp_after_to_before,
)
from quirewell.science.imaging.register import Registration, register

SHAPE = (420, 320)


@pytest.fixture(scope="module")
def pair() -> tuple[np.ndarray, np.ndarray, Registration]:
    rng = np.random.default_rng(31)
    page = printed_page(rng, SHAPE)
    truth = plant(SHAPE, 0.004, -0.002, rotation_deg=0.6, shift=(5.2, -3.7))
    before, after = shoot(rng, page), shoot(rng, page, truth.affine)
    result = register(before, after)
    assert isinstance(result, Registration)
    return before, after, result


def _colour(grey: np.ndarray) -> np.ndarray:
    return np.repeat(grey[..., None], 3, axis=2)


def test_the_after_picture_lands_on_the_before_picture(
    pair: tuple[np.ndarray, np.ndarray, Registration],
) -> None:
    before, after, result = pair
    laid = warp_after_to_before(_colour(after), result, SHAPE)
    inner = (slice(20, -20), slice(20, -20))
    apart = before.astype(float) - laid.pixels[..., 0]
    untouched = before.astype(float) - after
    assert laid.seen[inner].all()
    assert apart[inner].std() < 0.25 * untouched[inner].std()


def test_what_the_after_picture_did_not_hold_is_unseen(
    pair: tuple[np.ndarray, np.ndarray, Registration],
) -> None:
    _, after, result = pair
    laid = warp_after_to_before(_colour(after), result, SHAPE)
    assert not laid.seen.all()
    assert not laid.seen[0].all()


def test_a_smaller_picture_keeps_its_place(
    pair: tuple[np.ndarray, np.ndarray, Registration],
) -> None:
    before, after, result = pair
    laid = warp_after_to_before(_colour(after), result, SHAPE, shrink=2.0)
    assert laid.pixels.shape == (210, 160, 3)
    small = before.reshape(210, 2, 160, 2).mean(axis=(1, 3))
    apart = (small - laid.pixels[..., 0])[10:-10, 10:-10]
    moved = after.reshape(210, 2, 160, 2).mean(axis=(1, 3))
    untouched = (small - moved)[10:-10, 10:-10]
    assert apart.std() < 0.35 * untouched.std()


def test_the_affine_as_text_reads_back(pair: tuple[np.ndarray, np.ndarray, Registration]) -> None:
    rows = [[float(v) for v in row.split()] for row in affine_text(pair[2].fit.affine).split(";")]
    assert np.allclose(rows, pair[2].fit.affine, rtol=1e-7)


def test_the_difference_picture_darkens_with_difference_and_greys_the_unseen() -> None:
    ramp = np.tile(np.linspace(0, 12, 300), (40, 1))
    seen = np.ones_like(ramp, dtype=bool)
    seen[:, :10] = False
    picture = difference_picture(ramp, seen)
    light = picture[:40].astype(float).mean(axis=2)
    assert picture.shape[0] > 40, "the legend stands below"
    assert np.all(np.diff(light[5, 10:]) <= 0.4)
    assert light[5, 12] > 230
    assert light[5, -1] < 40
    assert len(np.unique(picture[:40, :10].reshape(-1, 3), axis=0)) == 1


def test_bare_paper_holds_no_ink_and_enough_paper() -> None:
    rng = np.random.default_rng(32)
    page = printed_page(rng, SHAPE)
    grey = shoot(rng, page)
    ink = shoot(rng, page, noise=0.0) < 165
    bare = bare_paper(grey, np.ones(SHAPE, dtype=bool), margin_px=2)
    assert not np.any(bare & ink)
    assert bare.mean() > 0.15


def test_a_blank_darker_leaf_is_all_bare() -> None:
    rng = np.random.default_rng(33)
    slope = np.linspace(120, 170, SHAPE[1])[None, :] + rng.normal(0, 2, SHAPE)
    paper = np.zeros(SHAPE, dtype=bool)
    paper[20:-20, 20:-20] = True
    bare = bare_paper(slope, paper, margin_px=3)
    assert bare[40:-40, 40:-40].mean() > 0.95
    assert not bare[:20].any()
