"""Which bath and how many: arithmetic of what is lifted out, caps, and the harm of more."""

from __future__ import annotations

import pytest

from quirewell.science.bath.dose import MOST_BATHS, MOST_MINUTES, PERMANENT, dose


def test_half_strength_lime_water_gives_the_small_reserve_in_one_or_two_baths() -> None:
    half = next(one for one in dose().options if one.name.endswith("1:1"))
    assert half.alkalinity_mol_per_kg == pytest.approx(0.0218, abs=2e-4)
    assert half.one_bath.value == pytest.approx(1.94 * half.alkalinity_mol_per_kg)
    assert half.baths == 2 and half.harsh
    sure = next(one for one in dose(pickup_log_sigma=0.0).options if one.name.endswith("1:1"))
    assert sure.baths == 1


def test_a_gentle_bath_that_reaches_the_aim_stands_first() -> None:
    first = dose().options[0]
    assert not first.harsh and first.baths is not None
    assert first.ph < 8


def test_thinner_lime_water_needs_more_baths_at_nearly_the_same_ph() -> None:
    lime = {one.name[12:]: one for one in dose().options if one.kind == "lime water"}
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
    blotted = dose(PERMANENT, pickup=1.33, pickup_log_sigma=0.0, permanent=True)
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
        ({"pickup": 133.0}, "0.2 to 6 g/g"),
        ({"minutes_each": -5.0}, "1 to 240 minutes"),
        ({"temperature_c": 68.0}, "0 to 40 C"),
    ],
)
def test_what_cannot_be_is_refused(change: dict[str, float], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        dose(**change)  # type: ignore[arg-type]
