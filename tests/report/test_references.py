"""Sources in words come from the bibliography in the tree."""

from __future__ import annotations

import pytest

from quirewell.report.languages import Words, slots, texts_of
from quirewell.report.reader import NO_WORDS, Reader
from quirewell.report.references import bibliography, plain, reference_row, reference_words


def test_every_entry_has_a_title_and_reads_clean() -> None:
    assert len(bibliography()) > 10
    for key, fields in bibliography().items():
        assert fields.get("title"), key
        assert "{" not in reference_words(key) and "\\" not in reference_words(key), key


def test_a_source_reads_as_one_line() -> None:
    words = reference_words("bates1956")
    assert words.startswith("Bates, Bower and Smith (1956). Calcium hydroxide as a highly alkaline")
    assert "56(6), 305–312" in words and "[Abstract read]" in words


def test_the_parts_of_a_source_are_the_line_and_only_its_note_is_a_word() -> None:
    rows = [reference_row(key) for key in bibliography()]
    for row in rows:
        line = reference_words(row["source"])
        parts = (*row["authors"], row["dated"], row["work"], row["note"])
        assert all(part in line for part in parts), row["source"]
        assert row["others"] == (" and others" in line)
    assert set(texts_of(rows, NO_WORDS)) <= {_slotted(row["note"]) for row in rows}
    marked = Reader(words=Words("de", {text: f"«{text}»" for text in texts_of(rows, NO_WORDS)}))
    for row, said in zip(rows, marked.as_read(rows), strict=True):
        assert {**said, "note": ""} == {**row, "note": ""}, "names and titles stay as printed"
        assert said["note"].startswith("«") or not row["note"] or row["note"] in bibliography()


def _slotted(text: str) -> str:
    return slots(text).strip()


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (r"Bukovsk{\'y}", "Bukovský"),
        (r"S{\"o}der", "Söder"),
        ("305--312", "305–312"),
        (r"Fish {\&} Co", "Fish & Co"),
        (r"5 \% of test\_it", "5 % of test_it"),
    ],
)
def test_marks_become_letters(given: str, said: str) -> None:
    assert plain(given) == said
