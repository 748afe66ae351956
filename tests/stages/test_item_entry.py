"""A collection's table becomes items, each with what was paid and where it is."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from quirewell.record.apply import fold
from quirewell.record.event import Event
from quirewell.record.nouns import ItemState
from quirewell.stages.item_entry import Row, drafts_of, look_items
from quirewell.stages.plain_table import TableError

TABLE = """Title,Year,Paid,Bought on,Condition,Box,Remarks
Copperbeck Garden Annual,1936,12.50,2024-05-01,"3.0, worn",shelf 2,from a house sale
Copperbeck Garden Annual,1936,14.00,2024-05-01,,,second copy
Larkmoor Almanac,,,2024-06-02,11,,
,1936,1,,,,
Larkmoor Almanac,1921,-3,,,,
=1+2,1921,3,,,,
Larkmoor Almanac,1922,5 €,2027-01-01,,,
Larkmoor Almanac,1923,,2024-07-01,0.5,,gift
"""


def opened(row: Row) -> ItemState:
    events = [
        Event(n, "x", n, draft.kind, draft.body, "", "", "", "", "")
        for n, draft in enumerate(drafts_of("x", row), 1)
    ]
    state = fold(events)
    assert state is not None
    return state


def test_rows_become_items_and_refused_rows_are_named() -> None:
    seen = look_items(TABLE, {"currency": "EUR"}, (), date(2026, 6, 1))
    assert [line for line, _ in seen.taken] == [2, 3, 9]
    said = {one.line: one.says for one in seen.aside}
    assert "between 0.5 and 10, got 11" in said[4]
    assert "no title" in said[5]
    assert "below nothing" in said[6]
    assert "formula" in said[7]
    assert "still to come" in said[8]
    state = opened(seen.taken[0][1])
    (cost,) = state.costs.values()
    assert (cost.amount, cost.currency, cost.day) == (Decimal("12.50"), "EUR", "2024-05-01")
    assert state.holdings["holding"].place == "shelf 2"
    assert state.grades["grade.before"].value == 3
    assert state.item.notes == "from a house sale"


def test_a_second_reading_opens_nothing_twice_and_two_copies_stay_two() -> None:
    first = look_items(TABLE, {}, (), date(2026, 6, 1))
    there = [opened(row) for _, row in first.taken]
    again = look_items(TABLE, {}, there, date(2026, 6, 1))
    assert not again.taken
    assert [one.line for one in again.doubled] == [2, 3, 9]
    assert len(look_items(TABLE, {}, there[:1], date(2026, 6, 1)).taken) == 2


def test_a_gift_keeps_its_day_in_words() -> None:
    seen = look_items(TABLE, {}, (), date(2026, 6, 1))
    assert opened(seen.taken[-1][1]).item.notes == "Bought on 2024-07-01. gift"


def test_only_a_title_is_needed() -> None:
    seen = look_items("title\nA\n", {}, ())
    assert seen.taken == ((2, Row("A")),)
    assert [draft.kind for draft in drafts_of("a", Row("A"))] == ["item.opened"]
    with pytest.raises(TableError, match="collection"):
        look_items("title\n", {}, ())
    assert "title" in look_items("a;b\n1;2\n", {}, ()).matched.problems[0].says


def test_mixed_currencies_in_one_row_are_refused_and_between_rows_are_not() -> None:
    rows = "title;paid;value\nA;8 €;9 £\nB;8 €;9 €\nC;7 £;\n"
    seen = look_items(rows, {}, ())
    assert [(row.title, row.currency) for _, row in seen.taken] == [("B", "EUR"), ("C", "GBP")]
    assert "GBP" in seen.aside[0].says
