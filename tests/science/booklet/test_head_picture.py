"""Roll from a photograph: planted angles come back within their doubt; what is not seen is said."""

from __future__ import annotations

import numpy as np
import pytest

from head_scenes import head_scene
from quirewell.science.booklet.head_picture import NotSeen, roll_of_head


@pytest.mark.parametrize("roll", [-20, -5, 0, 3, 10, 30])
def test_planted_rolls_come_back(roll):
    off = []
    for seed, tilt in enumerate((0, 4, -6, 2)):
        seen = roll_of_head(head_scene(roll, tilt_deg=tilt, seed=seed, light=seed % 2 == 0)).roll
        off.append((seen.value - roll) / seen.u)
        assert seen.u < 1.3
    assert np.abs(off).max() < 3 and np.sqrt(np.mean(np.square(off))) < 1.6


def test_bands_hold_the_truth():
    inside = sum(
        one.low90 <= 12 <= one.high90
        for one in (roll_of_head(head_scene(12, seed=seed)).roll for seed in range(40))
    )
    assert inside >= 31


def test_a_fore_edge_on_the_left_has_the_same_sign():
    right = roll_of_head(head_scene(12, seed=3))
    left = roll_of_head(head_scene(12, seed=3, left=True), "left")
    assert left.roll.value == pytest.approx(right.roll.value, abs=0.3)
    assert left.end[0][0] < 700 < right.end[0][0]
    assert right.thick_px == pytest.approx(60, abs=2)


def test_no_scale_is_needed():
    scene = (255 * np.clip(head_scene(12, seed=5), 0, 1)).astype(np.uint8)
    colour = np.repeat(scene[..., None], 3, axis=2)
    assert roll_of_head(colour).roll.value == pytest.approx(12, abs=2.5)


@pytest.mark.parametrize(
    ("scene", "says"),
    [
        (np.zeros((300, 900)), "of one tone"),
        (np.zeros((10, 900)), "40 pixels or more"),
        (head_scene(10)[:, :1000], "runs out of the picture on the right"),
        (head_scene(10, thick_px=12, leaves=6), "12 or more|pixels thick"),
        (head_scene(10)[:, 1000:], "not long and thin|too little|runs out"),
    ],
)
def test_what_is_not_seen_is_said(scene, says):
    with pytest.raises(NotSeen, match=says):
        roll_of_head(scene)


def test_a_ragged_end_is_refused():
    with pytest.raises(NotSeen, match="not straight enough"):
        roll_of_head(head_scene(5, rough_px=40, leaves=6))
