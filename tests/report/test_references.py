"""Sources in words come from the bibliography in the tree."""

from __future__ import annotations

import pytest

from quirewell.report.references import bibliography, plain, reference_words


def test_every_entry_has_a_title_and_reads_clean() -> None:
    assert len(bibliography()) > 10
    for key, fields in bibliography().items():
        assert fields.get("title"), key
        assert "{" not in reference_words(key) and "\\" not in reference_words(key), key


def test_a_source_reads_as_one_line() -> None:
    words = reference_words("bates1956")
    assert words.startswith("Bates, Bower and Smith (1956). Calcium hydroxide as a highly alkaline")
    assert "56(6), 305–312" in words and "[Abstract read]" in words


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
