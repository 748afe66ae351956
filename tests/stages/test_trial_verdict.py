"""The verdict of a trial, reckoned by hand from what was read on the sheets."""

from __future__ import annotations

from decimal import Decimal
from statistics import mean, stdev

import pytest
from scipy import stats

from quirewell.record.finding import Finding, Run
from quirewell.stages.methods import run_method
from quirewell.stages.trial_cells import VerdictError, differences, read_lines
from quirewell.stages.trial_verdict import METHOD

WAYS = {"way_a": "cold, one wrap at a time", "way_b": "warm, two wraps at a time"}
STEPS = {"quantity": "tone_step", "unit": "step", "margin": "1", "locked": "2026-03-30T17:00:00Z",
         "resolution": "1", "more": "the higher step", **WAYS}  # fmt: skip
PH = {**STEPS, "quantity": "pH", "unit": "pH", "margin": "0.5", "resolution": "0.01",
      "more": "the higher pH"}  # fmt: skip
# Six pairs; what the sheets differed by beforehand is large, what they changed by is not.
CHANGED = "\n".join((
    "w01 w02 | =10 | =7 | =8 | =5", "w04 w03 | =9 | =6 | =9 | =6", "w05 w06 | =8 | =5 | =9 | =6",
    "w08 w07 | =9 | =6 | =7 | =4", "w09 w10 | =9 | =7 | =9 | =6", "w12 w11 | =8 | =5 | =8 | =5",
))  # fmt: skip


def verdict(pairs: str, given: dict[str, str]) -> Run:
    return run_method(METHOD, "trial-2", {}, params={**given, "pairs": pairs})


def found(run: Run, quantity: str) -> Finding:
    return next(one for one in run.findings if one.quantity == quantity)


def test_changes_take_out_what_the_sheets_differed_by_beforehand() -> None:
    """Change less change is 0 in five pairs and 1 step in one: on the margin, it says nothing, so
    five flips of five speak: p = 1/32."""
    run = verdict(CHANGED, STEPS)
    assert run.drawing["basis"] == "changes"
    assert found(run, "trial.p_alike").value == 1 / 32
    assert found(run, "trial.verdict").text.startswith("Alike within 1 step")
    each = [one.value for one in run.findings if one.quantity == "trial.pair_difference"]
    assert each == [0, 0, 0, 0, 1, 0]


def test_where_one_sheet_was_not_read_beforehand_all_go_by_afterwards_alone() -> None:
    run = verdict(CHANGED.replace("w08 w07 | =9", "w08 w07 | "), STEPS)
    assert run.drawing["basis"] == "after"
    each = [one.value for one in run.findings if one.quantity == "trial.pair_difference"]
    assert each == [2, 0, -1, 2, 1, 0]
    assert found(run, "trial.verdict").text.startswith("Cannot tell")
    assert any(line.startswith("Afterwards against afterwards") for line in run.warnings)


PH_PAIRS = (("7.9", "7.2"), ("8.1", "7.5"), ("8.0", "7.3"), ("7.8", "7.3"))


def test_a_way_that_raises_the_ph_is_named_with_the_interval_of_a_t_table() -> None:
    """Differences 0.7, 0.6, 0.7, 0.5: mean 0.625, s 0.0957; t(0.95; 3) = 2.3534."""
    lines = "\n".join(
        f"w0{2 * n + 1} w0{2 * n + 2} | | ={one} | | ={two}"
        for n, (one, two) in enumerate(PH_PAIRS)
    )
    run = verdict(lines, PH)
    each = [float(Decimal(one) - Decimal(two)) for one, two in PH_PAIRS]
    got = found(run, "trial.difference")
    reach = 2.3534 * stdev(each) / 2
    assert got.value == pytest.approx(mean(each)) and got.value == pytest.approx(0.625)
    assert got.low90 == pytest.approx(0.625 - reach, abs=1e-4)
    assert got.high90 == pytest.approx(0.625 + reach, abs=1e-4)
    says = found(run, "trial.verdict").text
    assert says.startswith("“cold, one wrap at a time” gives the higher pH")
    assert "more than the margin of 0.50 pH" in says
    assert found(run, "trial.margin_passed").value == pytest.approx(0.625 + reach, abs=1e-4)
    t = (0.625 - 0.5) / (stdev(each) / 2)
    assert found(run, "trial.p_alike").value == pytest.approx(stats.t.cdf(t, 3), abs=1e-6)


def test_a_margin_that_was_not_locked_gives_the_interval_and_no_verdict() -> None:
    run = verdict(CHANGED, {**STEPS, "locked": ""})
    assert found(run, "trial.verdict").text.startswith("No verdict, only the difference")
    said = {one.quantity for one in run.findings}
    assert "trial.difference" in said
    assert not said & {"trial.p_alike", "trial.margin_passed", "trial.power_found", "trial.margin"}
    assert any("not locked before the measuring" in line for line in run.warnings)


def test_pairs_left_out_are_named_and_told_with_them_in() -> None:
    more = (
        CHANGED + "\nw13 w14 | =9 | =9 | =9 | =4 | wrap 13 was the pilot\nw15 w16 | =9 | =6 | =9 |"
    )
    run = verdict(more, STEPS)
    left = {one.subject: one.text for one in run.findings if one.quantity == "trial.left_out"}
    assert left == {
        "w13 w14": "wrap 13 was the pilot", "w15 w16": "not read after treatment: wrap 16",
    }  # fmt: skip
    assert found(run, "trial.pairs_used").value == 6
    assert "over 7 pairs" in found(run, "trial.with_all").text


def test_pages_of_a_sheet_are_one_value_however_often_they_were_read() -> None:
    lines = read_lines("w01 w02 | | outer.right=6,6,6 outer.left=8 | | =6")
    assert differences(lines, False)[1][0][1] == Decimal(1)


def test_changes_compare_only_pages_read_at_both_moments() -> None:
    lines = read_lines("w01 w02 | a=9 | a=6 b=2 | =9 | =6")
    basis, used, _ = differences(lines, False)
    assert (basis, used[0][1]) == ("changes", Decimal(0))


@pytest.mark.parametrize("line", ["w01 | =9", "w01 w02 | 9", "w01 w02 | =nine", "w01 w02|||||x|y"])
def test_lines_that_cannot_be_read_are_refused(line: str) -> None:
    with pytest.raises(VerdictError):
        verdict(line, STEPS)


def test_one_pair_alone_cannot_tell() -> None:
    run = verdict("w01 w02 | | =6 | | =6", STEPS)
    assert found(run, "trial.verdict").text.startswith("Cannot tell: 1 pair can be used")
    assert verdict("w01 w02 | | =6 | | ", STEPS).findings[0].text.startswith("Cannot tell: 0 pairs")


def test_two_pairs_of_values_are_judged_and_prove_little() -> None:
    run = verdict("w01 w02 | | =7.9 | | =7.8\nw03 w04 | | =8.0 | | =7.6", PH)
    assert found(run, "trial.verdict").text.startswith("Cannot tell")
    seen = found(run, "trial.surely_seen").value
    assert seen is not None and seen > 1
