"""No table that we write becomes a program in somebody's spreadsheet, and no module writes a table
that is not looked at here."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path

import pytest

import quirewell
from attack_tally import Tally
from quirewell.record.cells import guarded, unguarded
from quirewell.record.signs import visible
from quirewell.report.parcel_sheet import csv_text
from quirewell.science.condition.scale import Scale, Step
from quirewell.stages.parcelling import packing_list
from quirewell.stages.rule_table import read_scale, write_scale

SOURCE = Path(quirewell.__file__).parent
# Every module that writes a table: is it a file that a spreadsheet opens, or the text that a method
# is given (kept in the record, computed from again, and never handed out as a table)?
WRITERS = {
    "report/parcel_sheet.py": "file", "stages/damage_schedule.py": "file",
    "stages/parcelling.py": "file", "stages/rule_table.py": "file",
    "stages/collection_rows.py": "file",
    # The archive's tables hold the record's very text, so that they can be made again and compared;
    # the archive's README says to import all columns as text.
    "exchange/tables.py": "archive",
    "stages/grade_entry.py": "text", "stages/item_account.py": "text", "stages/memory.py": "text",
    "stages/options_table.py": "text", "stages/own_sales.py": "text",
    "stages/returns_table.py": "text", "stages/returns_view.py": "text",
    "stages/weigh_file.py": "text",
}  # fmt: skip
FORMULAS = (
    "=1+1", "+1+1", "-2+3", "@SUM(A1)", "=HYPERLINK(\"x\")", " =1+1", "\t=1+1", "\r=1", "\n=1+1",
    "=cmd|' /C calc'!A0",
    "-2+3+cmd|' /C calc'!A0", "\uff1d1+1", "\uff0b1+1", "\uff20x", "\u22121+1",
    "=\u202e1", "+", "-", "=", "--1", "+-1", "- x",
)  # fmt: skip
NUMBERS = ("-1", "-0.25", "-1,5", "+3", "12", "0", "-12 345.5", "1e-3", "-1.5E+3", "\u22120.25")


def test_every_module_that_writes_a_table_is_in_the_list() -> None:
    found = {
        path.relative_to(SOURCE).as_posix()
        for path in SOURCE.rglob("*.py")
        if re.search(r"csv\.(writer|DictWriter)\b|to_csv\(|savetxt\(", path.read_text("utf-8"))
    }
    assert found == set(WRITERS), "say here what becomes of the table, and guard its cells"


def test_every_table_for_a_spreadsheet_goes_through_the_one_guard() -> None:
    for name, kind in WRITERS.items():
        if kind == "file":
            assert "guarded(" in (SOURCE / name).read_text("utf-8"), name
        if kind == "archive":
            assert "Import all columns as text" in (SOURCE / "exchange/readme.py").read_text(
                "utf-8"
            )


@pytest.mark.parametrize("text", FORMULAS)
def test_a_formula_becomes_text_and_comes_back(text: str, tally: Tally) -> None:
    cell = guarded(text)
    tally.count("formula", cell.startswith("'"), text)
    assert unguarded(cell) == visible("\n".join(text.splitlines()))


@pytest.mark.parametrize("text", NUMBERS)
def test_a_number_stays_a_number(text: str) -> None:
    assert guarded(text) == text == unguarded(text)


@pytest.mark.parametrize("text", ["'tis", "'", "''", "plain", "a=b", "8 mm", ""])
def test_plain_words_are_let_be(text: str) -> None:
    assert guarded(text) == text == unguarded(text)


def cells(table: str) -> list[str]:
    return [cell for row in csv.reader(io.StringIO(table)) for cell in row]


@pytest.mark.parametrize("text", ["=1+1", "@x", "-2+3", "+1+1"])
def test_the_tables_as_they_are_written(text: str, tally: Tally) -> None:
    told = {"assignments": [{"parcel": text, "week": 1.0, "tier": text, "item": text, "way": "air",
                             "declared": -1.0}], "currency": text}  # fmt: skip
    scale = write_scale(Scale((Step(1.0, text), Step(2.0, "plain"))))
    for table in (packing_list(told), csv_text(["a"], [[text], ["-1.00"]]), scale):
        bad = [cell for cell in cells(table) if cell.startswith(("=", "+", "@", "-2+"))]
        tally.count("formula", not bad, bad)
    assert "-1.00" in cells(packing_list(told))
    assert read_scale(scale).steps[0].words == text
