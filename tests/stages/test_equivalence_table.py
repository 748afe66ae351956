"""Pairs of a table against a margin: reading it strictly, and what is said of it."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quirewell.stages.equivalence_table import MOST_ROWS, read_pairs, work_out
from quirewell.stages.plain_table import TableError

QUIET = "before,after\n" + "\n".join(
    f"168.{before},168.{after}"
    for before, after in [("40", "42"), ("45", "42"), ("38", "39"), ("41", "41"), ("44", "46"),
                          ("43", "42")]
)  # fmt: skip


def said(text: str, margin: str, **more: object) -> dict[str, object]:
    return work_out(read_pairs(text), Decimal(margin), **more)  # type: ignore[arg-type]


def test_readings_of_a_leaf_are_averaged_before_anything_else() -> None:
    doubled = "leaf,before,after\n1,10.0,10.2\n1,10.0,10.4\n2,10.0,10.1\n3,10.1,10.3\n3,10.2,10.4"
    single = "before,after\n10.0,10.3\n10.0,10.1\n10.0,10.2"
    fine = Decimal("0.001")  # so that rounding hides nothing in either
    one, two = (said(text, "0.5", resolution=fine) for text in (doubled, single))
    assert one["p"] == pytest.approx(two["p"]) and one["ci90"] == pytest.approx(two["ci90"])
    assert (one["pairs"], one["readings"]) == (3, 5)
    assert one["scatter"] is not None and two["scatter"] is None


def test_two_items_are_refused_unless_one_is_chosen() -> None:
    text = "item,before,after\nA,10.0,10.1\nA,10.0,10.2\nB,20.0,21.0\nB,20.0,21.1"
    with pytest.raises(TableError, match="choose one with --item"):
        read_pairs(text)
    assert [leaf.before for leaf in read_pairs(text, "B").leaves] == [(Decimal("20.0"),)] * 2
    with pytest.raises(TableError, match="has no item 'C'; it has A, B"):
        read_pairs(text, "C")
    with pytest.raises(TableError, match="no column item"):
        read_pairs(QUIET, "A")


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ("168.4,", "line 3: after is empty"),
        ("168.4,soon", "line 3: after: 'soon' is not a number"),
        ("168.4,=1+1", "line 3: after: '=1\\+1' is not a number"),
        ("168.4,nan", "line 3: after: 'nan' is not a number"),
        ("168.4,1e99", "line 3: after: '1e99' is not a number"),
        ("168.4," + "9" * 41, "line 3: after has more than 40 characters"),
        ("168.4", "line 3 has 1 cells"),
        ('168.4,"1,234"', "line 3: after: .* can be read two ways"),
    ],
)
def test_a_bad_cell_is_named_by_its_line(rows: str, says: str) -> None:
    with pytest.raises(TableError, match=says):
        read_pairs(f"before,after\n168.4,168.1\n{rows}")


@pytest.mark.parametrize(
    ("name", "says"),
    [("=cmd()", "is a formula"), ("@x", "is a formula"), ("", "leaf is empty"),
     ("x" * 41, "at most 40"), ("a\x07b", "plain characters")],
)  # fmt: skip
def test_a_name_that_is_no_name_is_refused(name: str, says: str) -> None:
    with pytest.raises(TableError, match=says):
        read_pairs(f"leaf,before,after\n1,10.0,10.1\n{name},10.0,10.1")


def test_hostile_tables_are_refused_in_a_sentence() -> None:
    for text, says in (
        ("", "at least one row"),
        ("before,after", "at least one row"),
        ("10.0,10.1\n10.2,10.3", "needs a header with the columns before and after"),
        ("a,b\n1,2", "it begins with 'a,b'"),
        ("before,before,after\n1,1,1", "twice"),
        ("before,after\n1.0,1.1", "2 leaves or more"),
        ("leaf,before,after\n1,1.0,1.1\n1,1.0,1.2", "still one leaf"),
        ("before,after\n\0", "no text"),
        ('before,after\n"1,2\n3', "quote"),
        ("before,after\n" + "1,1\n" * (MOST_ROWS + 1), "at most 5000 rows"),
        ("before,after\n" + "1,1\n" * 10**5, "at most 200000 characters"),
    ):
        with pytest.raises(TableError, match=says):
            read_pairs(text)


def test_other_columns_are_passed_over_and_named() -> None:
    pairs = read_pairs("date;before;note;after\n2 May;10,0;fine;10,1\n2 May;10,0;;10,2")
    assert pairs.unused == ("date", "note") and pairs.step == Decimal("0.1")
    out = work_out(pairs, Decimal(1))
    assert any("Columns not used: date, note" in one for one in out["warnings"])


def test_a_flagged_leaf_stays_in_and_is_told_with_and_without() -> None:
    text = QUIET.replace("before,after", "leaf,before,after")
    for row, name in zip(QUIET.splitlines()[1:], "abcdef", strict=True):
        text = text.replace(row, f"{name},{row}")
    out = said(text + "\ng,168.40,169.40", "0.2")
    assert out["pairs"] == 7 and out["verdict"] == "cannot tell"
    (flag,) = out["outliers"]  # type: ignore[misc]
    assert flag["leaf"] == "g" and flag["difference"] == pytest.approx(1.0)
    assert flag["without"]["verdict"] == "unchanged"
    assert any("Leaf g lies far" in one and "not left out" in one for one in out["warnings"])  # type: ignore[attr-defined]


def test_all_the_same_at_a_coarse_step_cannot_tell_within_a_finer_margin() -> None:
    text = "before,after\n" + "168.5,168.5\n" * 12
    out = work_out(read_pairs(text), Decimal("0.25"), Decimal("0.5"))
    assert out["verdict"] == "cannot tell" and out["p"] == 1.0 and out["ci90"] == [-0.5, 0.5]
    assert out["pairs_needed"] is None and "read more finely" in " ".join(out["would_take"])
    wide = work_out(read_pairs(text), Decimal("0.5"), Decimal("0.5"))
    assert wide["verdict"] == "unchanged" and wide["all_the_same"]


def test_reading_each_leaf_more_often_with_a_coarse_rule_is_no_drawback() -> None:
    rows = [f"{leaf},{168 + before / 2},{168 + after / 2}"
            for leaf, turn in enumerate("abcdefgh")
            for before, after in [(0, 1), (1, 0), (0, 0), (1, 1), (2, 1), (0, 1 if leaf % 2 else 2),
                                  (1, 0), (1, 0)] if turn]  # fmt: skip
    out = work_out(
        read_pairs("leaf,before,after\n" + "\n".join(rows)), Decimal("0.3"), Decimal("0.5")
    )
    assert out["verdict"] == "unchanged" and out["hidden_by_rounding"] < 0.1
    assert out["sd"] < 0.3 < 0.6  # the means scatter by less than 0.6 steps, single ones do not


def test_a_step_that_all_readings_share_is_asked_about() -> None:
    text = "before,after\n" + "\n".join(f"16{n}.5,16{n}.0" for n in range(5))
    out = said(text, "2")
    assert any("whole numbers of 0.5" in one for one in out["warnings"])  # type: ignore[attr-defined]


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.integers(1, 900), st.integers(1, 900)), min_size=2, max_size=20),
    st.integers(1, 400), st.booleans(),
)  # fmt: skip
def test_whatever_is_read_the_answer_agrees_with_itself(
    rows: list[tuple[int, int]], margin: int, log: bool
) -> None:
    text = "before,after\n" + "\n".join(f"{b / 10},{a / 10}" for b, a in rows)
    limit = Decimal(margin) / 100 + (1 if log else 0)
    out = work_out(read_pairs(text), limit, None, log)
    low, high = out["ci90"]
    assert low <= out["mean"]["value"] <= high and 0 <= out["p"] <= 1
    reach = max(high, 1 / low) if log else max(high, -low)
    assert out["margin_that_passes"] == pytest.approx(reach)
    assert (out["verdict"] == "unchanged") == (out["p"] <= 0.05)
    assert (out["verdict"] == "changed") == (out["shifted"] and not out["inside"])
    assert all(math.isfinite(out[key]) for key in ("sd", "smallest_seen", "power"))
    assert out["says"].lower().startswith(out["verdict"])
