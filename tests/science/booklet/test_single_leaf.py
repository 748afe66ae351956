"""Single leaves among wraps: planted gatherings, numbered by laying the pages one after another."""

from __future__ import annotations

import random

import pytest

from quirewell.science.booklet.order import Found, check_order
from quirewell.science.booklet.single_leaf import Leaf, rule_of


def numbered(wraps: int, first: int, behind: tuple[int, ...] = ()) -> tuple[list[Found], list[int]]:
    """A gathering read through from front to back, each page given the next number; leaves lie
    behind the physical wrap pages ``behind`` and are counted. The wraps, and the leaves' fronts."""
    number = first
    printed: dict[int, int] = {}
    fronts = []
    for page in range(4 * wraps + 1):
        if page:
            printed[page] = number
            number += 1
        for _ in range(behind.count(page)):
            fronts.append(number)
            number += 2
    last = 4 * wraps
    sheets = [
        Found(
            f"Wrap {wrap}", wrap,
            tuple(printed[p] for p in (last - 2 * wrap + 2, 2 * wrap - 1, 2 * wrap,
                                       last - 2 * wrap + 1)),
        )
        for wrap in range(1, wraps + 1)
    ]  # fmt: skip
    return sheets, fronts


def kinds(order):
    return [one.kind for one in order.told]


@pytest.mark.parametrize("wraps", [1, 2, 9, 14])
@pytest.mark.parametrize("first", [1, 3, 2])
def test_the_rule_is_the_numbering_read_through(wraps, first):
    for behind in ((), (0,), (2,), (2 * wraps,), (4 * wraps,), (2, 2 * wraps), (2, 2)):
        sheets, fronts = numbered(wraps, first, behind)
        assert rule_of(wraps, first, fronts) == {one.position: one.pages for one in sheets}


@pytest.mark.parametrize("behind", range(0, 37, 2))
def test_a_counted_insert_is_in_order_wherever_it_lies(behind):
    sheets, (front,) = numbered(9, 1, (behind,))
    leaf = Leaf("Single leaf 1", (front, front + 1), after=front - 1)
    order = check_order(sheets, 9, leaves=[leaf])
    assert kinds(order) == ["insert"] and order.read == 9
    (place,) = order.leaves
    assert (place.recto, place.after) == (front, front - 1)
    if behind == 36:  # Behind all wraps: their numbers are the same with it and without.
        assert place.counted is None and "cannot be told" in order.told[0].says
    else:
        assert place.counted is True and "two higher" in order.told[0].says
        # Without the leaf's line the wraps alone say that one is missing, or that all is foreign.
        assert check_order(sheets, 9).told


def test_an_uncounted_insert_leaves_the_wraps_alone():
    sheets, _ = numbered(9, 1)
    blank = check_order(sheets, 9, leaves=[Leaf("Single leaf 1", (None, None), after=16)])
    assert kinds(blank) == ["insert"] and blank.read == 9
    assert "does not count it" in blank.told[0].says and "behind page 16" in blank.told[0].says
    own = check_order(sheets, 9, leaves=[Leaf("Single leaf 1", (1, 2))])
    assert kinds(own) == ["doubled"] and "numbered on its own" in own.told[0].says
    assert own.leaves[0].counted is False
    far = check_order(sheets, 9, leaves=[Leaf("Single leaf 1", (101, 102))])
    assert kinds(far) == ["foreign"] and "pages 1 to 36" in far.told[0].says
    unread = check_order(sheets, 9, leaves=[Leaf("Single leaf 1", ("?", "?"))])
    assert kinds(unread) == ["unread"]


def test_an_insert_in_the_wrong_place_is_told_where_it_belongs():
    sheets, _ = numbered(9, 1, (16,))
    order = check_order(sheets, 9, leaves=[Leaf("Single leaf 1", (17, 18), after=24)])
    assert kinds(order) == ["insert", "out of order"]
    assert order.told[1].says == (
        "Single leaf 1 lay behind page 24; its pages 17 and 18 belong behind page 16"
    )
    with pytest.raises(ValueError, match="page 17, which is a right-hand page"):
        check_order(sheets, 9, leaves=[Leaf("Single leaf 1", (17, 18), after=17)])


def test_a_doubled_insert_is_told_once():
    sheets, _ = numbered(9, 1, (16,))
    leaves = [Leaf("Single leaf 1", (17, 18)), Leaf("Single leaf 2", (17, 18))]
    order = check_order(sheets, 9, leaves=leaves)
    assert [one.says for one in order.told if one.kind == "doubled"] == [
        "Single leaf 1 and Single leaf 2 both carry pages 17 and 18"
    ]
    assert order.read == 9


@pytest.mark.parametrize("pages", [(18, 17), (18, None), (None, 17), ("?", 17)])
def test_a_reversed_insert_is_told(pages):
    sheets, _ = numbered(9, 1, (16,))
    order = check_order(sheets, 9, leaves=[Leaf("Single leaf 1", pages, after=16)])
    told = [one.says for one in order.told if one.kind == "reversed"]
    assert len(told) == 1 and "its front is page 17" in told[0]
    assert order.leaves[0].counted is True


def test_numbers_of_no_leaf_are_foreign():
    sheets, _ = numbered(9, 1)
    for pages in ((17, 20), (16, 17), (17, 17)):
        order = check_order(sheets, 9, leaves=[Leaf("Single leaf 1", pages)])
        assert kinds(order) == ["foreign"] and "two sides of one leaf" in order.told[0].says


def test_a_wrap_parted_at_its_fold_is_two_halves():
    sheets, _ = numbered(9, 1)
    rest = [one for one in sheets if one.position != 5]
    one = Leaf("Wrap 5", (9, 10), insert=False)
    half = check_order(rest, 9, leaves=[one])
    assert kinds(half) == ["half"] and "pages 27 and 28" in half.told[0].says
    both = check_order(rest, 9, leaves=[one, Leaf("Single leaf 1", (27, 28))])
    assert kinds(both) == ["half"] and "both halves of wrap 5" in both.told[0].says


def test_a_counted_leaf_that_is_gone_is_seen_by_the_numbers():
    sheets, _ = numbered(9, 1, (6,))
    order = check_order(sheets, 9)
    assert order.read == 9
    (told,) = order.told
    assert told.kind == "missing" and "pages 7 and 8" in told.says
    some = check_order([one for one in sheets if one.position not in (3, 4)], 9, unseen=2)
    (told,) = some.told
    assert "one of pages 5 and 6, 7 and 8, 9 and 10" in told.says


def test_one_wrap_of_another_copy_is_not_explained_by_a_leaf():
    sheets, _ = numbered(9, 1)
    sheets[3] = Found("Wrap 4", 4, (32, 7, 8, 31))
    order = check_order(sheets, 9)
    assert kinds(order) == ["foreign"]
    assert "add up to 39, here they must add up to 37" in order.told[0].says


def test_a_wrap_that_carries_the_leafs_own_pages_is_foreign():
    sheets, _ = numbered(9, 1, (16,))
    sheets[8] = Found("Wrap 9", 9, (20, 17, 18, 19))
    order = check_order(sheets, 9, leaves=[Leaf("Single leaf 1", (17, 18))])
    assert [one.kind for one in order.told if one.sheet == "Wrap 9"] == ["foreign"]
    assert "single leaf" in order.told[0].says


def test_planted_gatherings_by_chance():
    chance = random.Random(7)
    for _ in range(200):
        wraps, first = chance.randint(2, 14), chance.choice([1, 3, 5])
        behind = tuple(sorted(chance.sample(range(2, 4 * wraps, 2), min(2, wraps))))
        sheets, fronts = numbered(wraps, first, behind)
        leaves = [Leaf(f"Single leaf {at}", (front, front + 1), front - 1)
                  for at, front in enumerate(fronts, 1)]  # fmt: skip
        order = check_order(sheets, wraps, first, leaves=leaves)
        assert order.read == wraps and set(kinds(order)) == {"insert"}
        assert all(one.counted for one in order.leaves)
        gone = chance.randrange(wraps)
        name = sheets[gone].name
        less = check_order(sheets[:gone] + sheets[gone + 1 :], wraps, first, leaves=leaves)
        if wraps > 2:
            assert [one.says for one in less.told if one.kind == "missing"], name


def test_too_many_leaves_are_refused():
    sheets, _ = numbered(9, 1)
    with pytest.raises(ValueError, match="at most 8 single leaves"):
        check_order(sheets, 9, leaves=[Leaf(f"L{at}", (at, at + 1)) for at in range(1, 20, 2)])
