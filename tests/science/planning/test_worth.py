"""Values from sales: the fits against scipy and plain refits, the band by simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats
from scipy.optimize import isotonic_regression

from quirewell.science.planning.typed_range import Range
from quirewell.science.planning.worth import (
    FEWEST,
    NoValue,
    Sale,
    jackknife_plus,
    mean_of_log_normal,
    worth,
)
from quirewell.science.planning.worth_fit import Rows, bend, curve, knots_of, line, ramps

STRAIGHT = (3.0, 0.25)


def drawn(n: int, seed: int, scatter: float = 0.3, trend: float = 0.0, shape=None) -> list[Sale]:
    """Invented sales: log price straight in grade unless ``shape`` says otherwise."""
    rng = np.random.default_rng(seed)
    level, slope = STRAIGHT
    out = []
    for _ in range(n):
        grade, years = round(2 * float(rng.uniform(1, 9))) / 2, -float(rng.uniform(0, 6))
        mid = level + slope * grade if shape is None else shape(grade)
        price = math.exp(mid + trend * years + scatter * float(rng.normal()))
        out.append(Sale(grade, price, years))
    return out


def test_the_line_is_the_one_of_least_squares() -> None:
    sales = drawn(14, 1)
    theirs = stats.linregress([one.grade for one in sales], np.log([one.price for one in sales]))
    found = worth(5, [Sale(one.grade, one.price) for one in sales])
    assert found.model == "line"
    assert math.log(found.median) == pytest.approx(theirs.intercept + 5 * theirs.slope)
    assert found.slope == pytest.approx(theirs.slope)


def test_leaving_one_out_in_closed_form_is_leaving_it_out() -> None:
    sales = drawn(9, 2)
    x = np.array([[1.0, one.grade - 5, one.years] for one in sales])
    y = np.log([one.price for one in sales])
    fixed = np.array([[1.4, 0.0, 0.0]])
    found = line(Rows(x, y, fixed, np.array([1.4 * 4.0]), (1,), 2))
    for i in range(len(sales)):
        kept = np.arange(len(sales)) != i
        rest = line(Rows(x[kept], y[kept], fixed, np.array([1.4 * 4.0]), (1,), 2))
        assert found.left[i] == pytest.approx(rest.at)
        assert found.missed[i] == pytest.approx(
            y[i] - rest.at - rest.slope * x[i, 1] - rest.trend * x[i, 2]
        )


def test_leaving_one_out_of_the_curve_is_leaving_it_out() -> None:
    sales = drawn(25, 3)
    grades = np.array([one.grade for one in sales])
    y = np.log([one.price for one in sales])
    rng = np.random.default_rng(4)
    years, trends = rng.uniform(-5, 0, 25), 0.01 * rng.normal(size=25)
    found = bend(grades, y, 5.2, 3.0, trends, years, 0.02, (4.1, 2.0))
    for i in (0, 7, 24):
        kept = np.arange(25) != i
        values = np.append((y - trends[i] * years)[kept], 4.1)
        weights = np.append(np.ones(24), 2.0)
        rest = curve(np.append(grades[kept], 5.2), values, knots_of(grades), 3.0, weights)
        assert found.left[i] == pytest.approx(rest.at(np.array([5.2]))[0])
        assert found.missed[i] == pytest.approx(
            (y - trends[i] * years)[i] - rest.at(grades[i : i + 1])[0]
        )


def test_a_knot_at_every_grade_is_isotonic_regression() -> None:
    """Against scipy's pool of adjacent violators; scikit-learn's is asked among the peers."""
    rng = np.random.default_rng(5)
    grades = np.sort(rng.choice(np.arange(0.5, 10.5, 0.5), 15, replace=False))
    y, weights = 3 + 0.1 * grades + rng.normal(size=15), rng.uniform(0.5, 2, 15)
    theirs = isotonic_regression(y, weights=weights).x
    found = curve(grades, y, grades, 0.0, weights)
    assert found.at(grades) == pytest.approx(theirs, abs=1e-9)


def test_a_curve_drawn_together_without_bound_is_the_line() -> None:
    sales = drawn(20, 6)
    grades = np.array([one.grade for one in sales])
    y = np.log([one.price for one in sales])
    theirs = stats.linregress(grades, y)
    found = curve(grades, y, knots_of(grades), 1e9)
    asked = np.array([2.0, 5.0, 8.0])
    assert found.at(asked) == pytest.approx(theirs.intercept + theirs.slope * asked, abs=1e-3)


def test_ramps_add_up_to_the_way_above_the_lowest_knot() -> None:
    knots = np.array([1.0, 2.5, 4.0, 9.0])
    assert ramps(np.array([0.0, 3.0, 9.5]), knots).sum(axis=1) == pytest.approx([0.0, 2.0, 8.0])


@pytest.mark.parametrize(("n", "seed"), [(9, 11), (15, 12), (25, 13)])
def test_the_band_holds_the_next_sale_as_often_as_it_says(n: int, seed: int) -> None:
    """Line, trend and curve chosen as they are in use; the next sale is drawn as the others."""
    hits, told = 0, 0
    for turn in range(400):
        *sales, last = drawn(n + 1, 1000 * seed + turn)
        found = worth(last.grade, sales)
        if found.band is not None:
            assert found.band.level == 0.9
            told += 1
            hits += found.band.low <= last.price <= found.band.high
    assert told > 380
    # Nominal or above; less two standard errors of a share seen in so many draws.
    assert hits / told >= 0.9 - 2 * math.sqrt(0.09 / told)


def test_the_band_is_of_80_per_cent_from_four_and_of_90_from_nine() -> None:
    levels = {n: worth(5, drawn(n, 31)).band for n in (4, 8, 9)}
    assert [levels[n].level for n in (4, 8, 9)] == [0.8, 0.8, 0.9]


def test_the_ends_of_the_band_are_the_ranks_of_its_definition() -> None:
    class Five:
        left = np.array([1.0, 2.0, 3.0, 4.0, 5.0])
        missed = np.array([0.5, -0.5, 0.5, -0.5, 0.5])

    found = jackknife_plus(Five(), 0.8)
    # ceil(0.8 x 6) = 5: the largest above, the smallest below.
    assert (math.log(found.low), math.log(found.high)) == pytest.approx((0.5, 5.5))
    assert jackknife_plus(Five(), 0.9) is None


def test_below_four_records_there_is_no_interval_and_no_mean() -> None:
    found = worth(5, drawn(FEWEST - 1, 41))
    assert found.band is None and found.mean is None and found.u_log is None
    assert "3 of the 4" in found.no_band


def test_the_mean_of_a_log_normal_is_scipys() -> None:
    for scatter in (0.1, 0.3, 0.6, 1.0):
        theirs = stats.lognorm(scatter, scale=80).mean()
        assert mean_of_log_normal(80, scatter) == pytest.approx(theirs)
    found = worth(5, drawn(30, 51))
    assert found.mean == pytest.approx(stats.lognorm(found.scatter, scale=found.median).mean())


def test_mean_and_scatter_come_near_the_planted_ones() -> None:
    scatters, means = [], []
    for seed in range(60):
        found = worth(5, drawn(12, 600 + seed, scatter=0.4))
        scatters.append(found.scatter**2)
        means.append(found.mean)
    assert np.mean(scatters) == pytest.approx(0.16, rel=0.12)
    truth = math.exp(STRAIGHT[0] + 5 * STRAIGHT[1] + 0.08)
    assert np.mean(means) == pytest.approx(truth, rel=0.05)


def test_the_uncertainty_of_the_median_holds_the_truth() -> None:
    truth = math.exp(STRAIGHT[0] + 5 * STRAIGHT[1])
    held = 0
    for seed in range(200):
        found = worth(5, drawn(12, 3000 + seed))
        low, high = found.spread(found.u_log)
        held += found.median * low <= truth <= found.median * high
    assert held / 200 >= 0.9 - 2 * math.sqrt(0.09 / 200)


def test_the_price_never_falls_with_the_grade() -> None:
    sales = [Sale(g, p) for g, p in ((2, 90.0), (4, 70.0), (5, 66.0), (7, 50.0), (8, 40.0))]
    found = [worth(g, sales) for g in (2, 5, 8)]
    assert {one.model for one in found} == {"level"}
    assert found[0].median == pytest.approx(found[2].median)
    assert found[0].median == pytest.approx(stats.gmean([one.price for one in sales]))


def test_a_bend_is_taken_only_where_it_shows() -> None:
    def step(grade: float) -> float:
        return 3.0 if grade < 6 else 4.6

    bent = worth(7.5, drawn(60, 71, scatter=0.15, shape=step))
    assert bent.model == "curve" and bent.curve_gain > 1
    assert math.log(bent.median) == pytest.approx(4.6, abs=0.15)
    assert worth(7.5, drawn(19, 71, scatter=0.15, shape=step)).model == "line"
    straight = [worth(5, drawn(30, 800 + seed)).model for seed in range(30)]
    assert straight.count("curve") <= 6


def test_a_trend_is_taken_out_where_it_shows() -> None:
    found = worth(5, drawn(30, 81, scatter=0.1, trend=0.2))
    assert found.trend.applied
    assert found.trend.per_year == pytest.approx(0.2, abs=3 * found.trend.u)
    assert math.log(found.median) == pytest.approx(4.25, abs=0.1)
    still = worth(5, drawn(30, 82))
    assert abs(still.trend.per_year) < 3 * still.trend.u
    assert worth(5, drawn(7, 83, trend=0.2)).trend is None


def test_sales_without_a_date_lean_on_no_trend() -> None:
    sales = drawn(30, 91, scatter=0.05, trend=0.3)
    half = [Sale(one.grade, one.price, one.years if i % 2 else None)
            for i, one in enumerate(sales)]  # fmt: skip
    assert worth(5, half).trend.per_year == pytest.approx(0.3, abs=0.1)


def test_beyond_the_records_it_is_an_extrapolation_and_soon_has_no_band() -> None:
    sales = [Sale(one.grade, one.price) for one in drawn(20, 95) if one.grade <= 7]
    top = max(one.grade for one in sales)
    assert worth(top, sales).outside == 0
    near, far = worth(top + 0.5, sales), worth(top + 1.5, sales)
    assert near.outside == 0.5 and near.band is not None
    assert far.outside == 1.5 and far.band is None and "outside" in far.no_band


def test_one_grade_only_tells_nothing_of_another() -> None:
    alike = [Sale(4, p) for p in (50.0, 60.0, 55.0, 70.0, 52.0)]
    with pytest.raises(NoValue, match=r"all sales are of grade 4.*to 7"):
        worth(7, alike)
    at = worth(4, alike)
    assert at.model == "level" and at.median == pytest.approx(stats.gmean([50, 60, 55, 70, 52]))
    with pytest.raises(NoValue, match="type low"):
        worth(4, [])


def test_what_was_typed_moves_with_each_sale_as_two_sales_would() -> None:
    typed = Range(60, 90, 160)
    alone = worth(6, [], typed)
    assert alone.model == "typed" and alone.mean == pytest.approx(580 / 6)
    middle = typed.logs[0]
    for n in (1, 2, 3, 8):
        found = worth(6, [Sale(6, 200.0)] * n, typed)
        wanted = (2 * middle + n * math.log(200)) / (2 + n)
        assert math.log(found.median) == pytest.approx(wanted)
    assert worth(6, [Sale(6, 200.0)] * 3, typed).typed is not None
    assert worth(6, [Sale(6, 200.0)] * 3, typed).band is None


def test_a_sale_at_another_grade_alone_does_not_move_what_was_typed() -> None:
    """One cheaper sale at a lower grade says only how steep it is from there to here."""
    typed = Range(60, 90, 160)
    found = worth(6, [Sale(4, 40.0)], typed)
    assert math.log(found.median) == pytest.approx(typed.logs[0])
    # Dearer at a lower grade cannot be: then both are drawn to one level.
    assert worth(6, [Sale(4, 300.0)], typed).median > math.exp(typed.logs[0])


def test_an_item_borrows_the_slope_and_keeps_its_level() -> None:
    rng = np.random.default_rng(101)
    others = [Sale(g, math.exp(2 + 0.3 * g + 0.05 * float(rng.normal())), None, "b")
              for g in np.arange(1, 9, 0.5)]  # fmt: skip
    own = [Sale(4, math.exp(3 + 0.3 * 4), None, "a"), Sale(4.5, math.exp(3 + 0.3 * 4.5), None, "a")]
    found = worth(7, [*own, *others], item="a")
    assert math.log(found.median) == pytest.approx(3 + 0.3 * 7, abs=0.15)
    assert found.used == 2
    # One own sale takes the slope from the others altogether.
    lone = worth(7, [own[0], *others], item="a")
    assert lone.slope == pytest.approx(0.3, abs=0.03)
    # Many own sales of another slope have their own way.
    steep = [Sale(g, math.exp(1 + 0.6 * g), None, "a") for g in np.arange(1, 9, 0.5)]
    assert worth(7, [*steep, *others], item="a").slope == pytest.approx(0.6, abs=0.05)


def test_taking_means_off_other_items_is_a_level_for_each() -> None:
    """Against least squares with a column for each item, the pull on the slope a row of its own."""
    rng = np.random.default_rng(134)
    sales = [
        Sale(float(rng.uniform(2, 8)), math.exp(float(rng.normal(4, 0.5))), None, name)
        for name in "aaabbbbcc"
    ]
    rows, y = [], []
    for one in sales:
        mine = float(one.item == "a")
        rows.append([mine, one.grade - 5, mine * (one.grade - 5),
                     one.item == "b", one.item == "c"])  # fmt: skip
        y.append(math.log(one.price))
    rows.append([0, 0, 2.0, 0, 0])  # 4 points squared
    theirs, *_ = np.linalg.lstsq(np.array(rows, float), np.array([*y, 0.0]), rcond=None)
    found = worth(5, sales, item="a")
    assert theirs[1] + theirs[2] > 0
    assert math.log(found.median) == pytest.approx(theirs[0])
    assert found.slope == pytest.approx(theirs[1] + theirs[2])


def test_one_far_record_left_out_may_leave_no_slope_and_that_is_no_crash() -> None:
    sales = [Sale(4, 50.0), Sale(4, 55.0), Sale(4, 60.0), Sale(8, 200.0)]
    found = worth(6, sales)
    assert found.band is not None and found.band.high > found.band.low > 0


def test_scale_of_money_only_scales() -> None:
    sales = drawn(30, 111)
    dear = [Sale(one.grade, 100 * one.price, one.years) for one in sales]
    one, two = worth(5, sales), worth(5, dear)
    assert two.median == pytest.approx(100 * one.median)
    assert two.band.low == pytest.approx(100 * one.band.low)
    assert two.scatter == pytest.approx(one.scatter) and two.model == one.model


def test_the_order_of_sales_does_not_matter() -> None:
    sales = drawn(24, 121)
    one, two = worth(5, sales), worth(5, sales[::-1])
    assert (two.median, two.band.low) == pytest.approx((one.median, one.band.low))
