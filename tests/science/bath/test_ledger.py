"""The bath over a series of wraps: books that close, planted truths in the bands, plain signs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from quirewell.science.bath import engine, oracle
from quirewell.science.bath.ledger import Entry, Paper, Tray, run, uptake
from quirewell.science.bath.ledger_band import (
    LONGEST,
    Spread,
    change_after,
    spread_of,
    with_bands,
    worked_through,
)
from quirewell.science.bath.lime_curve import lime_curve

WRAP = Entry("wrap", 9.4, 1.8, 15.0)


def test_the_books_close_over_wraps_air_top_ups_and_a_fresh_bath() -> None:
    entries = [
        WRAP,
        replace(WRAP, open_air=True, minutes=90.0),
        Entry("top-up", litres=0.7, strength=1.0),
    ]
    entries += [replace(WRAP, water_in=0.0, mass_g=21.0), Entry("fresh"), WRAP, WRAP]
    ledger = run(Tray(), Paper(), entries * 6)
    assert len(ledger.rows) == 30
    assert ledger.balance_error_mol < 1e-9
    assert [row.batch for row in ledger.rows[:5]] == [1, 1, 1, 2, 2]


# Computed here (another program, same steps, same constants): a regression, no outside check.
COVERED = {
    2.0: {1: (12.389, 0.216), 10: (12.358, 0.199), 40: (12.234, 0.146), 100: (11.778, 0.047)},
    1.33: {1: (12.39, 0.144), 20: (12.33, 0.122), 40: (12.25, 0.100), 100: (11.85, 0.038)},
}


OPEN = {
    2.0: {10: (12.255, 0.153), 20: (12.053, 0.092), 30: (11.733, 0.042), 40: (10.891, 0.006)},
    1.33: {10: (12.26, 0.103), 20: (12.06, 0.062), 30: (11.75, 0.029), 40: (10.99, 0.005)},
}
# Strength, open: wraps until the reserve is half of the first, and until the pH is under 11.5.
UNTIL = {
    (1.0, False): (104, 215), (1.0, True): (27, 60), (0.5, False): (63, 116),
    (0.5, True): (18, 35), (0.25, False): (35, 55), (0.25, True): (12, 19),
}  # fmt: skip


@pytest.mark.parametrize("pickup", OPEN)
def test_an_open_bath_falls_as_computed_before(pickup: float) -> None:
    entry = Entry("wrap", 4.7, 1.8 if pickup == 2.0 else 1.2, 15.0, True)
    rows = run(Tray(), Paper(pickup), [entry] * 40).rows
    for number, (ph, reserve) in OPEN[pickup].items():
        # Within the last tenth of the alkali a trace of it moves the pH.
        near = 0.08 if number == 40 else 0.01
        assert rows[number - 1].ph == pytest.approx(ph, abs=near)
        assert rows[number - 1].reserve_pct_caco3 == pytest.approx(reserve, abs=0.001)


@pytest.mark.parametrize(("strength", "opened"), UNTIL)
def test_half_the_reserve_is_gone_long_before_the_ph_tells(strength: float, opened: bool) -> None:
    half, low = UNTIL[strength, opened]
    rows = run(Tray(strength=strength), Paper(2.0), [Entry("wrap", 4.7, 1.8, 15.0, opened)] * low)
    first = rows.rows[0].reserve_mol_per_kg
    fallen = next(row for row in rows.rows if row.reserve_mol_per_kg < 0.5 * first)
    assert fallen.number == half
    assert fallen.ph > 11.7
    assert next(row.number for row in rows.rows if row.ph < 11.5) == pytest.approx(low, abs=1)


@pytest.mark.parametrize("pickup", COVERED)
def test_a_covered_bath_falls_as_computed_before(pickup: float) -> None:
    entry = Entry("wrap", 4.7, 1.8 if pickup == 2.0 else 1.2, 15.0)
    rows = run(Tray(), Paper(pickup), [entry] * 100).rows
    for number, (ph, reserve) in COVERED[pickup].items():
        assert rows[number - 1].ph == pytest.approx(ph, abs=0.006)
        assert rows[number - 1].reserve_pct_caco3 == pytest.approx(reserve, abs=0.001)


def test_an_open_bath_falls_twice_as_fast_and_ph_hides_it() -> None:
    covered, opened = (
        run(Tray(), Paper(2.0), [Entry("wrap", 4.7, 1.8, 15.0, air)] * 20).rows
        for air in (False, True)
    )
    lost = 1 - opened[19].reserve_pct_caco3 / opened[0].reserve_pct_caco3
    assert lost == pytest.approx(0.57, abs=0.05)  # computed before: 57 %, pH down by 0.34
    assert opened[0].ph - opened[19].ph == pytest.approx(0.34, abs=0.03)
    assert opened[19].reserve_pct_caco3 < 0.6 * covered[19].reserve_pct_caco3
    assert opened[19].carbonate_mol > 0 and covered[19].carbonate_mol == 0


def test_calcium_falls_with_carbon_dioxide_but_not_with_strong_acid() -> None:
    start = run(Tray(), Paper(2.0, 0.0, 0.0), [WRAP]).rows[0]
    acid = run(Tray(), Paper(2.0, 0.0, 0.2), [WRAP]).rows[0]
    air = run(Tray(), Paper(2.0, 0.0, 0.0), [replace(WRAP, open_air=True, minutes=60), WRAP]).rows[
        1
    ]
    assert acid.ca_mol_per_kg == pytest.approx(start.ca_mol_per_kg, rel=1e-9)
    assert acid.alkalinity_mol_per_kg < start.alkalinity_mol_per_kg
    assert air.ca_mol_per_kg < 0.97 * start.ca_mol_per_kg


def test_wet_paper_dilutes_and_dry_paper_draws_the_bath_down() -> None:
    wet, dry = (run(Tray(), Paper(), [replace(WRAP, water_in=w)] * 5).rows for w in (1.94, 0.0))
    assert wet[4].water_kg == pytest.approx(wet[0].water_kg, rel=1e-6)
    assert dry[4].water_kg < dry[0].water_kg
    assert wet[4].alkalinity_mol_per_kg < dry[4].alkalinity_mol_per_kg


def test_paper_cannot_take_more_alkali_than_there_is() -> None:
    sour = run(Tray(litres=0.5, strength=0.02), Paper(2.0, 0.9, 0.0), [WRAP] * 4)
    assert sour.balance_error_mol < 1e-9
    assert sour.rows[-1].alkalinity_mol_per_kg == pytest.approx(0.0, abs=1e-12)
    assert sour.rows[-1].ca_mol_per_kg >= 0


def test_random_draws_follow_the_exact_steps_to_the_end_of_the_bath() -> None:
    entries = [replace(WRAP, open_air=True, minutes=30.0)] * 24 + [
        Entry("top-up", litres=0.5, strength=1.0), WRAP, Entry("fresh"), WRAP,
    ]  # fmt: skip
    exact = run(Tray(), Paper(), entries)
    worked = worked_through(Tray(), Paper(), entries, np.zeros((5, 2)))
    rows = with_bands(exact, Tray(), Paper(), entries, Spread(0, 0, 0, 0, 0), ph_u=0.0)
    assert len(worked.after) == len(rows) + 1 and len(worked.made) == 2
    for banded, row in zip(rows, exact.rows, strict=True):
        assert banded.ph.low90 == pytest.approx(row.ph, abs=1e-9)
    # The bath as it stands after a wrap is what a next, weightless one would find.
    after = [*entries[:20], replace(WRAP, mass_g=0.05, water_in=0.0)]
    found = run(Tray(), Paper(), after).rows[-1]
    curve = lime_curve(20.0)
    alkali, free = worked.after[20]
    assert alkali[0] == pytest.approx(found.alkalinity_mol_per_kg, abs=5e-5)
    assert float(curve.ph(free[0])) == pytest.approx(found.ph, abs=0.03)


def test_a_series_is_judged_by_its_own_wraps() -> None:
    tray, paper, spread = Tray(), Paper(), spread_of(0.155, 0.5)
    alike = change_after(tray, paper, WRAP, spread)
    assert change_after(tray, paper, [WRAP] * 3, spread) == alike
    mixed = [WRAP, Entry("fresh"), replace(WRAP, mass_g=18.8)]
    assert change_after(tray, paper, mixed, spread).after < alike.after
    with pytest.raises(ValueError, match="without a wrap"):
        change_after(tray, paper, [Entry("fresh")], spread)


def test_two_wraps_at_once_take_what_two_take() -> None:
    paired = run(Tray(), Paper(), [replace(WRAP, mass_g=18.8)] * 3).rows[-1]
    single = run(Tray(), Paper(), [WRAP] * 6).rows[-1]
    assert paired.alkalinity_mol_per_kg == pytest.approx(single.alkalinity_mol_per_kg, rel=0.01)


def test_the_air_takes_less_as_the_hydroxide_goes() -> None:
    flux = [uptake(0.022, oh) for oh in (0.04, 0.02, 0.002, 0.0)]
    assert flux == sorted(flux, reverse=True)
    assert flux[1] == pytest.approx(0.022) and flux[-1] < 1e-6


def test_our_own_solver_gives_the_same_ledger(monkeypatch: pytest.MonkeyPatch) -> None:
    entries = [replace(WRAP, open_air=True, minutes=40.0)] * 12
    first = run(Tray(), Paper(), entries)
    monkeypatch.setattr(engine, "load_engine", lambda: None)
    second = run(Tray(), Paper(), entries)
    for one, other in zip(first.rows, second.rows, strict=True):
        assert one.ph == pytest.approx(other.ph, abs=0.002)
        assert one.reserve_pct_caco3 == pytest.approx(other.reserve_pct_caco3, rel=2e-3)


@pytest.mark.parametrize("temperature_c", [0.0, 20.0, 40.0])
@pytest.mark.parametrize("share", [0.0, 0.5, 0.95, 1.0])
def test_engine_and_oracle_agree_along_carbonation_and_acid(
    temperature_c: float, share: float
) -> None:
    ca = 0.009
    one, other = (
        solver.speciate(ca, temperature_c, share * (ca - 0.001), acid_mol_per_kg=0.002)
        for solver in (engine, oracle)
    )
    assert one.ph == pytest.approx(other.ph, abs=0.002)


def test_planted_papers_lie_inside_the_bands_nine_times_in_ten() -> None:
    rng = np.random.default_rng(7)
    tray, paper, entries = Tray(), Paper(), [replace(WRAP, open_air=True)] * 12
    spread = spread_of(0.155, 0.5)
    rows = with_bands(run(tray, paper, entries), tray, paper, entries, spread)
    inside: list[bool] = []
    for _ in range(120):
        own = Paper(
            paper.pickup * np.exp(0.155 * rng.normal()),
            paper.acid_groups * np.exp(spread.acid_groups * rng.normal()),
            paper.strong_acid * np.exp(spread.strong_acid * rng.normal()),
        )
        air = tray.uptake_mol_m2_h * np.exp(spread.uptake * rng.normal())
        strength = min(1.0, tray.strength * np.exp(spread.strength * rng.normal()))
        true = run(replace(tray, uptake_mol_m2_h=air, strength=strength), own, entries).rows[11]
        band = rows[11].reserve_pct_caco3
        inside.append(band.low90 <= true.reserve_pct_caco3 <= band.high90)
    assert 0.82 <= np.mean(inside) <= 0.97


def test_the_low_end_says_when_to_change_and_a_lid_makes_it_later() -> None:
    tray, paper, spread = Tray(), Paper(), spread_of(0.155, 0.5)
    opened, covered = (
        change_after(tray, paper, replace(WRAP, open_air=air), spread) for air in (True, False)
    )
    assert opened.after < opened.median < opened.high
    assert covered.after > 2 * opened.after
    assert opened.narrow == "uptake"
    sure = change_after(
        tray, paper, WRAP, replace(spread, acid_groups=0, strong_acid=0, strength=0)
    )
    assert sure.after >= covered.after
    rows = run(tray, paper, [WRAP] * (covered.median + 4)).rows
    first_low = next(
        r.number for r in rows if r.reserve_mol_per_kg < 0.5 * rows[0].reserve_mol_per_kg
    )
    assert covered.median == pytest.approx(first_low - 1, abs=2)


def test_a_great_bath_is_said_to_last_that_long_or_more() -> None:
    assert change_after(Tray(litres=40, strength=1), Paper(), replace(WRAP, mass_g=1.0),
                        spread_of(0.1, 1)).after == LONGEST  # fmt: skip


@pytest.mark.parametrize(
    ("tray", "entry", "says"),
    [
        (Tray(litres=400), WRAP, "the bath must lie between"),
        (Tray(), replace(WRAP, minutes=-5.0), "minutes of wrap 1"),
        (Tray(), replace(WRAP, mass_g=float("nan")), "mass of wrap 1"),
        (Tray(temperature_c=68.0), WRAP, "its temperature"),
        (Tray(litres=0.1), replace(WRAP, mass_g=60.0), "too little of it"),
    ],
)
def test_what_cannot_be_is_refused_with_a_sentence(tray: Tray, entry: Entry, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        run(tray, Paper(), [entry])


def test_no_entry_and_endless_entries_are_refused() -> None:
    for entries in ([], [WRAP] * 2001):
        with pytest.raises(ValueError, match="1 to 2000 entries"):
            run(Tray(), Paper(), entries)
