"""Tables of sales in many hands, and the method that values by them."""

from __future__ import annotations

import math
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest

from quirewell.stages import sale_cells
from quirewell.stages.methods import run_method
from quirewell.stages.plain_table import TableError
from quirewell.stages.sale_columns import chosen, propose, read_sheet
from quirewell.stages.sale_table import Reading, read_rates, read_sales
from quirewell.stages.typed import Unreadable
from quirewell.stages.worthing import METHOD, as_json

EXAMPLES = Path(__file__).resolve().parents[2] / "examples/worth"
HEAD = "date,grade,price,currency\n"
FOUR = "2025-01-02,3,40,crowns\n2025-02-02,5,62,crowns\n2025-03-02,6,80,crowns\n2025-04-02,8,140,crowns\n"  # noqa: E501


def valued(sales: str = HEAD + FOUR, grade: str = "5", **more: str):
    params = {"sales": sales, "grade": grade, "today": "2026-01-01"} | more
    return as_json(run_method(METHOD, "item", {}, (), params))


@pytest.mark.parametrize(
    ("cell", "decimal", "value", "unit"),
    [
        ("£12.50", ".", "12.50", "GBP"),
        ("1.250,50 €", ",", "1250.50", "EUR"),
        ("EUR 80", ".", "80", "EUR"),
        ("1,250.00 crowns", ".", "1250.00", "crowns"),
        ("1'250.5", ".", "1250.5", ""),
        ("1 250,50", ",", "1250.50", ""),
        ("-3.20", ".", "-3.20", ""),
        ("(3.20)", ".", "-3.20", ""),
        ("$ 7", ".", "7", "$"),
        ("12,-", ",", "12", ""),
    ],
)
def test_money_in_many_hands(cell, decimal, value, unit) -> None:
    found = sale_cells.money(cell, decimal)
    assert (found.value, found.currency) == (Decimal(value), unit)


@pytest.mark.parametrize("cell", ["", "dear", "12.5.0", "1,25.00", "1.250"])
def test_what_is_no_money_is_refused(cell) -> None:
    with pytest.raises(Unreadable):
        sale_cells.money(cell, ".")


def test_an_amount_that_could_be_two_is_asked_for() -> None:
    assert sale_cells.decimal_sign(["1,250", "900"]) == ""
    with pytest.raises(Unreadable, match="two ways"):
        sale_cells.money("1,250", "")
    with pytest.raises(Unreadable, match="some amounts"):
        sale_cells.decimal_sign(["1,5", "2.5"])


@pytest.mark.parametrize(
    ("cell", "order", "wanted"),
    [
        ("2026-03-04", "", date(2026, 3, 4)),
        ("4.3.2026", "dmy", date(2026, 3, 4)),
        ("3/4/26", "mdy", date(2026, 3, 4)),
        ("4 March 2026", "", date(2026, 3, 4)),
        ("Mar 4, 2026", "", date(2026, 3, 4)),
        ("March 2026", "", date(2026, 3, 15)),
        ("2026-03", "", date(2026, 3, 15)),
        ("2026", "", date(2026, 7, 1)),
    ],
)
def test_days_in_many_hands(cell, order, wanted) -> None:
    assert sale_cells.day(cell, order) == wanted


def test_which_way_days_are_written_is_told_by_the_column_or_asked() -> None:
    assert sale_cells.day_order(["3/4/2025", "13/4/2025"]) == "dmy"
    assert sale_cells.day_order(["3/4/2025", "4/13/2025"]) == "mdy"
    assert sale_cells.day_order(["3.4.2025"]) == "dmy"
    assert sale_cells.day_order(["3/4/2025"]) == ""
    with pytest.raises(Unreadable, match="two kinds"):
        sale_cells.day_order(["13/4/2025", "4/13/2025"])
    with pytest.raises(TableError, match="line 2: is '3/4/2025' day first"):
        read_sales("date,grade,price\n3/4/2025,5,60\n")
    for cell in ("31.2.2025", "yesterday", "0"):
        with pytest.raises(Unreadable, match="is no date"):
            sale_cells.day(cell, "dmy")


def test_columns_are_proposed_by_names() -> None:
    sheet = read_sheet((EXAMPLES / "old-spreadsheet.csv").read_text())
    found = {one.field: sheet.header[one.place] for one in propose(sheet)}
    assert found == {"date": "Sold on", "grade": "Cond.", "price": "Hammer", "fee": "Commission",
                     "note": "Remarks", "item": "What"}  # fmt: skip


def test_columns_are_proposed_by_values_where_names_say_nothing() -> None:
    sheet = read_sheet("A;B;C\n3.4.2024;5,5;80 €\n13.4.2024;6;90 €\n")
    assert {one.field: one.place for one in propose(sheet)} == {"date": 0, "grade": 1, "price": 2}
    assert all(one.why == "by its values" for one in propose(sheet))


def test_a_name_that_values_speak_against_is_not_taken() -> None:
    sheet = read_sheet("price list,grade,amount\nspring,5,80\nautumn,6,90\n")
    assert {one.field: sheet.header[one.place] for one in propose(sheet)}["price"] == "amount"


def test_a_person_sets_the_columns_right() -> None:
    sheet = read_sheet("x,grade,price,price 2\n1,5,80,90\n")
    assert chosen(sheet, "")["price"] == 2
    assert chosen(sheet, "price=price 2")["price"] == 3
    assert chosen(sheet, "price=4, fee=none")["price"] == 3
    for wrong in ("price", "colour=x", "price=9", "price=none"):
        with pytest.raises(TableError):
            chosen(sheet, wrong)


def test_two_unnamed_columns_that_could_both_be_it_are_asked_for() -> None:
    with pytest.raises(TableError, match="which column is the grade"):
        chosen(read_sheet("a,b,price\n5,6,80.50\n6,7,90.50\n"), "")


def test_two_columns_whose_names_could_both_be_it_are_asked_for() -> None:
    sheet = read_sheet("grade,hammer,total paid\n5,60,72\n")
    with pytest.raises(
        TableError, match=r"price: 'hammer' \(number 2\) or 'total paid' \(number 3"
    ):
        chosen(sheet, "")
    assert chosen(sheet, "price=3")["price"] == 2
    with pytest.raises(TableError, match="price: 'price'"):
        chosen(read_sheet("grade,price,price\n5,60,72\n"), "")
    with pytest.raises(TableError, match="no names"):
        read_sheet("5,60\n6,70\n")


def test_columns_taken_under_other_names_are_said() -> None:
    out = valued("cond,hammer\n3,40\n5,62\n6,80\n8,140\n")
    assert any("grade = 'cond', price = 'hammer'" in one for one in out["warnings"])


def test_an_item_that_is_not_in_the_table_is_said_where_a_range_was_typed() -> None:
    out = valued("item,grade,price\na,3,50\n", item="b", low="60", likely="90", high="160")
    assert out["n_used"] == 0 and any("No sale is of 'b'" in one for one in out["warnings"])


def test_sales_that_do_not_scatter_say_so() -> None:
    out = valued("grade,price\n" + "".join(f"{g},10\n" for g in range(1, 10)))
    assert any("scatter less than prices are rounded" in one for one in out["warnings"])


def test_grade_eleven_is_refused_with_its_line() -> None:
    with pytest.raises(TableError, match=r"line 6: a grade lies above 0 and up to 10, got 11"):
        read_sales(HEAD + FOUR + "2025-05-02,11,60,crowns\n")


def test_a_price_of_nothing_is_set_aside_and_said() -> None:
    out = valued(HEAD + FOUR + "2025-05-02,5,0,crowns\n2025-05-03,5,-4,crowns\n2025-05-03,5,,\n")
    assert out["n_used"] == 4
    assert [one["line"] for one in out["set_aside"]] == [6, 7, 8]
    assert "price is 0" in out["set_aside"][0]["says"] and "-4" in out["set_aside"][1]["says"]


def test_rows_alike_in_all_count_once_and_are_named() -> None:
    found = read_sales(HEAD + FOUR + "2025-04-02,8,140,crowns\n")
    assert len(found.records) == 4
    assert found.aside[0].line == 6 and "line 5" in found.aside[0].says
    undated = read_sales("grade,price\n5,60\n5,60\n")
    assert len(undated.records) == 2 and any("Lines 2 and 3" in one for one in undated.notes)


def test_sales_without_a_date_are_used_and_said() -> None:
    out = valued("grade,price\n3,40\n5,62\n6,80\n8,140\n")
    assert out["n_used"] == 4 and out["trend"] is None and out["age_years"] is None
    assert any("4 sales have no date" in one for one in out["warnings"])


def test_a_day_to_come_is_refused() -> None:
    with pytest.raises(ValueError, match="line 2: 2025-01-02 lies after 2024-12-31"):
        valued(today="2024-12-31")


def test_mixed_currencies_need_rates() -> None:
    mixed = HEAD + FOUR + "2025-05-02,5,240,guilders\n2024-05-02,5,240,guilders\n"
    with pytest.raises(ValueError, match=r"crowns, guilders.*--rates"):
        valued(mixed)
    rates = "currency,rate,date\nguilders,0.25,2025-01-01\nguilders,0.3,2025-06-01\nguilders,0.2,2023-01-01\n"  # noqa: E501
    out = valued(mixed, rates=rates)
    assert out["currency"] == "crowns" and out["n_used"] == 6
    how = Reading(rates=read_rates(rates)[0])
    prices = [one.price for one in read_sales(mixed, how).records]
    assert prices[-2:] == [Decimal("60.00"), Decimal("48.0")]  # the latest rate up to each day
    with pytest.raises(TableError, match="line 2: a rate"):
        read_rates("currency,rate,date\nguilders,0,2025-01-01\n")


def test_a_sign_and_a_column_that_differ_are_refused() -> None:
    with pytest.raises(TableError, match="line 2: the price is in GBP, the column says EUR"):
        read_sales("grade,price,currency\n5,£60,EUR\n")
    assert read_sales("grade,price,currency\n5,$60,USD\n").currency == "USD"
    with pytest.raises(TableError, match="line 3: it names no currency"):
        read_sales("grade,price\n5,£60\n6,70\n")


def test_fees_are_sums_or_shares() -> None:
    found = read_sales("grade,price,fee\n5,60,10 %\n6,80,4\n")
    assert [one.fee for one in found.records] == [Decimal("6.0"), Decimal("4")]
    with pytest.raises(TableError, match="line 2: a fee lies between"):
        read_sales("grade,price,fee\n5,60,70\n")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "has a header"),
        ("grade,price\n", "at least one row"),
        ("grade,price\n5,60,7\n", "line 2 has 3 cells"),
        ('grade,price\n5,"60\n', "line 2 cannot be read"),
        ("grade,price\nfine,60\n5,50\n6,40\n", "line 2: 'fine' is no grade"),
        ("a\0b", "no text"),
    ],
)
def test_a_table_that_cannot_be_read_is_refused_in_a_sentence(text, says) -> None:
    with pytest.raises(TableError, match=says):
        read_sales(text)


def test_the_old_table_is_read_as_it_stands() -> None:
    found = read_sales((EXAMPLES / "old-spreadsheet.csv").read_text())
    assert found.currency == "EUR" and len(found.records) == 12 and len(found.aside) == 1
    assert all(one.day is not None and one.fee is not None for one in found.records)


def test_four_sales_give_80_per_cent_and_three_none() -> None:
    out = valued()
    assert out["interval"]["level"] == 0.8 and out["band"] == out["interval"]
    assert out["interval"]["low"] < out["median"]["value"] < out["interval"]["high"]
    assert out["mean"]["value"] > out["median"]["value"]
    three = valued(HEAD + FOUR[: FOUR.rindex("2025-04")])
    assert (
        three["interval"] is None and three["band"] is None and "3 of the 4" in three["no_interval"]
    )
    assert three["mean"]["value"] is None and "no interval" in three["says"]


def test_typed_numbers_stand_alone_and_move_with_sales() -> None:
    typed = {"low": "60", "likely": "90", "high": "160"}
    alone = as_json(run_method(METHOD, "item", {}, (), {"grade": "5"} | typed))
    assert alone["n_used"] == 0 and alone["interval"] is None
    assert alone["mean"]["value"] == pytest.approx(580 / 6)
    one = valued(HEAD + "2025-01-02,5,40,crowns\n", **typed)
    assert one["median"]["value"] < alone["median"]["value"]
    assert one["typed_counts_as_sales"] == 2 and one["typed_band"] is not None
    assert any("PERT" in says for says in one["warnings"])
    assert any("counts as 2 sales" in says for says in one["warnings"])
    with pytest.raises(ValueError, match="give likely too"):
        valued(low="60", high="90")


def test_a_grade_outside_the_records_says_extrapolation() -> None:
    out = valued(grade="10")
    assert out["interval"] is None and "2 outside" in out["no_interval"]
    assert any("An extrapolation" in one for one in out["warnings"])
    assert not any("An extrapolation" in one for one in valued()["warnings"])


def test_an_applied_trend_stops_a_year_beyond_the_newest_sale() -> None:
    rows = [
        f"{2018 + n // 3}-0{1 + 4 * (n % 3)}-10,{3 + n % 5},"
        f"{math.exp(3 + 0.25 * (3 + n % 5) + 0.2 * n / 3 + 0.03 * (-1) ** (n // 2)):.2f},crowns"
        for n in range(18)
    ]
    sales = HEAD + "\n".join(rows)
    near, far = (valued(sales, today=day) for day in ("2024-09-09", "2026-01-01"))
    assert near["trend"]["applied"] and near["trend"]["value"] == pytest.approx(22.1, abs=2)
    assert far["median"]["value"] == pytest.approx(near["median"]["value"], rel=1e-3)
    assert any("carried to 2024-09-09" in one for one in far["warnings"])
    assert far["age_years"]["newest"] > 2


def test_an_account_is_made_at_the_sale_or_at_the_mean() -> None:
    sold = valued(cost="40", materials="3,20", hours="2", hourly="15", fee_pct="12", sold_for="150")
    assert sold["account"]["profit"]["text"] == "58.80"
    assert sold["account"]["per_hour"]["text"] == "44.40"
    at_mean = valued(cost="40")["account"]
    assert at_mean["lines"][0]["amount"] == f"{valued()['mean']['value']:.2f}"
    assert "even" in at_mean["rounding"] and valued()["account"] is None
    with pytest.raises(ValueError, match="needs what was paid"):
        valued(hours="2")


def test_numbers_carry_uncertainty_and_the_run_is_the_same_again() -> None:
    params = {"sales": (EXAMPLES / "sales.csv").read_text(), "grade": "6", "today": "2026-01-01"}
    one, two = (run_method(METHOD, "item", {}, (), params) for _ in range(2))
    assert one == two and one.kind == "exact"
    out = as_json(one)
    for key in ("median", "mean", "per_grade_pct", "scatter_log", "trend"):
        assert out[key]["u"] > 0 and out[key]["low90"] < out[key]["value"] < out[key]["high90"]
    assert out["set_aside"] == [] and out["fee_pct"]["value"] == pytest.approx(12, abs=0.1)


def test_what_is_asked_wrongly_is_said() -> None:
    for more, says in (
        ({"grade": "11"}, "a grade lies above 0 and up to 10"),
        ({"grade": ""}, "say which grade"),
        ({"item": "nothing"}, "no sale is of 'nothing'"),
        ({"today": "soon"}, "is no day"),
        ({"colour": "x"}, "knows no parameter 'colour'"),
        ({"decimal": "dash"}, "decimal is one of"),
        ({"sales": ""}, "give a table of sales"),
    ):
        with pytest.raises(ValueError, match=says):
            valued(**more)
