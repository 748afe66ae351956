"""A planted bench comes back from its readings; readings that fight are named."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from quirewell.science.bath.ledger import Entry, Paper, Tray, run
from quirewell.science.bath.ledger_band import NAMES, spread_of
from quirewell.science.bath.ledger_fit import TrayReading, alkalinity_of_titre, fit

TRAY, USUAL = Tray(), Paper()
ENTRIES = [Entry("wrap", 9.4, 1.8, 15.0, True)] * 8
OWN = Paper(2.3, 0.14, 0.04)
AIR = replace(TRAY, uptake_mol_m2_h=0.035)
SPREAD = spread_of(0.155, 0.5)


def readings(noise: float = 1.0, seed: int = 11) -> list[TrayReading]:
    rng = np.random.default_rng(seed)
    rows = run(AIR, OWN, ENTRIES)
    out = [TrayReading(0, "alkalinity", rows.fresh.alkalinity_mol_per_kg, 2e-4)]
    # A row is the bath as a wrap leaves it; the air it lay in counts for the next.
    for after in (3, 7):
        true = run(AIR, OWN, [*ENTRIES[:after], replace(ENTRIES[0], mass_g=0.05, water_in=0.0)])
        held = true.rows[after].alkalinity_mol_per_kg
        out.append(TrayReading(after, "alkalinity", held + noise * rng.normal(0, 2e-4), 2e-4))
    out.append(TrayReading(1, "pickup", OWN.pickup + noise * rng.normal(0, 0.05), 0.05))
    return out


def test_a_planted_bench_comes_back_and_its_band_narrows() -> None:
    bench = fit(TRAY, USUAL, ENTRIES, readings(), SPREAD)
    assert bench.fits and bench.contradictions == ()
    assert bench.pickup.low90 < OWN.pickup < bench.pickup.high90
    assert bench.pickup.u < 0.08
    assert bench.spread.pickup < 0.3 * SPREAD.pickup
    true = run(AIR, OWN, ENTRIES).rows[7].alkalinity_mol_per_kg
    usual = run(TRAY, USUAL, ENTRIES).rows[7].alkalinity_mol_per_kg
    found = run(bench.tray, bench.paper, ENTRIES).rows[7].alkalinity_mol_per_kg
    assert abs(found - true) < 0.25 * abs(usual - true)


def test_what_the_paper_and_the_air_take_together_is_known_better_than_either() -> None:
    bench = fit(TRAY, USUAL, ENTRIES, readings(), SPREAD)
    before, after = SPREAD.uptake, bench.spread.uptake
    assert after < before
    assert bench.uptake_mol_m2_h.high90 > 0.022


def test_a_reading_that_fights_the_rest_is_named() -> None:
    wrong = [*readings(), TrayReading(7, "alkalinity", 0.0212, 2e-4)]
    bench = fit(TRAY, USUAL, ENTRIES, wrong, SPREAD)
    assert any("alkalinity 0.0212 after wrap 7" in says for says, _ in bench.contradictions)


def test_a_contradiction_widens_the_band_and_cannot_drag_the_rest_along() -> None:
    good = fit(TRAY, USUAL, ENTRIES, readings(), SPREAD)
    wrong = [*readings(), TrayReading(1, "pickup", 1.2, 0.05)]
    torn = fit(TRAY, USUAL, ENTRIES, wrong, SPREAD)
    assert torn.contradictions
    assert torn.pickup.u > 2 * good.pickup.u
    assert torn.pickup.low90 < OWN.pickup < torn.pickup.high90


def planted(rng: np.random.Generator) -> list[bool]:
    """A bench drawn at random, titred four times and weighed once: is it inside its bands?"""
    entries = [Entry("wrap", 4.7, 1.8, 15.0, True)] * 12
    pick, groups, acid, air, strength = (
        float(np.exp(getattr(SPREAD, name) * rng.normal())) for name in NAMES
    )
    own = Paper(USUAL.pickup * pick, USUAL.acid_groups * groups, USUAL.strong_acid * acid)
    tray = Tray(strength=TRAY.strength * strength, uptake_mol_m2_h=TRAY.uptake_mol_m2_h * air)
    read = [TrayReading(1, "pickup", own.pickup + rng.normal(0, 0.1), 0.1)]
    for after in (0, 4, 9, 12):
        last = replace(entries[0], mass_g=0.05, water_in=0.0)
        held = run(tray, own, [*entries[:after], last]).rows[-1].alkalinity_mol_per_kg
        read.append(TrayReading(after, "alkalinity", max(held + rng.normal(0, 4e-4), 0), 4e-4))
    bench = fit(TRAY, USUAL, entries, read, SPREAD)
    truth = (own.pickup, own.acid_groups + own.strong_acid, tray.uptake_mol_m2_h)
    bands = (bench.pickup, bench.acid_mol_per_kg, bench.uptake_mol_m2_h)
    return [band.low90 <= true <= band.high90 for true, band in zip(truth, bands, strict=True)]


def test_random_benches_lie_inside_their_bands_nine_times_in_ten() -> None:
    rng = np.random.default_rng(5)
    inside = np.array([planted(rng) for _ in range(30)])
    assert 0.83 <= inside.mean() <= 0.97
    assert inside.mean(axis=0).min() >= 0.75


def test_strips_narrow_next_to_nothing_and_a_titre_does() -> None:
    strip = [TrayReading(7, "pH", 12.2, 0.4, 20.0)]
    loose = fit(TRAY, USUAL, ENTRIES, strip, SPREAD)
    assert loose.spread.uptake > 0.9 * SPREAD.uptake
    titre = fit(TRAY, USUAL, ENTRIES, readings()[:3], SPREAD)
    assert titre.spread.uptake < 0.8 * loose.spread.uptake


def test_an_electrode_with_its_temperature_and_a_conductivity_count_too() -> None:
    rows = run(AIR, OWN, ENTRIES)
    meter = TrayReading(0, "pH", rows.fresh.ph, 0.05, 20.0)
    cell = TrayReading(0, "conductivity", 4.4, 0.6, 20.0)
    assert fit(TRAY, USUAL, ENTRIES, [meter, cell], SPREAD).contradictions == ()
    warm = fit(TRAY, USUAL, ENTRIES, [replace(meter, temperature_c=35.0), meter], SPREAD)
    assert warm.contradictions


def test_a_second_bath_is_read_as_it_was_made_up() -> None:
    entries = [*ENTRIES, Entry("fresh"), *ENTRIES[:2]]
    fresh = run(TRAY, OWN, entries).fresh.alkalinity_mol_per_kg
    second = TrayReading(8, "alkalinity", 0.93 * fresh, 1e-4, bath=2)
    bench = fit(TRAY, USUAL, entries, [second], SPREAD)
    # Both baths came from one lime water: a thin second one tells that the first was thin.
    assert bench.tray.strength == pytest.approx(0.93 * TRAY.strength, rel=0.01)
    odd = fit(TRAY, USUAL, entries, [second, TrayReading(0, "alkalinity", fresh, 1e-4)], SPREAD)
    assert any("of bath 2 as made up" in says for says, _ in odd.contradictions)
    with pytest.raises(ValueError, match="in 2 baths"):
        fit(TRAY, USUAL, entries, [replace(second, bath=3)], SPREAD)


def test_what_comes_after_the_last_reading_tells_nothing() -> None:
    short, long = (fit(TRAY, USUAL, ENTRIES * n, readings(), SPREAD) for n in (1, 3))
    assert short == long


def test_a_titre_in_millilitres() -> None:
    assert alkalinity_of_titre(4.3, 0.05, 10.0) == pytest.approx(0.0215)
    with pytest.raises(ValueError, match="0 to 100 mL"):
        alkalinity_of_titre(-1, 0.05, 10)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"value": 15.0}, "between 6 and 13.6"),
        ({"u": 0.0}, "above 0"),
        ({"temperature_c": 68.0}, "0 and 40 °C"),
    ],
)
def test_impossible_readings_are_refused(change: dict[str, float], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        replace(TrayReading(0, "pH", 12.4, 0.1), **change)  # type: ignore[arg-type]


def test_readings_after_wraps_that_were_not_bathed_are_refused() -> None:
    with pytest.raises(ValueError, match="only 8 wraps"):
        fit(TRAY, USUAL, ENTRIES, [TrayReading(9, "pH", 12.0, 0.1)], SPREAD)
