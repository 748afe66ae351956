"""``quirewell books`` through its public face."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from quirewell.cli.books import books
from quirewell.studio.studio import Studio

TABLE = "Title;Sold on;Cond;Hammer\nAnnual;31.3.2025;4,5;80,00 €\nAnnual;1.4.2025;11;9 €\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    Studio.create(tmp_path / "studio", "Larkmoor paper bench").close()
    (tmp_path / "sales.csv").write_text(TABLE, encoding="cp1252")
    return tmp_path


def call(folder: Path, *arguments: str) -> Result:
    return CliRunner().invoke(books, [*arguments, "--studio", str(folder / "studio")])


def test_a_table_is_shown_and_kept_only_when_told(folder: Path) -> None:
    file = str(folder / "sales.csv")
    said = call(folder, "import", file).stdout
    assert "Nothing is kept yet" in said
    assert "line 3" in said and "got 11" in said
    assert json.loads(call(folder, "list", "--json").stdout)["sales"] == []
    assert "1 new sale, kept." in call(folder, "import", file, "--yes").stdout
    again = json.loads(call(folder, "import", file, "--yes", "--json").stdout)
    assert (again["new"], again["kept"], len(again["there_already"])) == (0, 0, 1)
    (sale,) = json.loads(call(folder, "list", "--json").stdout)["sales"]
    assert (sale["price_text"], sale["currency"], sale["grade"]) == ("80.00", "EUR", 4.5)
    assert "2025-03-31,4.5,80.00,EUR,,,Annual" in call(folder, "list", "--table").stdout
    assert "80.00 EUR" in call(folder, "list").stdout


def test_columns_are_told_by_name_or_number(folder: Path) -> None:
    file = folder / "odd.csv"
    file.write_text("what,one,two\nAnnual,5,7\n")
    said = json.loads(call(folder, "import", str(file), "--json").stdout)
    assert said["problems"] == ["Say which column is the price."]
    told = call(folder, "import", str(file), "--columns", "price=3", "--yes", "--json")
    assert json.loads(told.stdout)["kept"] == 1
    bad = call(folder, "import", str(file), "--columns", "price=9")
    assert bad.exit_code == 2
    assert "no single column '9'" in bad.stderr


def test_a_collection_is_opened(folder: Path) -> None:
    file = folder / "shelf.csv"
    file.write_text("title,paid,box\nAnnual,4.50,shelf 2\n,1,\n")
    said = call(folder, "import", str(file), "--collection", "--currency", "EUR", "--yes").stdout
    assert "1 new item, kept." in said
    assert "it has no title" in said
    again = call(folder, "import", str(file), "--collection", "--currency", "EUR", "--yes").stdout
    assert "nothing was kept" in again
    both = call(folder, "import", str(file), "--collection", "--again", "--yes").stdout
    assert "1 new item, kept." in both


def test_what_is_no_table_ends_with_a_sentence(folder: Path) -> None:
    file = folder / "book.xlsx"
    file.write_bytes(b"PK\x03\x04")
    bad = call(folder, "import", str(file), "--json")
    assert bad.exit_code == 2
    assert "save it as CSV" in json.loads(bad.stdout)["error"]


@pytest.mark.parametrize(
    ("verb", "words", "key"),
    [("stock", "Nothing is on the shelf", "lots"), ("wants", "Nothing is looked for", "wants"),
     ("memory", "Nothing is remembered yet", "memory"), ("list", "No sale is in the books",
                                                         "sales")],
)  # fmt: skip
def test_empty_books_say_so(folder: Path, verb: str, words: str, key: str) -> None:
    assert words in call(folder, verb).stdout
    assert json.loads(call(folder, verb, "--json").stdout)[key] == []


def test_no_studio_ends_with_a_sentence(tmp_path: Path) -> None:
    assert call(tmp_path, "memory").exit_code == 2
