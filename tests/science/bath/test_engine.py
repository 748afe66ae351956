"""The speciation engine on the pinned database, and its agreement with our own solver."""

import math
from concurrent.futures import ThreadPoolExecutor
from importlib import resources

import pytest

from quirewell.science.bath import engine, oracle
from quirewell.science.bath.carbonate import over_chalk
from quirewell.science.bath.solution import SpeciationError

# Computed here (phreeqc.dat of IPHREEQC 3.8.6 with block A): temperature [C], g/kg water, pH
BLOCK_A_TABLE = [
    (0, 1.774, 13.470),
    (10, 1.705, 13.045),
    (15, 1.661, 12.845),
    (20, 1.612, 12.653),
    (25, 1.558, 12.469),
    (30, 1.502, 12.291),
    (40, 1.385, 11.955),
]


@pytest.mark.parametrize(("temperature_c", "g_per_kg", "ph"), BLOCK_A_TABLE)
def test_block_a_table_has_not_moved(temperature_c, g_per_kg, ph):
    found = engine.saturate(temperature_c)
    assert found.ca_mol_per_kg * 74.093 == pytest.approx(g_per_kg, abs=0.001)
    assert found.ph == pytest.approx(ph, abs=0.001)


@pytest.mark.parametrize("temperature_c", range(0, 41, 4))
@pytest.mark.parametrize("share", [1.0, 0.5, 0.1, 0.01])
def test_engine_and_oracle_agree_within_two_thousandths(temperature_c, share):
    saturated = engine.saturate(temperature_c)
    if share == 1.0:
        ours = oracle.saturate(temperature_c)
        assert ours.ca_mol_per_kg == pytest.approx(saturated.ca_mol_per_kg, rel=0.002)
    else:
        ours = oracle.speciate(saturated.ca_mol_per_kg * share, temperature_c)
        saturated = engine.speciate(saturated.ca_mol_per_kg * share, temperature_c)
    assert ours.ph == pytest.approx(saturated.ph, abs=0.002)


def test_engine_and_oracle_agree_along_a_titration():
    acids = [0.0, 0.005, 0.02, 0.03, 0.038]
    for acid, found in zip(acids, engine.titrate(0.02, 20.0, acids), strict=True):
        assert oracle.speciate(0.02, 20.0, acid_mol_per_kg=acid).ph == pytest.approx(
            found.ph, abs=0.003
        )


@pytest.mark.parametrize("temperature_c", [0, 20, 40])
@pytest.mark.parametrize("share", [0.25, 0.5, 0.9, 0.99, 1.0, 1.05, 1.5])
@pytest.mark.parametrize("settles", [True, False])
def test_engine_and_oracle_agree_while_the_bath_takes_up_carbon_dioxide(
    temperature_c, share, settles
):
    held = engine.saturate(temperature_c).ca_mol_per_kg / 2
    theirs, ours = (
        solver.speciate(held, temperature_c, held * share, carbonate_settles=settles)
        for solver in (engine, oracle)
    )
    assert ours.ph == pytest.approx(theirs.ph, abs=0.002)
    assert ours.calcite_mol_per_kg == pytest.approx(theirs.calcite_mol_per_kg, abs=2e-6)
    assert ours.ca_mol_per_kg + ours.calcite_mol_per_kg == pytest.approx(held, abs=1e-15)


def test_carbonated_bath_keeps_its_ph_while_losing_half_its_alkali():
    """1:1 lime water at 20 C with half a mole of CO2 per calcium (computed here)."""
    held = engine.saturate(20.0).ca_mol_per_kg / 2
    found = engine.speciate(held, 20.0, held / 2)
    assert found.ph == pytest.approx(12.12, abs=0.02)
    # per kg of water, and the reaction makes a little water: 1e-4
    assert found.calcite_mol_per_kg + found.ca_mol_per_kg == pytest.approx(held, rel=1e-4)
    assert found.calcite_mol_per_kg == pytest.approx(held / 2, rel=0.01)


def test_what_came_before_leaves_no_trace():
    """A bath says the same alone in a fresh engine as after others of every kind."""

    def bath() -> object:
        return engine.speciate(0.01, 20.0, 0.004, acid_mol_per_kg=0.001)

    engine.forget()
    alone = bath()
    for before in (
        lambda: engine.saturate(20.0),
        lambda: engine.speciate(0.02, 20.0, 0.03),
        lambda: engine.speciate(0.0, 20.0),
        lambda: engine.titrate(0.02, 20.0, [0.0, 0.05]),
        lambda: over_chalk(20.0, 1.0),
        lambda: [engine.saturate(t / 10) for t in range(250)],
    ):
        before()
        assert bath() == alone
    with pytest.raises(SpeciationError):
        engine._solve(engine.load_engine(), 25.0, ["SOLUTION 1", "Xx 3"])
    assert bath() == alone


def test_threads_keep_engines_of_their_own():
    with ThreadPoolExecutor(4) as pool:
        found = list(pool.map(lambda n: engine.speciate(0.01, 10.0 + n % 3).ph, range(24)))
    assert found == [engine.speciate(0.01, 10.0 + n % 3).ph for n in range(24)]


def test_pure_water_is_neutral():
    assert engine.speciate(0.0, 25.0).ph == pytest.approx(7.0, abs=0.01)


def test_a_warning_of_the_engine_is_an_error():
    lines = ["SOLUTION 1", "temp 25", "pH 7", "Xx 3"]
    with pytest.raises(SpeciationError, match="Could not find element"):
        engine._solve(engine.load_engine(), 25.0, lines)


@pytest.mark.parametrize("temperature_c", [-1.0, 40.5, math.nan])
def test_outside_the_tested_range_is_refused(temperature_c):
    for call in (engine.saturate, lambda t: engine.speciate(0.01, t)):
        with pytest.raises(ValueError, match="0 to 40 °C"):
            call(temperature_c)


@pytest.mark.parametrize("amount", [-0.1, math.inf, math.nan])
def test_an_impossible_amount_is_refused(amount):
    with pytest.raises(ValueError, match="0 or more"):
        engine.speciate(amount, 20.0)


def test_fallback_answers_where_the_engine_is_missing(monkeypatch):
    wanted = engine.saturate(20.0).ph
    monkeypatch.setattr(engine, "load_engine", lambda: None)
    assert engine.saturate(20.0).ph == pytest.approx(wanted, abs=0.002)
    assert engine.saturate(20.0).solver.startswith("quirewell")
    assert len(engine.titrate(0.02, 20.0, [0.0, 0.01])) == 2
    assert engine.speciate(0.01, 20.0, 0.005).solver.startswith("quirewell")


def test_database_is_the_pinned_one_with_its_notice_beside_it():
    assert engine.database_sha256() == (
        "a676bce63f1b1976e1eac692b9b4795be0fb188fb3311b3a0ddb489a0ef2d8ae"
    )
    notice = (resources.files("quirewell.science.bath") / "database" / "NOTICE").read_text()
    assert "User Rights Notice" in notice


def test_constants_in_code_are_those_given_to_the_engine():
    text = (resources.files("quirewell.science.bath") / "database" / "block_a.dat").read_text()
    for reaction in oracle.BLOCK_A.values():
        assert f"-log_k {reaction.log_k25:g}" in text
        assert f"-delta_h {reaction.delta_h_j_per_mol / 1000:g} kJ" in text
