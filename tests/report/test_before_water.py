"""Before water, in the report: what was asked, kept and tried first, as the record has it."""

from __future__ import annotations

from pathlib import Path

import pytest

from folding import annual, ready
from quirewell.record.event import Draft
from quirewell.report.before_water import before_water
from quirewell.report.model import JOURNAL, known_refs, settle, typed
from quirewell.report.treatment import write_report
from quirewell.stages import treat
from quirewell.stages.checks import answer_check
from quirewell.stages.keeping import note_keep
from quirewell.studio.studio import Studio
from report_case import text_of


def test_an_item_never_wetted_nor_asked_about_says_nothing() -> None:
    assert before_water(annual().state) == {"checks": [], "keeps": [], "pilots": []}


def test_answers_stand_with_their_sheets_and_notes_and_silence_is_told() -> None:
    bench = annual(2)
    form = {"key": "dry-clean", "answer": "none", "places": "w01", "note": "a clean wrap"}
    bench.do(answer_check(bench.state, {**form, "at": "2026-03-09T20:31:00Z"}))
    rows = before_water(bench.state)["checks"]
    (check,) = bench.state.checks
    done = "Dry cleaning done"
    says = typed("none needed", check)
    assert [done, says, "Wrap 1", "9 March 2026: a clean wrap"] in rows
    # Nobody answered it: that leads to everything there is in the record.
    assert [done, typed("not answered", JOURNAL), "Cover, wrap 2", ""] in rows


def test_staples_that_went_in_after_the_water_were_out_in_it() -> None:
    bench = ready(annual(2))
    for check in [one.id for one in bench.state.checks.values() if one.key == "staples-out"]:
        bench.do(treat.set_aside(bench.state, {"id": check}))
    reason = {"override": "black type only, seen under the lens"}
    for kind in ("staples-out", "wash", "staples-in"):
        bench.do(treat.start_step(bench.state, {"kind": kind, "places": "item", **reason}))
        bench.do(treat.finish_step(bench.state, {"id": list(bench.state.steps)[-1]}))
    rows = before_water(bench.state)["checks"]
    (lifted,) = (one.id for one in bench.state.steps.values() if one.kind == "staples-out")
    says = typed("lifted, by the record of steps", lifted)
    assert ["Staples out", says, "Cover, wraps 1 and 2", ""] in rows


def test_keeps_and_the_pilots_verdict_are_in_it() -> None:
    bench = ready(annual(2))
    bench.do(note_keep(bench.state, {"what": "date stamp", "place": "w01", "why": "history"}))
    said = settle({"before": before_water(bench.state)}, known_refs(bench.state))
    (pilot,) = said.content["before"]["pilots"]
    assert pilot[0].startswith("Scrap: a blank margin") and "Washed" in pilot[1]
    assert pilot[3] == "tone step 8 to 7" and pilot[4] == "accepted"
    assert said.content["before"]["keeps"] == [["date stamp", "Wrap 1", "history"]]


@pytest.fixture(scope="module")
def text(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder: Path = tmp_path_factory.mktemp("before")
    bench = ready(annual(2))
    bench.do(note_keep(bench.state, {"what": "violet date stamp", "place": "w01"}))
    test = {"place": "item", "colour": "black", "result": "no change", "minutes": "30",
            "temperature": "19C"}  # fmt: skip
    bench.do(treat.record_spot_test(bench.state, test))
    wash = {"kind": "wash", "places": "w01", "override": "the stamp was tested on a like one"}
    bench.do(treat.start_step(bench.state, wash))
    with Studio.create(folder / "studio", "Larkmoor paper bench") as studio:
        for event in bench.events:
            version = studio.state("annual").version if event.seq > 1 else 0
            studio.append(
                "annual", version, [Draft(event.stream, event.kind, event.body)], "I. Larkmoor"
            )
        write_report(studio, "annual", folder / "report.pdf")
    return text_of(folder / "report.pdf")


@pytest.mark.parametrize(
    "words",
    ["Asked before water", "Carrier sheet", "Kept on purpose", "violet date stamp", "The pilot",
     "Scrap: a blank margin", "tone step 8 to 7", "accepted", "19 °C",
     "Ink of what is kept, tested", "the stamp was tested on a like one"],
)  # fmt: skip
def test_the_printed_report_says(text: str, words: str) -> None:
    assert words in text
