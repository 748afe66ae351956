from __future__ import annotations

import re
from itertools import pairwise
from xml.etree import ElementTree

import pytest

from quirewell.record.nouns import Gathering
from quirewell.report.drawings import (
    PRINT,
    LimbMark,
    gathering_svg,
    gathering_words,
    legend_svg,
    limb_of,
    limbs,
)
from quirewell.science.booklet.gathering import page_place

SVG = "{http://www.w3.org/2000/svg}"


def _tree(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg)


def test_limbs_run_from_the_front_cover_down_to_the_back_cover_in_page_order() -> None:
    found = limbs(Gathering(9))
    assert (found[0].name, found[-1].name) == ("front cover", "back cover")
    pages = [page for limb in found if limb.pages for page in limb.pages]
    assert pages == list(range(1, 37))


@pytest.mark.parametrize("wraps", [1, 2, 9, 16])
def test_each_limb_lies_where_the_page_arithmetic_says(wraps: int) -> None:
    for limb in limbs(Gathering(wraps, cover=False)):
        assert limb.pages is not None
        wrap, _, _ = page_place(limb.pages[0], wraps)
        assert limb.sheet == f"w{wrap:02d}"
        for page in limb.pages:
            sheet, side, panel = page_place(page, wraps)
            assert f"w{sheet:02d}.{side}.{panel}" in limb.faces
            assert limb_of(f"w{sheet:02d}.{side}.{panel}") == limb.place


def test_page_numbers_follow_the_first_page_of_the_gathering() -> None:
    assert limbs(Gathering(2, cover=False, first_page=5))[0].pages == (5, 6)


def test_a_navigation_drawing_links_every_leaf_with_its_name_for_the_keyboard() -> None:
    tree = _tree(gathering_svg(Gathering(9), href=lambda place: f"/items/a/{place}?a=1&b=2"))
    links = tree.findall(f"{SVG}a")
    assert len(links) == 20
    assert links[1].get("href") == "/items/a/w01.outer.right?a=1&b=2"
    assert links[1].get("aria-label") == "w1 1, 2: wrap 1, front leaf, pages 1 and 2"
    assert tree.get("role") == "group"


def test_a_drawing_without_links_is_one_image_with_words() -> None:
    tree = _tree(gathering_svg(Gathering(9), palette=PRINT, shape="print"))
    assert tree.get("role") == "img"
    assert "a cover around nine nested wraps" in (tree.get("aria-label") or "")
    assert "held by two staples" in (tree.get("aria-label") or "")


def test_level_changes_the_pattern_as_well_as_the_colour() -> None:
    seen = set()
    for level in range(6):
        svg = gathering_svg(Gathering(1, cover=False), {"w01.outer.right": LimbMark(level)})
        bars = re.findall(r'stroke-dasharray="([^"]+)"', svg)
        seen.add(tuple(bars))
    assert len(seen) == 6


def test_a_mark_on_either_page_of_a_leaf_or_on_its_sheet_reaches_the_limb() -> None:
    inner = gathering_svg(Gathering(2), {"w02.inner.left": LimbMark(1, "+0.1 %")})
    assert inner.count("+0.1 %") == 2  # tooltip and label
    sheet = gathering_svg(Gathering(2), {"w02": LimbMark(1, "wet")})
    assert sheet.count(">wet<") == 2  # both leaves of the wrap


def test_text_from_people_stays_text() -> None:
    nasty = '"><script>alert(1)</script>'
    svg = gathering_svg(
        Gathering(1), {"w01": LimbMark(0, nasty, nasty)}, href=lambda place: nasty, caption=nasty
    )
    assert "<script>" not in svg
    assert _tree(svg).get("aria-label") == nasty


@pytest.mark.parametrize("shape", ["wide", "narrow", "print"])
@pytest.mark.parametrize("wraps", [1, 9, 16, 40])
def test_limbs_stand_apart_and_inside_the_picture(wraps: int, shape: str) -> None:
    svg = gathering_svg(
        Gathering(wraps),
        {"c": LimbMark(1, "x")},
        shape=shape,
        palette=PRINT,  # type: ignore[arg-type]
    )
    tree = _tree(svg)
    _, _, width, height = (float(n) for n in (tree.get("viewBox") or "").split())
    tops = [float(y) for y in re.findall(r'class="limb-reach" d="M0 ([\d.]+)H', svg)]
    least = 17 if shape == "print" else 24
    assert len(tops) == 2 * wraps + 2
    assert min(b - a for a, b in pairwise(tops)) >= least - 0.11
    assert tops[0] > 0 and tops[-1] < height
    numbers = [float(n) for n in re.findall(r"[MHC ](\d+\.\d) ", svg)]
    assert max(numbers) < max(width, height)


def test_words_name_each_known_value() -> None:
    words = gathering_words(Gathering(1), {"w01": LimbMark(2, "+0.2 %")}, "Change of width")
    assert "Change of width by leaf: wrap 1, front leaf, pages 1 and 2: +0.2 %;" in words
    assert "one nested wrap," in words


def test_key_shows_each_level_with_words() -> None:
    tree = _tree(legend_svg({0: "none seen", 5: "0.5 % or more"}))
    assert tree.get("aria-label") == "Key: none seen; 0.5 % or more"


def test_a_level_off_the_scale_is_refused() -> None:
    with pytest.raises(ValueError, match="between 0 and 5, got 6"):
        LimbMark(6)
