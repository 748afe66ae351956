"""From a number in the report to the picture behind it in two touches, and back."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pikepdf
import pytest

from quirewell.record import nouns
from quirewell.record.finding import Finding, Run
from quirewell.report.in_short import in_short
from quirewell.report.model import known_refs, settle
from quirewell.report.origins import CLOSE, MIDDLE, OPEN, chapter, with_origins
from quirewell.report.treatment import write_report
from quirewell.stages.results import Shown
from quirewell.studio.studio import Studio
from report_case import add, report_studio, text_of


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> tuple[Studio, Path]:
    folder = tmp_path_factory.mktemp("origins")
    studio = report_studio(folder / "studio", pairs=5)
    write_report(studio, "annual", folder / "report.pdf")
    return studio, folder / "report.pdf"


# From this page (0 = first), to that page, to this height and this far from the left [pt].
Link = tuple[int, int, float, float]


def links(pdf: pikepdf.Pdf) -> list[Link]:
    pages = {page.obj.objgen: at for at, page in enumerate(pdf.pages)}
    found = []
    for at, page in enumerate(pdf.pages):
        for note in page.obj.get("/Annots", []):
            to: Any = note.Dest
            found.append((at, pages[to[0].objgen], float(to[3]), float(to[2])))
    return found


def first_page_of(pdf: pikepdf.Pdf, chapter_name: str) -> int:
    pages = {page.obj.objgen: at for at, page in enumerate(pdf.pages)}
    with pdf.open_outline() as outline:
        (entry,) = (one for one in outline.root if one.title == chapter_name)
    to: Any = entry.destination
    return pages[to[0].objgen]


def test_numbers_lead_to_the_chapter_and_the_chapter_to_pictures_and_back(
    written: tuple[Studio, Path],
) -> None:
    numbers = json.loads(written[1].with_suffix(".json").read_text())["numbers"]
    with pikepdf.open(written[1]) as pdf:
        start, plates = (
            first_page_of(pdf, "Where every number comes from"),
            first_page_of(pdf, "Plates"),
        )
        out = [link for link in links(pdf) if link[0] < start <= link[1]]
        back = [link for link in links(pdf) if link[0] >= start > link[1]]
        assert len({link[1:] for link in out}) > 40
        # Those drawn in a figure stand under it once more, so that none is without a link.
        assert sum(number["quantity"].startswith("mean:") for number in numbers) == 8
        assert len(out) >= len(numbers) + 1  # and the list of chapters
        assert len(back) >= len(numbers)
        assert sum(link[1] >= plates for link in back) >= 10


def test_every_link_has_words_for_the_ear(written: tuple[Studio, Path]) -> None:
    with pikepdf.open(written[1]) as pdf:
        notes = [note for page in pdf.pages for note in page.obj.get("/Annots", [])]
        assert len(notes) > 200
        assert all(str(note.Contents).strip() for note in notes)


@pytest.mark.parametrize(
    "words",
    [
        "Cover, outer side, left: leaf.measure, version 1",
        "on whose word: measured here",
        "From c-outer-left-before.png (cover, outer side, left, before)",
        "Reading of pH, wrap 1: 5.1",
        "Width of the paper: 168.020 ± 0.048 mm p.",
        "Put in: leaf blotted",
        "14 March 2026, bench, entry",
        "“Water turned straw yellow.” p.",
        "“rust halo at the upper staple” p. 2",
        "How the item is made",
    ],
)
def test_an_entry_says(written: tuple[Studio, Path], words: str) -> None:
    text = text_of(written[1])
    assert words in text[text.rindex("Where every number comes from") :]


def test_six_lines_say_it_in_short_and_each_number_is_told_of_its_record(
    written: tuple[Studio, Path],
) -> None:
    state = written[0].state("annual")
    rows = dict(in_short(state))
    assert list(rows) == [
        "What came", "What was done", "What changed", "What did not", "What remains",
        "How to check",
    ]  # fmt: skip
    counted = [one for parts in rows.values() for one in parts if isinstance(one, Shown)]
    assert ("2 steps", ("s1", "s2")) in [(one.text, one.refs) for one in counted]
    assert ("4 defects", ("d1", "d2", "d3", "d4")) in [(one.text, one.refs) for one in counted]
    assert any("surely seen" in str(part) for part in rows["What did not"])
    assert any("Size" in str(part) or "size" in str(part) for part in rows["What changed"])
    settle(rows, known_refs(state))


def test_an_item_with_nothing_says_so_in_short(tmp_path: Path) -> None:
    with Studio.create(tmp_path / "studio") as studio:
        add(studio, "bare", ("item.opened", nouns.Item("A working title")))
        rows = dict(in_short(studio.state("bare")))
    assert rows["What changed"] == ["nothing was measured both before and after"]
    assert rows["What remains"] == ["nothing is noted as still wrong"]


def test_an_entry_names_the_hash_of_its_picture(written: tuple[Studio, Path]) -> None:
    state = written[0].state("annual")
    text = text_of(written[1])
    shown = [c for c in state.captures.values() if c.view == "scan"]
    assert shown and all(c.sha256[:12] in text for c in shown)


def test_entries_stand_in_the_journals_order_and_name_every_number_once(
    written: tuple[Studio, Path],
) -> None:
    studio, _ = written
    state = studio.state("annual")
    run = next(iter(state.runs.values()))
    numbers = (
        Shown("1", (run.findings[0].id,), "leaf.width_mm"),
        Shown("2", ("ph1",), "pH"),
        Shown("3", (run.findings[0].id, "ph1"), "count", 2.0),
    )
    entries = chapter(numbers, state, {}, {})
    assert [entry["label"] for entry in entries] == ["1", "2", "3"]
    assert [one["at"] for entry in entries for one in entry["numbers"]] == (
        ["1", "0", "2"] if state.touched["ph1"] < state.touched[run.id] else ["0", "1", "2"]
    )
    assert {member["label"] for member in entries[2]["members"]} == {"1", "2"}


def test_words_of_a_person_cannot_make_a_mark(written: tuple[Studio, Path]) -> None:
    state = written[0].state("annual")
    forged = f"{OPEN}n0{MIDDLE}elsewhere{CLOSE}"
    body = {"a": forged, "b": Shown(forged, ("ph1",), "pH"), "title": Shown("t", ("ph1",), "pH")}
    printed = with_origins(settle(body, known_refs(state)), body, state, {}, {})
    assert printed["a"] == "[U+E000]n0[U+E001]elsewhere[U+E002]"
    assert printed["b"] == f"{OPEN}n0{MIDDLE}{printed['a']}{CLOSE}"
    assert printed["title"] == "t"


def test_the_manifest_holds_no_mark(written: tuple[Studio, Path]) -> None:
    manifest = written[1].with_suffix(".json").read_text()
    assert not any(sign in manifest or f"\\u{ord(sign):04x}" in manifest
                   for sign in (OPEN, MIDDLE, CLOSE))  # fmt: skip


def test_what_was_noted_of_a_sheet_leads_to_its_pages(written: tuple[Studio, Path]) -> None:
    state = written[0].state("annual")
    scans = {one.id: f"{one.id}.jpg" for one in state.captures.values() if one.view == "scan"}
    noted = nouns.Defect("dc", "c", "dusty", "all over")
    state = replace(state, defects={**state.defects, "dc": noted})
    (entry,) = chapter((Shown("a", (noted.id,), "typed"),), state, {}, scans)
    places = [state.captures[one["to"][5:-4]].place for one in entry["sources"]]
    assert places and all(one.startswith("c.") for one in places)
    assert {one["word"] for one in entry["sources"]} == {"See"}


def test_a_computation_of_typed_text_leads_to_what_it_was_begun_from(
    written: tuple[Studio, Path],
) -> None:
    state = written[0].state("annual")
    run = Run("typed-run", "condition.grade", 1, "exact", "plan", (), {"defects": "tear,c"},
              findings=(Finding("typed-run.0", "condition.raw", "plan", 3.0),))  # fmt: skip
    state = replace(state, runs={**state.runs, run.id: run})
    *defects, entry = chapter((Shown("3", ("typed-run.0",), "condition.raw"),), state, {}, {})
    entries = {one["label"]: one["says"] for one in (*defects, entry)}
    (told,) = (one for one in (*defects, entry) if one["says"].startswith("Plan"))
    begun = [entries[one["label"]] for one in told["members"]]
    assert len(begun) == len(state.defects) and all(one.startswith("Defect") for one in begun)
