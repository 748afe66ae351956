"""``quirewell treat`` through its public face."""

import json

import pytest
from click.testing import CliRunner

from quirewell.cli.treat import treat
from quirewell.record.event import Draft
from quirewell.stages import treat as stage
from quirewell.studio.studio import Studio


@pytest.fixture
def folder(tmp_path):
    with Studio.create(tmp_path / "studio", "Larkmoor paper bench") as studio:
        opened = Draft("annual", "item.opened", {"title": "Copperbeck Garden Annual"})
        studio.append("annual", 0, [opened])
        forms = (
            (stage.record_spot_test, {"colour": "red", "liquid": "water", "result": "slight"}),
            (
                stage.start_step,
                {
                    "kind": "wash",
                    "places": "item",
                    "at": "2026-03-01T18:00:00Z",
                    "override": "a trial item of no value",
                },
            ),
            (stage.record_reading, {"quantity": "mass", "value": "4,7 g", "place": "w01"}),
        )
        for command, form in forms:
            state = studio.state("annual")
            studio.append("annual", state.version, command(state, form))
    return str(tmp_path / "studio")


def call(*arguments: str):
    return CliRunner().invoke(treat, arguments)


def test_show_says_what_was_done(folder):
    said = call("show", "--studio", folder).stdout
    assert "Washed (the whole item): under way 2026-03-01T18:00:00Z" in said
    assert "red on the whole item in water: slight" in said
    assert "Mass of wrap 1: 4.7 g (± 0.058)" in said
    assert "Wet by this record: item" in said


def test_show_as_json_is_the_view(folder):
    out = json.loads(call("show", "Copperbeck Garden Annual", "--studio", folder, "--json").stdout)
    assert out["steps"][0]["permanence"] == "permanent"
    assert out["readings"][0]["as_typed"] == "4,7 g"


@pytest.mark.parametrize("item", ["nothing", "w01"])
def test_unknown_item_lists_those_there_are(folder, item):
    result = call("show", item, "--studio", folder)
    assert result.exit_code == 1
    assert f"no item '{item}'; this studio holds annual" in result.stderr


def test_no_studio_is_a_sentence(tmp_path):
    result = call("show", "--studio", str(tmp_path / "nowhere"))
    assert result.exit_code == 1 and result.stderr.startswith("Error: ")


def test_kinds_list_and_card():
    assert "lime-bath" in call("kinds").stdout
    card = call("kinds", "lime-bath").stdout
    assert card.index("[object]") < card.index("The step")
    assert "It takes away" in card and "common practice, no source" in card
    assert call("kinds", "varnish").exit_code == 1


def test_kinds_as_json():
    rows = json.loads(call("kinds", "--json").stdout)["kinds"]
    assert {row["permanence"] for row in rows} == {"removable", "re-treatable", "permanent"}
