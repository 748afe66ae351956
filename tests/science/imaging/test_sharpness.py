from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from paired_pages import plant, printed_page, shoot
from quirewell.science.imaging.sharpness import ALIKE, detail_ratio, sharpness_sentence

Grey = NDArray[np.uint8]
SHAPE = (520, 400)


def pair() -> tuple[Grey, Grey, NDArray[np.float64], NDArray[np.float64]]:
    rng = np.random.default_rng(5)
    page = printed_page(rng, SHAPE)
    truth = plant(SHAPE, 0.002, 0.0, 0.0, 0.4, (2.3, -1.7))
    before, after = shoot(rng, page), shoot(rng, page, truth.affine, gain=0.9, lift=14)
    points = np.array([[x, y] for y in range(60, 460, 20) for x in range(60, 340, 20)], float)
    return before, after, points, points @ truth.affine[:, :2].T + truth.affine[:, 2]


def unsharp(grey: Grey, amount: float) -> Grey:
    plane = grey.astype(np.float32)
    return np.clip(plane + amount * (plane - cv2.GaussianBlur(plane, (0, 0), 1.2)), 0, 255).astype(
        np.uint8
    )


def test_a_pair_scanned_alike_has_the_same_detail_whatever_its_tone_and_turn() -> None:
    before, after, points, found = pair()
    ratio = detail_ratio(before, after, points, found)
    assert ratio is not None and 0.93 < ratio < 1.07
    upside_down = np.ascontiguousarray(after[::-1, ::-1])
    turned = np.array([SHAPE[1] - 1.0, SHAPE[0] - 1.0]) - found
    assert detail_ratio(before, upside_down, points, turned) == pytest.approx(ratio, abs=0.03)
    assert sharpness_sentence(ratio) == ""


def test_sharpening_and_descreening_are_told_apart_and_by_how_much() -> None:
    before, after, points, found = pair()
    usual = detail_ratio(before, after, points, found)
    sharp = detail_ratio(before, unsharp(after, 0.5), points, found)
    soft = detail_ratio(before, cv2.GaussianBlur(after, (0, 0), 0.8), points, found)
    assert usual is not None and sharp is not None and soft is not None
    assert sharp > ALIKE[1] * usual and soft < ALIKE[0] * usual
    assert "sharpened by the scanner's program" in sharpness_sentence(sharp)
    assert "descreened" in sharpness_sentence(soft)
    assert f"{100 * soft:.0f} % of the first one's finest detail" in sharpness_sentence(soft)


def test_blank_paper_few_points_and_another_resolution_say_nothing() -> None:
    before, after, points, found = pair()
    blank = np.full_like(before, 180)
    assert detail_ratio(blank, blank, points, points) is None
    assert detail_ratio(before, after, points[:5], found[:5]) is None
    double = cv2.resize(after, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    assert detail_ratio(before, np.asarray(double, np.uint8), points, 2 * found) is None
    assert sharpness_sentence(None) == ""
