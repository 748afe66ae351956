"""Roll from a photograph: planted angles come back within their doubt; what is not seen is said."""

from __future__ import annotations

import numpy as np
import pytest

from head_scenes import head_scene, photographed
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


def test_a_camera_that_leans_as_a_hand_does_stays_within_its_band():
    rng = np.random.default_rng(4)
    off = []
    for seed in range(30):
        roll = float(rng.choice([-15, -5, 0, 5, 12, 25]))
        lean = rng.normal(0, 2, 2)
        scene = photographed(head_scene(roll, seed=seed), *lean, above_px=int(100 * (seed % 4)))
        seen = roll_of_head(scene).roll
        off.append((seen.value - roll) / seen.u)
    assert np.abs(off).max() < 3 and 0.4 < np.sqrt(np.mean(np.square(off))) < 1.3


def test_a_fore_edge_in_the_middle_is_not_turned_by_a_lean():
    scene, ground = head_scene(12, seed=2), {"above_px": 200, "below_px": 200}
    plain = roll_of_head(photographed(scene, **ground, beyond_px=840))
    leaned = roll_of_head(photographed(scene, 6, **ground, beyond_px=840))
    assert leaned.roll.value == pytest.approx(plain.roll.value, abs=0.4)
    assert leaned.roll.u < 0.8 and not leaned.says
    rim = roll_of_head(photographed(scene, 6, **ground))
    assert rim.roll.value - plain.roll.value > 1.5  # what the sentence warns of
    assert rim.roll.u > leaned.roll.u and "Put the fore-edge in the middle" in rim.says[0]


def test_a_lean_along_the_block_is_seen_by_its_sides_and_widens_the_band():
    square = roll_of_head(photographed(head_scene(12, seed=1), above_px=500))
    leaned = roll_of_head(photographed(head_scene(12, seed=1), 0, 10, above_px=500))
    assert leaned.wedge_deg > 0.4 > square.wedge_deg
    assert leaned.roll.u > 2 * square.roll.u
    assert abs(leaned.roll.value - 12) < 2 * leaned.roll.u
    assert any("run together" in one for one in leaned.says)
    assert not any("run together" in one for one in square.says)


def test_a_covers_face_beside_the_head_bends_the_end_and_is_said():
    scene = head_scene(20, seed=6, rough_px=0.3)
    # Below the head the cover's own face, its edge square to the block.
    scene[180:240, 70:1108] = 0.8
    seen = roll_of_head(scene)
    assert any("not one straight line" in one for one in seen.says)
    assert seen.roll.u > 3
    assert abs(seen.roll.value - 20) < 3 * seen.roll.u
    straight = roll_of_head(head_scene(20, seed=6, rough_px=0.3))
    assert not any("not one straight line" in one for one in straight.says)
