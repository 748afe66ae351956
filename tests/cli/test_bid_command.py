"""``quirewell bid`` through its public face."""

from __future__ import annotations

import json
from pathlib import Path

from click.testing import CliRunner, Result

from quirewell.cli.bid import bid

EXAMPLES = Path(__file__).resolve().parents[2] / "examples/buying"
ANNUAL = str(EXAMPLES / "annual.toml")


def call(*arguments: str) -> Result:
    return CliRunner().invoke(bid, list(arguments))


def test_the_promised_keys() -> None:
    out = json.loads(call(ANNUAL, "--json").stdout)
    assert {"says", "highest", "one_in_five", "one_in_two", "gain", "chance_of_loss_pct", "falls",
            "faults", "questions", "narrows", "letter", "warnings"} <= set(out)  # fmt: skip
    assert out["currency"] == "crowns"
    assert out["one_in_five"]["value"] <= out["one_in_two"]["value"]
    falls = [one["by"] for one in out["falls"]]
    assert falls == sorted(falls, reverse=True)
    staples = next(one for one in out["faults"] if one["fault"] == "changed staples")
    assert staples["chance_pct"] > 50, "bright staples were seen"


def test_the_card_says_bid_odds_and_questions() -> None:
    said = call(ANNUAL).stdout
    for words in ("highest bid", "loss 1 in 5 at", "What makes the bid fall most",
                  "Open questions", "To narrow it", "24 own sales"):  # fmt: skip
        assert words in said
    assert max(map(len, said.splitlines())) < 110


def test_one_sum_is_enough_and_the_letter_comes_alone() -> None:
    out = json.loads(call(str(EXAMPLES / "little-known.toml"), "--json").stdout)
    assert out["highest"]["value"] > 0
    letter = call(ANNUAL, "--letter").stdout
    assert letter.startswith("Good day") and "How many pages" in letter


def test_what_is_no_offer_is_a_sentence(tmp_path: Path) -> None:
    for text, says in (
        ("not toml at all", "TOML"),
        ("[offer]\nasking = 5", "say what it would bring"),
        ('[value]\nsales = "gone.csv"', "not beside it"),
        ('[value]\nsales = "../../etc/hostname"', "not beside it"),
        ('[value]\nsales = "/etc/hostname"', "not beside it"),
        ("[value]\nlikely = inf", "number"),
        ("[value]\nlikely = 1936-03-01", "number"),
        ("[value]\nlikely = 5\n[answers]\nhorns = 1", "no sign"),
    ):
        path = tmp_path / "offer.toml"
        path.write_text(text, encoding="utf-8")
        done = call(str(path), "--json")
        assert done.exit_code == 2
        assert says in json.loads(done.stdout)["error"]
