"""Sales typed by hand and tables looked at before they are kept."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from quirewell.record.apply_bench import apply_bench
from quirewell.record.bench import EMPTY_BENCH, BenchState
from quirewell.record.event import Draft, Event
from quirewell.stages.column_match import MOST_ROWS, TABLE_BYTES, table_text
from quirewell.stages.plain_table import TableError
from quirewell.stages.refusal import Refusal
from quirewell.stages.sale_entry import aside_table, keep_sale, keep_table, look

TODAY = date(2026, 6, 1)
TABLE = """Title;Sold on;Cond;Hammer;Fee;Where
Copperbeck Garden Annual;31.3.2025;4,5, very good;1.250,00 €;12 %;fair
Copperbeck Garden Annual;1.4.2025;11;80 €;;slip
Copperbeck Garden Annual;;3,0;70,50 €;;no date
Larkmoor Almanac;2.4.2025;;40 £;;another currency
Larkmoor Almanac;2.4.2025;4,0;=A1*2;;formula
=HYPERLINK("x");2.4.2025;4,0;12 €;;formula
Larkmoor Almanac;2.4.2025;4,0;0 €;;unsold
"""


def after(bench: BenchState, drafts: tuple[Draft, ...]) -> BenchState:
    for draft in drafts:
        event = Event(1, "studio", bench.version + 1, draft.kind, draft.body, "", "", "", "", "")
        bench = apply_bench(bench, event)
    return bench


def test_one_sale_needs_a_title_and_a_price_only() -> None:
    books = after(EMPTY_BENCH, keep_sale(EMPTY_BENCH, {"title": "A", "price": "82,50 €"}))
    (sale,) = books.sales.values()
    assert (sale.price, sale.currency, sale.grade, sale.on) == (Decimal("82.50"), "EUR", None, "")


@pytest.mark.parametrize(
    ("form", "field", "words"),
    [
        ({"price": "8"}, "title", "working title"),
        ({"title": "A"}, "price", "no amount"),
        ({"title": "A", "price": "0"}, "price", "above 0"),
        ({"title": "A", "price": "1,250"}, "price", "two ways"),
        ({"title": "A", "price": "8", "grade": "11"}, "grade", "up to 10, got 11"),
        ({"title": "A", "price": "8 €", "currency": "GBP"}, "price", "which is it"),
        ({"title": "A", "price": "8", "fees": "9"}, "fees", "between 0 and the price"),
        ({"title": "A", "price": "8", "on": "3/4/2025"}, "on", "day first or month first"),
    ],
)
def test_a_sale_that_cannot_be_is_refused_at_its_box(form, field, words) -> None:
    with pytest.raises(Refusal) as caught:
        keep_sale(EMPTY_BENCH, form)
    problem = caught.value.problems[0]
    assert problem.field == field
    assert words in problem.says
    assert "--" not in problem.says


def test_a_table_is_read_row_by_row_and_what_is_wrong_is_set_aside() -> None:
    seen = look(EMPTY_BENCH, TABLE, {}, TODAY)
    assert [(line, str(one.price), one.currency, one.on) for line, one in seen.taken] == [
        (2, "1250.00", "EUR", "2025-03-31"),
        (4, "70.50", "EUR", ""),
        (5, "40", "GBP", "2025-04-02"),
    ]
    assert seen.taken[0][1].fees == Decimal("150.00")
    said = {one.line: one.says for one in seen.aside}
    assert "got 11" in said[3]
    assert "no amount" in said[6]
    assert "formula" in said[7]
    assert "above 0" in said[8]
    assert [one.field for one in seen.matched.columns] == [
        "item", "date", "grade", "price", "fee", "note",
    ]  # fmt: skip


def test_the_same_table_twice_adds_nothing() -> None:
    books = after(EMPTY_BENCH, keep_table(EMPTY_BENCH, look(EMPTY_BENCH, TABLE, {}), "sales.csv"))
    assert len(books.sales) == 3
    again = look(books, TABLE, {})
    assert not again.taken
    assert [one.line for one in again.doubled] == [2, 4, 5]
    with pytest.raises(Refusal, match="no new sale"):
        keep_table(books, again, "sales.csv")


def test_rows_alike_in_all_count_once_unless_the_note_parts_them() -> None:
    rows = "title,date,price,note\nA,2025-01-02,8,\nA,2025-01-02,8,\nA,2025-01-02,8,second\n"
    seen = look(EMPTY_BENCH, rows, {})
    assert [line for line, _ in seen.taken] == [2, 4]
    assert "alike line 2" in seen.doubled[0].says


def test_columns_are_set_right_by_hand() -> None:
    rows = "what,value,amount\nA,8,9\n"
    form = {"col.0": "item", "col.1": "price", "col.2": ""}
    assert look(EMPTY_BENCH, rows, form).taken[0][1].price == 8
    twice = look(EMPTY_BENCH, rows, form | {"col.2": "price"})
    assert not twice.taken
    assert "Two columns" in twice.matched.problems[0].says
    without = look(EMPTY_BENCH, "price\n8\n", {})
    assert "title" in without.matched.problems[0].says
    assert look(EMPTY_BENCH, "price\n8\n", {"title": "A"}).taken[0][1].title == "A"


def test_what_can_be_read_two_ways_is_asked_for() -> None:
    rows = "title;date;price\nA;3/4/2025;1,250\n"
    fields = [one.field for one in look(EMPTY_BENCH, rows, {}).matched.problems]
    assert fields == ["decimal", "days"]
    told = look(EMPTY_BENCH, rows, {"decimal": "point", "days": "mdy"})
    assert (told.taken[0][1].price, told.taken[0][1].on) == (1250, "2025-03-04")


def test_a_day_to_come_is_set_aside() -> None:
    seen = look(EMPTY_BENCH, "title,date,price\nA,2027-01-01,8\n", {}, TODAY)
    assert "still to come" in seen.aside[0].says


def test_a_whole_table_can_be_set_aside() -> None:
    books = after(EMPTY_BENCH, keep_sale(EMPTY_BENCH, {"title": "B", "price": "5"}))
    books = after(books, keep_table(books, look(books, TABLE, {}), "sales.csv"))
    left = after(books, aside_table(books, {"came": "sales.csv"}))
    assert [one.title for one in left.sales.values()] == ["B"]
    with pytest.raises(Refusal):
        aside_table(left, {"came": ""})


@pytest.mark.parametrize("coding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_tables_are_read_in_the_encodings_spreadsheets_export(coding: str) -> None:
    seen = look(EMPTY_BENCH, table_text("title;price\nGrün;80 €\n".encode(coding)), {})
    assert (seen.taken[0][1].title, seen.taken[0][1].currency) == ("Grün", "EUR")


def test_what_is_no_table_is_refused_in_words() -> None:
    with pytest.raises(TableError, match="save it as CSV"):
        table_text(b"PK\x03\x04sheet")
    with pytest.raises(TableError, match="at most 2 MB"):
        table_text(b"a" * (TABLE_BYTES + 1))
    many = "t,price\n" + "A,1\n" * (MOST_ROWS + 1)
    with pytest.raises(TableError, match=f"{MOST_ROWS + 1} rows"):
        look(EMPTY_BENCH, many, {})


def test_two_sales_of_one_day_known_by_their_notes_are_both_known_again() -> None:
    rows = "title,date,price,note\nA,2025-01-02,8,one\nA,2025-01-02,8,two\n"
    books = after(EMPTY_BENCH, keep_table(EMPTY_BENCH, look(EMPTY_BENCH, rows, {}), "x"))
    assert len(books.sales) == 2
    assert not look(books, rows, {}).taken
