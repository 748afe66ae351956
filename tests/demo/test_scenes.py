"""Single leaves: the same seed gives the same picture, and the picture holds what was planted."""

from __future__ import annotations

import numpy as np
import pytest

from quirewell.demo.scenes import render_leaf, render_pair
from quirewell.demo.tone import decode, lab_from_linear


def test_the_same_seed_gives_the_same_bytes() -> None:
    first, truth = render_leaf(11, 50)
    again, same = render_leaf(11, 50)
    other, _ = render_leaf(12, 50)
    assert first.tobytes() == again.tobytes()
    assert truth == same
    assert first.shape != other.shape or first.tobytes() != other.tobytes()


def test_paper_area_in_the_picture_is_the_planted_one() -> None:
    picture, truth = render_leaf(3, 100, strip=False, printed=False)
    light = decode(picture[..., 1] / 255.0)
    paper, ground = np.median(light[400:700, 300:500]), np.median(light[:, :10])
    rows = light[:, 200:600]
    share = np.clip((rows - ground) / (paper - ground), 0, 1)
    count = (share > 0.5).sum(axis=0)
    height_mm = np.median(count) * truth.um_per_px_y / 1000.0
    assert height_mm == pytest.approx(truth.height_mm, abs=0.3)


def test_paper_in_the_picture_has_the_planted_tone() -> None:
    picture, truth = render_leaf(5, 100, strip=False, printed=False)
    corners = np.array(truth.corners_px)
    x0, y0 = corners.min(axis=0)
    x1, y1 = corners.max(axis=0)
    w, h = x1 - x0, y1 - y0
    middle = picture[
        round(y0 + 0.25 * h) : round(y0 + 0.75 * h), round(x0 + 0.25 * w) : round(x0 + 0.75 * w)
    ]
    lab = lab_from_linear(decode(middle / 255.0)).mean(axis=(0, 1))
    assert lab == pytest.approx(truth.tone_centre, abs=0.25)


def test_a_pair_holds_the_change_that_was_asked_for() -> None:
    before, after, truth = render_pair(8, 50, change_width_pct=0.25, change_height_pct=0.05, dE=4.0)
    assert before.dtype == after.dtype == np.uint8
    assert truth.change_width_pct == pytest.approx(0.25, abs=0.003)
    assert truth.change_height_pct == pytest.approx(0.05, abs=0.003)
    assert truth.paper_dE00 == pytest.approx(4.0, abs=0.8)
    assert truth.after.tone_centre[0] > truth.before.tone_centre[0]


@pytest.mark.parametrize("ground", ["dark", "white", "uneven"])
def test_the_leaf_lies_inside_the_picture_on_every_ground(ground: str) -> None:
    for seed in range(6):
        picture, truth = render_leaf(seed, 40, ground=ground)  # type: ignore[arg-type]
        corners = np.array(truth.corners_px)
        assert corners.min() > 2.0
        assert corners[:, 0].max() < picture.shape[1] - 2
        assert corners[:, 1].max() < picture.shape[0] - 2
