"""The report as a page: nothing of its content is forgotten, and every sentence has a source."""

from __future__ import annotations

from collections.abc import Iterator
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

import pytest

from annotated import many_kinds
from folding import annual as folded
from folding import ready
from quirewell.record import nouns
from quirewell.report.afterwards import afterwards_part
from quirewell.report.before_water import before_water
from quirewell.report.damage import condition_part
from quirewell.report.drawings import LimbMark, gathering_words
from quirewell.report.in_short import in_short
from quirewell.report.reading import chapters_of, named_pictures, paths, reading
from quirewell.report.reading_parts import CHAPTERS, PARTS
from quirewell.report.reading_shape import Cell, Chapter, anything, table
from quirewell.report.treatment import head_of, report_body, report_content
from quirewell.report.trial_told import trials_told
from quirewell.stages.results import Shown
from quirewell.stages.shades import shade
from quirewell.stages.trial_measured import keep_verdict
from quirewell.studio.studio import Studio
from report_case import add, report_studio
from trial_story import COLD, WARM, played
from trial_story import ITEM as TRIED


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    return report_studio(tmp_path_factory.mktemp("reading") / "studio", pairs=4)


def body_of(studio: Studio) -> dict[str, Any]:
    state = studio.state("annual")
    return report_body(state, head_of(studio, "annual"), named_pictures(state))


def cells(chapters: tuple[Chapter, ...]) -> list[Cell]:
    return [
        one
        for chapter in chapters
        for block in chapter.blocks
        for row in block.rows
        for one in row
        if one.text
    ]


def test_every_part_of_the_content_says_how_it_reads(studio: Studio) -> None:
    known = {part.path for part in PARTS}
    forgotten = [path for path, _ in paths(body_of(studio)) if path not in known]
    assert not forgotten, "say in report/reading_parts.py how these read: a row in PARTS each"
    assert {part.chapter for part in PARTS} <= set(CHAPTERS)


def test_every_number_of_the_report_stands_with_its_source(studio: Studio) -> None:
    state = studio.state("annual")
    head = head_of(studio, "annual")
    said = report_content(state, head, named_pictures(state))
    have = {(one.text, one.refs) for one in cells(reading(state, head))}
    missing = [one for one in said.numbers if (one.text, one.refs) not in have]
    assert len(said.numbers) > 60
    assert not missing


def test_no_sentence_is_without_a_source_unless_it_is_said_to_be_general(studio: Studio) -> None:
    found = cells(reading(studio.state("annual"), head_of(studio, "annual")))
    assert not [one for one in found if not one.refs and not one.general]
    general = [one for one in found if one.general]
    assert 0 < len(general) < len(found) / 5


def test_records_told_in_words_lead_to_themselves(studio: Studio) -> None:
    found = cells(reading(studio.state("annual"), head_of(studio, "annual")))
    by = {one.text: one.refs for one in found}
    assert by["Water turned straw yellow."] == ("s2",)
    assert by["cover stays dry throughout"] == ("o1",)
    assert by["rust halo at the upper staple"] == ("m1",)
    assert by["Came rolled, in a tube."] == ("item",)
    assert by["brown edge"] == ("d3",)
    assert by["below 4.0"] == ("ph2",)
    assert by["sounder, no brighter"] == ("grade.after",)


def test_a_part_nobody_told_of_is_still_shown(studio: Studio) -> None:
    state = studio.state("annual")
    number = Shown("41 mm", ("d2",), "made.up", 41.0)
    chapters = chapters_of({**body_of(studio), "unheard": {"rows": [["split", number]]}}, state)
    assert chapters[-1].key == "more"
    assert Cell("41 mm", ("d2",)) in cells(chapters)


def test_an_item_with_nothing_but_a_title_reads(tmp_path: Path) -> None:
    studio = Studio.create(tmp_path / "s", "Larkmoor paper bench")
    add(studio, "annual", ("item.opened", nouns.Item("Copperbeck Garden Annual")))
    found = cells(reading(studio.state("annual"), head_of(studio, "annual")))
    assert not [one for one in found if not one.refs and not one.general]
    says = "No page has been measured both before and after treatment, so no change can be given."
    assert says in [one.text for one in found]


# Words of the content that lead nowhere by themselves, by their path (a key, or "[]" for a place
# in a list), and why not.
BARE = {
    "year, day, version, template": "the page's own head and foot",
    "drawing, drawing_alt, *.file, *.alt, *.key, *.key_alt, *.columns, *.scale": "of a drawing",
    "title, *.head.[], *_head.[], *.title, *.name, *.pages": "a name above it, the head of a table",
    "short.[].[]": "the label of a line, or what joins its parts",
    "short.[].[].[]": "how to check, which is the same for every report",
    "item.rows.[].[]": "the record's own name, and the hash that stands at the end",
    "photographs.*, afterwards.*, large.*, small.*": "the picture stands there itself",
    "decision.money": "where sums of money stand",
    "treatment.steps.[].does, *.day, *.permanence, *.evidence": "what a kind of step is; the line "
    "that names its sheets leads to the step",
    "treatment.permanence.[].[]": "what the marks mean",
    "treatment.baths.[].name": "the record's own name, not printed",
    "rejoin.creep.wraps_say, finish.press.midway, results.plus_minus": "how to read the numbers",
    "methods.sources.*": "a publication, in full: the end of the way",
    "cautions.*": "a caution names its publication, or that it has none",
    "head": "the hash of the journal",
}  # fmt: skip


def bare_words(value: Any, path: str = "", near: bool = False) -> Iterator[tuple[str, str]]:
    """Words that lead nowhere: no number of their own row leads on either."""
    if isinstance(value, str):
        if value.strip() and not near:
            yield path, value
    elif isinstance(value, dict):
        for key, one in value.items():
            yield from bare_words(one, f"{path}.{key}".strip("."))
    elif isinstance(value, (list, tuple)):
        row = not any(isinstance(one, (dict, list, tuple)) for one in value)
        led = row and any(one.text for one in shown_in(value))
        for one in value:
            yield from bare_words(one, f"{path}.[]", led)


def allowed(path: str) -> bool:
    patterns = [one.strip() for names in BARE for one in names.split(",")]
    return any(fnmatchcase(path, one.replace("[]", "[[]]")) for one in patterns)


def told_of_much(tmp_path: Path) -> list[dict[str, Any]]:
    """What the report says of a trial with its verdict, of checks, pilots and what came later."""
    bench = ready(folded(2))
    with Studio.create(tmp_path / "trial") as studio:
        trial = played(studio, {COLD: 3, WARM: 3})
        studio.append(TRIED, None, keep_verdict(studio.state(TRIED), {"id": trial.id}))
        state = studio.state(TRIED)
    return [
        {"treatment": {"before": before_water(bench.state)}},
        {"treatment": {"trials": trials_told(state)}}, {"later": afterwards_part(state)},
    ]  # fmt: skip


def test_every_sentence_of_the_content_leads_on_or_is_told_why_not(
    studio: Studio, tmp_path: Path
) -> None:
    bodies = [{**body_of(studio), "short": in_short(studio.state("annual"))}]
    bodies += told_of_much(tmp_path)
    for body in bodies:
        assert sum(1 for _ in shown_in(body))
        lost = [one for one in bare_words(body) if not allowed(one[0])]
        assert not lost, (
            "give these a source (report.model.typed), or say in BARE why they need none"
        )


def test_words_without_a_source_would_be_found(studio: Studio) -> None:
    body = body_of(studio)
    body["treatment"]["before"] = {"checks": [["Staples out", "they are out", "Cover", ""]]}
    body["results"]["margins"] = [["width", "0.5 %"]]
    lost = {path for path, _ in bare_words(body) if not allowed(path)}
    assert lost == {"treatment.before.checks.[].[]", "results.margins.[].[]"}


def drawings(value: Any) -> Iterator[dict[str, Any]]:
    if isinstance(value, dict):
        if str(value.get("file", "")).endswith(".svg"):
            yield value
        for one in value.values():
            yield from drawings(one)
    elif isinstance(value, (list, tuple)):
        for one in value:
            yield from drawings(one)


def test_the_figures_of_every_drawing_stand_beside_it_with_their_sources(
    studio: Studio, tmp_path: Path
) -> None:
    body = body_of(studio)
    assert body["drawing"] and body["drawing_says"].refs == ("gathering",)
    damage = condition_part(many_kinds(), "before")
    seen = [one for part in (body, damage, *told_of_much(tmp_path)) for one in drawings(part)]
    assert {one["file"].split("-")[0] for one in seen} >= {"shade", "damage", "trial"}
    for one in seen:
        undamaged = "numbers" in one and not one["numbers"].text
        assert undamaged or list(shown_in(one)), one["file"]
    (change,) = (one for one in seen if one["file"] == "shade-change.svg")
    drawn = gathering_words(studio.state("annual").gathering, shade_marks(studio), "")
    beside = [label.text for row in change["figures"] for label in row[1:] if label]
    assert beside and all(f": {label}" in drawn for label in beside)
    assert sum(drawn.count(f": {label}") for label in set(beside)) == len(beside)


def shade_marks(studio: Studio) -> dict[str, LimbMark]:
    found = shade(studio.state("annual"), "change")
    return {mark.place: LimbMark(mark.level, mark.short) for mark in found.marks}


def test_columns_that_say_nothing_are_left_out_with_their_names() -> None:
    (block,) = table([["a", "", "b"], ["c", Shown("", ()), "d"]], ("One", "Two", "Three"), ("x",))
    assert block.head == ("One", "Three")
    assert [one.text for one in block.rows[1]] == ["c", "d"]


def shown_in(value: Any) -> Iterator[Shown]:
    if isinstance(value, Shown):
        yield value
    elif isinstance(value, (dict, list, tuple)):
        for one in value.values() if isinstance(value, dict) else value:
            yield from shown_in(one)


def test_any_shape_keeps_every_number() -> None:
    made = {
        "title": "Anything", "head": ["", "Value"],
        "rows": [["one", Shown("1", ("a",))], ["two", Shown("2", ("b",))]],
        "notes": [Shown("a note", ("c",)), "plain"],
        "deeper": {"says": Shown("3", ("d",)), "list": [{"x": Shown("4", ("e",))}]},
        "file": "drawn.svg", "true": True, "none": None,
    }  # fmt: skip
    found = [one for block in anything(made, ("r",)) for row in block.rows for one in row]
    assert {one.text for one in shown_in(made)} <= {one.text for one in found}
    assert "drawn.svg" not in [one.text for one in found]
    assert Cell("plain", ("r",)) in found
