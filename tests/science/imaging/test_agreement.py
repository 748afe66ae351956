from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from paired_pages import printed_page, shoot
from quirewell.science.imaging.agreement import unlike_parts

PX_MM = 0.25
SHAPE = (700, 520)


def pair() -> tuple[NDArray[np.uint8], NDArray[np.uint8], NDArray[np.bool_]]:
    rng = np.random.default_rng(9)
    page = printed_page(rng, SHAPE)
    return shoot(rng, page), shoot(rng, page, gain=0.8, lift=30), np.ones(SHAPE, bool)


def test_a_washed_page_agrees_with_itself_everywhere() -> None:
    before, after, seen = pair()
    assert unlike_parts(before, after, seen, PX_MM) == ()


def test_what_covers_print_is_found_where_it_lies() -> None:
    before, after, seen = pair()
    for level in (120, 255):
        covered = after.copy()
        cv2.ellipse(covered, (260, 340), (90, 70), 0, 0, 360, level, -1)
        parts = unlike_parts(before, covered, seen, PX_MM)
        true = np.pi * 90 * 70 * PX_MM**2
        assert 0.4 * true < sum(part.area_mm2 for part in parts) < 1.2 * true
        assert np.hypot(*(np.array(parts[0].middle_px) - (260, 340))) < 40


def test_what_only_one_picture_shows_does_not_count() -> None:
    before, after, seen = pair()
    covered = after.copy()
    covered[250:450, 150:400] = 120
    seen[230:470, 130:420] = False
    assert unlike_parts(before, covered, seen, PX_MM) == ()
