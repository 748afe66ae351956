"""The order of a gathering with single leaves: the table, and what is said on the page."""

from __future__ import annotations

import pytest

from folding import annual
from quirewell.stages import sheet_order, taking_apart
from quirewell.stages.methods import run_method
from quirewell.stages.ordering import as_json, read_pages
from quirewell.stages.refusal import Refusal

HEAD = "wrap,position,outer_left,outer_right,inner_left,inner_right\n"
# Two wraps, a counted leaf between pages 4 and 7 of ten (planted).
WRAPS = "w01,1,10,1,2,9\nw02,2,8,3,4,7\n"


def asked(rows: str, **params: str):
    return as_json(run_method("order.check", "item", {}, params={"pages": HEAD + rows} | params))


def test_a_row_for_a_single_leaf() -> None:
    out = asked(WRAPS + "s01,4,5,6,,\n")
    assert out["read"] == 2 and out["faults"] == 0
    assert out["single_leaves"] == [
        {"name": "Single leaf 1", "pages": [5, 6], "counted": True, "after": 4}
    ]
    assert out["pairs"] == {"1": [10, 1, 2, 9], "2": [8, 3, 4, 7]}
    assert "1 single leaf counted in the numbers" in out["says"]
    assert out["method"] == "order.check@2"


def test_two_outer_pages_of_one_leaf_alone_are_a_leaf_whatever_the_row_is_called() -> None:
    for row in ("w03,3,5,6,-,-", "insert,,5,6,,", "w03 leaf,,5,6,-,-", "S1,4,6,5,-,-"):
        out = asked(WRAPS + row, wraps="2")
        assert [one["pages"] for one in out["single_leaves"]] == [[5, 6]], row
        assert out["read"] == 2
    # The middle wrap lying inside out with its other side blank shows even before odd.
    assert read_pages(HEAD + "w02,2,4,5,-,-")[0].position == 2
    assert asked("w01,1,8,1,2,7\nw02,2,4,5,-,-")["single_leaves"] == []


def test_an_uncounted_leaf_and_one_in_the_place_of_a_wrap() -> None:
    plain = "w01,1,8,1,2,7\nw02,2,6,3,4,5\n"
    out = asked(plain + "s01,4,-,-,,\n", wraps="2")
    assert out["single_leaves"] == [
        {"name": "Single leaf 1", "pages": [], "counted": False, "after": None}
    ]
    assert [one["kind"] for one in out["told"]] == ["insert"] and out["faults"] == 0
    half = asked("w01,1,8,1,2,7\nw02 leaf,,3,4,-,-\n", wraps="2")
    assert [one["kind"] for one in half["told"]] == ["half"] and half["faults"] == 1
    assert not any("count one wrap fewer" in line for line in half["warnings"])
    wrap = asked(WRAPS + "w03 leaf,,5,6,-,-\n", wraps="2")
    assert any("count one wrap fewer" in line for line in wrap["warnings"])


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("s01,4,5,6,7,8", "line 4: a single leaf has two pages"),
        ("s01,four,5,6,,", "the page it lay behind, or empty; got 'four'"),
        ("s01,5,5,6,,", "page 5, which is a right-hand page"),
        ("s01,4,5,six,,", "a page is a number"),
    ],
)
def test_rows_of_a_leaf_that_cannot_be(row: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        asked(WRAPS + row, wraps="2")


def made(shift: int) -> dict[str, str]:
    """What is printed on each wrap of the annual, with a leaf counted in the middle or not."""
    bench = annual()
    wraps = bench.state.gathering.wraps
    out = {}
    for wrap in range(1, wraps + 1):
        low, high = 2 * wrap - 1, 4 * wraps - 2 * wrap + 1 + shift
        out[f"pages.w{wrap:02d}"] = f"{high + 1} {low} {low + 1} {high}"
    return out


def test_a_leaf_said_on_the_page_is_kept_checked_and_changes_what_a_sheet_should_bear() -> None:
    bench = annual()
    wraps = bench.state.gathering.wraps
    front = 2 * wraps + 1
    form = made(2) | {"pages.s01": f"{front} {front + 1}", "after.s01": f"{front - 1}"}
    bench.do(sheet_order.note_and_check(bench.state, form))
    shown = sheet_order.order_view(bench.state)
    assert f"{wraps} of {wraps} wraps" in shown.says and "nothing speaks against" in shown.says
    assert [one.split(":")[0] for one in shown.flags] == ["Insert"]
    held = bench.state.found["found.s01"]
    assert held.is_leaf and held.after == front - 1
    rows = {row.place: row.expected for row in taking_apart.view(bench.state).sheets}
    assert rows["w01"] == f"{4 * wraps + 2} 1 2 {4 * wraps + 1}"
    assert [row.place for row in taking_apart.view(bench.state).leaves] == ["s01", "s02"]
    # Found elsewhere, it is told where it belongs.
    bench.do(sheet_order.note_and_check(bench.state, form | {"after.s01": "2"}))
    (told,) = [one for one in sheet_order.order_view(bench.state).flags if "Out of" in one]
    assert f"belong behind page {front - 1}" in told


def test_a_sheet_with_two_pages_is_no_wrap() -> None:
    bench = annual()
    form = made(0) | {"pages.w01": "1 2"}
    bench.do(sheet_order.note_and_check(bench.state, form))
    flags = sheet_order.order_view(bench.state).flags
    assert len(flags) == 1 and flags[0].startswith("Half: Wrap 1 carries pages 1 and 2")


def test_a_place_that_cannot_be_is_refused_and_nothing_is_kept() -> None:
    bench = annual()
    form = made(0) | {"pages.s01": "- -", "after.s01": "3"}
    with pytest.raises(Refusal, match="right-hand page") as caught:
        sheet_order.note_and_check(bench.state, form)
    assert caught.value.values == form and not bench.state.found
