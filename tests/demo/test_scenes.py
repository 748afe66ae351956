"""Single leaves: the same seed gives the same picture, and the picture holds what was planted."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from quirewell.demo.scenes import render_leaf, render_pair
from quirewell.demo.tone import Ageing, decode, lab_from_linear


def test_the_same_seed_gives_the_same_bytes() -> None:
    first, truth = render_leaf(11, 50)
    again, same = render_leaf(11, 50)
    other, _ = render_leaf(12, 50)
    assert first.tobytes() == again.tobytes()
    assert truth == same
    assert first.shape != other.shape or first.tobytes() != other.tobytes()


def test_paper_in_the_picture_is_as_high_as_planted() -> None:
    even = Ageing((80.0, 3.0, 18.0), (80.0, 3.0, 18.0), mottle=0.0)
    picture, truth = render_leaf(
        3, 100, strip=False, printed=False, losses=(), ageing=even, skew_deg=0.5
    )
    light = decode(picture[..., 1] / 255.0)[:, 250:550]
    upper, lower = _crossings(light[:200]), light.shape[0] - _crossings(light[:600:-1])
    height_mm = (lower - upper).mean() * truth.um_per_px_y / 1000.0
    assert height_mm * np.cos(np.radians(0.5)) == pytest.approx(truth.height_mm, abs=0.03)


def _crossings(light: NDArray[np.float64]) -> NDArray[np.float64]:
    """Where each column reaches half the light between ground and paper, in rows from the top."""
    first = (light > 0.2).argmax(axis=0)
    columns = np.arange(light.shape[1])
    paper = np.mean([light[first + step, columns] for step in range(3, 15)], axis=0)
    half = 0.5 * (paper + np.median(light[:8]))
    above, below = light[first - 1, columns], light[first, columns]
    return np.asarray(first - 1 + (half - above) / (below - above) + 0.5)


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
