"""``quirewell worth`` through its public face."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from quirewell.cli.worth import worth

EXAMPLES = Path(__file__).resolve().parents[2] / "examples/worth"
SALES = str(EXAMPLES / "sales.csv")
DAY = ("--today", "2026-06-01")


def call(*arguments: str) -> Result:
    return CliRunner().invoke(worth, list(arguments))


def test_the_promised_keys() -> None:
    out = json.loads(call(SALES, "--grade", "6", *DAY, "--json").stdout)
    assert {"median", "mean", "band", "interval", "no_interval", "n_used", "set_aside", "trend",
            "model", "age_years", "columns", "warnings"} <= set(out)  # fmt: skip
    assert out["interval"]["level"] == 0.9
    assert out["interval"]["low"] < out["median"]["value"] < out["mean"]["value"]
    assert out["currency"] == "crowns"


def test_the_card_names_median_and_mean_and_what_it_rests_on() -> None:
    said = call(SALES, "--grade", "6", *DAY).stdout
    for word in ("(median)", "(mean)", "next sale, 90 %", "sales used", "age of the sales",
                 "A straight line", "count as of one"):  # fmt: skip
        assert word in said
    assert max(map(len, said.splitlines())) < 110


def test_one_item_of_several() -> None:
    item = ("--item", "Copperbeck Garden Annual 1936")
    out = json.loads(call(SALES, "--grade", "6", *item, *DAY, "--json").stdout)
    assert out["n_used"] == 18
    assert any("6 sales of other items" in one for one in out["warnings"])


def test_by_hand_without_a_table() -> None:
    said = call("--grade", "6", "--low", "60", "--likely", "90", "--high", "160")
    assert said.exit_code == 0 and "typed by hand" in said.stdout.lower()


def test_columns_are_shown_for_a_person_to_confirm() -> None:
    old = str(EXAMPLES / "old-spreadsheet.csv")
    assert "Hammer" in call(old, "--show-columns").stdout
    out = json.loads(call(old, "--show-columns", "--json").stdout)
    assert out["columns"]["price"] == {"column": "Hammer", "number": 4,
                                       "why": "by its name 'Hammer'"}  # fmt: skip


def test_two_currencies_with_and_without_rates() -> None:
    mixed = str(EXAMPLES / "two-currencies.csv")
    refused = call(mixed, "--grade", "5", *DAY)
    assert refused.exit_code == 2 and "--rates" in refused.stderr
    done = call(mixed, "--grade", "5", "--rates", str(EXAMPLES / "rates.csv"), *DAY)
    assert done.exit_code == 0 and "turned into crowns" in done.stdout


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_a_table_as_spreadsheets_export_it(encoding: str, tmp_path: Path) -> None:
    text = (EXAMPLES / "old-spreadsheet.csv").read_text(encoding="utf-8")
    place = tmp_path / "old.csv"
    place.write_bytes(text.encode(encoding))
    out = json.loads(call(str(place), "--grade", "6", *DAY, "--json").stdout)
    assert out["currency"] == "EUR" and out["n_used"] == 12
    place.write_bytes(b"PK\x03\x04" + bytes(40))
    assert "save the table of sales as CSV" in call(str(place), "--grade", "6").stderr


def test_an_account_on_the_card() -> None:
    said = call(SALES, "--grade", "6", "--cost", "30", "--hours", "4", "--fee-pct", "12", *DAY)
    assert "an hour earns" in said.stdout and "least price without loss" in said.stdout


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ((SALES,), "say which grade"),
        ((SALES, "--grade", "12"), "up to 10"),
        (("--grade", "5"), "give a table of sales"),
        (("--show-columns",), "Give SALES"),
    ],
)
def test_faults_are_sentences(arguments, says) -> None:
    done = call(*arguments, "--json")
    assert done.exit_code == 2 and says in json.loads(done.stdout)["error"]
