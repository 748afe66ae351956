"""The picture of one sheet as it is laid: what lies left and right, the arrows of its move."""

from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree

from quirewell.report.rejoin_drawing import lay_svg
from quirewell.stages.rejoining import HoleSaid, LayStep

STEP = LayStep(
    "w02", "Wrap 2", 3, 5, "You see page 4 on the left and page 13 on the right.",
    ("page 4", "page 13"), "", "the cover", "", (), "", "",
    (HoleSaid(1, "clean", "", 0.0, 60.0), HoleSaid(2, "missing", "", None)),
    (), None, False, 0, (0.0, 0.0), 0.0,
)  # fmt: skip


def texts(svg: str) -> list[tuple[float, str]]:
    """Every word of the drawing with where it begins, from the left."""
    root = ElementTree.fromstring(svg)
    return [(float(one.get("x", "0")), one.text or "") for one in root.iter() if "text" in one.tag]


def test_the_pages_stand_on_the_sides_they_are_seen_on() -> None:
    found = {word: x for x, word in texts(lay_svg(STEP))}
    assert found["page 4"] < 60 < found["page 13"]
    assert found["head"] == 60 and "2 missing" in found


def test_a_move_is_an_arrow_with_its_millimetres_and_none_where_none_is_asked() -> None:
    still = lay_svg(STEP)
    assert " mm<" not in still and "flush" not in still
    moved = lay_svg(replace(STEP, moves=("a", "b"), slide_mm=(-0.5, 0.3)))
    assert [word for _, word in texts(moved) if word.endswith("mm")] == ["0.5 mm", "0.3 mm"]
    # To the left: the arrow's head points there, and the outline of lying flush is to the right.
    assert "rotate(180)" in moved and "rotate(90)" in moved
    root = ElementTree.fromstring(moved)
    flush = next(one for one in root.iter() if one.get("class") == "flush")
    assert float(flush.get("x", "0")) > 0 > float(flush.get("y", "0"))


def test_a_turn_is_a_bow_that_ends_on_the_side_it_goes_down_on() -> None:
    with_the_clock = lay_svg(replace(STEP, moves=("turned",), turn_mrad=2.0))
    against = lay_svg(replace(STEP, moves=("turned",), turn_mrad=-2.0))
    assert "0 0 1 99 " in with_the_clock and "0 0 0 81 " in against
