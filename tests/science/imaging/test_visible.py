from __future__ import annotations

import cv2
import numpy as np
import pytest

from quirewell.demo.scenes import render_leaf
from quirewell.science.imaging.strip import find_strip
from quirewell.science.imaging.visible import visible_paper


@pytest.mark.parametrize("ground", ["dark", "white", "uneven"])
def test_paper_is_kept_and_ground_and_strip_are_not(ground: str) -> None:
    picture, truth = render_leaf(31, 100, ground=ground)  # type: ignore[arg-type]
    strip = find_strip(np.asarray(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY), np.uint8))
    assert strip is not None
    seen = visible_paper(picture, [strip.box_px], margin_px=4)
    inside = np.zeros(picture.shape[:2], np.uint8)
    cv2.fillConvexPoly(inside, np.round(truth.corners_px).astype(np.int32), 1)
    assert seen.ground
    assert not np.any(seen.mask & (inside == 0))
    assert seen.mask.sum() > 0.93 * inside.sum()
    assert seen.angle_deg == pytest.approx(truth.skew_deg, abs=0.3)
    width_mm = seen.box_px[0] * truth.um_per_px_x / 1000
    assert width_mm == pytest.approx(truth.width_mm, abs=2.0)


def test_a_picture_without_ground_is_all_paper() -> None:
    rng = np.random.default_rng(1)
    picture = np.clip(rng.normal((205, 190, 150), 3, (300, 240, 3)), 0, 255).astype(np.uint8)
    seen = visible_paper(picture, [], margin_px=5)
    assert not seen.ground
    assert seen.mask.all()
