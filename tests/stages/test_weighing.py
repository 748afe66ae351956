"""The method ``options.weigh``: worked cases to the cent, prices, ethics, permanence, hard input.

The worked case is of the planning notes of this project (section 3.3): -17.916 and an up-charge of
10.5, every line rounded to cents.
"""

from __future__ import annotations

from typing import Any

import pytest

from quirewell.record.finding import Run
from quirewell.stages.methods import METHODS, run_method
from quirewell.stages.weighing import METHOD, as_json

DAMAGE = "code,location,extent\ntear,cover,40 mm\ncrease,cover,60 mm\nspine_split,spine,45 mm"
PRICED = {"low": "60", "likely": "100", "high": "200"}
HEAD = "option,kind,hours,mishap_pct,factor_pct,chances,sent,materials"
ONLY = "Partial treatment,off,,,,,,\nFull treatment,off,,,,,,\nSend as it is,off,,,,,,"
SENT = {
    "grade": "4", "prices": "3: 80; 4: 140; 5: 210", "spread_log": "0", "value_now": "100",
    "fee": "40", "per_item": "1.50", "insurance_pct": "0.6", "wait_pct_per_week": "0.2",
    "weeks": "12", "hour": "21", "currency": "crowns",
    "options": "option,kind,hours,materials,mishap_pct,factor_pct,sent,chances\n"
    f"Press only,,1,0,0,100,yes,3:0.2 4:0.5 5:0.3\n{ONLY}",
}  # fmt: skip


def run(**params: str) -> Run:
    return run_method(METHOD, "plan", {}, (), params)


def weigh(**params: str) -> dict[str, Any]:
    return as_json(run(**params))


def of(out: dict[str, Any], name: str) -> dict[str, Any]:
    return next(one for one in out["options"] if one["name"] == name)


def test_the_worked_case_to_the_cent() -> None:
    out = weigh(**SENT)
    press = of(out, "Press only")
    assert press["net_gain"]["value"] == -17.92
    assert [line["amount"] for line in press["lines"]] == [149, -100, -21, -40, -1.5, -0.84, -3.58]
    assert out["best"] == "Leave alone" and "nothing pays" in out["says"]
    dearer = of(weigh(**SENT, ceiling="150", next_fee="75"), "Press only")
    assert dearer["net_gain"]["value"] == -28.42
    assert {"name": "more fee above its ceiling", "amount": -10.5, "unit": "crowns"} in dearer[
        "lines"
    ]


def test_pressing_beats_treating_in_the_worked_case() -> None:
    rows = ("option,kind,hours,materials,works_pct,mishap_pct,factor_pct,sent,chances\n"
            "Press only,,1,0,,0,100,no,4:1\nFull treatment,,10,0,,0,100,no,5:1\n"
            "Partial treatment,off,,,,,,,")  # fmt: skip
    out = weigh(grade="3", prices="3: 100; 4: 125; 5: 160", spread_log="0", hour="21", options=rows)
    assert of(out, "Press only")["net_gain"]["value"] == 4
    assert of(out, "Full treatment")["net_gain"]["value"] == -150
    assert out["best"] == "Press only"


def test_three_prices_and_a_little_damage_answer() -> None:
    out = weigh(low="60", likely="100", high="200", defects=DAMAGE, hour="20/25/40")
    assert out["value_now"]["value"] == pytest.approx(110)  # PERT mean (60 + 400 + 200) / 6
    for one in out["options"]:
        assert sum(step["chance"] for step in one["grades"]) == pytest.approx(1.0)
        assert round(sum(line["amount"] for line in one["lines"]), 2) == one["net_gain"]["value"]
        gain = one["net_gain"]
        assert gain["low90"] <= gain["high90"]
        assert 0 <= one["chance_of_loss"] <= 1
        assert one["worst_fifth_mean"]["value"] <= gain["value"] + 1e-9
    assert of(out, "Leave alone")["net_gain"]["value"] == 0
    assert out["narrows"] and out["sensitivity"] is not None


def test_the_same_is_found_every_time_and_from_its_text_alone() -> None:
    first = run(low="60", likely="100", high="200", defects=DAMAGE)
    assert run(**first.params) == first
    assert METHODS[METHOD].kind == "seeded"
    assert first.inputs == ()


def test_a_repair_that_finds_nothing_to_mend_gains_nothing() -> None:
    out = weigh(
        low="60", likely="100", high="200", defects="code,location,extent\ntear,cover,40 mm"
    )
    now = of(out, "Leave alone")["grades"]
    assert of(out, "Press only")["grades"] == now
    assert of(out, "Press only")["net_gain"]["value"] < 0
    assert of(out, "Partial treatment")["grades"] != now


def test_a_ceiling_that_no_repair_lifts_is_named() -> None:
    out = weigh(low="60", likely="100", high="200", defects="code,location\nbrittle edge,w01")
    assert "No repair here lifts its grade: brittleness holds it at 2" in out["says"]


def test_own_sales_say_how_price_goes_with_grade() -> None:
    grades = (3, 4, 5, 6, 7, 8)
    sales = "date,grade,price\n" + "\n".join(
        f"2025-0{at + 1}-01,{grade},{100 * 1.2 ** (grade - 5):.2f}"
        for at, grade in enumerate(grades)
    )
    out = weigh(
        sales=sales, grade="5", options="option,chances,factor_pct,mishap_pct\nLift,6:1,100,0"
    )
    assert of(out, "Lift")["lines"][0]["amount"] == pytest.approx(120, rel=1e-3)
    assert of(out, "Lift")["net_gain"]["value"] == pytest.approx(20, rel=5e-3)
    assert "6 sales" in out["prices_from"]


def test_too_few_sales_give_the_level_and_an_assumed_slope() -> None:
    out = weigh(sales="date,grade,price\n2025-01-01,5,100\n2025-02-01,5,100", grade="5")
    assert "assumed, and very unsure" in out["prices_from"]
    assert out["value_now"]["value"] == pytest.approx(100 * 1.046, rel=1e-3)  # mean, not median
    typed = weigh(sales="date,grade,price\n2025-01-01,5,100", grade="5", per_grade_pct="30")
    assert "30 %" in typed["prices_from"] and "as typed" in typed["prices_from"]


def test_a_typed_worth_far_from_the_sales_is_told() -> None:
    sales = "date,grade,price\n" + "\n".join(f"2025-0{g}-01,{g},{40 * g}" for g in range(2, 9))
    out = weigh(sales=sales, grade="5", value_now="50")
    assert any("stands in the gain of every option" in line for line in out["warnings"])


def test_sales_without_a_grade_known_level_the_worth_only() -> None:
    sales = "date,grade,price\n2025-01-01,3,80\n2025-02-01,5,120"
    out = weigh(sales=sales)
    assert out["value_now"]["value"] == pytest.approx(100)
    assert out["grade_now"]["value"] is None
    assert of(out, "Press only")["grades"] == []
    assert any("note what you see" in line for line in out["warnings"])


def test_mixed_currencies_are_refused_unless_a_rate_is_given() -> None:
    sales = "date,grade,price,currency\n2025-01-01,3,80,crowns\n2025-02-01,5,120,florins"
    with pytest.raises(ValueError, match="florins"):
        weigh(sales=sales, grade="4")


@pytest.mark.parametrize("name", [
    "Trim the edges", "Bleach it", "Touch in the colour", "New staple holes",
    "Erase the date stamp",
    "Remove the owner's name", "Inpaint the losses", "Whiten with peroxide", "Mend, undisclosed",
])  # fmt: skip
def test_what_harms_for_gain_is_accepted_flagged_and_never_best(name: str) -> None:
    rows = f'option,steps,hours,factor_pct,chances\n"{name}",,0,300,9:1'
    out = weigh(low="60", likely="100", high="200", grade="4", options=rows)
    harm = of(out, name)
    assert harm["flag"]
    assert harm["net_gain"]["value"] > 0
    assert out["best"] != name
    assert name in out["says"]


@pytest.mark.parametrize(
    "name", ["Mend without trimming", "Press, no bleach", "Repaste the date page"]
)
def test_a_name_that_says_it_is_not_done_is_not_flagged(name: str) -> None:
    out = weigh(
        low="60", likely="100", high="200", grade="4", options=f'option,steps\n"{name}",mend'
    )
    assert of(out, name)["flag"] == ""


def test_nothing_proposed_trims_bleaches_colours_or_makes_holes() -> None:
    from quirewell.stages.option_ethics import judged
    from quirewell.stages.options_table import options

    for row in options("", True):
        assert not any(rule.words for rule in judged(row, ("crease", "tear_cover"), None))


def test_a_step_that_shortens_its_life_is_flagged() -> None:
    rows = "option,steps,hours,life,chances\nHot press,press,0.1,0.9,9:1"
    out = weigh(low="60", likely="100", high="200", grade="4", options=rows)
    assert "last less long" in of(out, "Hot press")["flag"]


def test_permanence_ranks_by_life_and_harm_and_names_no_money() -> None:
    given = {"low": "60", "likely": "100", "high": "200", "hour": "25", "currency": "crowns"}
    out = weigh(**given, defects=DAMAGE, aim="permanence", life="2.1, 1.3, 3.2")
    assert out["best"] == "Full treatment"
    assert "2.1 times as long" in out["says"]
    assert not any(word in out["says"] for word in ("crowns", "gain", "pays", "price"))
    assert out["sensitivity"] == []
    unsure = weigh(**given, defects=DAMAGE, aim="permanence", life="1.2, 0.8, 1.9")
    assert unsure["best"] == "Leave alone"
    unknown = weigh(**given, defects=DAMAGE, aim="permanence")
    assert unknown["best"] == "Leave alone" and "Work out" in unknown["says"]
    assert of(unknown, "Full treatment")["life_ratio"] is None


def test_mould_comes_before_everything() -> None:
    out = weigh(low="60", likely="100", high="200", defects="code,location\nmould,interior")
    assert out["best"] == "Leave alone" and "Set it apart first" in out["says"]
    assert "mould" in of(out, "Press only")["flag"]


def test_no_price_no_damage_nothing_at_all_still_tells_hours_and_risks() -> None:
    out = weigh()
    assert out["value_now"]["value"] is None and out["best"] == "Leave alone"
    full = of(out, "Full treatment")
    assert full["net_gain"]["value"] is None and full["chance_of_loss"] is None
    assert full["hours"]["value"] == pytest.approx((10 + 4 * 17 + 28) / 6)
    assert full["risks_object"] and full["risks_worker"] and full["must_tell"]
    assert "type what it would bring" in out["narrows"]


def test_an_item_worth_nothing_is_left_alone_with_its_life_told() -> None:
    out = weigh(low="0", likely="0", high="0", defects=DAMAGE, hour="25", life="2")
    assert out["best"] == "Leave alone"
    assert "2 times as long" in out["says"]
    assert any("brings nothing" in line for line in out["warnings"])


def test_caution_turns_a_gamble_down() -> None:
    rows = f"{HEAD}\nPress only,,0,0,100,3:0.5 5:0.5,no,5\n{ONLY}"
    given = {"grade": "4", "prices": "3: 60; 4: 100; 5: 160", "spread_log": "0", "options": rows}
    assert weigh(**given)["best"] == "Press only"  # 110 - 100 - 5 = 5, with a loss of 45 in half
    assert weigh(**given, caution="1")["best"] == "Leave alone"


def test_break_even_is_named_in_words() -> None:
    rows = f"{HEAD}\nPress only,,1,0,100,5:1,no,0\n{ONLY}"
    out = weigh(grade="4", prices="4: 100; 5: 127", spread_log="0", hour="10/20/40", options=rows)
    said = [one for one in out["sensitivity"] if one["input"] == "what an hour is worth"]
    assert said[0]["at"] == pytest.approx(27)
    assert said[0]["says"] == (
        "Leave alone overtakes Press only where what an hour is worth is above 27 an hour."
    )
    assert "an hour" in out["narrows"]


@pytest.mark.parametrize(("params", "says"), [
    ({"grade": "11"}, "from 0 to 10"),
    ({"hour": "5/4"}, "least, likeliest"),
    ({"fee": "-1"}, "fee lies between 0"),
    ({"life": "soon"}, "a ratio such as 2.1"),
    ({"life": "2, 3, 4"}, "the middle lies in its band"),
    ({"prices": "3 80"}, "pairs of grade and price"),
    ({"prices": "3: 80; 3: 90"}, "two prices"),
    ({"low": "5", "likely": "3", "high": "9"}, "go up"),
    ({"low": "5"}, "go together"),
    ({"options": "option,hours\nMine,5/4/3"}, "that go up"),
    ({"options": "option,hours\nMine,5000"}, "from 0 to 1000"),
    ({"options": "option,chances\nMine,3:0.5"}, "must add up to 1"),
    ({"options": "option,chances\nMine,11:1"}, "up to 10"),
    ({"options": "option,kind\nMine,bold"}, "kind is one of"),
    ({"options": "name\nMine"}, "no column"),
    ({"options": "option\nMine\nmine"}, "there twice"),
    ({"options": "option,life\nMine,0"}, "ratio of lives"),
    ({"disclosures": "step,buyer\n,x"}, "names no step"),
    ({"aim": "fame"}, "aim is one of"),
    ({"price": "5"}, "knows no parameter"),
])  # fmt: skip
def test_what_cannot_be_is_refused_in_a_sentence(params: dict[str, str], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        weigh(**params)


def test_it_starts_from_the_grade_that_the_estimate_gives() -> None:
    """The chances as it lies are those of ``condition.grade``, however kinds add up."""
    for adding in ("plain", "root"):
        given = {"defects": DAMAGE, "adding": adding}
        graded = run_method("condition.grade", "plan", {}, (), given)
        chances = {float(one.subject): one.value for one in graded.findings
                   if one.quantity == "condition.chance"}  # fmt: skip
        leave = of(weigh(**PRICED, **given), "Leave alone")
        assert {one["grade"]: one["chance"] for one in leave["grades"]} == pytest.approx(chances)


def test_what_surely_mends_ends_where_the_estimate_says() -> None:
    """Works at 100 %: the chances after are those of the damage list without what was mended."""
    rows = "option,steps,works_pct\nMend it,mend,100"
    after = of(weigh(**PRICED, defects=DAMAGE, options=rows), "Mend it")["grades"]
    rest = "\n".join(line for line in DAMAGE.splitlines() if not line.startswith("tear"))
    without = of(weigh(**PRICED, defects=rest), "Leave alone")["grades"]
    mean = [sum(one["grade"] * one["chance"] for one in part) for part in (after, without)]
    assert mean[0] == pytest.approx(mean[1], abs=0.05)  # other draws, the same distribution
