"""Wash water and hydrogen carbonate as a registered method: bands, database, what it can do."""

from __future__ import annotations

import pytest

from quirewell.record.codec import from_body, to_body
from quirewell.record.finding import Finding, Run
from quirewell.science.bath import engine
from quirewell.stages import methods
from quirewell.stages.methods import run_method
from quirewell.stages.watering import METHOD, as_json


def water(**params: str) -> Run:
    return run_method(METHOD, "item", {}, params=params)


def found(run: Run) -> dict[str, Finding]:
    return {one.quantity.removeprefix("water."): one for one in run.findings}


def test_open_wash_water_washes_and_a_room_full_of_people_is_in_its_band() -> None:
    card = as_json(water(temperature_c="25"))
    assert card["pH"]["value"] == pytest.approx(8.20, abs=0.03)  # computed before
    assert card["caco3_mg_per_kg"]["value"] == pytest.approx(54, abs=3)
    # At three times the carbon dioxide the pH is 0.3 lower: the band must reach there.
    assert card["pH"]["low90"] < 7.95 < card["pH"]["value"] < card["pH"]["high90"] < 8.3
    assert "does not deacidify" in card["effect"]


def test_kept_from_air_and_under_gas() -> None:
    closed, pressed = (as_json(water(temperature_c="25", gas=gas)) for gas in ("none", "1"))
    assert closed["pH"]["value"] == pytest.approx(9.91, abs=0.03)  # computed before
    assert any("falls towards pH 8.2" in says for says in closed["warnings"])
    assert pressed["pH"]["value"] == pytest.approx(6.00, abs=0.02)
    assert "it deacidifies" in pressed["effect"]
    assert any("chalk falls out" in says for says in pressed["warnings"])


def test_magnesium_holds_more_at_a_gentle_ph_and_says_what_it_does() -> None:
    card = as_json(water(gas="1", mg_mol_per_kg="0.05"))
    assert card["pH"]["value"] == pytest.approx(6.62, abs=0.01)  # computed before
    assert "caco3_mg_per_kg" not in card
    assert card["alkalinity_mol_per_kg"]["value"] == pytest.approx(0.1, rel=1e-3)
    assert any("takes sizing out" in says for says in card["warnings"])
    open_air = water(mg_mol_per_kg="0.05").warnings
    assert any("does not stay dissolved" in says for says in open_air)


def test_every_number_has_unit_uncertainty_sources_and_the_database() -> None:
    for run in (water(), water(gas="none"), water(gas="0.3", mg_mol_per_kg="0.01")):
        for finding in run.findings:
            assert finding.sources
            if finding.value is not None:
                assert finding.unit and finding.u and finding.terms
                assert finding.low90 < finding.value < finding.high90
                assert engine.database_sha256() in finding.note


def test_reserve_scales_with_pick_up_and_says_where_it_comes_from() -> None:
    usual, weighed = found(water(gas="1")), found(water(gas="1", pickup_g_per_g="1.94"))
    one, two = usual["reserve_pct_caco3"], weighed["reserve_pct_caco3"]
    assert one.value == pytest.approx(two.value)
    assert one.standing == "from memory" and two.standing == "measured here"
    assert two.u < one.u
    # 0.97 g/kg of chalk at 20 C under 1 atm (computed before), 1.94 g/g of it: 0.19 %.
    assert one.value == pytest.approx(0.97 * 1.94 / 10, abs=0.003)


def test_recheck_finds_the_methods_of_the_bath(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("bath.water", "bath.dose", "bath.ledger", "bath.lime_water"):
        assert methods.find_method(name).id == name
    assert {"watering", "dosing", "ledgering", "bathing"} <= set(methods._MODULES)
    assert from_body(Run, to_body(water())) == water()


@pytest.mark.parametrize(
    ("params", "says"),
    [
        ({"temperature_c": "68"}, "Fahrenheit"),
        ({"gas": "420"}, "typed in ppm"),
        ({"gas": "much"}, "must be a number"),
        ({"gas": "none", "mg_mol_per_kg": "0.02"}, "needs its gas"),
        ({"mg_mol_per_kg": "2"}, "0 to 0.2 mol/kg"),
        ({"salt": "1"}, "knows no parameter 'salt'"),
    ],
)
def test_faults_are_sentences(params: dict[str, str], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        water(**params)
