"""Directions of lamps, and lamps read from a glossy sphere."""

from __future__ import annotations

import numpy as np
import pytest

from quirewell.science.imaging.lamps import Lamp, Sphere, lamp_from_sphere, vectors


def test_directions_point_right_up_and_out() -> None:
    found = vectors([Lamp(0, 30), Lamp(90, 30), Lamp(0, 89)])
    assert found[0] == pytest.approx([0, np.cos(np.pi / 6), 0.5])
    assert found[1] == pytest.approx([np.cos(np.pi / 6), 0, 0.5])
    assert found[2][2] > 0.999


@pytest.mark.parametrize(("azimuth", "elevation"), [(30, 25), (200, 40), (315, 60)])
def test_a_glossy_sphere_shows_where_the_lamp_stands(azimuth: float, elevation: float) -> None:
    x, y, r = 150.0, 130.0, 80.0
    rows, columns = np.mgrid[:280, :300]
    nx, ny = (columns - x) / r, (y - rows) / r
    inside = nx**2 + ny**2 < 1
    nz = np.sqrt(np.clip(1 - nx**2 - ny**2, 0, 1))
    light = np.array(Lamp(azimuth, elevation).vector)
    back = 2 * nz * (nx * light[0] + ny * light[1] + nz * light[2]) - light[2]
    picture = np.where(inside, 0.03 + np.clip(back, 0, 1) ** 400, 0.6)
    found = lamp_from_sphere(picture, Sphere(x, y, r))
    assert found.azimuth_deg == pytest.approx(azimuth, abs=1.0)
    assert found.elevation_deg == pytest.approx(elevation, abs=1.0)


def test_a_sphere_without_highlight_or_outside_the_picture_is_refused() -> None:
    with pytest.raises(ValueError, match="no clear highlight"):
        lamp_from_sphere(np.full((100, 100), 0.4), Sphere(50, 50, 30))
    with pytest.raises(ValueError, match="does not lie in the picture"):
        lamp_from_sphere(np.full((100, 100), 0.4), Sphere(90, 50, 30))
