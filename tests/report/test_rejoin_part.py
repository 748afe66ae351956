"""Taken apart and put together, in the report: every number traced, what was replaced told."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from folding import Bench, annual
from quirewell.demo import story_rejoin
from quirewell.demo.bench import Bench as DemoBench
from quirewell.demo.foldside import checked_form, creep_form
from quirewell.record.nouns import ItemState
from quirewell.report.creep_fold import creep_part, fold_part
from quirewell.report.model import Untraceable, known_refs, settle
from quirewell.report.recheck import recheck
from quirewell.report.rejoin import MATCH_FILE, rejoin_files, rejoin_part
from quirewell.report.treatment import write_report
from quirewell.stages import hole_marking, methods, rejoining, sheet_order, taking_apart
from quirewell.stages.working import keep_form, newest
from quirewell.stages.working_rows import WORKINGS
from report_case import text_of


def holes(place: str, dx: float = 0.0) -> dict[str, str]:
    form = {"place": place}
    for number, y in enumerate((65.5, 78.5, 186.5, 199.5), 1):
        form |= {f"x.{number}": f"{dx:.2f}", f"y.{number}": f"{y}", f"size.{number}": "0.8"}
    return form


def joined() -> Bench:
    bench = annual(2)
    form = {"pages.w01": "8 1 2 7", "pages.w02": "4 5 6 3", "faced.w02": "inside out"}
    bench.do(sheet_order.note_and_check(bench.state, form))
    staple = {"number": "2", "upper_mm": "186.5", "lower_mm": "199.5", "care": "replace"}
    bench.do(taking_apart.note_staple(bench.state, staple))
    for place, dx in (("c", 0.0), ("w01", 0.35), ("w02", 0.0)):
        bench.do(hole_marking.mark_holes(bench.state, holes(place, dx)))
    bench.do(rejoining.match_holes(bench.state, {}))
    bench.do(rejoining.lay(bench.state, {"place": "c", "at": "2026-03-25T18:00:00Z"}))
    return bench


def test_every_number_of_the_chapter_is_traced() -> None:
    state = joined().state
    said = settle({"rejoin": rejoin_part(state)}, known_refs(state))
    part = said.content["rejoin"]
    assert part["staples"] == [
        "Staple 2 from the head: legs at 186.5 and 199.5 mm, replace."
    ]  # fmt: skip
    assert part["disclosed"] is True
    assert part["order"][1].startswith("Reversed: Wrap 2 lay inside out")
    assert part["match"]["says"].startswith("3 sheets lie on one pattern of 4 holes")
    assert part["match"]["rows"][1][1].startswith("−0.35") or "0.35" in part["match"]["rows"][1][1]
    assert part["laid"] == "1 of 3 sheets are laid in their places again."


def test_the_picture_is_a_drawing_that_says_what_it_shows() -> None:
    root = ET.fromstring(rejoin_files(joined().state)[MATCH_FILE])
    assert root.get("role") == "img"
    assert "Hole 4: 3 sheets" in root.get("aria-label", "")


def test_nothing_recorded_is_an_empty_chapter() -> None:
    state = annual(2).state
    part = rejoin_part(state)
    assert (part["order"], part["staples"], part["match"], part["laid"]) == ([], [], {}, "")
    assert rejoin_files(state) == {}
    assert (part["creep"], part["fold"]) == ({}, {})


WIDTHS = "wrap,left_mm,right_mm,u_mm\n" + "\n".join(
    f"w{wrap:02d},{195 - 0.09 * (wrap - 1) + (0.9 if wrap == 6 else 0):.2f},"
    f"{195 - 0.09 * (wrap - 1) + (2.1 if wrap == 6 else 0):.2f},0.1"
    for wrap in range(1, 10)
)


def folded(**more: str) -> ItemState:
    bench = annual(9)
    bench.do(keep_form(bench.state, {"working": "creep", "widths": WIDTHS}))
    form = {"working": "fold", "front_now_mm": "1.4", "back_now_mm": "0.2", "leaves": "18",
            "choice": "even", "widths": WIDTHS} | more  # fmt: skip
    bench.do(keep_form(bench.state, form))
    return bench.state


def settled(state: ItemState) -> dict[str, Any]:
    return settle({"rejoin": rejoin_part(state)}, known_refs(state)).content["rejoin"]  # type: ignore[no-any-return]


def test_creep_is_told_wrap_by_wrap_with_the_odd_one_and_its_evidence() -> None:
    part = settled(folded())["creep"]
    assert part["says"].startswith("Each wrap further in is 0.1")
    assert [row[0] for row in part["rows"]] == [
        "Creep from wrap to wrap", "Nesting factor", "A wrap's width scatters by",
        "Width of the outermost wrap, on the line",
    ]  # fmt: skip
    assert len(part["wraps"]) == 9 and {len(row) for row in part["wraps"]} == {4}
    assert part["wraps"][5][0] == "Wrap 6 (does not belong)"
    assert part["wraps"][5][1].startswith("+3.0")
    assert len(part["odd"]) == 1 and part["odd"][0].startswith("Wrap 6: ")
    assert "the outermost wrap's (+)" in part["wraps_say"]
    assert any("What would narrow it most" in says for says in part["notes"])


def test_a_fold_that_was_planned_shows_its_ways_and_no_check() -> None:
    part = settled(folded(bevel_mm="1.9"))["fold"]
    assert [row[0] for row in part["ways"]] == [
        "Keep the old crease", "Even split (planned)", "Least roll (not possible)",
    ]  # fmt: skip
    assert part["ways"][1][1:4] == ["0.8 ± 0.6", "0.8 ± 0.6", "−0.6 ± 0.4"]
    assert part["after"] == []
    assert part["folds"][0].startswith("Wrap 6: work the fold 0.60 mm to the right")
    assert part["folds"][1].startswith("8 folds are better left")
    assert not {"Front overhang", "Fold to be worked, front gains (+): w06"} & {
        row[0] for row in part["rows"]
    }


def test_a_fold_that_was_checked_shows_found_planned_and_after() -> None:
    after = {"front_after_mm": "0.9", "back_after_mm": "0.8"}
    part = settled(folded(bevel_mm="1.9", roll_after_mm="0.1", **after))["fold"]
    cells = [[row[0], *(cell.split(" ")[0] for cell in row[1:])] for row in part["checks"]]
    assert cells == [
        ["Front overhang", "1.40", "0.80", "0.90"],
        ["Back overhang", "0.20", "0.80", "0.80"],
        ["The block's front beyond its back", "1.90", "", "0.10"],
    ]
    assert part["after"][0].endswith("the fold lies where it was meant, in its doubt.")
    assert "−1.80 ± 0.71 mm; the roll is less" in part["after"][1]
    assert part["after"][2] == "A change of the roll of 1.3 mm or more would surely have been seen."
    unseen = settled(folded(bevel_mm="0.4", roll_after_mm="0.1"))["fold"]["after"]
    assert len(unseen) == 1 and "one of 1.27 mm or more would surely have been seen" in unseen[0]


def test_each_number_is_its_findings_own_and_none_stands_without_it() -> None:
    state = folded(bevel_mm="0.9", front_after_mm="0.9", back_after_mm="0.8", roll_after_mm="0.1")
    body = {"creep": creep_part(state), "fold": fold_part(state)}
    said = settle(body, known_refs(state))
    by_id = {one.id: one for run in state.runs.values() for one in run.findings}
    valued = [one for one in said.numbers if one.value is not None and one.quantity != "count"]
    assert len(valued) > 30
    for number in valued:
        assert by_id[number.refs[0]].value == number.value
        assert by_id[number.refs[0]].quantity == number.quantity
    run = newest(state, WORKINGS["fold"])
    assert run is not None
    with pytest.raises(Untraceable):
        settle(body, known_refs(state) - {run.findings[0].id})


def test_the_demos_chapter_is_printed_and_computed_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Creep, holes, staples and fold of the story, rechecked to the last word; a staple corrected
    since is told, and words of a computation that comes out otherwise."""
    bench = DemoBench(tmp_path / "studio")
    bench.follow((*story_rejoin.TAKEN_APART, story_rejoin.measured_flat(1936)))
    for place, dx in (("c", 0.0), ("w01", 0.35), ("w02", 0.0)):
        bench.save(hole_marking.mark_holes(bench.state, holes(place, dx)))
    bench.save(rejoining.match_holes(bench.state, {}))
    bench.plan_fold(story_rejoin.FOLD_CHECKED, checked_form(1936))
    pdf = write_report(bench.studio, bench.item, tmp_path / "report.pdf").pdf
    words = text_of(pdf)
    assert "Creep: widths from wrap to wrap" in words and "Keep the old crease (planned)" in words
    assert words.index("As found") < words.index("After folding")
    assert creep_form(1936)["leaf_mm"] == "0.08" and "1.20 ± 0.36" in words
    checked = recheck(pdf, bench.studio)
    assert checked.differences == () and checked.runs == 4
    bench.save(taking_apart.note_staple(bench.state, {
        "number": "1", "upper_mm": "60", "lower_mm": "78.5", "care": "replace",
    }))  # fmt: skip
    assert [one.why for one in recheck(pdf, bench.studio).differences] == [
        "the record was corrected in the journal since"
    ]
    old = methods.find_method("fold.plan")
    other = replace(
        old, version=99,
        function=lambda files, params: old.function(files, {**params, "front_now_mm": "3"}),
    )  # fmt: skip
    monkeypatch.setitem(methods.METHODS, "fold.plan", other)
    moved = [one for one in recheck(pdf, bench.studio).differences if one.quantity == "text"]
    assert len(moved) > 3
    told = f"fold.plan was version {old.version} then and is version 99 now"
    assert {one.why for one in moved} == {told}
