"""Crease courses against lines drawn on purpose."""

import cv2
import numpy as np
import pytest

from quirewell.science.imaging.crease_paths import crease_paths


def test_a_bent_line_comes_back_from_end_to_end_without_its_branch():
    lines = np.zeros((120, 200), np.uint8)
    cv2.polylines(lines, [np.array([(10, 20), (110, 60), (180, 30)])], False, 1, 1)
    cv2.line(lines, (110, 60), (112, 70), 1, 1)  # a short branch
    lines[100, 5] = 1  # a speck
    (course,) = crease_paths(lines > 0, least_px=20)
    ends = sorted(map(tuple, course[[0, -1]]))
    assert ends == [(10.5, 20.5), (180.5, 30.5)]
    length = np.hypot(*np.diff(course, axis=0).T).sum()
    assert length == pytest.approx(np.hypot(100, 40) + np.hypot(70, 30), rel=0.02)
    assert len(course) < 12


def test_the_longest_comes_first_and_short_ones_are_left_out():
    lines = np.zeros((80, 200), np.uint8)
    cv2.line(lines, (5, 10), (60, 10), 1, 1)
    cv2.line(lines, (5, 30), (150, 40), 1, 1)
    cv2.line(lines, (5, 60), (12, 60), 1, 1)
    courses = crease_paths(lines > 0, least_px=20)
    assert [round(float(np.ptp(one[:, 0]))) for one in courses] == [145, 55]
    assert crease_paths(np.zeros((9, 9), bool), 5) == []
