"""Which bath, as a registered method: harm before the step, caps, database, what is not reached."""

from __future__ import annotations

import pytest

from quirewell.record.codec import from_body, to_body
from quirewell.record.finding import Run
from quirewell.science.bath import engine
from quirewell.stages.dosing import METHOD, as_json
from quirewell.stages.methods import find_method, run_method


def chosen(**params: str) -> Run:
    return run_method(METHOD, "item", {}, params=params)


def test_default_aim_is_a_small_reserve_with_lime_and_hydrogen_carbonates_side_by_side() -> None:
    card = as_json(chosen())
    names = [row["bath"] for row in card["options"]]
    assert len(names) == 7
    for part in ("saturated", "1:1", "1:3", "1:7", "calcium hydrogen", "magnesium hydrogen"):
        assert any(part in name for name in names)
    assert card["says"].startswith("For 0.04 mol/kg")
    for row in card["options"]:
        assert set(row["one_bath_pct"]) >= {"value", "u", "low90", "high90", "unit"}
        assert row["to_mind"]


def test_warnings_for_groundwood_inks_and_covers_come_before_the_step() -> None:
    says = " ".join(chosen().warnings)
    for word in ("groundwood", "alkali", "Coated", "Iron blue", "3 baths and 60 minutes", "Local"):
        assert word in says


def test_permanent_paper_is_opened_by_name_and_its_harm_is_said() -> None:
    with pytest.raises(ValueError, match="darken it"):
        chosen(wanted_mol_per_kg="0.4")
    card = as_json(chosen(aim="permanent"))
    assert "Not reachable with lime water: " in card["says"]
    # Saturated lime water, drained, leaves 0.083 mol/kg where 0.40 is asked (``iso9706``).
    assert "4.8 times" in card["says"]
    assert any(says.startswith("Getting to 0.4 mol/kg takes") for says in card["cautions"])


def test_the_cheap_tool_is_named_until_the_pick_up_was_weighed() -> None:
    assert any("pocket scale" in says for says in chosen().warnings)
    assert not any("pocket scale" in says for says in chosen(pickup_g_per_g="1.9").warnings)


def test_every_number_has_unit_uncertainty_and_the_database() -> None:
    for finding in chosen().findings:
        if finding.value is not None:
            assert finding.unit and finding.u and finding.sources
            assert engine.database_sha256() in finding.note
        if finding.quantity == "dose.one_bath_pct":
            assert finding.standing == "from memory"
            assert "acid by a factor" in finding.terms[0].basis


def test_a_bath_that_cannot_meet_the_acid_says_so() -> None:
    card = as_json(chosen(acid_mol_per_kg="0.4", wrap_mass_g="40", litres="2"))
    thin = next(row for row in card["options"] if row["bath"] == "lime water, 1:7")
    assert thin["baths"] is None and "not even meet" in thin["to_mind"]


def test_the_same_again_is_the_same_and_survives_the_journal() -> None:
    assert chosen(temperature_c="18") == chosen(temperature_c="18")
    assert from_body(Run, to_body(chosen())) == chosen()
    assert find_method(METHOD).version == 2 and find_method(METHOD).kind == "exact"


@pytest.mark.parametrize(
    ("params", "says"),
    [
        ({"temperature_c": "68"}, "Fahrenheit"),
        ({"litres": "400"}, "mL"),
        ({"minutes_per_wrap": "-5"}, "1 to 240 minutes"),
        ({"acid_mol_per_kg": "12"}, "0 to 1 mol/kg"),
        ({"acid_mol_per_kg": "much"}, "must be a number"),
        ({"pickup_g_per_g": "190"}, "pick-up"),
        ({"aim": "as white as can be"}, "the aim is one of"),
        ({"salt": "1"}, "knows no parameter 'salt'"),
    ],
)
def test_faults_are_sentences(params: dict[str, str], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        chosen(**params)
