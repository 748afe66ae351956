"""The glossy sphere found in the pictures: planted middle, radius and lamps, a leaf beside it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from bead_scene import SIZE, bead_scene
from quirewell.science.imaging.glossy import brighter_half, find_sphere, lamp_seen
from quirewell.science.imaging.lamps import Lamp


def ring(count: int, elevation_deg: float, start_deg: float = 13.0) -> list[Lamp]:
    return [Lamp((start_deg + 360 * i / count) % 360, elevation_deg) for i in range(count)]


def apart_deg(one: Lamp, two: Lamp) -> float:
    return math.degrees(math.acos(min(1.0, float(np.dot(one.vector, two.vector)))))


@pytest.mark.parametrize(
    ("radius", "lamps", "elevation_deg"),
    [(14.0, 4, 20.0), (22.3, 2, 30.0), (22.3, 8, 45.0), (35.6, 4, 25.0), (55.1, 4, 60.0),
     (55.1, 3, 12.0)],
)  # fmt: skip
def test_middle_radius_and_lamps_are_the_planted_ones(
    radius: float, lamps: int, elevation_deg: float
) -> None:
    x, y = 452.37, 176.81
    true = ring(lamps, elevation_deg)
    pictures = bead_scene(round(radius), true, [(x, y, radius)])
    found = find_sphere(pictures)
    assert math.dist((found.sphere.x_px, found.sphere.y_px), (x, y)) < 3 * found.u_middle_px < 0.12
    assert abs(found.sphere.radius_px - radius) < 2 * found.u_radius_px < 0.4
    assert found.rim > 0.9
    for lamp, picture in zip(true, pictures, strict=True):
        seen = lamp_seen(picture, found)
        assert apart_deg(lamp, seen.lamp) < 2 * seen.u_deg
        assert 1.0 < seen.u_deg < 4.0


def test_a_larger_sphere_makes_the_lamps_surer() -> None:
    u = []
    for radius in (16.0, 50.0):
        pictures = bead_scene(1, ring(3, 30), [(452.0, 190.0, radius)])
        u.append(lamp_seen(pictures[0], find_sphere(pictures)).u_deg)
    assert u[1] < 0.7 * u[0]


@pytest.mark.parametrize(("blur", "noise"), [(0.4, 0.001), (1.6, 0.01)])
def test_a_soft_or_a_noisy_picture_will_do(blur: float, noise: float) -> None:
    lamps = ring(3, 25)
    pictures = bead_scene(3, lamps, [(450.2, 300.4, 30.0)], blur_px=blur, noise=noise)
    found = find_sphere(pictures)
    assert math.dist((found.sphere.x_px, found.sphere.y_px), (450.2, 300.4)) < 0.1
    for lamp, picture in zip(lamps, pictures, strict=True):
        assert apart_deg(lamp, lamp_seen(picture, found).lamp) < 2.0


@pytest.mark.parametrize(
    ("beads", "glossy", "says"),
    [
        ([], True, "no glossy sphere was found"),
        ([(450.0, 200.0, 30.0)], False, "no glossy sphere was found"),
        ([(540.0, 200.0, 30.0)], True, "no glossy sphere was found"),
        ([(450.0, 200.0, 7.0)], True, "no glossy sphere was found"),
        ([(420.0, 120.0, 30.0), (470.0, 320.0, 26.0)], True, "2 glossy spheres were found"),
    ],
    ids=["none, but print as round", "matt", "cut by the edge", "too small", "two"],
)
def test_none_or_two_are_refused_in_a_sentence_that_says_what_to_do(
    beads: list[tuple[float, float, float]], glossy: bool, says: str
) -> None:
    pictures = bead_scene(4, ring(3, 25), beads, glossy=glossy)
    with pytest.raises(ValueError, match=says) as told:
        find_sphere(pictures)
    assert "type x, y and radius" in str(told.value)


@pytest.mark.parametrize("light", [0.0, 0.5])
def test_pictures_with_nothing_in_them_are_refused(light: float) -> None:
    with pytest.raises(ValueError, match="no glossy sphere"):
        find_sphere([np.full(SIZE, light, np.float32)] * 3)


def test_one_picture_given_twice_shows_no_lamp_that_moved() -> None:
    picture = bead_scene(4, [Lamp(30, 25)], [(450.0, 200.0, 30.0)])[0]
    with pytest.raises(ValueError, match="no glossy sphere"):
        find_sphere([picture, picture])


def test_shadows_fade_in_the_brighter_half() -> None:
    stack = [np.full((4, 4), value, np.float32) for value in (0.1, 0.9, 0.5, 0.7)]
    assert brighter_half(stack)[0, 0] == pytest.approx(0.8)
