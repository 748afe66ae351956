"""Extents of regions against hand-worked figures, and their uncertainty against draws."""

from __future__ import annotations

import math

import numpy as np
import pytest

from quirewell.record.nouns import Defect
from quirewell.record.regions import Region, read_region
from quirewell.stages.drawn_extent import drawn_extents
from quirewell.stages.grade_entry import _BEGINS
from quirewell.stages.region_extent import (
    across,
    amount_words,
    area_of,
    crossing,
    extent_of,
    length_of,
)

BENT = read_region("line 10,10 30,10 30,25; 50,50 53,54")
BLOB = read_region("polygon 10,10 40,12 44,30 25,41 8,28")


def test_lengths_and_areas_by_hand():
    assert length_of(BENT, 0.5)[0] == pytest.approx(20 + 15 + 5)
    assert area_of(read_region("polygon 0,0 30,0 30,20 0,20"), 0.5)[0] == 600
    # A straight line between two points set by hand: each end moves it by u along itself.
    assert length_of(read_region("line 0,0 40,0"), 0.5)[1] == pytest.approx(0.5 * math.sqrt(2))


@pytest.mark.parametrize("region,of", [(BENT, length_of), (BLOB, area_of)])
def test_the_uncertainty_is_what_moved_points_make(region, of):
    rng = np.random.default_rng(7)

    def moved() -> float:
        shapes = tuple(
            tuple((x + dx, y + dy) for (x, y), (dx, dy) in zip(
                shape, rng.normal(0, 0.3, (len(shape), 2)), strict=True))
            for shape in region.shapes
        )  # fmt: skip
        return of(Region(region.kind, shapes), 0.3)[0]

    drawn = np.std([moved() for _ in range(4000)])
    assert of(region, 0.3)[1] == pytest.approx(drawn, rel=0.06)


def test_the_measure_is_the_one_its_rule_counts():
    page = 195.0 * 265.0
    assert extent_of("tear", BENT, 0.5, 0.0, page).startswith("40.0 mm ± ")
    assert extent_of("loss", BLOB, 0.5, 0.0, page).startswith(f"{BLOB.area_mm2:.0f} mm2 ± ")
    # A tideline counts as the share of the page inside it.
    share = 100 * BLOB.area_mm2 / page
    assert float(extent_of("tideline", BLOB, 0.5, 0.0, page).split(" ")[0]) == pytest.approx(
        share, abs=0.05
    )
    assert extent_of("tideline", BLOB, 0.5, 0.0, None).startswith(f"{BLOB.area_mm2:.0f} mm2")
    # Tape drawn round counts by its longest way across; a rust stain by its radius.
    strip = read_region("polygon 0,0 60,0 60,12 0,12")
    assert extent_of("old tape", strip, 0.5, 0.0, page).startswith("61.2 mm ")
    assert extent_of("rust stain", strip, 0.5, 0.0, page).startswith("30.59 mm ")
    assert extent_of("foxing", read_region("point 1,1; 5,5; 9,9"), 0.5, 0.0, page) == "3 spots"


def test_what_a_region_does_not_tell_is_not_told():
    # A roll is an offset of the fold line, not the length of the spine it runs along.
    assert extent_of("spine roll", read_region("line 0,0 0,260"), 0.5, 0.0, None) == ""
    assert extent_of("tear", read_region("point 4,4"), 0.5, 0.0, None) == ""


@pytest.mark.parametrize("term", ["tear", "crease", "loss", "tideline", "old tape", "stain"])
def test_every_extent_begins_with_an_amount_the_grade_table_reads(term):
    for region in (BENT, BLOB):
        said = extent_of(term, region, 0.5, 0.001, 195.0 * 265.0)
        assert _BEGINS.match(said), said


def test_a_scale_that_is_unsure_widens_lengths_once_and_areas_twice():
    line, square = read_region("line 0,0 100,0"), read_region("polygon 0,0 100,0 100,100 0,100")
    assert extent_of("tear", line, 0.0, 0.05, None) == "100 mm ± 10 mm"
    assert extent_of("loss", square, 0.0, 0.05, None) == "10000 mm2 ± 2000 mm2"


def test_a_crossed_outline_is_told_by_its_points():
    assert crossing(((0, 0), (10, 0), (10, 10), (0, 10))) is None
    assert crossing(((0, 0), (10, 10), (10, 0), (0, 10))) == (1, 3)
    ring = [(math.cos(a), math.sin(a)) for a in np.linspace(0, 6.2, 900)]
    assert crossing(tuple(ring)) is None


def test_words_keep_two_figures_of_the_doubt():
    assert amount_words(12.3456, 0.05, "mm") == "12.35 mm ± 0.10 mm"
    assert amount_words(7.0, 0.0, "mm") == "7.00 mm ± 0.00 mm"
    assert across(((5.0, 5.0), (5.0, 5.0))) == 0


def test_a_roll_drawn_along_the_spine_is_not_rated_by_the_spines_length():
    roll = Defect("d", "spine", "spine roll", region="line 0,0 0,260", u_mm=0.5)
    assert drawn_extents(roll) == ()
