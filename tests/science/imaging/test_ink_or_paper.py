"""Ink and paper told apart, whatever the paper's tone."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from inked_pages import inked, inked_page
from quirewell.science.colour.spaces import srgb_from_linear
from quirewell.science.imaging.ink_or_paper import edge_tone, ink_mask
from quirewell.science.imaging.paper_surface import paper_surface


def f_measure(found: NDArray[np.bool_], true: NDArray[np.bool_]) -> float:
    """2 (found and true) / (found + true)."""
    return float(2 * (found & true).sum() / (found.sum() + true.sum()))


def grey_of(light: NDArray[np.float32]) -> NDArray[np.uint8]:
    luma = light @ np.array([0.2126729, 0.7151522, 0.0721750])
    return np.round(srgb_from_linear(luma) * 255).astype(np.uint8)


def normalised_otsu(grey: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """The usual way: divide by a smoothed closing, then one threshold (otsu1979)."""
    side = max(15, round(max(grey.shape) / 30) | 1)
    top = cv2.morphologyEx(cv2.medianBlur(grey, 3), cv2.MORPH_CLOSE, np.ones((side, side)))
    ground = cv2.GaussianBlur(top.astype(np.float32), (0, 0), side / 3)
    ratio = np.clip(grey / np.maximum(ground, 1) * 200, 0, 255).astype(np.uint8)
    level, _ = cv2.threshold(ratio, 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    return np.asarray(ratio <= level)


def test_solids_and_type_are_found_better_than_by_a_threshold_after_division() -> None:
    page = inked_page(3)
    grey, true = grey_of(page.before), inked(page)
    ours, usual = f_measure(ink_mask(grey), true), f_measure(normalised_otsu(grey), true)
    assert ours > 0.95
    assert ours > usual + 0.1


def test_a_slope_of_light_and_a_stain_do_not_move_the_ink() -> None:
    page = inked_page(4, only=("black",))
    y, x = np.mgrid[: page.seen.shape[0], : page.seen.shape[1]]
    stain = 1 - 0.3 * np.exp(-((x - 200) ** 2 + (y - 520) ** 2) / 90.0**2)
    slope = 1 - 0.45 * x / x.max()
    lit = (page.before * (stain * slope)[..., None]).astype(np.float32)
    assert f_measure(ink_mask(grey_of(lit)), inked(page)) > 0.93


def test_blank_paper_has_no_ink() -> None:
    page = inked_page(5, only=())
    assert ink_mask(grey_of(page.before)).mean() < 1e-3
    assert not ink_mask(np.full((40, 50), 180, np.uint8)).any()


def test_samples_of_8_and_16_bits_and_floats_agree() -> None:
    grey = grey_of(inked_page(6).before)
    eight = ink_mask(grey)
    assert np.array_equal(ink_mask(grey.astype(np.uint16) * 257), eight)
    assert np.array_equal(ink_mask(grey / 255.0), eight)
    assert np.array_equal(ink_mask(grey.astype(np.float64)), eight)


def test_a_dark_ground_is_not_ink_when_the_leaf_is_given() -> None:
    page = inked_page(7)
    grey, leaf = grey_of(page.before), np.zeros(page.seen.shape, dtype=bool)
    leaf[30:-30, 30:-30] = True
    grey[~leaf] = 25
    found = ink_mask(grey, leaf)
    assert not found[~leaf].any()
    assert f_measure(found, inked(page) & leaf) > 0.94


def test_a_dark_ground_does_not_move_the_threshold_of_a_faint_hand() -> None:
    page = inked_page(8, only=("black",))
    faint = grey_of((page.before * 0.55 + 0.45 * page.before.max(axis=(0, 1))).astype(np.float32))
    round_it = np.full((faint.shape[0] + 160, faint.shape[1] + 160), 20, np.uint8)
    round_it[80:-80, 80:-80] = faint
    found = ink_mask(round_it)[80:-80, 80:-80]
    assert f_measure(found[8:-8, 8:-8], inked(page)[8:-8, 8:-8]) > 0.8


def test_samples_that_are_not_numbers_are_never_ink() -> None:
    grey = grey_of(inked_page(9).before) / 255.0
    grey[:, :40] = np.nan
    found = ink_mask(grey)
    assert not found[:, :40].any() and found[:, 60:].any()


@pytest.mark.parametrize("shape", [(4, 5, 3), (7,), (0, 5)])
def test_an_array_that_is_no_grey_picture_is_refused(shape: tuple[int, ...]) -> None:
    with pytest.raises(ValueError, match="two dimensions"):
        ink_mask(np.zeros(shape, np.uint8))


def test_a_mask_of_another_shape_is_refused() -> None:
    with pytest.raises(ValueError, match="mask has shape"):
        ink_mask(np.zeros((8, 9), np.uint8), np.ones((9, 8), dtype=bool))


def test_the_paper_is_carried_under_a_solid() -> None:
    light = np.full((300, 240), 0.5, np.float32)
    light += np.linspace(0, 0.1, 240, dtype=np.float32)[None, :]
    true = light.copy()
    light[80:200, 60:180] = 0.04
    assert np.abs(paper_surface(light) / true - 1).max() < 0.04


def test_even_pictures_have_no_edge_to_set_a_threshold_by() -> None:
    assert edge_tone(np.ones((20, 20), np.float32)) < 0.5
