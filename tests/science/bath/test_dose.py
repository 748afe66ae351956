"""Which bath and how many: arithmetic of what is lifted out, caps, and the harm of more."""

from __future__ import annotations

import pytest

from quirewell.science.bath.dose import (
    MOST_BATHS,
    MOST_MINUTES,
    PERMANENT,
    Dose,
    Option,
    Paper,
    dose,
    usual_acid,
)
from quirewell.science.bath.ledger import Entry, Tray, run
from quirewell.science.bath.ledger import Paper as Soaked

CLEAN = Paper(acid_mol_per_kg=0.0, water_in=0.0)
SURE = Paper(pickup_log_sigma=0.0, acid_log_sigma=0.0)


def called(name: str, found: Dose) -> Option:
    return next(one for one in found.options if one.name.endswith(name))


def test_half_strength_lime_water_gives_the_small_reserve_in_one_or_two_baths() -> None:
    half = called(", 1:1", dose(paper=CLEAN))
    assert half.alkalinity_mol_per_kg == pytest.approx(0.0218, abs=2e-4)
    assert half.one_bath.value == pytest.approx(1.94 * half.alkalinity_mol_per_kg)
    assert half.baths == 2 and half.harsh
    assert called(", 1:1", dose(paper=SURE)).baths == 1


def test_the_first_bath_leaves_what_the_ledger_says_it_leaves() -> None:
    for litres, mass in ((4.0, 9.4), (1.0, 18.8)):
        own = Paper(pickup_log_sigma=0.0, acid_log_sigma=0.0, mass_g=mass, litres=litres)
        rows = run(Tray(litres, 0.5, 20.0), Soaked(1.94, 0.10, 0.02), [Entry("wrap", mass)]).rows
        found = called(", 1:1", dose(paper=own)).one_bath.value
        assert found == pytest.approx(rows[0].reserve_mol_per_kg, rel=1e-3)


def test_more_acid_needs_more_and_a_thin_bath_may_not_even_meet_it() -> None:
    usual, sour = dose(), dose(paper=Paper(acid_mol_per_kg=0.4, mass_g=40.0, litres=2.0))
    assert called("saturated", sour).one_bath.value < called("saturated", usual).one_bath.value
    thin = called(", 1:7", sour)
    assert not thin.meets_acid and thin.baths is None and thin.one_bath.low90 == 0.0
    assert called(", 1:7", usual).meets_acid


def test_hydrogen_carbonate_after_thin_lime_counts_both_baths() -> None:
    both = called("then calcium hydrogen carbonate", dose(0.02))
    alone = next(o for o in dose(0.02).options if o.kind == "calcium hydrogen carbonate")
    assert both.baths == 2 and both.minutes == 30.0 and both.harsh
    assert both.ph == alone.ph
    # The lime has met the acid, so the second bath leaves all it can.
    assert both.one_bath.value > alone.one_bath.value
    assert both.reached_mol_per_kg >= 0.02


def test_the_usual_acid_is_that_of_the_constants() -> None:
    middle, log_sigma = usual_acid()
    assert middle == pytest.approx(0.12)
    assert 0.1 < log_sigma < 0.25


def test_what_is_said_to_be_reached_is_the_aim_at_least() -> None:
    for aim in (0.01, 0.04, 0.08):
        for one in dose(aim).options:
            if one.baths is not None:
                assert one.reached_mol_per_kg >= aim - 1e-12


def test_a_gentle_bath_that_reaches_the_aim_stands_first() -> None:
    first = dose().options[0]
    assert not first.harsh and first.baths is not None
    assert first.ph < 8


def test_thinner_lime_water_needs_more_baths_at_nearly_the_same_ph() -> None:
    found = dose(paper=CLEAN)
    lime = {one.name[12:]: one for one in found.options if one.kind == "lime water"}
    assert lime["saturated"].ph - lime["1:3"].ph == pytest.approx(0.53, abs=0.03)
    assert lime["saturated"].one_bath.value == pytest.approx(4 * lime["1:3"].one_bath.value)


def test_permanent_paper_is_out_of_reach_of_lime_water_and_shut_until_opened() -> None:
    with pytest.raises(ValueError, match="darken"):
        dose(PERMANENT)
    opened = dose(PERMANENT, permanent=True)
    assert not opened.lime_reaches
    saturated = next(one for one in opened.options if one.name.endswith("saturated"))
    assert saturated.baths is None
    # One immersion in saturated lime water, blotted: 0.058 mol/kg, a seventh of what is asked.
    clean = Paper(1.33, 0.0, 0.0, 0.0, water_in=0.0)
    blotted = dose(PERMANENT, paper=clean, permanent=True)
    one = next(o for o in blotted.options if o.name.endswith("saturated")).one_bath.value
    assert one == pytest.approx(0.058, abs=0.001)
    assert pytest.approx(7, abs=0.3) == PERMANENT / one


def test_baths_and_minutes_are_capped() -> None:
    for one in dose(0.1, minutes_each=25.0).options:
        assert one.baths is None or (one.baths <= MOST_BATHS and one.baths * 25.0 <= MOST_MINUTES)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"wanted_mol_per_kg": -1.0}, "0 to 1 mol/kg"),
        ({"paper": Paper(pickup=133.0)}, "0.2 to 6 g/g"),
        ({"paper": Paper(acid_mol_per_kg=-0.1)}, "0 to 1 mol/kg"),
        ({"paper": Paper(litres=400.0)}, "0.1 to 40 L"),
        ({"paper": Paper(mass_g=float("nan"))}, "0.05 to 500 g"),
        ({"minutes_each": -5.0}, "1 to 240 minutes"),
        ({"temperature_c": 68.0}, "0 to 40 °C"),
    ],
)
def test_what_cannot_be_is_refused(change: dict[str, object], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        dose(**change)  # type: ignore[arg-type]
