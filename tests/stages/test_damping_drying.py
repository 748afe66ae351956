"""The chamber in stages and a wrap between blotters in a press, as registered methods."""

from __future__ import annotations

import pytest

from quirewell.record.finding import Run
from quirewell.science.press.drying import onset_water, warm_press
from quirewell.stages import damping, drying
from quirewell.stages.methods import run_method


def _run(method: str, **params: str) -> Run:
    return run_method(method, "item", {}, params=params)


def test_the_chamber_is_staged_flat_then_folded_within_the_cap() -> None:
    out = damping.as_json(_run(damping.METHOD, wet_m2="0.3"))
    flat, folded = out["flat_h"], out["folded_h"]
    assert flat["value"] >= out["supply_h"]["value"]
    assert folded["value"] == flat["value"]
    assert flat["value"] + folded["value"] <= 48
    assert "gently folded" in out["says"]


def test_a_humidity_beyond_the_model_is_refused_and_not_quietly_lowered() -> None:
    at_most = damping.as_json(_run(damping.METHOD, rh_pct="98.5"))
    assert at_most["flat_h"]["value"] > 0
    with pytest.raises(ValueError, match=r"at most 98.5 %, got 99 %: .* drips on the sheets"):
        _run(damping.METHOD, rh_pct="99")


def test_a_poor_supply_leaves_no_time_to_fold_unseen() -> None:
    out = damping.as_json(_run(damping.METHOD, wet_m2="0.02"))
    assert out["flat_h"]["value"] > 48
    assert out["folded_h"]["value"] == 0


def test_a_warm_press_shares_water_sooner_and_no_further() -> None:
    out = drying.as_json(_run(drying.METHOD, press_c="60"))
    warm, cold = out["press"]
    assert (warm["way"], cold["way"]) == ("warm press", "cold press")
    assert warm["high90"] < cold["value"]
    assert "from 59 to 11 % water" in warm["note"]
    assert drying.as_json(_run(drying.METHOD))["press"] == []


def test_what_is_shared_is_the_balance_of_masses() -> None:
    one = warm_press(onset_water(), 52.7, 60.0, 300.0, 0.07)
    shared = (onset_water() * 52.7 + 0.07 * 600) / (52.7 + 600)
    assert one.shared_g_g == pytest.approx(shared, rel=0.1)
    more = warm_press(onset_water(), 52.7, 60.0, 900.0, 0.07)
    assert more.shared_g_g < one.shared_g_g


@pytest.mark.parametrize(
    ("params", "says"),
    [({"press_c": "121"}, "between 15 and 95"), ({"blotter_g_m2": "30", "press_c": "50"}, "50 to")],
)
def test_what_cannot_be_is_refused(params: dict[str, str], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        _run(drying.METHOD, **params)
