"""What was foreseen against what came back, and the table of returns out of the record."""

from __future__ import annotations

import math
from decimal import Decimal as D

import numpy as np
import pytest
from scipy import stats

from parcel_studio import item
from quirewell.record.bench import BenchState
from quirewell.record.books import Parcel, Sent
from quirewell.record.dealing import Returned
from quirewell.science.condition.returns import honest_hits
from quirewell.science.condition.scale import TRADE
from quirewell.stages.defect_table import read_returns
from quirewell.stages.methods import find_method, run_method
from quirewell.stages.plain_table import TableError
from quirewell.stages.returns_table import came_back, returns_table
from quirewell.stages.returns_view import METHOD, read_returned, returns_view
from quirewell.stages.rule_table import rules_in_force

FIVE = "1:0.1 2:0.2 3:0.4 4:0.2 5:0.1"


def held(*rows: tuple[str, str]):
    text = "item,grade,chances\n" + "".join(
        f"i{n},{grade},{chances}\n" for n, (grade, chances) in enumerate(rows)
    )
    run = run_method(METHOD, "studio", {}, (), {"returned": text})
    return run, {(one.quantity, one.subject): one for one in run.findings}


def test_the_ranked_probability_score_of_the_definitions_own_case_is_a_fifth():
    """p = (.1, .2, .4, .2, .1), the third came back: 0.01 + 0.09 + 0.09 + 0.01 (epstein1969, sum
    form)."""
    _, found = held(("3", FIVE))
    assert found["returns.score", "i0"].value == pytest.approx(0.20, abs=1e-12)
    assert found["returns.mean_score", "studio"].value == pytest.approx(0.20, abs=1e-12)


@pytest.mark.parametrize(("count", "low", "high"), [(10, 5, 10), (20, 12, 19), (40, 27, 37)])
def test_hits_that_honest_80_per_cent_bands_allow(count: int, low: int, high: int):
    """The exact binomial, 95 of 100 cases, against its sums taken term by term."""
    assert honest_hits(count) == (low, high)

    def below(most: int) -> float:
        return sum(math.comb(count, k) * 0.8**k * 0.2 ** (count - k) for k in range(most + 1))

    assert below(low - 1) < 0.025 <= below(low)
    assert below(high - 1) < 0.975 <= below(high)


def test_bands_of_exactly_80_per_cent_are_counted_and_ten_are_enough():
    sure = "4:0.1 5:0.8 6:0.1"
    _, found = held(*[("5", sure)] * 7, *[("6", sure)] * 3)
    hits = found["returns.hits", "studio"]
    assert hits.value == 7 and "5 to 10 do" in hits.text
    says = found["returns.says", "studio"].text
    assert says.startswith("7 of 10 came back inside their band, as many as honest bands would")
    assert "Only what was sent comes back" in says
    _, found = held(*[("5", sure)] * 4, *[("6", sure)] * 6)
    assert "too sure of themselves" in found["returns.says", "studio"].text


def test_the_bias_has_students_half_width():
    grades = [4.5, 5.0, 4.5, 4.0, 5.0, 4.5, 5.0, 4.0, 4.5, 5.0, 4.5, 4.5]
    _, found = held(*[(str(g), "5:1") for g in grades])
    off = np.array(grades) - 5
    low, high = stats.ttest_1samp(off, 0).confidence_interval(0.95)
    text = found["returns.bias", "studio"].text
    assert text == f"{off.mean():+.2f} points, 95 % {low:+.2f} to {high:+.2f}"
    assert "come back 0.42 points lower" in found["returns.says", "studio"].text


def test_few_returns_are_said_to_be_too_few_and_one_has_no_band_of_bias():
    _, found = held(("5", FIVE))
    assert found["returns.says", "studio"].text.startswith("Not enough returns yet: 1 of 10")
    assert found["returns.bias", "studio"].u is None


@pytest.mark.parametrize(
    ("row", "says"),
    [
        (("11", FIVE), "up to 10, got 11"), (("0", FIVE), "above 0"),
        (("5", "4:0.3 5:0.3"), "add up to 1, got 0.6"), (("5", "x"), "write chances as"),
        (("5", "4:-0.5 5:1.5"), "0 or more"), (("five", FIVE), "not a number"),
    ],
)  # fmt: skip
def test_an_ugly_row_is_a_sentence_with_its_line(row, says):
    with pytest.raises(TableError, match=f"line 2.*{says}"):
        read_returned(f"item,grade,chances\na,{row[0]},{row[1]}\n")


DAMAGE = 'code,location,extent,note\ntear,w01,"12,5 mm","head; ""long"""\nsoil,,20 %,\n'


def studio():
    run = run_method("condition.grade", "plan", {}, (), {"defects": DAMAGE})
    parcel = Parcel("parcel-1", "spring", (Sent("a", run=run.id), Sent("b")), state="back")
    states = (
        item("a", runs={run.id: run}, returned={"r": Returned("r", D("7"), parcel="parcel-1")}),
        item("b", returned={"r": Returned("r", D("6.5"), parcel="parcel-1")}),
        item("c", returned={"r": Returned("r", None, "fine")}),
        item("d", runs={run.id: run}),
    )
    return states, BenchState(parcels={"parcel-1": parcel}), run


def test_only_what_had_an_estimate_before_it_left_is_counted():
    states, bench, run = studio()
    assert [(one.item, one.run) for one in came_back(states, bench)] == [("a", run), ("b", None)]
    seen = returns_view(states, bench)
    assert [row["name"] for row in seen.rows] == ["A"] and seen.aside == ("B",)
    assert "Not enough returns yet: 1 of 10" in seen.says
    chances = {float(f.subject): f.value for f in run.findings if f.quantity == "condition.chance"}
    upto, score = 0.0, 0.0
    for step in TRADE.steps:
        upto += chances.get(step.value, 0.0)
        score += (upto - (step.value >= 7)) ** 2
    assert float(seen.rows[0]["score"]) == pytest.approx(score, abs=0.006)


def test_a_grade_to_which_no_chance_was_given_is_outside_the_band():
    _, bench, run = studio()
    low = [f for f in run.findings if f.quantity == "condition.chance"]
    assert min(float(one.subject) for one in low) > 2
    far = item("a", runs={run.id: run}, returned={"r": Returned("r", D(1), parcel="parcel-1")})
    seen = returns_view((far,), bench)
    assert seen.rows[0]["band"].endswith("not held") and float(seen.rows[0]["score"]) > 2


def test_the_table_of_returns_is_what_the_grade_estimate_reads():
    states, bench, _ = studio()
    text = returns_table(states, bench)
    read = read_returns(text, rules_in_force(""), TRADE)
    assert [(one.item, one.grade) for one in read] == [("A", 7.0)]
    assert {(d.code, d.extent, d.note) for d in read[0].damages} == {
        ("tear_interior", 12.5, 'head; "long"'), ("soil", 20.0, ""),
    }  # fmt: skip
    run = run_method("condition.grade", "plan", {}, (), {"defects": DAMAGE, "returns": text})
    assert any(one.quantity == "condition.returns" and one.value == 1 for one in run.findings)
    assert returns_table((), bench) == ""


def test_nothing_back_yet_is_one_sentence_and_the_method_is_registered():
    assert returns_view((), BenchState()).says.startswith("No grade has come back yet")
    assert find_method(METHOD).kind == "exact"
