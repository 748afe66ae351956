"""The lights file, good and hostile."""

from __future__ import annotations

import pytest

from quirewell.science.imaging.lamps import Lamp, Sphere
from quirewell.stages.lamp_text import read_lamps


def test_lines_of_two_numbers_are_lamps() -> None:
    told = read_lamps("azimuth, elevation\n45, 25  # left of the window\n\n135;25\n-90 30\n")
    assert told.lamps == (Lamp(45, 25), Lamp(135, 25), Lamp(270, 30))


def test_toml_names_lamps_or_a_sphere() -> None:
    told = read_lamps("[[lamp]]\nazimuth = 0\nelevation = 20\n[[lamp]]\nazimuth=180\nelevation=20")
    assert told.lamps == (Lamp(0, 20), Lamp(180, 20))
    assert read_lamps("[sphere]\nx=100\ny=90.5\nradius=30").sphere == Sphere(100, 90.5, 30)


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


@pytest.mark.parametrize("text", ["sphere", " Sphere\n", "[sphere]\n"])
def test_the_word_alone_asks_for_the_sphere_to_be_found(text: str) -> None:
    said = read_lamps(text)
    assert said.find and said.sphere is None and said.lamps == ()
