"""``bid.highest`` from text: hand cases in cents, own sales, currencies, ugly input."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from quirewell.science.planning.typed_range import Range
from quirewell.stages import bidding
from quirewell.stages.asking import NAMES
from quirewell.stages.bid_text import OfferError, read_offer
from quirewell.stages.bid_told import letter
from quirewell.stages.buying_signs import built_in, faults_and_signs, signs_in_force
from quirewell.stages.methods import run_method
from quirewell.stages.plain_table import TableError

SALES = Path("examples/worth/sales.csv").read_text(encoding="utf-8")
SURE = {"low": "100", "likely": "100", "high": "100"}
COSTS = {"post": "5", "hours": "1", "hourly": "10", "fee_pct": "10", "currency": "crowns"}


def asked(**params: str) -> dict[str, Any]:
    run = run_method(bidding.METHOD, "item", {}, (), params)
    return bidding.as_json(run)


def test_the_highest_bid_by_hand_with_the_shipped_table() -> None:
    """100 x product of (1 - chance (1 - mean factor)) x .9 - 15, the means by (l + 4 m + h) / 6."""
    left = 100.0
    for fault in faults_and_signs(built_in())[0]:
        factor = fault.factor
        assert isinstance(factor, Range)
        mean = (factor.low + 4 * factor.likely + factor.high) / 6
        left *= 1 - fault.chance * (1 - mean)
    out = asked(**SURE, **COSTS)
    assert out["highest"]["value"] == int(100 * (left * 0.9 - 15)) / 100
    assert out["spent"]["value"] == 15.0
    assert out["highest"]["unit"] == "crowns"


def test_a_lower_asking_price_gains_more_and_loses_less_often() -> None:
    dear, cheap = (asked(**SURE, **COSTS, asking=price) for price in ("60", "20"))
    assert cheap["gain"]["value"] - dear["gain"]["value"] == pytest.approx(40.0)
    losses = [one["chance_of_loss_pct"]["at_asking"] for one in (dear, cheap)]
    assert losses[1] < losses[0]
    assert "above the highest bid" in dear["says"]
    assert cheap["one_in_five"]["value"] < cheap["one_in_two"]["value"]


def test_own_sales_at_a_band_of_grades() -> None:
    out = asked(sales=SALES, grade="5.5", grade_low="3.5", grade_high="6.5", fee_pct="10")
    sure = asked(sales=SALES, grade="5.5", grade_low="5.5", grade_high="5.5", fee_pct="10")
    assert "24 own sales" in out["model"] and "3.5 to 6.5" in out["model"]
    assert out["highest"]["u"] > 0
    assert out["highest"]["value"] < sure["highest"]["value"], "the band reaches down farther"


def test_a_typed_range_beside_sales_counts_at_the_likely_grade() -> None:
    alone = asked(sales=SALES, grade="5.5")
    with_typed = asked(sales=SALES, grade="5.5", low="300", likely="400", high="500")
    assert with_typed["highest"]["value"] > alone["highest"]["value"]


def test_less_is_enough() -> None:
    one = asked(likely="100")
    ends = asked(low="50", high="200")
    assert one["highest"]["value"] == ends["highest"]["value"], "half to twice, the middle between"
    assert any("No fee" in line for line in one["warnings"])


def test_answers_move_the_bid_and_close_questions() -> None:
    free = asked(**SURE)
    fine = asked(**SURE, answers="page_count = fine")
    seen = asked(**SURE, answers="page_count = seen")
    assert seen["highest"]["value"] < free["highest"]["value"] < fine["highest"]["value"]
    moved = next(one for one in free["questions"] if one["sign"] == "page_count")
    assert moved["highest_if_fine"] == fine["highest"]["value"]
    assert moved["highest_if_seen"] == seen["highest"]["value"]
    assert all(one["sign"] != "page_count" for one in fine["questions"])


def test_an_answer_is_worth_most_where_it_can_change_the_decision() -> None:
    out = asked(**SURE, **COSTS, asking="50")
    worths = [one["worth"] for one in out["questions"]]
    assert worths == sorted(worths, reverse=True) and worths[0] > 0
    assert out["narrows"].startswith("Ask first: ")
    assert "No single answer" in asked(**SURE, **COSTS, asking="1")["narrows"]


def test_two_currencies_are_refused_unless_a_rate_is_given() -> None:
    with pytest.raises(ValueError, match="give exchange"):
        asked(**SURE, currency="crowns", offer_currency="marks", asking="10")
    out = asked(**SURE, currency="crowns", offer_currency="marks", asking="100", exchange="0.5")
    same = asked(**SURE, currency="crowns", asking="50")
    assert out["gain"] == same["gain"]
    assert out["offered"]["unit"] == "marks"
    assert out["offered"]["value"] == pytest.approx(2 * same["highest"]["value"], abs=0.021)


def test_a_grade_without_sales_is_said_to_say_nothing() -> None:
    plain, graded = asked(likely="70"), asked(likely="70", grade="5")
    assert plain["highest"] == graded["highest"]
    assert any("Without own sales" in line for line in graded["warnings"])
    with pytest.raises(ValueError, match="up to 10"):
        asked(likely="70", grade="11")


def test_a_bid_of_next_to_nothing_is_said_so() -> None:
    assert "next to nothing" in asked(likely="50", want_pct="100000")["says"]


def test_nothing_pays_and_nothing_is_worth() -> None:
    lost = asked(likely="10", hours="5", hourly="20")
    assert lost["highest"]["value"] == 0.0 and lost["would_lose"] > 0
    assert lost["says"].startswith("At no price")
    nothing = asked(low="0", likely="0", high="0", post="4")
    assert nothing["highest"]["value"] == 0.0 and "4.00" in nothing["says"]


@pytest.mark.parametrize(
    ("params", "says"),
    [
        ({}, "say what it would bring"),
        ({"likely": "-5"}, "0 or more"),
        ({"low": "100", "likely": "50", "high": "200"}, "go up"),
        ({"likely": "ten"}, "ten"),
        ({"likely": "100", "fee_pct": "100"}, "below 100"),
        ({"likely": "100", "post": "-1"}, "post is 0 or more"),
        ({"likely": "1e400"}, "number"),
        ({"likely": "100", "disclosed": "0.5 0.8"}, "one factor"),
        ({"likely": "100", "disclosed": "0"}, "one factor"),
        ({"likely": "100", "months": "120", "wait_pct": "20"}, "all of the price"),
        ({"likely": "100", "answers": "horns = seen"}, "no sign 'horns'"),
        ({"likely": "100", "answers": "page_count = maybe"}, "one of not seen, seen"),
        ({"likely": "100", "signs": "sign,fault\na,b"}, "name is not there"),
        ({"sales": SALES}, "which grade"),
        ({"sales": SALES, "grade": "11"}, "above 0 and up to 10"),
        ({"sales": SALES, "grade": "5", "grade_low": "7", "grade_high": "8"}, "go up"),
        ({"sales": "grade,price,currency\n5,10,a\n6,12,b", "grade": "5"}, "currenc"),
        ({"likely": "100", "colour": "red"}, "knows no parameter"),
    ],
)
def test_ugly_input_is_a_sentence(params: dict[str, str], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        asked(**params)


def test_the_table_says_where_to_look_and_what_settles_it() -> None:
    rows = built_in()
    assert all((one.where, one.looks, one.ask, one.settles) for one in rows)
    assert all(one.hit > one.false for one in rows), "a sign speaks for its fault"
    faults = {one.fault for one in rows}
    assert {"trimmed edges", "colour touched in", "glue in the fold", "married wraps",
            "missing leaves", "restoration"} <= faults  # fmt: skip
    married = {one.sign for one in rows if one.fault == "married wraps"}
    assert married == {"wrap_tone", "wrap_size", "page_run", "holes_match"}


def test_own_rows_replace_and_add() -> None:
    own = (
        "sign,fault,name,where,looks,ask,settles,hit,false,chance,low,likely,high\n"
        "stamp,library stamp,A stamp,title page,a round stamp,Is there a stamp?,a photo,"
        "0.9,0.01,0.2,0.7,0.8,0.9\n"
    )
    rows = signs_in_force(own)
    assert len(rows) == len(built_in()) + 1
    assert any(one["fault"] == "library stamp" for one in asked(likely="9", signs=own)["faults"])
    for bad, says in (
        ("sign,fault,name,ask,hit,false\nx,y,Y,q,0.5,0.1\n", "no row says chance"),
        ("sign,fault,name,ask,hit,false\nx,y,Y,q,1.5,0.1\n", "share above 0 and below 1"),
        (own.replace("0.7,0.8,0.9", "0.9,0.8,0.7"), "going up"),
    ):
        with pytest.raises(TableError, match=says):
            faults_and_signs(signs_in_force(bad))


def test_an_offer_as_a_file() -> None:
    title, params = read_offer(
        '[offer]\ntitle = "T"\nasking = 5\n[value]\nsales = "a.csv"\n[selling]\n'
        'disclosed = [0.6, 0.8, 0.9]\n[answers]\npage_count = "seen"\n',
        lambda name: f"<{name}>",
    )
    assert title == "T"
    assert params == {"asking": "5", "sales": "<a.csv>", "disclosed": "0.6 0.8 0.9",
                      "answers": "page_count = seen"}  # fmt: skip
    for text, says in (
        ("[offer", "cannot be read as TOML"),
        ("[ofer]\na=1", "no table"),
        ("asking = 3", "no table"),
        ("[offer]\nasked = 3", "knows no 'asked'"),
        ("[offer]\npost = 3\n[work]\npost = 4", "there twice"),
        ("[offer]\npost = true", "number or a word"),
    ):
        with pytest.raises(OfferError, match=says):
            read_offer(text, str)


def test_the_letter_numbers_the_questions_and_asks_for_no_harm() -> None:
    text = letter("Copperbeck Garden Annual", built_in()[:2])
    assert "1. Could you lay a steel rule" in text and "2. " in text
    assert "do not bend" in text
    assert letter("x", []) == ""


def test_every_quantity_of_a_bid_has_a_name() -> None:
    run = run_method(bidding.METHOD, "item", {}, (), {**SURE, **COSTS, "asking": "50"})
    assert {one.quantity for one in run.findings} <= set(NAMES)
