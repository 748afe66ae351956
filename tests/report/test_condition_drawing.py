"""The condition drawing read back from its SVG: what is 42 mm on the page is 42 mm at its scale."""

from __future__ import annotations

import math
import re
from itertools import combinations
from typing import Any
from xml.etree import ElementTree

import pytest

from annotated import item, many_kinds
from quirewell.record.nouns import Defect
from quirewell.record.page_path import read_path
from quirewell.report.condition_drawing import (
    SCALES,
    Side,
    condition_drawing,
    drawing_svg,
    scale_of,
    side_svg,
)
from quirewell.report.hatches import STYLES, key_svg
from quirewell.stages.damage_schedule import FAMILIES

SVG = "{http://www.w3.org/2000/svg}"


def side(*defects: Defect, place: str = "w01.outer") -> Side:
    made = condition_drawing(item(*defects), "before")
    return next(one for one in made.sides if one.place == place)


def mm_per_unit(root: ElementTree.Element) -> float:
    """Millimetres of paper to a unit of the picture, the same across and down."""
    _, _, wide, high = (float(part) for part in root.attrib["viewBox"].split())
    across = float(root.attrib["width"].removesuffix("mm")) / wide
    down = float(root.attrib["height"].removesuffix("mm")) / high
    assert across == pytest.approx(down, rel=1e-3)
    return across


def of_class(root: ElementTree.Element, name: str) -> list[Any]:
    return [one for one in root.iter() if name in one.attrib.get("class", "").split()]


@pytest.mark.parametrize("per", SCALES)
def test_a_tear_of_42_mm_is_42_mm_at_the_drawn_scale(per: float) -> None:
    made = side(Defect("d1", "w01.outer.left", "tear", region="line 0,20 25.2,53.6"))
    root = ElementTree.fromstring(side_svg(made, per))
    (tear,) = of_class(root, "tear")
    on_paper = read_path(tear.attrib["d"]).length_mm * mm_per_unit(root)
    assert on_paper * per == pytest.approx(42.0, abs=0.02)
    (sheet,) = of_class(root, "sheet")
    assert float(sheet.attrib["width"]) * mm_per_unit(root) * per == pytest.approx(336, abs=0.1)
    # The bar says 50 mm and is.
    bar = next(one for one in root.iter(f"{SVG}path") if re.search(r"h50v", one.attrib["d"]))
    assert 50 * mm_per_unit(root) * per == pytest.approx(50, abs=0.02) and bar is not None


def test_damage_of_the_right_page_lies_right_of_the_fold() -> None:
    region = "polygon 10,20 40,20 40,50 10,50"
    made = side(
        Defect("d1", "w01.outer.left", "loss", region=region),
        Defect("d2", "w01.outer.right", "loss", region=region),
        Defect("d3", "w01.outer", "loss", region=region),
    )
    left, right, both = (one.region for one in made.damage)
    if made.damage[0].line.place == "w01.outer":  # A side stands before its pages.
        both, left, right = left, *sorted((right, both), key=lambda one: one.shapes)
    assert sorted(one.shapes[0][0][0] for one in (left, right, both)) == [10, 10, 178]
    assert made.fold_mm == 168 and made.by == "as described"


def test_front_and_back_are_the_cover_as_it_lies() -> None:
    made = side(
        Defect("d1", "front", "tear", region="line 0,0 5,0"),
        Defect("d2", "back", "tear", region="line 0,0 5,0"), place="c.outer",
    )  # fmt: skip
    starts = {one.line.place: one.region.shapes[0][0][0] for one in made.damage}
    assert starts == {"front": 168, "back": 0}


def test_what_was_not_drawn_is_listed_beside_its_place() -> None:
    made = condition_drawing(many_kinds(), "before")
    assert [one.place for one in made.elsewhere] == ["staples"]
    held = item(Defect("d1", "w01", "foxing", "all over"))
    drawing = condition_drawing(held, "before")
    assert not drawing.damaged
    assert [one.id for one in drawing.sides[2].beside] == ["d1"]
    assert [one.place for one in drawing.sides] == [
        f"{sheet}.{face}" for sheet in ("c", "w01", "w02") for face in ("outer", "inner")
    ]


def test_every_family_has_a_line_a_hatch_and_a_sign_of_its_own() -> None:
    assert set(STYLES) == {*FAMILIES, "other"}
    for name in ("hatch", "sign"):
        assert len({getattr(style, name) for style in STYLES.values()}) == len(STYLES)
    lines = {(style.width, style.dash) for style in STYLES.values()}
    assert len(lines) == len(STYLES)
    key = ElementTree.fromstring(key_svg(list(STYLES)))
    assert {one.attrib["id"] for one in key.iter(f"{SVG}pattern")} == {f"key-{f}" for f in STYLES}


def test_sixty_numbers_on_one_page_stand_apart() -> None:
    defects = [
        Defect(f"d{at:02d}", "w01.outer.left", "foxing",
               region=f"point {10 + 14 * (at % 10)},{20 + 38 * (at // 10)}")
        for at in range(60)
    ]  # fmt: skip
    made = side(*defects)
    root = ElementTree.fromstring(side_svg(made, scale_of(made)))
    rings = [
        (float(one.attrib["cx"]), float(one.attrib["cy"]), float(one.attrib["r"]))
        for one in root.iter(f"{SVG}circle")
    ]
    assert len(rings) == 60
    assert all(math.dist(a[:2], b[:2]) > 2 * a[2] for a, b in combinations(rings, 2))
    numbers = {one.text for one in root.iter(f"{SVG}text")}
    assert {str(at) for at in range(1, 61)} <= numbers


def test_a_number_does_not_hide_the_damage_it_names() -> None:
    corner = Defect("d1", "w01.outer.right", "loss", region="polygon 168,265 163,265 168,260")
    made = side(corner, Defect("d2", "w01.outer.left", "tear", region="line 0,20 6,20"))
    root = ElementTree.fromstring(side_svg(made, 3))
    for ring in root.iter(f"{SVG}circle"):
        x, y, radius = (float(ring.attrib[name]) for name in ("cx", "cy", "r"))
        for one in made.damage:
            points = [point for shape in one.region.shapes for point in shape]
            assert all(math.dist((x, y), point) > radius for point in points)


def test_a_page_of_no_known_size_is_drawn_broken_and_said() -> None:
    held = item(Defect("d1", "w01.outer.left", "tear", region="line 0,0 42,0"))
    from dataclasses import replace

    from quirewell.record.nouns import Gathering

    drawing = condition_drawing(replace(held, gathering=Gathering(2)), "before")
    (made,) = drawing.damaged
    assert made.by == ""
    (sheet,) = of_class(ElementTree.fromstring(side_svg(made, 3)), "sheet")
    assert "stroke-dasharray" in sheet.attrib


def test_damage_beyond_the_outline_is_told() -> None:
    made = side(Defect("d1", "w01.outer.right", "tear", region="line 160,10 190,10"))
    assert made.beyond == (1,)
    ElementTree.fromstring(side_svg(made, scale_of(made)))


def test_the_whole_drawing_is_one_picture_with_all_that_is_drawn() -> None:
    root = ElementTree.fromstring(drawing_svg(many_kinds()))
    assert len(of_class(root, "damage")) >= 7
    words = " ".join(one.text or "" for one in root.iter(f"{SVG}text"))
    assert "Nothing drawn on:" in words and "After treatment" not in words
    ids = [one.attrib["id"] for one in root.iter() if "id" in one.attrib]
    assert len(ids) == len(set(ids))
    assert ElementTree.fromstring(drawing_svg(item())) is not None


def test_words_that_mean_harm_stay_words() -> None:
    held = item(Defect("d1", "w01.outer.left", "<script>alert(1)</script>&", region="line 0,0 9,9"))
    text = drawing_svg(held)
    assert "<script" not in text and "&lt;script&gt;" in text
