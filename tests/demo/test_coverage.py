"""Exact coverage against areas that geometry gives directly."""

from __future__ import annotations

import numpy as np
import pytest

from quirewell.demo.coverage import coverage, polygon_area


def test_covered_pixels_add_up_to_the_area_of_the_polygon() -> None:
    rng = np.random.default_rng(4)
    angle = np.linspace(0, 2 * np.pi, 300, endpoint=False)
    radius = 20.0 + 5.0 * np.sin(5 * angle) + 0.3 * rng.standard_normal(300)
    blob = np.column_stack([31.7 + radius * np.cos(angle), 30.2 + radius * np.sin(angle)])
    covered = coverage([blob], 64, 64)
    assert covered.sum(dtype=np.float64) == pytest.approx(abs(polygon_area(blob)), abs=1e-3)


def test_a_slanted_edge_shares_each_pixel_by_area() -> None:
    triangle = np.array([[0.0, 0.0], [4.0, 0.0], [0.0, 2.0]])
    covered = coverage([triangle], 2, 4)
    assert covered[0].tolist() == pytest.approx([1.0, 1.0, 0.75, 0.25])
    assert covered[1].tolist() == pytest.approx([0.75, 0.25, 0.0, 0.0])


def test_a_hole_takes_away_and_what_lies_outside_the_picture_is_cut() -> None:
    sheet = np.array([[-3.0, -3.0], [5.0, -3.0], [5.0, 9.0], [-3.0, 9.0]])
    hole = np.array([[1.0, 1.0], [1.0, 2.0], [2.0, 2.0], [2.0, 1.0]])
    covered = coverage([sheet, hole], 6, 8)
    assert covered.sum() == pytest.approx(6 * 5 - 1)
    assert covered[1, 1] == 0.0


def test_coverage_agrees_with_counting_fine_samples() -> None:
    angle = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    disc = np.column_stack([6.3 + 4.1 * np.cos(angle), 5.8 + 3.2 * np.sin(angle)])
    fine = 40
    y, x = (np.mgrid[0 : 12 * fine, 0 : 13 * fine] + 0.5) / fine
    inside = np.ones(x.shape, bool)
    for (ax, ay), (bx, by) in zip(disc, np.roll(disc, -1, axis=0), strict=True):
        inside &= (bx - ax) * (y - ay) - (by - ay) * (x - ax) >= 0
    counted = inside.reshape(12, fine, 13, fine).mean(axis=(1, 3))
    assert np.abs(coverage([disc], 12, 13) - counted).max() < 0.02
