"""Condition in the report: schedule, sums, drawing, the estimate by rules; each number traced."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from annotated import item, many_kinds
from quirewell.record import nouns
from quirewell.record.nouns import Defect, ItemState
from quirewell.report.damage import condition_part, drawing_files
from quirewell.report.drawing_sheet import drawing_sheet
from quirewell.report.grade import CHANGED, grade_part
from quirewell.report.model import known_refs, settle
from quirewell.report.recheck import lines, recheck
from quirewell.report.treatment import write_report
from quirewell.stages.grade_entry import damage_table
from quirewell.stages.methods import run_method
from quirewell.stages.repairs import REPAIRS
from quirewell.studio.studio import Studio
from report_case import add, clock, report_studio, text_of


def graded(state: ItemState, table: str = "") -> ItemState:
    """The item with the estimate worked out from its damage."""
    from dataclasses import replace

    text = table or "\n".join(line for line in damage_table(state).splitlines() if line.strip())
    run = run_method("condition.grade", "plan", {}, (), {"defects": text})
    return replace(state, runs={run.id: run})


TEARS = (
    Defect("d1", "c.outer.right", "tear", "40.0 mm ± 1.0 mm", region="line 0,0 40,0"),
    Defect("d2", "w01.outer.left", "tear", region="line 0,0 10,0", u_mm=0.5),
    Defect("d3", "staples", "rusted staple"),
)


def test_every_number_of_the_part_names_what_it_came_from() -> None:
    state = graded(many_kinds())
    body = {
        "before": condition_part(state, "before"), "after": condition_part(state, "after"),
        "estimate": grade_part(state),
    }  # fmt: skip
    said = settle(body, known_refs(state))
    assert {"defect.drawn", "defect.noted", "condition.raw", "condition.grade"} <= {
        one.quantity for one in said.numbers
    }
    json.dumps(said.content)


def test_every_picture_that_is_named_is_there() -> None:
    for state in (item(), many_kinds(), item(*TEARS)):
        part = condition_part(state, "before")["drawn"]
        shown = [one["file"] for key in ("small", "large") for one in part.get(key, [])]
        named = [part["key"], *shown] if part else []
        assert set(named) == set(drawing_files(state, "before"))


def test_without_damage_or_estimate_nothing_is_said_of_them() -> None:
    part = condition_part(item(), "before")
    assert (part["rows"], part["sums"], part["drawn"], part["grade"]) == ([], [], {}, [])
    assert grade_part(item()) == {}


def test_a_long_note_stands_below_the_table() -> None:
    long = "It was found folded into the tube. " * 60
    part = condition_part(item(Defect("d1", "c", "fold", note=long)), "before")
    assert part["notes"] == [["1", long]]
    assert part["rows"][0][6] == "its note stands below the table"


def test_the_estimate_is_the_runs_own() -> None:
    state = graded(item(*TEARS))
    (run,) = state.runs.values()
    found = {one.quantity: one for one in run.findings}
    part = grade_part(state)
    raw, step = found["condition.raw"], found["condition.grade"]
    assert part["facts"][0][1].text == f"{step.value:.1f}, {step.text}"
    assert part["facts"][1][1].value == raw.value
    assert part["facts"][2][1].text == f"{raw.low90:.2f} to {raw.high90:.2f} points"
    assert part["facts"][4][1] == "no ceiling; what is taken off, added up"
    # 40 mm of the cover at 0.03 and 10 mm inside at 0.015 (the table of rules shipped).
    points = {row[0].text.split(" ")[1]: row[1].value for row in part["deductions"]}
    assert points["cover"] == pytest.approx(1.2) and points["interior"] == pytest.approx(0.15)
    assert part["changed"] == ""


def test_no_repair_stands_without_its_risk_and_whether_it_can_be_undone() -> None:
    part = grade_part(graded(item(*TEARS)))
    known = {one.kind.name: one for one in REPAIRS}
    assert {"Tear mended", "Rust reduced"} <= {row[0] for row in part["repairs"]}
    for name, risk, lasting, gain in part["repairs"]:
        assert known[name].risk in risk and known[name].leaves in risk
        assert known[name].permanence[1:] in lasting and gain.refs
    gains = [row[3].value for row in part["repairs"]]
    assert gains == sorted(gains, reverse=True)


def test_a_ceiling_is_named_and_a_repair_below_it_gains_nothing() -> None:
    part = grade_part(graded(item(), "code,location,extent\nbrittleness,,\ntear,c,20 mm"))
    assert part["facts"][4][1].text.startswith("a ceiling: brittleness")
    assert part["repairs"][0][3].text == "nothing while the ceiling holds"


def test_many_small_deductions_are_added_and_told() -> None:
    rows = "tear,c,9 mm;loss,c,50 mm2;fold,c,40 mm;soiling,c,5 %;ink rub,c,4 %;writing,c,90 mm2;" \
        "foxing,c,3 %;old tape,w01,30 mm"  # fmt: skip
    part = grade_part(graded(item(), "code,location,extent\n" + rows.replace(";", "\n")))
    assert len(part["deductions"]) == 6
    assert part["more"].text.startswith("And ") and len(part["more"].refs) >= 2


def test_it_is_said_where_the_damage_moved_on_since() -> None:
    state = graded(item(*TEARS))
    from dataclasses import replace

    more = {**state.defects, "d4": Defect("d4", "c", "loss", "90 mm2")}
    assert grade_part(replace(state, defects=more))["changed"] == CHANGED


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Studio, Path]]:
    folder = tmp_path_factory.mktemp("condition")
    studio = report_studio(folder / "studio", pairs=0, wraps=2)
    add(studio, "annual", *(
        ("defect.noted", one) for one in many_kinds().defects.values() if one.id != "d4"
    ))  # fmt: skip
    table = "\n".join(damage_table(studio.state("annual")).splitlines())
    run = run_method("condition.grade", "plan", {}, (), {"defects": table})
    add(studio, "annual", ("run.recorded", run))
    write_report(studio, "annual", folder / "report.pdf")
    yield studio, folder / "report.pdf"
    studio.close()


@pytest.mark.parametrize(
    "words",
    [
        "42.0 ± 1.5 mm; opens at a touch", "drawn by hand", "proposed and accepted",
        "Added up, as far as it was drawn", "Where it lies", "Cover, outer side: back left",
        "Drawn 1 : 3; size as described", "What the damage leaves of it", "It is nobody’s grade",
        "On the scale", "What mending could gain at most", "3.5 of 10, worn but whole",
        "narrow it most", "Rules: version 1",
    ],
)  # fmt: skip
def test_the_report_says(written: tuple[Studio, Path], words: str) -> None:
    assert words in text_of(written[1]).replace("'", "’")


def test_recheck_reads_what_was_drawn_again(written: tuple[Studio, Path]) -> None:
    studio, pdf = written
    checked = recheck(pdf, studio)
    assert checked.agrees, lines(checked.differences)
    held = studio.state("annual").defects["d1"]
    from dataclasses import replace

    add(studio, "annual", ("defect.noted", replace(held, extent="44.0 mm ± 1.5 mm")))
    moved = [one for one in recheck(pdf, studio).differences if one.quantity.startswith("defect.")]
    assert {one.finding for one in moved} == {"d1"}
    assert any("42.0 ± 1.5 mm" in one.then and "44.0 ± 1.5 mm" in one.now for one in moved)
    add(studio, "annual", ("record.retracted", nouns.Retract("d1")))
    says = " ".join(lines(recheck(pdf, studio).differences))
    assert "set aside since" in says


def test_the_drawing_by_itself_is_a_pdf_that_says_what_it_draws(tmp_path: Path) -> None:
    target = tmp_path / "drawing.pdf"
    target.write_bytes(drawing_sheet(many_kinds(), clock()()))
    assert "Wrap 1, outer side: page 8 left, page 1 right" in text_of(target)
    target.write_bytes(drawing_sheet(item(), clock()()))
    assert "No defects were noted before treatment." in text_of(target)
