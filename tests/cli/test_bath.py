"""``quirewell bath mix`` through its public face."""

import json

import pytest
from click.testing import CliRunner

from quirewell.cli.bath import bath


def call(*arguments: str):
    return CliRunner().invoke(bath, ["mix", *arguments])


def test_json_is_all_there_is_on_standard_output():
    result = call("--temperature-c", "20", "--strength", "1:1", "--litres", "4", "--json")
    card = json.loads(result.stdout)
    assert result.exit_code == 0
    for key in ("pH", "ca_mol_per_kg", "caoh2_g_per_kg", "caoh2_g", "reserve_pct_caco3"):
        assert set(card[key]) >= {"value", "u", "unit", "low90", "high90"}
    assert card["pH"]["value"] == pytest.approx(12.39, abs=0.01)
    assert card["caoh2_g"]["value"] == pytest.approx(3.2, abs=0.1)
    assert card["cautions"] and card["warnings"] and len(card["database_sha256"]) == 64


@pytest.mark.parametrize(
    ("typed", "share"), [("saturated", 1), ("0.5", 0.5), ("0,5", 0.5), ("50%", 0.5), ("1:3", 0.25)]
)
def test_strength_is_read_as_people_say_it(typed, share):
    card = json.loads(call("--temperature-c", "20", "--strength", typed, "--json").stdout)
    assert card["strength"] == share


def test_fahrenheit_is_read_when_it_is_said():
    card = json.loads(call("--temperature-c", "68F", "--json").stdout)
    assert card["temperature_c"] == 20.0


def test_card_shows_cautions_before_numbers():
    said = call("--temperature-c", "20").stdout
    assert said.index("[object]") < said.index("pH   ")
    assert "Goggles" in said


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--temperature-c", "68"], "was it typed in Fahrenheit"),
        (["--temperature-c", "20", "--litres", "400"], "was it typed in mL"),
        (["--temperature-c", "20", "--strength", "110%"], "no more than saturation"),
        (["--temperature-c", "warm"], "'warm' is not a temperature"),
        (["--temperature-c", "20", "--strength", "strong"], "is no strength of lime water"),
    ],
)
def test_bad_input_is_a_sentence_on_standard_error(arguments, says):
    result = call(*arguments, "--json")
    assert result.exit_code == 1
    assert result.stdout == ""
    assert says in result.stderr


def test_a_thin_bath_does_not_show_a_band_of_noughts():
    said = call("--temperature-c", "20", "--strength", "0.01").stdout
    assert "0.0029 % CaCO3   90 %: 0.0020 to 0.0042" in said


def _ledger(*arguments: str):
    return CliRunner().invoke(bath, ["ledger", *arguments])


def test_a_ledger_gives_rows_with_bands_and_when_to_change() -> None:
    out = json.loads(_ledger("--leaves", "6", "--leaf-mass-g", "4.7", "--open", "--json").stdout)
    assert [row["wrap"] for row in out["rows"]] == [1, 2, 3, 4, 5, 6]
    for key in ("pH", "alkalinity_mol_per_kg", "reserve_pct_caco3"):
        assert set(out["rows"][0][key]) >= {"value", "u", "low90", "high90", "unit"}
    assert out["balance_error_mol"] < 1e-9
    assert out["replace_after_leaf"] == out["replace_after_wrap"] > 3
    assert out["says"].startswith("Fresh bath every")
    assert len(out["database_sha256"]) == 64


def test_a_real_tray_is_read_line_by_line() -> None:
    lines = "wrap 9.4 g 15 min; top-up 0,5 L 0; wrap 9 dry open; fresh; wrap 9.2"
    out = json.loads(_ledger("--entries", lines, "--json").stdout)
    assert len(out["rows"]) == 3
    assert out["rows"][2]["pH"]["value"] > out["rows"][1]["pH"]["value"]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--litres", "400"), "400"),
        (("--minutes-per-wrap", "-5"), "minutes of wrap 1"),
        (("--wraps", "0"), "1 to 200 wraps"),
        (("--entries", "two wraps"), "wrap 4.7 g 15 min"),
        (("--entries", "fresh"), "holds no wrap"),
    ],
)
def test_ledger_faults_are_sentences(arguments: tuple[str, ...], says: str) -> None:
    result = _ledger(*arguments, "--json")
    assert result.exit_code != 0
    assert says in result.output


def test_baths_stand_side_by_side_with_the_harm_first():
    result = CliRunner().invoke(bath, ["dose", "--json"])
    out = json.loads(result.stdout)
    assert len(out["options"]) >= 5
    assert {"pH", "one_bath_pct", "baths", "to_mind"} <= set(out["options"][0])
    said = CliRunner().invoke(bath, ["dose"]).stdout
    assert said.index("Before anything is wetted") < said.index("lime water, saturated")


def test_acid_and_how_much_goes_into_how_much_count():
    def leaves(*arguments: str) -> float:
        out = json.loads(CliRunner().invoke(bath, ["dose", *arguments, "--json"]).stdout)
        return next(
            row["one_bath_pct"]["value"] for row in out["options"] if row["bath"].endswith(" 1:3")
        )

    assert leaves("--acid", "0,3") < leaves() < leaves("--acid", "0")
    assert leaves("--litres", "1", "--leaf-mass-g", "20") < leaves()


def test_more_than_groundwood_should_get_is_refused_with_its_harm():
    result = CliRunner().invoke(bath, ["dose", "--wanted", "0.4", "--json"])
    assert result.exit_code == 2 and "darken" in json.loads(result.stdout)["error"]


def test_permanent_paper_is_an_open_choice_that_says_its_harm():
    out = json.loads(CliRunner().invoke(bath, ["dose", "--aim", "permanent", "--json"]).stdout)
    assert "not reachable" in out["says"].lower()
    assert "darken" in " ".join(out["cautions"])


def test_readings_of_a_real_tray_pull_the_ledger_and_contradictions_are_named():
    usual = json.loads(_ledger("--wraps", "8", "--open", "--json").stdout)
    lines = "after 0: pH 12,39 @ 20; after 1: pickup 2.4 ± 0.1; after 6: 10 mL took 2.4 mL of 0.05"
    out = json.loads(_ledger("--wraps", "8", "--open", "--readings", lines, "--json").stdout)
    assert set(out["bench"]) == {"pickup_g_per_g", "acid_mol_per_kg", "air_uptake"}
    assert out["bench"]["pickup_g_per_g"]["value"] == pytest.approx(2.35, abs=0.1)
    assert out["replace_after_wrap"] < usual["replace"]["high90"]
    last, before = (card["rows"][7]["alkalinity_mol_per_kg"]["value"] for card in (out, usual))
    assert last < 0.85 * before
    odd = lines + "; after 6: 12 drops of 1.8"
    said = _ledger("--wraps", "8", "--open", "--readings", odd).stdout
    assert "contradicts the other readings" in said
    assert said.index("This bench, by its readings") < said.index("What to know")


def test_readings_nobody_can_read_are_told_how_to_write_them():
    result = _ledger("--readings", "about 12", "--json")
    assert result.exit_code == 2 and "after 3: 10 mL took" in json.loads(result.stdout)["error"]


def test_wash_water_is_told_with_its_band():
    out = json.loads(CliRunner().invoke(bath, ["water", "--gas", "none", "--json"]).stdout)
    assert out["pH"]["value"] == pytest.approx(10.04, abs=0.03)
    assert len(out["database_sha256"]) == 64 and out["effect"]
    said = CliRunner().invoke(bath, ["water", "--magnesium", "0,02", "--gas", "1"]).stdout
    assert said.index("Before anything is wetted") < said.index("alkalinity")


def test_gas_in_ppm_is_a_sentence():
    result = CliRunner().invoke(bath, ["water", "--gas", "420", "--json"])
    assert result.exit_code == 2 and "typed in ppm" in json.loads(result.stdout)["error"]
