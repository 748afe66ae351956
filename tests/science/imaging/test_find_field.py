"""One level of the field: a whole halftone picture that sits a dot off must not vouch for itself.

Such a picture, of one tone and wider than the warp lets a start be right across it, agrees with
itself everywhere and correlates better than its own next dot; only the print round it tells.
The matches here are planted, so that each rule is seen alone.
"""

from __future__ import annotations

import numpy as np
import pytest

from quirewell.science.imaging import find_field
from quirewell.science.imaging.find_field import Settings, find_level, lattice
from quirewell.science.imaging.levels import level_of
from quirewell.science.imaging.spline_field import fit_field
from quirewell.science.imaging.subset_bands import Subsets

SHAPE = (620, 520)
PITCH = 4.6
SETTINGS = Settings(step=10, radius=10)
CORNERS = np.array([[x, y] for x in (0.0, 170.0, 350.0, 520.0) for y in (0.0, 200.0, 420.0, 620.0)])


def _true(points: np.ndarray) -> np.ndarray:
    """Where points lie in truth: a smooth bump of 3 px over the middle."""
    bump = np.exp(-((points[:, 0] - 260) ** 2 + (points[:, 1] - 310) ** 2) / (2 * 170**2))
    return points + np.column_stack([3.0 * bump, -1.0 * bump])


def _level(monkeypatch, picture: np.ndarray, locked: np.ndarray):
    """Find a level whose matches are planted: a halftone ``picture``, part of it ``locked``."""
    rng = np.random.default_rng(5)
    points = lattice(SHAPE, SETTINGS.step, SETTINGS.radius // 2 + 2).points
    inside, wrong = (_within(points, box) for box in (picture, locked))

    def matches(_pictures, given, _places, _radius, **_options):
        mine, off = _within(given, picture), _within(given, locked)
        count = len(given)
        places = np.zeros((count, 2, 6))
        places[:, :, 0] = _true(given) + rng.normal(0, 0.02, (count, 2))
        places[off, 0, 0] -= PITCH
        return Subsets(
            given, places, np.ones(count, bool), np.where(mine, 0.985, 0.95),
            np.full(count, 30.0), np.full(count, 3.0), np.tile([4e-4, 4e-4, 0.0], (count, 1)),
            np.full(count, 0.01), np.ones(count, bool),
        )  # fmt: skip

    def alike(_picture, given, _radius):
        mine = _within(given, picture)
        return np.where(mine, 0.9, 0.0), np.where(mine, PITCH, np.inf)

    monkeypatch.setattr(find_field, "match_subsets", matches)
    monkeypatch.setattr(find_field, "repeats", alike)
    grey = np.zeros(SHAPE, np.uint8)
    start = fit_field(CORNERS, CORNERS, np.ones(len(CORNERS)), SHAPE, most=4).field
    found = find_level(level_of(grey, grey, None, None, 1.0), start, SHAPE, SETTINGS)
    assert found is not None
    return found, inside, wrong


def _within(points: np.ndarray, box: np.ndarray) -> np.ndarray:
    return np.all((points >= box[0]) & (points <= box[1]), axis=1)


WIDE = np.array([[100.0, 120.0], [420.0, 500.0]])


def test_a_picture_that_agrees_with_itself_one_dot_off_is_left_out(monkeypatch) -> None:
    found, inside, wrong = _level(monkeypatch, WIDE, WIDE)
    assert wrong.sum() > 1000
    assert not found.good[wrong].any()
    assert found.good[~inside].mean() > 0.95


def test_a_core_one_dot_off_stays_out_while_its_rim_comes_in(monkeypatch) -> None:
    core = np.array([[190.0, 210.0], [330.0, 400.0]])
    found, inside, wrong = _level(monkeypatch, WIDE, core)
    assert not found.good[wrong].any()
    assert found.good[inside & ~wrong].mean() > 0.75
    off = found.fit.field.at(found.points[inside]) - _true(found.points[inside])
    assert np.abs(off).max() < 1.0


def test_a_picture_that_sits_right_is_grown_into_from_its_rim(monkeypatch) -> None:
    nowhere = np.full((2, 2), -9.0)
    found, inside, _ = _level(monkeypatch, WIDE, nowhere)
    assert found.good[inside].mean() > 0.95
    off = found.fit.field.at(found.points) - _true(found.points)
    assert np.abs(off).max() < 0.1


@pytest.mark.parametrize("share", [0.0, 0.02])
def test_on_a_page_that_is_all_halftone_correlation_must_tell(share: float) -> None:
    count = 1000
    rng = np.random.default_rng(6)
    alike = np.where(rng.random(count) < share, 0.0, 0.9)
    subsets = Subsets(
        np.zeros((count, 2)), np.zeros((count, 2, 6)), np.ones(count, bool),
        np.where(np.arange(count) % 2, 0.985, 0.93), np.ones(count), np.ones(count),
        np.zeros((count, 3)), np.zeros(count), np.ones(count, bool),
    )  # fmt: skip
    doubt = find_field._doubt(subsets, alike, np.ones(count, bool))
    assert not doubt[(np.arange(count) % 2 == 1)].any()
    assert doubt[(np.arange(count) % 2 == 0) & (alike > 0)].all()
