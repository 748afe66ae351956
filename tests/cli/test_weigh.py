"""``quirewell weigh``: items of a studio and of a file, as JSON and as a table."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from quirewell.cli.main import main
from quirewell.stages.overview import open_item
from quirewell.stages.weigh_entry import keep_weighing
from quirewell.studio.studio import Studio

EXAMPLES = Path(__file__).parents[2] / "examples/weigh"


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["weigh", *arguments])


def test_one_item_of_a_file_gives_its_card() -> None:
    said = run("--table", str(EXAMPLES / "annual.toml"))
    assert said.exit_code == 0, said.output
    assert "Leave it alone" in said.output and "Mend the tears only" in said.output
    assert "net gain" in said.output and "What would change this" in said.output


def test_several_items_give_a_table_with_the_reason_of_each() -> None:
    said = run("--table", str(EXAMPLES / "shelf.toml"))
    assert said.exit_code == 0, said.output
    head, *rows = said.output.split("Why")[0].strip().splitlines()
    assert head.split() == ["item", "best", "gain", "(90", "%)", "loss", "hours"]
    assert len(rows) == 3
    assert "crowns" not in rows[2]  # sought is permanence: no money in it


def test_json_holds_the_contract() -> None:
    out = json.loads(run("--table", str(EXAMPLES / "annual.toml"), "--json").output)
    [item] = out["items"]
    assert item["unit"] == "crowns"
    assert [one["kind"] for one in item["options"]] == ["leave", "press", "partial", "full", "own"]
    for one in item["options"]:
        assert sum(row["chance"] for row in one["grades"]) == pytest.approx(1.0)
        assert set(one["net_gain"]) >= {"value", "u", "low90", "high90", "unit"}
        for key in ("value_now", "chance_of_loss", "worst_fifth_mean", "hours", "cost",
                    "risks_object", "risks_worker", "must_tell", "flag"):  # fmt: skip
            assert key in one
    assert item["best"] in [one["name"] for one in item["options"]]
    assert (
        run("--table", str(EXAMPLES / "annual.toml"), "--json").output
        == json.dumps(out, indent=2, ensure_ascii=False) + "\n"
    )  # the same draws every time


def test_items_of_a_studio(tmp_path: Path) -> None:
    folder = tmp_path / "studio"
    with Studio.create(folder, "Larkmoor paper bench") as studio:
        for name in ("annual", "almanac"):
            studio.append(name, 0, open_item(name, {"title": name.title()}))
        form = {"low": "60", "likely": "100", "high": "200", "currency": "crowns",
                "grade": "4"}  # fmt: skip
        state = studio.state("annual")
        studio.append("annual", state.version, keep_weighing(state, form))
    both = run("--studio", str(folder))
    assert both.exit_code == 0 and "Almanac" in both.output and "Annual" in both.output
    one = json.loads(run("--studio", str(folder), "annual", "--json").output)["items"]
    assert [item["item"] for item in one] == ["Annual"]
    assert one[0]["value_now"]["value"] == pytest.approx(110)  # (60 + 4 x 100 + 200) / 6
    missing = run("--studio", str(folder), "nobody", "--json")
    assert missing.exit_code == 2 and "almanac" in json.loads(missing.stdout)["error"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[[item]]\nname = 'a'\nlow = 1", "go together"),
        ("[[item]]\nname = 'a'\nprise = 1", "there is no 'prise'"),
        ("[[item]]\nname = 'a'\ngrade = 11", "from 0 to 10"),
        ("[[item]]\nname = 'a'\ndefects = 'none.csv'", "not beside it"),
        ("[[thing]]\nname = 'a'", "there is no table [thing]"),
        ("name = ", "cannot be read as TOML"),
        ("[[item]]\nname = 'a'\n[[item]]\nname = 'a'", "two items"),
        ("[[item]]\nname = 'a'\n[[item.option]]\noption = 'b'\nhours = 'many'", "hours"),
    ],
)
def test_what_cannot_be_weighed_is_said_in_a_sentence(tmp_path: Path, text: str, says: str) -> None:
    path = tmp_path / "items.toml"
    path.write_text(text, encoding="utf-8")
    said = run("--table", str(path), "--json")
    assert said.exit_code == 2
    assert says in json.loads(said.stdout)["error"]


def test_a_file_or_a_studio_not_both() -> None:
    assert run().exit_code == 2
    assert "one of them" in run("--studio", ".", "--table", str(EXAMPLES / "shelf.toml")).output
