"""Lamps typed, and read from a glossy sphere."""

from __future__ import annotations

import numpy as np
import pytest

from quirewell.science.imaging.lamps import Lamp, Sphere, lamp_from_sphere, read_lamps, vectors


def test_lines_of_two_numbers_are_lamps() -> None:
    told = read_lamps("azimuth, elevation\n45, 25  # left of the window\n\n135;25\n-90 30\n")
    assert told.lamps == (Lamp(45, 25), Lamp(135, 25), Lamp(270, 30))


def test_toml_names_lamps_or_a_sphere() -> None:
    told = read_lamps("[[lamp]]\nazimuth = 0\nelevation = 20\n[[lamp]]\nazimuth=180\nelevation=20")
    assert told.lamps == (Lamp(0, 20), Lamp(180, 20))
    assert read_lamps("[sphere]\nx=100\ny=90.5\nradius=30").sphere == Sphere(100, 90.5, 30)


def test_directions_point_right_up_and_out() -> None:
    found = vectors([Lamp(0, 30), Lamp(90, 30), Lamp(0, 89)])
    assert found[0] == pytest.approx([0, np.cos(np.pi / 6), 0.5])
    assert found[1] == pytest.approx([np.cos(np.pi / 6), 0, 0.5])
    assert found[2][2] > 0.999


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "names 0 lamps"),
        ("45, 25", "names 1 lamps"),
        ("45\n50", "line 1 of the lights file"),
        ("45, high\n90, 20", "must be a number"),
        ("45, nan\n90, 20", "must be a number"),
        ("45, 95\n90, 20", "between 2 and 89"),
        ("4500, 25\n90, 20", "between -360 and 360"),
        ("1, 20\n" * 100, "names 100 lamps"),
        ("x" * 30_000, "too long"),
        ("[[lamp]\n", "no valid TOML"),
        ("[[lamp]]\nazimuth = true\nelevation = 3", "must be a number"),
        ("lamp = 3", "begin with"),
        ("[other]\nx = 1", "not 'other'"),
        ("[sphere]\nx=1\ny=1\nradius=1", "radius must be 5 px"),
        ("sphere = 4", "must be a number"),
    ],
)
def test_text_that_means_nothing_is_refused_in_a_sentence(text: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        read_lamps(text)


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
