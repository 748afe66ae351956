"""The short form, the disclosure sheets, and the reader's units and language."""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from tests.report_case import add, report_studio, text_of

from quirewell.record import nouns
from quirewell.record.bench import EMPTY_BENCH
from quirewell.record.nouns import Item, ItemState, Lot, Step
from quirewell.report.disclosure_sheet import disclosure_parts, told
from quirewell.report.forms import FORMS, NoForm, form_content, pages_of, words_wanted, write_form
from quirewell.report.languages import (
    NoLanguage,
    Words,
    as_file,
    fixed_texts,
    read_words,
    slots,
    texts_of,
)
from quirewell.report.model import known_refs, settle
from quirewell.report.reader import KEPT, Reader, in_inches
from quirewell.report.recheck import Difference, Rechecked, recheck
from quirewell.report.short_form import FILLS, short_parts
from quirewell.stages.disclosure import policy
from quirewell.stages.results import Shown
from quirewell.studio.studio import Studio


def others(checked: Rechecked) -> list[Difference]:
    """Differences that are not of the case's own making: its runs are of older versions, and ids
    of its pairs are none that a method gives."""
    made_up = [one for one in checked.differences if one.quantity == "count"]
    return [
        one for one in checked.differences
        if "was version 1 then" not in one.why and one not in made_up
    ]  # fmt: skip


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    made = report_studio(tmp_path_factory.mktemp("forms") / "studio", pairs=3)
    yield made
    made.close()


def parts_text(parts: list[dict[str, Any]]) -> str:
    return " ".join(texts_of(parts))


@pytest.mark.parametrize("form", ["short", "buyer", "service"])
def test_each_form_is_written_rechecked_and_the_same_every_time(
    studio: Studio, form: str, tmp_path: Path
) -> None:
    written = write_form(form, studio, "annual", tmp_path / "a.pdf")
    again = write_form(form, studio, "annual", tmp_path / "b.pdf")
    assert written.pdf.read_bytes() == again.pdf.read_bytes()
    assert written.manifest["report"] in studio.state("annual").reports
    checked = recheck(tmp_path / "a.pdf", studio)
    assert checked.numbers == len(written.manifest["numbers"]) > 0
    assert others(checked) == []
    assert FORMS[form] in text_of(written.pdf)


def test_the_short_form_says_what_came_was_done_changed_and_remains(
    studio: Studio, tmp_path: Path
) -> None:
    text = text_of(write_form("short", studio, "annual", tmp_path / "short.pdf").pdf)
    for words in ("What came", "What was done", "What changed, and what did not", "What remains",
                  "What was not measured", "Keeping it", "quirewell recheck"):  # fmt: skip
        assert words in text
    assert pages_of((tmp_path / "short.pdf").read_bytes()) <= 2


def crowded(many: int) -> ItemState:
    """An item with far more of everything than two pages hold."""
    steps = [
        Step(f"step-{n}", kind, tuple(f"w{1 + n % 30:02d}.outer.left" for n in range(k, k + 20)),
             state="done", done_at="2026-03-10T10:00:00Z",
             lots=(Lot("a tissue with a very long name " * 3),))
        for n, (k, kind) in enumerate(
            (k, kind) for k in range(many // 10)
            for kind in ("wash", "mend", "fill", "press", "size", "guard", "dry", "refold"))
    ]  # fmt: skip
    return ItemState(
        "annual", 1, Item("A title that goes on " * 6, "1936", "form " * 30),
        nouns.Gathering(30),
        steps={one.id: one for one in steps},
        defects={
            f"d{n}": nouns.Defect(f"d{n}", f"w{1 + n % 30:02d}", "tear", "an extent " * 40)
            for n in range(many)
        },
        remaining={
            f"r{n}": nouns.Remaining(f"r{n}", "item", "what is still wrong with it " * 12)
            for n in range(many)
        },
    )  # fmt: skip


def test_two_pages_hold_however_much_there_is(
    studio: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    state = crowded(60)
    monkeypatch.setattr(studio, "state", lambda id: state)
    monkeypatch.setattr("quirewell.report.forms.put_down", lambda *a: a[3])
    pdf: Any = write_form("short", studio, "annual", tmp_path / "short.pdf")
    assert pages_of(pdf) <= 2
    (tmp_path / "short.pdf").write_bytes(pdf)
    assert "The full record has" in text_of(tmp_path / "short.pdf")


def test_what_is_left_out_is_counted() -> None:
    said = settle({"parts": short_parts(crowded(40), len(FILLS) - 1, [])}, known_refs(crowded(40)))
    text = [one["words"] for one in said.content["parts"] if one.get("words")]
    assert ["The full record has 38 more."] in text
    assert FILLS[-1]["found"] == 2


def test_no_treatment_is_said_to_be_none() -> None:
    bare = ItemState("annual", 1, Item("Copperbeck Garden Annual"))
    for to in ("buyer", "service"):
        text = parts_text(disclosure_parts(bare, EMPTY_BENCH, to))  # type: ignore[arg-type]
        assert "No treatment step is recorded as done" in text
        assert "Nor does it have: washing, deacidifying, sizing" in text
    assert "No treatment step is recorded" in parts_text(short_parts(bare, 0, []))


def test_where_the_table_asks_which_sheets_the_record_answers() -> None:
    washed = Step("s1", "wash", ("w01", "w02", "w03"), state="done", lots=(Lot("water"),))
    assert told(policy()["wash"], [washed]) == (
        "Paper was washed in water: wraps 1 to 3, with water."
    )
    filled = Step("s2", "fill", ("c",), state="done", lots=(Lot("kozo pulp"),))
    assert told(policy()["fill"], [filled]) == (
        "Losses were filled: cover, with kozo pulp; no colour was added."
    )
    own = policy("step,buyer,service\nwash,It was bathed: all of it.,x\n")
    assert told(own["wash"], [washed]) == "It was bathed: all of it."


def test_no_private_thing_and_no_grade_gets_into_a_disclosure(studio: Studio) -> None:
    state = studio.state("annual")
    private = ItemState(
        "annual", 1, Item("Annual", owner="Ottoline Ferris"), state.gathering,
        steps=dict(state.steps),
        grades={"g": nouns.GradeEstimate("before", Decimal("3.5"), "worn")},
    )  # fmt: skip
    for to in ("buyer", "service"):
        text = parts_text(disclosure_parts(private, EMPTY_BENCH, to))  # type: ignore[arg-type]
        assert "Ferris" not in text and "worn" not in text


def test_a_form_that_there_is_not_is_refused(studio: Studio, tmp_path: Path) -> None:
    with pytest.raises(NoForm, match="there are full, short, buyer, service"):
        write_form("long", studio, "annual", tmp_path / "x.pdf")
    assert not (tmp_path / "x.pdf").exists()


# --- units ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "quantity", "value", "u", "unit", "becomes"),
    [
        ("25.400 ± 0.051 mm", "leaf.width_mm", 25.4, 0.0254, "mm", "1.0000 ± 0.0020 in"),
        ("+0.508 ± 0.051 mm", "change.width_mm", 0.508, 0.0254, "mm", "+0.0200 ± 0.0020 in"),
        ("−0.51 mm", "change.width_mm", -0.508, None, "mm", "−0.0200 in"),
        ("100 °C", "temperature", 100.0, None, "C", "212 °F"),
        ("645 mm²", "leaf.loss_mm2", 645.16, None, "mm2", "1.000 in²"),
        ("5.5 ± 1.1", "paper.dE00", 5.5, 0.55, "1", "5.5 ± 1.1"),
        ("at least 206.8 mm: an edge lies outside", "leaf.width_mm", None, None, "",
         "at least 206.8 mm: an edge lies outside"),
    ],
)  # fmt: skip
def test_a_measured_length_or_warmth_is_turned_and_nothing_else(
    text: str, quantity: str, value: float | None, u: float | None, unit: str, becomes: str
) -> None:
    # The inch is 25.4 mm exactly (international inch of 1959; also NIST SP 811, B.8).
    turned = in_inches(Shown(text, ("f",), quantity, value, u, unit))
    assert turned.text == becomes
    assert (turned.value, turned.u, turned.unit) == (value, u, unit)


def test_a_report_in_inches_is_rechecked_like_any_other(studio: Studio, tmp_path: Path) -> None:
    written = write_form("service", studio, "annual", tmp_path / "in.pdf", reader=Reader("inches"))
    text = text_of(written.pdf)
    assert " in " in text and KEPT.split(";")[0] in text
    checked = recheck(written.pdf, studio)
    assert checked.runs and others(checked) == []
    with pytest.raises(ValueError, match="metric or inches"):
        Reader("ells")


# --- language ---------------------------------------------------------------------------------


def test_every_text_of_a_form_can_be_said_in_another_tongue(studio: Studio, tmp_path: Path) -> None:
    """A made-up language that puts marks about every text: nothing may come through without."""
    for form in ("short", "service"):
        texts = words_wanted(form, studio, "annual")
        path = tmp_path / "made.toml"
        path.write_text(as_file(texts, "de"), encoding="utf-8")
        assert read_words(path) == Words("de")
        marked = Words("de", {text: f"«{text}»" for text in texts})
        content = Reader(words=marked).as_read(form_content(form, studio.state("annual"), studio))
        bare = [text for text in texts_of(content["parts"], ("kind", "align", "widths"))
                if not text.startswith("«")]  # fmt: skip
        assert not bare
        written = write_form(
            form, studio, "annual", tmp_path / "de.pdf", reader=Reader(words=marked)
        )
        assert "«page» 1 «of»" in text_of(written.pdf)
        assert b"/Lang" in written.pdf.read_bytes()
        assert others(recheck(written.pdf, studio)) == []


def test_the_full_records_own_texts_can_be_said_in_another_tongue(
    studio: Studio, tmp_path: Path
) -> None:
    fixed = fixed_texts("house.typ", "treatment.typ")
    assert {"Condition before treatment", "Where", "page", "Surely seen from"} <= set(fixed)
    marked = Words("de", {text: f"«{text}»" for text in words_wanted("full", studio, "annual")})
    assert set(fixed) <= set(marked.said)
    written = write_form("full", studio, "annual", tmp_path / "de.pdf", reader=Reader(words=marked))
    text = text_of(written.pdf)
    plain = text_of(write_form("full", studio, "annual", tmp_path / "en.pdf").pdf)
    said = [one for one in fixed if one.count(" ") > 3 and one in plain]
    assert len(said) > 15
    # A long text may be broken over two pages by a foot: its beginning tells.
    assert [one for one in said if f"«{one[:24]}" not in text] == []
    assert others(recheck(written.pdf, studio)) == []


@pytest.mark.parametrize("name", ["house.typ", "treatment.typ", "paper.typ"])
def test_no_template_says_anything_that_cannot_be_said_in_another_tongue(name: str) -> None:
    source = resources.files("quirewell.report").joinpath("templates", name)
    lines = source.read_text(encoding="utf-8").splitlines()
    bare = [
        line for line in lines
        if not line.lstrip().startswith("//")
        and (re.search(r"(^\s*|\[)[A-Z][a-z]+ [a-z]+ [a-z]", re.sub(r't\("[^"]*"\)', "", line))
             or re.match(r"\s*=+ [A-Z]", line))
    ]  # fmt: skip
    assert bare == []


def test_numbers_keep_their_places_or_move_with_the_sentence() -> None:
    tongue = Words("de", {"{} of {} pages": "von {2} Seiten {1}", "The full record has {} more.":
                          "Im ganzen Bericht stehen {} weitere."})  # fmt: skip
    assert tongue.say("3 of 40 pages") == "von 40 Seiten 3"
    assert tongue.say("The full record has 12 more.") == "Im ganzen Bericht stehen 12 weitere."
    assert tongue.say("Nobody said this.") == "Nobody said this."
    assert slots("−0.27 ± 0.14 %") == "{} ± {} %"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("words = 1", "must say its language"),
        ('language = "deutsch!"', "must say its language"),
        ('language = "de"\nwords = 3', "needs a table"),
        ('language = "de"\n[words]\n"a" = 3', "is no text"),
        ("language = ", "cannot be read"),
        ('language = "de"\n[words]\n"a" = "' + "x" * 3000 + '"', "is no text"),
    ],
)
def test_a_file_that_is_no_language_is_refused_in_a_sentence(
    text: str, says: str, tmp_path: Path
) -> None:
    path = tmp_path / "words.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(NoLanguage, match=says):
        read_words(path)
    with pytest.raises(NoLanguage):
        read_words(tmp_path / "none.toml")


def test_a_text_full_of_signs_is_written_and_read_back(tmp_path: Path) -> None:
    texts = ['a "quoted" \\ one', "two\nlines\tand\x07", "plain"]
    path = tmp_path / "words.toml"
    path.write_text(as_file(texts, "nl").replace(' = ""', ' = "said"'), encoding="utf-8")
    assert set(read_words(path).said) == set(texts)


def test_the_full_record_takes_units_too(studio: Studio, tmp_path: Path) -> None:
    add(studio, "annual", ("step.planned", Step("later", "house", ("item",))))
    written = write_form("full", studio, "annual", tmp_path / "full.pdf", reader=Reader("inches"))
    assert " in " in text_of(written.pdf) and KEPT.split(";")[0] in text_of(written.pdf)
