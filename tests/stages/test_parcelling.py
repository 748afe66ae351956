"""Parcels as a registered method: read from a plan file, kept, and held against the rules again."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

from quirewell.stages import parcelling
from quirewell.stages.asking import NAMES
from quirewell.stages.methods import find_method, run_method
from quirewell.stages.parcel_text import read_plan

EXAMPLES = Path(__file__).resolve().parents[2] / "examples/parcels"
FILLER = (EXAMPLES / "filler.toml").read_text(encoding="utf-8")

HAND = """
[studio]
currency = "crowns"
wait_rate_per_week = 0.002
[[tier]]
name = "plain"
fee = 40
{ceiling}
weeks = 12
{more}
[[shipment]]
name = "parcel"
per_item = 1.50
insurance_pct = 0.6
[[item]]
name = "A"
value_now = 100
year = 1936
values = {{three = 80, four = 140, five = 210}}
chances = {{three = 0.2, four = 0.5, five = 0.3}}
[[item.way]]
name = "pressed"
cost = 21
"""
PLAIN = HAND.format(ceiling="", more="")


def asked(plan: str, **params: str):
    run = parcelling.ask({"plan": plan, **params})
    return parcelling.as_json(run), run


def stays(out, item: str):
    return next(one for one in out["not_sent"] if one["item"] == item)


def test_the_hand_case_through_the_plan_file():
    """149 less 100, 21, 40, 1.50, 0.84 and 3.576: -17.916, to the cent -17.92 (own arithmetic)."""
    out, _ = asked(PLAIN)
    assert out["assignments"] == [] and out["total_gain"]["value"] == 0
    assert out["first"]["verdict"] == "keep"
    assert stays(out, "A")["would_lose"] == {"value": 17.92, "unit": "crowns"}
    assert stays(out, "A")["says"] == "stays: it would lose 17.92 whatever is done"
    dear = HAND.format(
        ceiling="ceiling = 150", more='[[tier]]\nname = "dear"\nfee = 75\nweeks = 99'
    )
    out, _ = asked(dear, inside="A")
    (row,) = out["assignments"]
    assert row["tier"] == "plain" and row["gain"]["value"] == -28.42
    assert row["fee_correction"] == pytest.approx(10.5) and row["chance_of_correction"] == 0.3
    assert out["wish_costs"]["value"] == 28.42
    assert "because it was asked" in row["says"]
    # One grade of three comes back: 80 - 166.916, 140 - 166.916, 210 - 166.916 - 35.
    assert row["gain"]["low90"] == pytest.approx(-86.916, abs=0.02)
    assert row["gain"]["high90"] == pytest.approx(8.084, abs=0.02)


def test_the_filler_case_says_why():
    out, _ = asked(FILLER)
    assert (
        out["total_gain"]["value"] == 52 and out["gap"] == 0 and out["status"] == "proved the best"
    )
    says = {row["item"]: row["says"] for row in out["assignments"]}
    assert "loses 8 by itself and leaves the plan 22 better" in says["Companion 02"]
    out, _ = asked(FILLER, outside="Companion 02")
    assert out["total_gain"]["value"] == 30 and out["wish_costs"]["value"] == 22
    assert stays(out, "Companion 02")["says"] == "stays, as asked"
    out, _ = asked(FILLER, closed="three or more")
    assert out["total_gain"]["value"] == 30


def test_waiting_for_two_more_is_said_with_what_it_saves():
    plan = FILLER.replace(
        "fixed = 10", 'fixed = 10\n[[shipment]]\nname = "next"\nweek = 4\nfixed = 10'
    )
    plan = plan.replace('name = "Companion 01"', 'name = "Companion 01"\nready_week = 3')
    plan = plan.replace('name = "Companion 02"', 'name = "Companion 02"\nready_week = 3')
    out, _ = asked(plan)
    assert out["first"]["verdict"] == "wait" and out["first"]["saves"]["value"] == 42
    assert "two of them not ready yet (Companion 01 and Companion 02)" in out["first"]["says"]
    row = next(one for one in out["assignments"] if one["item"] == "Annual")
    # Sooner: the Annual alone 20 - 10, Companion 01 alone 20 - 10; together 20 of 52.
    assert row["says"] == "waits for two more (Companion 01 and Companion 02); saves 32"


def test_what_was_found_is_held_against_the_rules_and_not_searched_again(monkeypatch):
    out, run = asked(FILLER)
    assert find_method(parcelling.METHOD).kind == "search" == run.kind

    def refuse(*_, **__):
        raise AssertionError("searched again")

    monkeypatch.setattr(parcelling, "search", refuse)
    again = run_method(run.method, run.subject, {}, run.inputs, run.params)
    assert again == run and parcelling.as_json(again) == out


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda d: d["best"]["goes"].pop("Companion 02"), "breaks a rule"),
        (
            lambda d: d["best"]["goes"].update({"Annual": ["as it is", "gone", "parcel"]}),
            "read back",
        ),
        (lambda d: d["best"].update(bound=5100), "passes the bound"),
        (lambda d: d["answers"][0].update(goes={}, stays=[]), "breaks a rule"),
        (lambda d: d.pop("answers"), "read back"),
    ],
)
def test_an_altered_plan_is_refused(change, says):
    _, run = asked(FILLER)
    data = json.loads(run.params["found"])
    change(data)
    with pytest.raises(ValueError, match=says):
        run_method(run.method, "plan", {}, params={**run.params, "found": json.dumps(data)})


def test_a_changed_price_changes_what_a_kept_plan_gains():
    _, run = asked(FILLER)
    found = json.loads(run.params["found"])
    found["best"]["bound"] = None
    found["answers"], found.pop("first") and None
    params = {"plan": FILLER.replace("fixed = 10", "fixed = 12"), "found": json.dumps(found)}
    again = parcelling.as_json(run_method(run.method, "plan", {}, params=params))
    assert again["total_gain"]["value"] == 50


def test_the_example_of_the_annual():
    plan = (EXAMPLES / "annual.toml").read_text(encoding="utf-8")
    out, run = asked(plan)
    assert {row["parcel"] for row in out["parcels"]} == {"parcel 1", "parcel 2", "parcel 3"}
    assert len(out["assignments"]) + len(out["not_sent"]) == 21
    fixed = sum(row["fixed"] for row in out["parcels"])
    whole = sum(row["gain"]["value"] for row in out["assignments"]) - fixed
    assert out["total_gain"]["value"] == pytest.approx(whole, abs=1e-9)
    for row in out["parcels"]:
        assert row["declared"] <= row["cap"]
    band = out["total_gain"]
    assert band["low90"] < band["value"] < band["high90"] and band["u"] > 0
    rows = list(csv.DictReader(io.StringIO(parcelling.packing_list(out))))
    assert len(rows) == len(out["assignments"])
    assert {row["item"]: float(row["declared"]) for row in rows} == {
        row["item"]: row["declared"] for row in out["assignments"]
    }
    assert all(one.unit in ("crowns", "1", "") for one in run.findings)
    assert {one.quantity for one in run.findings} <= set(NAMES)


# --- odd plans still get a useful answer ---------------------------------------------------------
def test_an_item_worth_nothing():
    out, _ = asked(
        PLAIN.replace("three = 80, four = 140, five = 210", "three = 0, four = 0, five = 0")
    )
    assert "worth nothing at any grade, and it would lose" in stays(out, "A")["says"]


def test_a_tier_whose_minimum_passes_its_maximum():
    odd = FILLER.replace("minimum = 3", "minimum = 3\nmaximum = 2")
    out, _ = asked(odd)
    assert out["total_gain"]["value"] == 30
    assert any("3 items at least and 2 at most" in says for says in out["warnings"])


def test_where_no_tier_is_open_the_first_answer_says_so():
    out, _ = asked(PLAIN.replace("fee = 40", "fee = 40\nminimum = 3\nmaximum = 2", 1))
    assert out["first"]["verdict"] == "keep"
    assert out["first"]["says"].startswith("Keep everything: no tier is open")


def test_mixed_currencies():
    foreign = FILLER.replace('name = "Companion 02"', 'name = "Companion 02"\ncurrency = "florets"')
    out, _ = asked(foreign)
    assert out["total_gain"]["value"] == 30
    assert "is in florets, and no rate" in stays(out, "Companion 02")["says"]
    rated = foreign.replace("[studio]", "[studio]\nrates = {florets = 2}")
    out, _ = asked(rated)
    # Twice 17 is 34 before the fee of 25: 35 + 35 + 9 - 10.
    assert out["total_gain"]["value"] == 69
    tier = FILLER.replace('name = "three or more"', 'name = "three or more"\ncurrency = "florets"')
    out, _ = asked(tier)
    assert out["total_gain"]["value"] == 30 and any("switched off" in s for s in out["warnings"])


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("fee = 40", "fee = 40\nto_year = 1930", "fits no tier's rule of age"),
        ("fee = 40", "fee = 40\nceiling = 100", "declared at 140 it passes the ceiling"),
        ('name = "A"', 'name = "A"\nready_week = 5', "after the last parcel"),
        ("per_item = 1.50", "per_item = 1.50\ncap = 90", "more than a parcel may be insured for"),
        ("fee = 40", "fee = 40\noff = true", "no tier is open"),
        ("fee = 40", "fee = 40\nminimum = 2", "too few for a minimum count"),
    ],
)
def test_why_nothing_takes_an_item(old, new, says):
    out, _ = asked(PLAIN.replace(old, new, 1))
    assert out["total_gain"]["value"] == 0 and says in stays(out, "A")["says"]


def test_a_wish_that_cannot_be():
    out, _ = asked(PLAIN.replace("fee = 40", "fee = 40\nminimum = 2", 1), inside="A")
    assert out["first"]["verdict"] == "impossible" and "cannot be" in out["first"]["says"]


def test_a_wish_that_the_first_parcel_cannot_keep():
    plan = FILLER.replace("fixed = 10", 'fixed = 10\n[[shipment]]\nname = "next"\nweek = 4')
    plan = plan.replace('name = "Companion 02"', 'name = "Companion 02"\nready_week = 3')
    out, _ = asked(plan, inside="Companion 02")
    assert "cannot be kept with parcel alone" in out["first"]["says"]
    assert out["first"]["saves"] is None and out["total_gain"]["value"] == 62


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("five = 0.3}", "five = 0.2}", "add up to 0.9 and must add up to 1"),
        ("fee = 40", "fee = 40.005", "two decimals at most"),
        ("fee = 40", "fee = -1", "lies between 0 and"),
        ("fee = 40", "fees = 40", "knows no 'fees'"),
        ("fee = 40", "", "needs its fee"),
        ("fee = 40", "fee = nan", "is a number"),
        ("value_now = 100", "", "needs value_now"),
        ('currency = "crowns"', "", "begins with .studio. and its currency"),
        ("five = 210", "six = 210", "has a chance and no value"),
        ('name = "plain"', "", "has no name"),
        ("year = 1936", "year = 36", "whole, 1400 to 2200"),
        ("[[item]]", "[[items]]", "knows no 'items'"),
        ("[studio]", "[studio", "no plan file"),
    ],
)
def test_what_cannot_be_read_is_said(old, new, says):
    with pytest.raises(ValueError, match=says):
        read_plan(PLAIN.replace(old, new, 1))


def test_typical_prices_are_brought_to_their_mean():
    """exp(0.30^2 / 2) = 1.046 of the typical price is got on average (closed form)."""
    way = (
        read_plan(PLAIN.replace("year = 1936", "year = 1936\nspread_log = 0.3"))
        .problem.items[0]
        .ways[0]
    )
    assert float(way.mean) == pytest.approx(14900 * 1.04603, rel=1e-5)


def test_names_that_are_not_there():
    for key in ("inside", "outside", "closed"):
        with pytest.raises(ValueError, match="the plan has no open"):
            parcelling.ask({"plan": PLAIN, key: "nobody"})
    with pytest.raises(ValueError, match="both go and stay"):
        parcelling.ask({"plan": PLAIN, "inside": "A", "outside": "A"})
