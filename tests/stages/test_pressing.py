"""A pressing as a method: reference cases, words, refusals; iron, chamber and drying."""

from __future__ import annotations

from pathlib import Path

import pytest

from quirewell.science.press.course import Pressing, answers, follow
from quirewell.science.press.evaporation import evaporation
from quirewell.science.press.materials import MATERIALS
from quirewell.stages import damping, drying, ironing, pressing
from quirewell.stages.methods import run_method
from quirewell.stages.press_entry import params_of, read_layer, read_pressing
from quirewell.stages.press_view import changes_of, press_view

STACKS = Path(__file__).resolve().parents[2] / "examples" / "stacks"


def params(name: str, **changed: str) -> dict[str, str]:
    return params_of((STACKS / f"{name}.toml").read_text("utf-8"), name) | changed


@pytest.fixture(scope="module")
def case_a():
    return run_method(pressing.METHOD, "finish", {}, (), params("case-a"))


@pytest.fixture(scope="module")
def practice():
    return run_method(pressing.METHOD, "finish", {}, (), params("practice"))


# Computed before by another program of the same equations (both curves, low and high): centre at
# 15 min, water out, its share, cool cover's water. Contacts to metal differ: 2 K, a fifth, 0.03.
CASES = {
    "case-a": (52.65, (44, 50), 17, (0.136, 0.159)),
    "case-c": (53.0, (16, 20), 7, (0.229, 0.280)),
    "case-e": (67.4, (38, 43), 15, (0.115, 0.134)),
    "case-h": (53.6, (34, 34), 12, (0.159, 0.167)),
}


@pytest.mark.parametrize("case", CASES)
def test_reference_cases_come_out_again(case):
    centre, lost, share, cool = CASES[case]
    run = run_method(pressing.METHOD, "finish", {}, (), params(case))
    out = pressing.as_json(run)
    assert out["centre"]["temperature_c_at_end"]["mid"] == pytest.approx(centre, abs=2.0)
    water = out["water"]
    assert water["lost_g_m2"]["low"] < lost[1] * 1.05
    assert water["lost_g_m2"]["high"] > lost[0]
    assert water["lost_pct"]["mid"] == pytest.approx(share, abs=3)
    assert (
        out["cold_face"]["u"]["low"] - 0.03
        < cool[0]
        < cool[1]
        < out["cold_face"]["u"]["high"] + 0.03
    )
    assert out["balance_error_rel"] < 1e-9


def test_the_centre_never_reaches_a_platen_on_one_side_and_cools_in_an_hour(case_a):
    out = pressing.as_json(case_a)
    assert out["centre"]["temperature_c_at_end"]["high"] < 60
    assert 180 < out["centre"]["t50_s"]["mid"] < 300  # computed before: 260 s
    assert out["cool_to_25c_s"]["mid"] / 60 == pytest.approx(69, abs=4)
    cold = run_method(pressing.METHOD, "finish", {}, (), params("case-a", cooling="cold plates"))
    assert pressing.as_json(cold)["cool_to_25c_s"]["mid"] / 60 == pytest.approx(10, abs=2)


def test_release_sheet_on_the_cool_side_keeps_that_side_wet(case_a, practice):
    open_, shut = pressing.as_json(case_a), pressing.as_json(practice)
    assert shut["cold_face"]["u"]["low"] > open_["cold_face"]["u"]["mid"]
    assert "closed" in shut["cold_face"]["open"] and "open" in open_["cold_face"]["open"]
    (alarm,) = shut["alarms"]
    assert (alarm["level"], alarm["layer"]) == ("red", "lower cover") and alarm["time"] > 0
    assert "blotters in place of the silicone release sheet" in shut["change"]


def test_rested_paper_raises_no_alarm():
    calm = run_method(pressing.METHOD, "finish", {}, (), params("case-a", start_rh_pct="50"))
    out = pressing.as_json(calm)
    assert out["alarms"] == [] and "No sheet" in out["alarm_says"]
    assert out["water"]["lost_pct"]["mid"] == pytest.approx(6, abs=2)


def test_the_same_again_is_the_same(case_a):
    again = run_method(case_a.method, case_a.subject, {}, case_a.inputs, case_a.params)
    assert again == case_a


def test_the_picture_has_every_sheet_and_the_alarm_s_colour(practice):
    view = press_view(practice)
    assert len(view.bars) == 30 and len(view.blocks) == 4 + 1 + 4
    assert view.level == "red" and view.bars[-1].level == "red"
    assert all(bar.low <= bar.middle <= bar.high for bar in view.bars)
    assert view.changes[0].name == "as it is" and any(row.helps for row in view.changes)
    assert view.hot_above and not view.hot_below


def test_every_number_says_what_its_band_holds_and_the_books_claim_none(case_a):
    for one in case_a.findings:
        if one.value is not None and one.quantity != "press.balance_error_rel":
            (term,) = one.terms
            assert term.name.startswith("what nobody knows of the stack")
            assert term.basis.startswith("64 runs over the bounds") and term.u == one.u
            assert one.standing == "from memory"
    (books,) = [one for one in case_a.findings if one.quantity == "press.balance_error_rel"]
    assert books.u is None


def test_the_limits_of_the_alarms_are_told_as_our_own(case_a):
    assert any("our own rule" in one and "no standard" in one for one in case_a.warnings)


def test_water_taken_up_is_never_called_water_out(case_a, practice):
    rows = {row.name: row.out for row in changes_of(practice)}
    assert rows["the pamphlet let come to 50 % before"].endswith("g/m² taken up")
    assert rows["as it is"].endswith("g/m² out") and "-" not in "".join(rows.values())
    assert "no band" in press_view(case_a).changes_say


def test_a_short_pressing_is_said_in_the_singular():
    run = run_method(pressing.METHOD, "finish", {}, (), params("case-a", minutes="1"))
    says = pressing.as_json(run)["says"]
    assert says.startswith("After 1 minute the centre") and "1 minutes" not in says


def test_what_is_above_the_presets_is_told(practice):
    told = " ".join(practice.warnings)
    assert "above the preset of 65 °C for damp paper" in told and "dummy" in told
    assert "Unvalidated" in told


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"platen_c": "121"}, "15 to 95 °C"),
        ({"platen_c": "250 F"}, "15 to 95 °C"),
        ({"start_rh_pct": "0.8"}, "per cent here"),
        ({"minutes": "-5"}, "half a minute"),
        ({"above": "cheese 3"}, "is no layer"),
        ({"heat": "sideways"}, "heat is one of"),
        ({"wraps": "2.5"}, "whole"),
        ({"wraps": "400"}, "wraps must lie"),
        ({"layers": "old felt: soft"}, "is no material"),
        ({"colour": "red"}, "knows no 'colour'"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(changed, says):
    with pytest.raises(ValueError, match=says):
        run_method(pressing.METHOD, "finish", {}, (), params("case-a", **changed))


def test_a_bench_lays_its_own_material_over_the_table():
    own = "old felt: 180 kg/m3, 0,045 W/mK, 3 times air, 4 mm".replace("0,045", "0.045")
    read = read_pressing({"layers": own, "below": "old felt; wood 12"})
    felt = read.stack.below[0]
    assert (felt.material.rho, felt.material.conducts, felt.material.mu, felt.mm) == (
        180,
        0.045,
        3,
        4,
    )


@pytest.mark.parametrize(
    ("text", "key", "mm", "warm"),
    [
        ("Heavy card", "card", 0.25, None),
        ("thin board 1,5 mm", "thin-board", 1.5, None),
        ("aluminium 3.2 at 68 C", "aluminium", 3.2, 68.0),
        ("silicone release sheet", "release", 0.5, None),
    ],
)
def test_a_layer_is_read_as_it_is_said(text, key, mm, warm):
    layer = read_layer(text, MATERIALS)
    assert (layer.material.key, layer.mm, layer.start_c) == (key, mm, warm)


@pytest.mark.parametrize("toml", ["above = [", "colour = 'red'"])
def test_a_stack_file_that_is_none_is_refused(toml):
    with pytest.raises(ValueError, match=r"mine\.toml"):
        params_of(toml, "mine.toml")


def test_no_heat_is_a_pressing_too():
    found = answers(follow(Pressing(read_pressing(params("case-a")).stack, "none", minutes=60)))
    assert found.t50_s is None and found.red_s == 0


# --- iron ---


def iron(**text: str):
    return ironing.as_json(run_method(ironing.METHOD, "finish", {}, (), text))


def test_an_iron_over_release_sheet_stays_far_below_its_own_temperature():
    bare, over = iron(iron_c="121", release_mm="0"), iron(iron_c="121", release_mm="0.5")
    assert over["peak_c"]["high"] < bare["peak_c"]["high"] < 121
    assert bare["dose"]["days"]["mid"] > over["dose"]["days"]["mid"]


@pytest.mark.parametrize("name", ["passes", "leaves"])
def test_what_is_counted_under_an_iron_is_whole(name):
    with pytest.raises(ValueError, match=f"{name} are whole, got 2.7"):
        iron(**{name: "2.7"})


def test_an_iron_s_temperatures_stand_from_memory():
    run = run_method(ironing.METHOD, "finish", {}, (), {})
    assert {one.standing for one in run.findings} == {"from memory"}


def test_more_passes_cost_more_days():
    once, thrice = iron(iron_c="100", passes="1"), iron(iron_c="100", passes="3")
    assert thrice["dose"]["days"]["mid"] == pytest.approx(3 * once["dose"]["days"]["mid"])


def test_damp_paper_above_a_hundred_is_refused():
    with pytest.raises(ValueError, match="steam"):
        iron(iron_c="121", rh_pct="80")


def test_the_old_temperature_is_told_as_practice():
    assert "no preset" in iron(iron_c="121")["warnings"][0]


# --- chamber: computed before by another program: leaf 4.0 and 19 min, closed 3.2 and 15.9 h ---


def chamber(**text: str):
    return damping.as_json(run_method(damping.METHOD, "finish", {}, (), text))


def test_a_leaf_takes_minutes_and_a_closed_item_a_night():
    out = chamber()
    leaf, fan, closed = out["ways"]
    assert leaf["half_h"]["low90"] * 60 < 4.0 < leaf["half_h"]["high90"] * 60
    assert leaf["most_h"]["low90"] * 60 < 19.0 < leaf["most_h"]["high90"] * 60
    assert closed["half_h"]["low90"] < 3.2 < closed["half_h"]["high90"]
    assert closed["most_h"]["low90"] < 15.9 < closed["most_h"]["high90"]
    assert leaf["most_h"]["value"] < fan["most_h"]["value"] < closed["most_h"]["value"]
    assert out["water_g"]["low90"] < 9.8 < out["water_g"]["high90"]


def test_a_salt_stands_for_its_humidity():
    assert chamber(salt="NaCl", temperature_c="25")["rh_pct"]["value"] == pytest.approx(
        75.25, abs=0.1
    )


def test_the_tray_gives_what_a_wet_face_gives_into_air_so_damp():
    out = chamber(rh_pct="90", temperature_c="22", wet_m2="0.2")
    by_hand = out["water_g"]["value"] / (0.2 * evaporation(22.0, 0.90).g_m2_h)
    assert out["supply_h"]["value"] == pytest.approx(by_hand)


def test_a_chamber_says_whose_mould_and_whose_salt_it_goes_by():
    run = run_method(damping.METHOD, "finish", {}, (), {"salt": "KCl"})
    cites = {one.quantity: one.sources for one in run.findings}
    assert cites["chamber.mould_h"] == ("hukka1999",)
    assert cites["chamber.rh_pct"] == ("wexler_crc",)
    typed = run_method(damping.METHOD, "finish", {}, (), {"rh_pct": "85"})
    assert {one.quantity: one.sources for one in typed.findings}["chamber.rh_pct"] == ()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ({"rh_pct": "50", "start_rh_pct": "60"}, "no drier than"),
        ({"rh_pct": "0.9"}, "per cent here"),
        ({"salt": "NaCl", "rh_pct": "75"}, "not both"),
        ({"salt": "sugar"}, "the salt is one of"),
        ({"temperature_c": "70"}, "70"),
        ({"wraps": "12.5"}, "wraps are whole, got 12.5"),
        ({"colour": "red"}, "knows no parameter 'colour'"),
    ],
)
def test_a_chamber_that_cannot_be_is_refused(text, says):
    with pytest.raises(ValueError, match=says):
        chamber(**text)


# --- drying: computed before: 26 min to the onset at 1.5 g/g, 55 g/m2h and 15.9 C ---


def dry(**text: str):
    return drying.as_json(run_method(drying.METHOD, "item", {}, (), text))


def test_the_window_closes_at_sixty_three_per_cent_solids():
    out = dry(wet_g_g="1.5", sheet_g_m2="52")
    assert out["restrain_min"]["value"] == pytest.approx(26, abs=1)
    assert out["rate_g_m2_h"]["value"] == pytest.approx(55, abs=1.5)
    assert out["surface_c"]["value"] == pytest.approx(15.9, abs=0.1)
    fan = dry(wet_g_g="1.5", sheet_g_m2="52", fan="yes")
    assert fan["restrain_min"]["value"] < out["restrain_min"]["value"] / 2


def test_blotters_share_the_water_by_mass():
    first = dry(wet_g_g="1.5", sheet_g_m2="52")["blotters"][0]["sheet_pct"]["value"]
    assert first == pytest.approx(100 * (1.5 * 52 + 0.07 * 600) / 652, abs=0.1)


def test_the_window_stands_from_memory_for_its_rate_does():
    run = run_method(drying.METHOD, "item", {}, (), {})
    (window,) = [one for one in run.findings if one.quantity == "dry.restrain_min"]
    assert window.standing == "from memory" and "sugarman1992" in window.sources


@pytest.mark.parametrize(
    "text", [{"wet_g_g": "0.1"}, {"rh_pct": "0.5"}, {"blotter_g_g": "0.2"}, {"faces": "1.5"}]
)
def test_a_drying_that_cannot_be_is_refused(text):
    with pytest.raises(ValueError, match=r"wet sheet|per cent|cannot dry|faces are whole"):
        dry(**text)
