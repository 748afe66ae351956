"""A scanner's own errors are found with honest uncertainty, whatever the placements show."""

from __future__ import annotations

import math

import numpy as np
import pytest

from quirewell.science.imaging import scanner_geometry as module
from quirewell.science.imaging.scanner_geometry import Placement, scanner_geometry
from quirewell.science.imaging.strip import MARK_LEFTS_MM

UM = (84.667, 84.667)
SIZE_PX = (2551, 3508)
SIZE_MM = np.array(SIZE_PX) * UM / 1000
FOUR = ((1.0, 0.0, -130.0), (91.0, -95.0, 0.0), (181.5, 0.0, 120.0), (270.0, 95.0, 0.0))
MIDDLE = ((0.5, 0.0, 0.0), (180.0, 0.0, 0.0), (1.0, 5.0, -4.0), (90.3, 0.0, 0.0))
STRIP = np.array(
    [(x + a, 2.5 + b) for x in MARK_LEFTS_MM for a, b in ((0, 0), (9, 0), (9, 9), (0, 9))]
)
BOARD = np.array([(20.0 * i, 20.0 * j) for j in range(12) for i in range(8)])


class Planted:
    """A scanner with errors drawn at random, and scans of an artefact that is out as well."""

    def __init__(
        self, seed, art, places, point_u_um=20.0, length_u=4e-4, repeat=3e-5, aspect_u=3e-3
    ):
        rng = np.random.default_rng(seed)
        self.scale = rng.normal(0, 2e-3, 2)
        self.square = rng.normal(0, 1e-3)
        self.field = rng.normal(0, 0.03, (2, 7))
        true = (art + rng.normal(0, point_u_um / 1000, art.shape)) * (1 + rng.normal(0, length_u))
        true[:, 1] *= 1 + rng.normal(0, aspect_u)
        self.placements = [
            Placement(np.arange(len(art)), art, self._scan(true, place, repeat, rng))
            for place in places
        ]

    def _scan(self, true, place, repeat, rng):
        turn = math.radians(place[0])
        rotate = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
        at = (true - true.mean(axis=0)) @ rotate.T + place[1:]
        scale = self.scale + rng.normal(0, repeat, 2)
        glass = at.copy()
        for _ in range(8):
            glass = at - self.error(glass, scale)
        return (glass + SIZE_MM / 2) * 1000 / UM + rng.normal(0, 0.05, glass.shape)

    def error(self, glass, scale):
        bent = module._field_terms(glass) @ self.field.T
        return bent + scale * glass + np.column_stack([self.square * glass[:, 1], 0 * glass[:, 1]])

    def length_errors_um(self):
        """What is wrong with lengths across a sheet once both scales are right."""
        out = []
        for axis, half in ((0, 85.0), (1, 130.0)):
            for place in (-60.0, 0.0, 60.0):
                ends = np.full((2, 2), place)
                ends[:, axis] = (-half, half)
                out.append(1000 * float(np.diff(self.error(ends, np.zeros(2))[:, axis])[0]))
        return np.array(out)


def run(planted, point_u_um=20.0, length_u=4e-4, aspect_u=3e-3):
    return scanner_geometry(planted.placements, UM, SIZE_PX, length_u, point_u_um, aspect_u)


def test_the_strip_in_four_places_gives_both_scales_within_their_uncertainty():
    misses = []
    for seed in range(24):
        planted = Planted(seed, STRIP, FOUR)
        found = run(planted)
        u = np.sqrt(np.diag(found.covariance))
        assert np.all(u < 6e-4)
        misses.append((np.array([found.scale_x, found.scale_y]) - planted.scale) / u)
    spread = np.sqrt(np.mean(np.square(misses)))
    assert 0.6 < spread < 1.4


def test_a_glass_board_leaves_only_what_repeats_badly():
    planted = Planted(3, BOARD, MIDDLE, 2.0, 1e-5, aspect_u=0.0)
    found = run(planted, 2.0, 1e-5, 0.0)
    assert abs(found.scale_x - planted.scale[0]) < 1.5e-4
    assert abs(found.scale_y - planted.scale[1]) < 1.5e-4
    true = module._field_terms(found.field_mm.reshape(-1, 2)) @ planted.field.T
    rms = 1000 * math.sqrt(float(np.mean(true**2)))
    assert found.geometry_rms_um == pytest.approx(rms, abs=4 * found.u_geometry_rms_um + 3)
    assert found.squareness_rad == pytest.approx(planted.square, abs=4 * found.u_squareness_rad)
    miss = found.field_um.reshape(-1, 2) - 1000 * true
    assert np.sqrt(np.mean((miss - miss.mean(axis=0)) ** 2)) < 0.5 * rms


def test_what_is_left_for_a_length_is_neither_hidden_nor_blown_up():
    real, said = [], []
    for seed in range(12):
        planted = Planted(seed, STRIP, FOUR)
        real.append(np.sqrt(np.mean(planted.length_errors_um() ** 2)))
        said.append(run(planted).length_u_um)
    ratio = math.sqrt(float(np.mean(np.square(real)) / np.mean(np.square(said))))
    assert 0.5 < ratio < 1.6
    assert np.mean(said) < 240 / math.sqrt(3) / 2


def test_a_direction_that_was_not_scanned_stays_unknown():
    flat = [(turn, x, y) for turn, x, y in ((0.2, 0, -100), (0.4, 0, 0), (180.3, 0, 100))]
    found = run(Planted(1, STRIP, flat))
    u_x, u_y = np.sqrt(np.diag(found.covariance))
    assert u_y > 3 * u_x
    assert u_y > 2e-3


def test_a_scanner_that_wanders_from_scan_to_scan_is_said_to():
    steady = np.mean([run(Planted(seed, STRIP, FOUR, repeat=2e-5)).repeat for seed in range(6)])
    wild = np.mean([run(Planted(seed, STRIP, FOUR, repeat=8e-4)).repeat for seed in range(6)])
    assert wild > 3 * steady
    assert wild == pytest.approx(8e-4, rel=0.6)


def test_two_scans_are_too_few_and_one_point_is_too_little():
    planted = Planted(1, STRIP, FOUR)
    with pytest.raises(ValueError, match="three scans or more, got 2"):
        scanner_geometry(planted.placements[:2], UM, SIZE_PX, 1e-4, 20.0)
    one = Placement(np.arange(1), STRIP[:1], planted.placements[0].points_px[:1])
    with pytest.raises(ValueError, match="at least two points"):
        scanner_geometry([one, *planted.placements[:2]], UM, SIZE_PX, 1e-4, 20.0)
