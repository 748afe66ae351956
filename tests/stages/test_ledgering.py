"""The ledger as a registered method: rows with bands, standing, tool, and when to change."""

from __future__ import annotations

import pytest

from quirewell.record.codec import from_body, to_body
from quirewell.record.finding import Run
from quirewell.science.bath import engine
from quirewell.stages.ledgering import METHOD, as_json, read_entry
from quirewell.stages.methods import find_method, run_method
from quirewell.stages.tray_readings import read_reading

TITRES = "after 0: 10 mL took 4.3 mL of 0.05; after 4: 10 mL took 3.3 mL of 0.05"
WEIGHED = "after 1: dry 9.4 g wet 27.2 g ± 0.05"


def ledger(**params: str) -> Run:
    return run_method(METHOD, "bath-1", {}, params=params)


def test_nothing_but_litres_strength_and_temperature_answers_and_names_one_tool() -> None:
    card = as_json(ledger(litres="4", strength="0.5", temperature_c="19"))
    assert len(card["rows"]) == 10
    for row in card["rows"]:
        for key in (
            "pH", "alkalinity_mol_per_kg", "ca_mol_per_kg", "reserve_pct_caco3",
            "reserve_mol_acid_per_kg", "carbonate_mol",
        ):  # fmt: skip
            assert set(row[key]) >= {"value", "u", "low90", "high90", "unit"}
            assert row[key]["low90"] <= row[key]["value"] <= row[key]["high90"]
    assert "drop-count" in card["narrows_most"] or "pocket scale" in card["narrows_most"]
    assert sum(says.startswith("What would narrow it most") for says in card["warnings"]) == 1


@pytest.mark.parametrize(
    ("method", "params"),
    [
        (METHOD, {"wraps": "3", "readings": WEIGHED}),
        ("bath.lime_water", {"temperature_c": "20"}),
        ("bath.dose", {}),
        ("bath.water", {}),
    ],
)
def test_every_number_names_the_database_it_rests_on(method: str, params: dict[str, str]) -> None:
    for finding in run_method(method, "bath-1", {}, params=params).findings:
        if finding.value is not None:
            assert engine.database_sha256() in finding.note, finding.quantity


def test_reserve_is_told_twice_and_agrees() -> None:
    for row in as_json(ledger(wraps="3"))["rows"]:
        pct, mol = row["reserve_pct_caco3"], row["reserve_mol_acid_per_kg"]
        # 20 g/kg of CaCO3 is 0.39965 mol acid/kg (``iso9706``).
        assert mol["value"] == pytest.approx(pct["value"] * 0.39965 / 2, rel=1e-4)
        assert mol["high90"] == pytest.approx(pct["high90"] * 0.39965 / 2, rel=1e-4)


def test_calcium_and_carbonate_stand_in_every_row_of_an_open_bath() -> None:
    rows = as_json(ledger(wraps="6", open="yes"))["rows"]
    calcium = [row["ca_mol_per_kg"]["value"] for row in rows]
    fallen = [row["carbonate_mol"]["value"] for row in rows]
    assert calcium == sorted(calcium, reverse=True)
    assert fallen == sorted(fallen) and fallen[0] == 0 < fallen[-1]


def test_the_same_again_is_the_same_and_survives_the_journal() -> None:
    first = ledger(wraps="4", open="yes", readings=TITRES)
    assert first == ledger(wraps="4", open="yes", readings=TITRES)
    assert from_body(Run, to_body(first)) == first
    assert find_method(METHOD).version == 2 and find_method(METHOD).kind == "seeded"


def test_each_row_names_the_database_and_rests_on_memory() -> None:
    rows = [one for one in ledger(pickup_g_per_g="1.9").findings if one.subject != "item"]
    assert rows
    for finding in rows:
        assert engine.database_sha256() in finding.note
        # Weighing the pick-up does not verify acidity or the air: nothing is raised by it.
        assert finding.standing == "from memory"


def test_measured_here_is_only_what_the_readings_narrowed() -> None:
    def standing(readings: str) -> dict[str, str]:
        run = ledger(wraps="6", open="yes", readings=readings)
        return {f.quantity: f.standing for f in run.findings if f.quantity.startswith("bench.")}

    assert standing("after 3: strip 12")["bench.air_uptake"] == "from memory"
    found = standing(WEIGHED)
    assert found["bench.pickup_g_per_g"] == "measured here"
    assert found["bench.acid_mol_per_kg"] == "from memory"


def test_entries_are_worked_through_and_a_fresh_bath_begins_anew() -> None:
    lines = "wrap 9.4 g 15 min; wrap 9.1 dry open; top-up 0,5 L 1; wrap 18.8 g; fresh; wrap 9.2 g"
    card = as_json(ledger(entries=lines))
    assert [row["bath"] for row in card["rows"]] == [1, 1, 1, 2]
    assert "open at times" in card["says"] and "9.1 to 18.8 g" in card["says"]
    assert card["balance_error_mol"] < 1e-9


def test_a_second_bath_is_read_and_drawn_where_it_was_made_up() -> None:
    lines = "wrap 9.4; wrap 9.4; top-up 0.5 L 1; wrap 9.4; fresh; wrap 9.4"
    titres = "bath 1: 10 mL took 4.3 mL of 0.05; bath 2: 10 mL took 4.2 mL of 0.05"
    run = ledger(entries=lines, readings=titres)
    assert [row.split()[0] for row in run.drawing["readings"].split(";")] == ["0", "3"]
    assert not any("contradicts" in says for says in run.warnings)
    for wrong, says in (("bath 3: strip 12", "in 2 baths"), ("bath 0: strip 12", "from 1")):
        with pytest.raises(ValueError, match=says):
            ledger(entries=lines, readings=wrong)


def test_the_rule_can_be_edited() -> None:
    strict, mild = (
        as_json(ledger(change_at=share))["replace_after_wrap"] for share in ("0.8", "0.3")
    )
    assert strict < mild
    with pytest.raises(ValueError, match=r"0\.1 to 0\.95"):
        ledger(change_at="50")


def test_what_the_air_takes_is_counted_not_said() -> None:
    def share(litres: str) -> int:
        run = ledger(wraps="10", open="yes", litres=litres)
        says = next(s for s in run.warnings if "goes to the air" in s)
        return int(says.split("about ")[1].split(" %")[0])

    assert 40 <= share("4") <= 80
    heavy = ledger(wraps="10", open="yes", wrap_mass_g="30")
    says = next(s for s in heavy.warnings if "goes to the air" in s)
    assert int(says.split("about ")[1].split(" %")[0]) < share("4")


@pytest.mark.parametrize(
    ("typed", "strength"),
    [("1", 1.0), ("1:1", 0.5), ("50%", 0.5), ("saturated", 1.0), ("water", 0.0), ("0", 0.0)],
)
def test_a_top_up_is_read_as_people_say_it(typed: str, strength: float) -> None:
    entry = read_entry(f"top-up 0,5 L {typed}")
    assert (entry.kind, entry.litres, entry.strength) == ("top-up", 0.5, strength)
    with pytest.raises(ValueError, match="strength"):
        read_entry("top-up 0.5 L strong")


def test_a_wrap_weighed_dry_and_wet_is_a_pick_up() -> None:
    assert read_reading("after 1: dry 9,4 g wet 28.2 g").value == pytest.approx(2.0)
    with pytest.raises(ValueError, match="swapped"):
        read_reading("after 1: dry 28.2 wet 9.4")


@pytest.mark.parametrize(
    ("params", "says"),
    [
        ({"temperature_c": "68"}, "Fahrenheit"),
        ({"litres": "400"}, "mL"),
        ({"minutes_per_wrap": "-5"}, "minutes of wrap 1"),
        ({"wrap_mass_g": "nan"}, "mass of wrap 1"),
        ({"pickup_g_per_g": "190"}, "pick-up"),
        ({"readings": "after 2: pH 15"}, "between 6 and 13.6"),
        ({"readings": "after 40: strip 12"}, "only 10 wraps"),
        ({"wraps": "many"}, "must be a number"),
        ({"wraps": "1000000"}, "1 to 200 wraps"),
        ({"entries": "wrap 9.4.1 g"}, "a line of the ledger reads"),
        ({"entries": "wrap 9.4 g -5 min"}, "a line of the ledger reads"),
        ({"entries": "wrap 9.4 g;" * 5000}, "1 to 2000 entries"),
        ({"readings": "after 1: pickup 1.9.2"}, "is written as"),
        ({"readings": "after 1: pH 12.1 @ 68"}, "between 0 and 40 °C"),
        ({"readings": "after 1:" + " " * 5000 + "pH"}, "is written as"),
        ({"salt": "1"}, "knows no parameter 'salt'"),
    ],
)
def test_faults_are_sentences(params: dict[str, str], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        ledger(**params)
