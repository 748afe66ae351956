"""File names: what follows the pattern, and what is left to a person."""

from __future__ import annotations

import pytest

from quirewell.record.nouns import Capture, Gathering
from quirewell.stages.filenames import Named, is_junk, parse, plan_intake, why_unmatched


@pytest.mark.parametrize(
    ("name", "named"),
    [
        ("w03-outer-left-before.tif", Named("w03.outer", "left", "before", "scan")),
        ("W3_Outer_Left_Before.TIFF", Named("w03.outer", "left", "before", "scan")),
        ("w12 inner whole after.png", Named("w12.inner", "whole", "after", "scan")),
        ("c-outer-right-after.jpg", Named("c.outer", "right", "after", "scan")),
        ("item-lamp-left-before.heic", Named("item", "whole", "before", "lamp-left")),
        ("Item_lamp_top_after.JPG", Named("item", "whole", "after", "lamp-top")),
    ],
)
def test_names_that_follow_the_pattern(name: str, named: Named) -> None:
    assert parse(name) == named


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("scan0001.tif", "does not begin with a sheet"),
        ("w00-outer-left-before.tif", "does not begin with a sheet"),
        ("w03-outer-left.tif", "moment"),
        ("w03-left-before.tif", "side"),
        ("w03-outer-before.tif", "half"),
        ("w03-outer-left-before (1).tif", "more than the pattern"),
        ("w03-outer-left-before-after.tif", "more than the pattern"),
        ("w3outerleftbefore.tif", "does not begin with a sheet"),
        ("item-corner-before.jpg", "view is none of"),
        ("item-front.jpg", "before or after"),
        ("", "does not begin with a sheet"),
    ],
)
def test_names_left_to_a_person_say_why(name: str, why: str) -> None:
    assert parse(name) is None
    assert why in why_unmatched(name)


def test_two_files_for_one_place_are_both_left_to_a_person() -> None:
    names = ["w01-outer-left-before.tif", "W01_outer_left_before.png", "w02-outer-left-before.tif"]
    plan = plan_intake(names)
    assert [entry.name for entry in plan.matched] == [names[2]]
    assert plan.clashes[0].names == (names[0], names[1])
    assert plan.clashes[0].words == "wrap 1, outer side, left half, before"
    assert "2 files claim" in plan.why_not(names[0])


def test_sheet_the_item_does_not_have_is_left_to_a_person() -> None:
    plan = plan_intake(
        ["w12-outer-left-before.tif", "c-outer-left-before.tif"], Gathering(9, False)
    )
    assert not plan.matched
    assert "9 wraps" in plan.unmatched[0].why and "without a cover" in plan.unmatched[1].why


def test_place_that_has_a_picture_is_not_taken_over() -> None:
    held = Capture("c1", "a" * 64, "first.tif", "image/tiff", 9, 9, 9, moment="before",
                   place="w01.outer", panel="left")  # fmt: skip
    plan = plan_intake(["w01-outer-left-before.tif"], taken=[held])
    assert "has a picture already (first.tif)" in plan.unmatched[0].why


def test_left_overs_of_operating_systems_are_no_pictures() -> None:
    assert is_junk("Thumbs.db") and is_junk(".DS_Store") and not is_junk("w01.tif")
    assert plan_intake(["Thumbs.db"]).left_out == ("Thumbs.db",)
