"""Taken apart and put together, in the report: every number traced, what was replaced told."""

from __future__ import annotations

import xml.etree.ElementTree as ET

from folding import Bench, annual
from quirewell.report.model import known_refs, settle
from quirewell.report.rejoin import MATCH_FILE, rejoin_files, rejoin_part
from quirewell.stages import hole_marking, rejoining, sheet_order, taking_apart


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
