"""A page is known again by its print, and only by its print."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from paired_pages import blank_paper, plant, printed_page, shoot
from quirewell.science.imaging.same_page import (
    NoPage,
    PageIndex,
    SamePage,
    find_page,
    mirrored_marks,
    page_marks,
)

SHAPE = (420, 300)
COUNT = 6


def scan(page, seed=1, exx=0.0, turn=0.6, shift=(3.0, -2.0), gain=1.0, lift=0.0):
    planted = plant(SHAPE, exx, 0.5 * exx, rotation_deg=turn, shift=shift)
    rng = np.random.default_rng(seed)
    grey = shoot(rng, page, planted.affine, gain=gain, lift=lift)
    return np.asarray(cv2.resize(grey, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC), np.uint8)


@pytest.fixture(scope="module")
def pages():
    return [printed_page(np.random.default_rng(900 + at), SHAPE) for at in range(COUNT)]


@pytest.fixture(scope="module")
def index(pages):
    return PageIndex({f"p{at}": page_marks(scan(page, at)) for at, page in enumerate(pages)})


def test_each_washed_and_shifted_page_finds_its_own(pages, index):
    for at, page in enumerate(pages):
        after = scan(page, 70 + at, 3e-3, -0.8, (-5.0, 4.0), gain=0.85, lift=40)
        found = find_page(page_marks(after), index)
        assert isinstance(found, SamePage)
        assert found.key == f"p{at}"
        assert (found.turn, found.mirrored) == ("upright", False)
        assert found.agree > 0.85
        assert found.next_agree < 0.6


def test_turned_pages_are_found_and_said_to_be_turned(pages, index):
    after = scan(pages[2], 40)
    for picture, turn in (
        (after[::-1, ::-1], "upside down"),
        (np.rot90(after), "turned left"),
        (np.rot90(after, -1), "turned right"),
    ):
        found = find_page(page_marks(np.ascontiguousarray(picture)), index)
        assert isinstance(found, SamePage)
        assert (found.key, found.turn) == ("p2", turn)


def test_a_mirrored_page_is_recognised_as_one(pages, index):
    flipped = np.ascontiguousarray(scan(pages[3], 41)[:, ::-1])
    found = find_page(page_marks(flipped), index)
    assert isinstance(found, NoPage)
    found = find_page(page_marks(flipped), index, mirrored_marks(flipped))
    assert isinstance(found, SamePage)
    assert (found.key, found.mirrored) == ("p3", True)


def test_a_page_that_is_not_among_them_is_not_found(pages, index):
    others = index.among([f"p{at}" for at in range(COUNT) if at != 1])
    found = find_page(page_marks(scan(pages[1], 42)), others)
    assert isinstance(found, NoPage)
    assert found.reason == "none"


def test_a_page_scanned_twice_before_is_ambiguous(pages, index):
    twice = PageIndex({**index.pages, "again": page_marks(scan(pages[0], 60, turn=-0.4))})
    found = find_page(page_marks(scan(pages[0], 61)), twice)
    assert isinstance(found, NoPage)
    assert found.reason == "ambiguous"
    assert set(found.near[:2]) == {"p0", "again"}


def test_the_same_layout_with_other_words_is_not_the_same_page(pages, index):
    changed = pages[4].copy()
    half = changed.shape[0] // 2
    changed[half:] = printed_page(np.random.default_rng(77), SHAPE)[half:]
    found = find_page(page_marks(scan(changed, 43)), index)
    assert isinstance(found, NoPage)


def test_a_blank_leaf_says_that_it_has_nothing_to_be_known_by(index):
    blank = scan(blank_paper(np.random.default_rng(5), SHAPE, 1.0), 44)
    smooth = cv2.GaussianBlur(blank, (0, 0), 6)
    found = find_page(page_marks(smooth), index)
    assert isinstance(found, NoPage)
    assert found.reason == "blank"


def test_no_pages_to_look_among_and_sixteen_bits(pages, index):
    empty = find_page(page_marks(scan(pages[0], 45)), PageIndex({}))
    assert isinstance(empty, NoPage)
    deep = scan(pages[5], 46).astype(np.uint16) * 257
    found = find_page(page_marks(deep), index)
    assert isinstance(found, SamePage)
    assert found.key == "p5"
