"""What stands behind one number or one record."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from quirewell.record import nouns
from quirewell.record.finding import Finding, Run
from quirewell.record.measured import Term
from quirewell.stages.narrowing import narrows
from quirewell.stages.source_view import Source, begun_from, known, several, source_view
from quirewell.studio.studio import Studio
from report_case import add, report_studio


@pytest.fixture
def studio(tmp_path: Path) -> Studio:
    return report_studio(tmp_path / "studio", pairs=1)


def view(studio: Studio, ref: str) -> Source | None:
    return source_view(studio.state("annual"), ref, studio.events("annual"))


def seen(studio: Studio, ref: str) -> Source:
    found = view(studio, ref)
    assert found is not None, ref
    return found


def test_a_change_shows_its_terms_largest_first_its_pictures_and_its_entries(
    studio: Studio,
) -> None:
    found = seen(studio, "rc-c.outer.left.0")
    assert found.said.endswith("0.014 ± 0.060 %")
    assert [(one.name, one.length_pct) for one in found.bars] == [
        ("humidity", 100.0), ("match", 33.3),
    ]  # fmt: skip
    assert "hygrometer" in found.narrows
    assert [one.role for one in found.pictures] == ["before", "after"]
    assert [layer.key for layer in found.pictures[0].layers] == ["outline"]
    assert [one.kind for one in found.journal] == ["run recorded", "capture added", "capture added"]
    events = {event.seq: event for event in studio.events("annual")}
    for entry in found.journal:
        assert events[entry.seq].hash.startswith(entry.hash)
        assert entry.holds
        assert len(entry.hash) == 12


def test_a_measured_width_says_which_comparison_rests_on_it(studio: Studio) -> None:
    found = seen(studio, "rm-c-outer-left-before.0")
    assert [one.ref for one in found.rests] == ["run:rc-c.outer.left"]
    assert found.warnings == ("resolution tag taken as the scale",)


def test_a_number_typed_in_shows_as_it_was_typed(studio: Studio) -> None:
    found = seen(studio, "ph2")
    assert found.said == "pH: below 4.0"
    assert ("value", "4.0") in [(one.name, one.says) for one in found.lines]
    assert [one.kind for one in found.journal] == ["reading taken"]


def test_a_computation_without_pictures_shows_what_was_given_and_who_names_it(
    studio: Studio,
) -> None:
    state = studio.state("annual")
    run = state.baths["bath-1"].run
    found = seen(studio, f"run:{run}")
    assert ("litres", "4") in [(one.name, one.says) for one in found.lines]
    assert "bath-1" in [one.ref for one in found.records]
    assert len(found.findings) == len(state.runs[run].findings)


def test_corrected_undone_and_set_aside_are_said(studio: Studio) -> None:
    reading = studio.state("annual").readings["ph1"]
    better = nouns.Reading("ph1", "w01", "pH", Decimal("5.3"), "pH", "strip")
    add(studio, "annual", ("reading.corrected", better))
    entries = seen(studio, "ph1").journal
    assert [one.since for one in entries] == [f"replaced by entry {entries[1].seq}", ""]
    studio.undo("annual", entries[1].seq, "E. Larkmoor")
    entries = seen(studio, "ph1").journal
    assert [one.since for one in entries] == ["", f"undone by entry {entries[2].seq}", ""]
    assert studio.state("annual").readings["ph1"] == reading
    add(studio, "annual", ("record.retracted", nouns.Retract("ph1", "wrong sheet")))
    gone = seen(studio, "ph1")
    assert gone.kind == "gone"
    assert gone.journal[-1].kind == "record retracted (wrong sheet)"
    assert gone.journal[0].since == f"set aside by entry {gone.journal[-1].seq}"


def test_the_journal_and_a_citation_are_sources_too(studio: Studio) -> None:
    journal = seen(studio, "journal")
    assert journal.said == f"{len(studio.events('annual'))} entries"
    cited = seen(studio, "source:jcgm100")
    assert [one.ref for one in cited.rests] == ["run:rc-c.outer.left"]


@pytest.mark.parametrize(
    "ref",
    ["", ".", "..", "../etc/passwd", "<script>", "x" * 9000, "run:", "run:nothing", "source:",
     "source:nobody1900", "rc-c.outer.left.77", "\x00", "event.3", "item.0", "%s%n"],
)  # fmt: skip
def test_what_is_not_there_is_no_source(studio: Studio, ref: str) -> None:
    assert view(studio, ref) is None
    assert not known(studio.state("annual"), ref)


def test_a_sentence_with_many_sources_has_each_picture_once(studio: Studio) -> None:
    refs = ("rc-c.outer.left.0", "rc-c.outer.left.1", "rm-c-outer-left-before.0", "ph1")
    links, pictures = several(studio.state("annual"), refs)
    assert [one.ref for one in links] == list(refs)
    assert len({one.id for one in pictures}) == len(pictures) == 2


def test_nothing_is_said_to_narrow_what_has_no_terms_or_no_known_help() -> None:
    assert narrows(Finding("a.0", "x", "item", 1.0, 0.1)) == ""
    mottle = Term("mottle", 0.2, "clouds of the pulp")
    assert narrows(Finding("a.0", "x", "item", 1.0, 0.1, terms=(mottle,))) == ""
    rule = Term("strip length", 0.3, "measured with a steel rule")
    assert "steel rule" in narrows(Finding("a.0", "x", "item", 1.0, 0.1, terms=(mottle, rule)))


def test_a_typed_ph_leads_to_the_readings_of_that_value_and_moment(studio: Studio) -> None:
    def read(id: str, value: str, moment: str) -> tuple[str, nouns.Reading]:
        return ("reading.taken", nouns.Reading(id, "w01", "pH", Decimal(value), "pH",
                                               "strip on the paper", moment=moment))  # type: ignore[arg-type]  # fmt: skip

    add(studio, "annual", read("old", "4.5", "before"), read("end", "8.0", "after"),
        read("other", "7.5", "after"), read("early", "8.0", "before"))  # fmt: skip
    state = studio.state("annual")
    given = {"ph_before": "surface strip 4.5 @ 19", "ph_after": "surface strip 8.0 @ 20"}
    run = Run("typed-run", "outlook.ratio", 4, "exact", "item", (), given)
    assert begun_from(replace(state, runs={run.id: run}), run) == ("old", "end")
