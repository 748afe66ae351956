"""Page arithmetic against the general rule of saddle stitching (common practice, no source)."""

from __future__ import annotations

import pytest

from quirewell.science.booklet.gathering import page_place, wrap_pages, wraps_for_pages


@pytest.mark.parametrize("wraps", [1, 2, 9, 16])
def test_every_page_is_on_exactly_one_face_and_both_halves_add_up(wraps: int) -> None:
    seen = []
    for wrap in range(1, wraps + 1):
        pages = wrap_pages(wrap, wraps)
        assert pages.outer_left + pages.outer_right == 4 * wraps + 1
        assert pages.inner_left + pages.inner_right == 4 * wraps + 1
        seen += [pages.outer_left, pages.outer_right, pages.inner_left, pages.inner_right]
    assert sorted(seen) == list(range(1, 4 * wraps + 1))


def test_folding_sheets_in_hand_gives_the_same_pages() -> None:
    wraps = 9
    leaves = [(wrap, half) for half in ("front", "back") for wrap in range(1, wraps + 1)]
    leaves[wraps:] = reversed(leaves[wraps:])
    for turned, (wrap, half) in enumerate(leaves):
        recto, verso = 2 * turned + 1, 2 * turned + 2
        outer, inner = (recto, verso) if half == "front" else (verso, recto)
        outside, inside = ("right", "left") if half == "front" else ("left", "right")
        assert page_place(outer, wraps) == (wrap, "outer", outside)
        assert page_place(inner, wraps) == (wrap, "inner", inside)


def test_the_centrefold_faces_itself() -> None:
    pages = wrap_pages(9, 9)
    assert (pages.inner_left, pages.inner_right) == (18, 19)


@pytest.mark.parametrize("pages", [0, 3, 30, 34])
def test_pages_that_make_no_whole_wraps_are_questioned(pages: int) -> None:
    with pytest.raises(ValueError, match="multiple of four"):
        wraps_for_pages(pages)


def test_a_page_or_wrap_outside_the_gathering_is_refused() -> None:
    with pytest.raises(ValueError, match="between 1 and 36"):
        page_place(37, 9)
    with pytest.raises(ValueError, match="between 1 and 9"):
        wrap_pages(10, 9)
