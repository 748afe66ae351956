"""The schedule of defects: order, sources, sums, and cells no spreadsheet computes with."""

from __future__ import annotations

import csv
import io
import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annotated import item, many_kinds
from quirewell.record.dealing import Answered
from quirewell.record.nouns import Defect
from quirewell.record.regions import read_region
from quirewell.stages.damage_schedule import guarded, schedule, schedule_csv, sums
from quirewell.stages.drawn_extent import drawn_extents, extent_of


def test_the_whole_item_comes_first_then_sheet_by_sheet() -> None:
    lines = schedule(many_kinds())
    assert [line.number for line in lines] == [1, 2, 3, 4, 5, 6]
    assert [line.place for line in lines] == [
        "staples", "c.outer.right", "w01.outer", "w01.outer.left", "w01.outer.left",
        "w02.inner.right",
    ]  # fmt: skip
    by = {line.id: line for line in lines}
    assert by["d1"].said == "42.0 ± 1.5 mm" and by["d1"].extent == ""
    assert by["d4"].said == "3 places"
    assert [by[id].source for id in ("d1", "d2", "d3")] == [
        "drawn by hand", "proposed and accepted", "typed",
    ]  # fmt: skip


def test_what_was_turned_down_does_not_stand_in_it() -> None:
    made = Defect("d1", "c", "loss", proposal="p-1")
    told = {"p-1": Answered("p-1", "rejected")}
    assert schedule(item(made, answered=told)) == ()
    assert len(schedule(item(made, answered={"p-1": Answered("p-1", "accepted")}))) == 1


def test_sums_add_what_was_drawn_and_count_the_rest() -> None:
    tears = [
        Defect("a", "w01.outer.left", "tear", region="line 0,0 30,0", u_mm=0.3),
        Defect("b", "w02.outer.left", "Tear", region="line 0,0 40,0", u_mm=0.4),
        Defect("c", "w02", "tear", "about 8 mm"),
        Defect("d", "w02", "tear", moment="after"),
    ]
    before, after = sums(schedule(item(*tears)))
    ((extent, ids),) = before.drawn
    assert (extent.value, sorted(ids)) == (70.0, ["a", "b"])
    # Both ends of each: 0.3 sqrt 2 and 0.4 sqrt 2, independent, together 0.5 sqrt 2.
    assert extent.u == pytest.approx(0.5 * math.sqrt(2))
    assert (len(before.ids), before.in_words) == (3, 1)
    assert (len(after.ids), after.drawn) == (1, ())


def test_shares_of_different_pages_are_not_added() -> None:
    stains = [
        Defect("a", "w01.outer.left", "tideline", "2.4 % ± 0.4 %, 1068 mm2 ± 180 mm2",
               region="polygon 0,0 89,0 89,12 0,12"),
        Defect("b", "c.outer.left", "tideline", "50 % ± 4 %", region="polygon 0,0 89,0 89,12"),
    ]  # fmt: skip
    (one,) = sums(schedule(item(*stains)))
    ((extent, ids),) = one.drawn
    assert (extent.value, extent.unit, ids) == (1068.0, "mm2", ("a",))


@pytest.mark.parametrize(
    "text",
    [
        "line 0,0 42,0",
        "line 10,10 30,14 52,9 60,30",
        "polygon 10,10 60,12 58,50 8,44",
        "polygon 100,200 110,200 110,210; 20,20 40,20 40,60 20,60",
    ],
)
def test_u_of_an_extent_is_what_moving_its_points_gives(text: str) -> None:
    """Against draws (JCGM 101, 7): points moved by themselves, or all by one scale."""
    region = read_region(text)
    assert region is not None
    rng, u_mm, count = np.random.default_rng(4), 0.4, 4000
    far = max(math.hypot(*point) for shape in region.shapes for point in shape)

    def measured(shapes: list[np.ndarray]) -> float:
        if region.kind == "line":
            return sum(float(np.linalg.norm(np.diff(one, axis=0), axis=1).sum()) for one in shapes)
        return sum(
            abs(float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))) / 2
            for x, y in (one.T for one in shapes)
        )

    held = [np.array(shape) for shape in region.shapes]
    alone = [measured([one + rng.normal(0, u_mm, one.shape) for one in held]) for _ in range(count)]
    alike = [measured([one * (1 + s) for one in held]) for s in rng.normal(0, u_mm / far, count)]
    wanted = max(float(np.std(alone)), float(np.std(alike)))
    assert extent_of(region, u_mm).u == pytest.approx(wanted, rel=0.06)


def test_what_was_noted_while_drawing_holds_over_the_region() -> None:
    made = Defect("d", "c", "tear", "40.0 mm ± 1.0 mm", region="line 0,0 42,0", u_mm=9)
    assert [(one.value, one.u) for one in drawn_extents(made)] == [(40.0, 0.5)]
    typed = Defect("d", "c", "tear", "about 40 mm", region="line 0,0 42,0", u_mm=0.5)
    assert drawn_extents(typed)[0].value == 42.0


FORMULAS = ("=1+1", "+1+1", "-1-1", "@SUM(A1)", "\t=1", "\r=1", "  =1", "=cmd|' /C calc'!A0")


@pytest.mark.parametrize("cell", FORMULAS)
def test_a_formula_is_kept_as_words(cell: str) -> None:
    held = item(Defect("d1", "c", cell, cell, note=cell))
    row = next(csv.DictReader(io.StringIO(schedule_csv(schedule(held)))))
    for name in ("defect", "extent", "note"):
        assert row[name].startswith("'")
        assert row[name].removeprefix("'").replace("\r", "\n") == cell.replace("\r", "\n")


@given(st.text(max_size=20))
def test_no_cell_begins_as_a_formula_does(cell: str) -> None:
    number = re.fullmatch(r"[+-]?[\d\s.,eE+-]+", cell.strip())
    assert number or not guarded(cell).lstrip().startswith(("=", "+", "-", "@"))
    assert "\r" not in guarded(cell)


def test_the_table_reads_back_with_every_number() -> None:
    rows = list(csv.DictReader(io.StringIO(schedule_csv(schedule(many_kinds())))))
    assert [row["number"] for row in rows] == ["1", "2", "3", "4", "5", "6"]
    tear = next(row for row in rows if row["region"] == "line 168,20 126,20")
    assert (tear["measured"], tear["u"], tear["unit"]) == ("42", "0.75", "mm")
    assert tear["seen"] == "before treatment" and tear["source"] == "drawn by hand"
