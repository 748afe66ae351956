"""The order of a gathering from its printed pages: every fault planted is named, and no other."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quirewell.science.booklet.gathering import wrap_pages
from quirewell.science.booklet.order import Found, check_order

TURNS = {"inside out": (2, 3, 0, 1), "head down": (1, 0, 3, 2),
         "inside out and head down": (3, 2, 1, 0)}  # fmt: skip


def pages(wrap: int, wraps: int, first: int = 1) -> tuple[int, ...]:
    one = wrap_pages(wrap, wraps)
    return tuple(
        page + first - 1
        for page in (one.outer_left, one.outer_right, one.inner_left, one.inner_right)
    )


def gathering(wraps: int, first: int = 1) -> list[Found]:
    return [Found(f"w{i:02d}", i, pages(i, wraps, first)) for i in range(1, wraps + 1)]


@pytest.mark.parametrize(("wraps", "first"), list(itertools.product((1, 2, 9, 16), (1, 5))))
def test_a_whole_gathering_has_no_fault(wraps, first) -> None:
    order = check_order(gathering(wraps, first), wraps, first)
    assert order.told == () and order.read == wraps
    assert [place.wrap for place in order.places] == list(range(1, wraps + 1))
    # Two pages on a side add up to 4 n + 1 (common practice, no source), moved by the first page.
    for _, made in order.pairs:
        assert made[0] + made[1] == made[2] + made[3] == 4 * wraps + 1 + 2 * (first - 1)


@pytest.mark.parametrize(("faced", "turn"), list(TURNS.items()))
def test_a_sheet_that_lay_the_other_way_is_named(faced, turn) -> None:
    sheets = gathering(9)
    made = pages(4, 9)
    sheets[3] = Found("w04", 4, tuple(made[at] for at in turn))
    order = check_order(sheets, 9)
    assert [(one.kind, one.sheet) for one in order.told] == [("reversed", "w04")]
    assert f"lay {faced}" in order.told[0].says
    assert order.places[3].wrap == 4


def test_two_sheets_changed_about() -> None:
    sheets = gathering(9)
    sheets[2], sheets[5] = Found("a", 3, pages(6, 9)), Found("b", 6, pages(3, 9))
    told = [one for one in check_order(sheets, 9).told if one.kind == "out of order"]
    assert {one.sheet for one in told} == {"a", "b"}
    assert "its pages are those of wrap 6" in told[0].says


def test_a_missing_and_a_doubled_wrap() -> None:
    sheets = gathering(9)
    sheets[4] = Found("again", 5, pages(4, 9))
    order = check_order(sheets, 9)
    kinds = {one.kind: one.says for one in order.told}
    assert kinds["doubled"] == "w04 and again both carry the pages of wrap 4"
    assert kinds["missing"].startswith("wrap 5 is not there: nothing carries pages 9, 10, 27, 28")
    del sheets[4]
    assert [one.kind for one in check_order(sheets, 9).told] == ["missing"]


def test_wraps_nobody_looked_at_are_not_called_missing() -> None:
    sheets = gathering(9)[:2]
    assert check_order(sheets, 9, unseen=7).told == ()
    told = check_order(sheets, 9, unseen=6).told
    assert len(told) == 7 and "unless it is one of 6 that could not be placed" in told[0].says


def test_a_foreign_sheet_by_its_sum_and_by_its_number() -> None:
    sheets = gathering(9)
    sheets[6] = Found("odd", 7, pages(7, 11))
    order = check_order(sheets, 9)
    assert ("foreign", "odd") in [(one.kind, one.sheet) for one in order.told]
    assert "must add up to 37" in next(one.says for one in order.told if one.kind == "foreign")
    sheets[6] = Found("far", 7, (99, None, None, None))
    says = [one.says for one in check_order(sheets, 9).told if one.kind == "foreign"]
    assert says == ["far: page 99 cannot be in an item of pages 1 to 36"]


def test_unread_and_blank_pages_are_told_and_not_guessed() -> None:
    sheets = gathering(3)
    sheets[1] = Found("w02", 2, ("?", "?", None, None))
    order = check_order(sheets, 3)
    assert order.places[1].wrap is None and order.read == 2
    assert [one.kind for one in order.told] == ["unread"]
    sheets[1] = Found("w02", 2, (10, 3, None, 9))
    assert [(one.kind, one.says) for one in check_order(sheets, 3).told] == [
        ("blank verso", "w02: no number on page 4 (inner left)")
    ]


def test_a_leaf_without_numbers_is_an_insert() -> None:
    sheets = [*gathering(3), Found("plate", 4, (None, None, None, None))]
    order = check_order(sheets, 3)
    assert [(one.kind, one.sheet) for one in order.told] == [("insert", "plate")]


def test_one_number_is_enough() -> None:
    sheets = [Found("x", 1, (None, 5, None, None))]
    assert check_order(sheets, 9).places[0].wrap == 3


@given(st.integers(2, 14), st.data())
def test_any_order_is_told_by_the_fewest_sheets(wraps, data) -> None:
    order = data.draw(st.permutations(range(1, wraps + 1)))
    sheets = [Found(f"s{wrap}", at, pages(wrap, wraps)) for at, wrap in enumerate(order, 1)]
    told = check_order(sheets, wraps).told
    assert all(one.kind == "out of order" for one in told)
    left = [wrap for wrap in order if f"s{wrap}" not in {one.sheet for one in told}]
    assert left == sorted(left)
    assert bool(told) == (list(order) != sorted(order))


@pytest.mark.parametrize(
    ("sheets", "wraps", "says"),
    [
        ([], 0, "between 1 and 99"),
        ([Found("w01", 1, (1, 2))], 1, "needs four pages"),
        ([Found("a", 1, (4, 1, 2, 3)), Found("b", 1, (4, 1, 2, 3))], 2, "cannot both be number 1"),
    ],
)
def test_what_cannot_be_is_a_sentence(sheets, wraps, says) -> None:
    with pytest.raises(ValueError, match=says):
        check_order(sheets, wraps)
