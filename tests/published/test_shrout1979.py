"""Six intraclass correlations of six targets by four judges (``shrout1979``).

Standing: the table and the printed .17 .29 .71 .44 .62 .91 are from memory; the values are
computed from the table and agree with the print.
"""

from __future__ import annotations

import pytest

from quirewell.science.evidence.agreement_of_methods import intraclass

TABLE = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]


def test_the_six_forms() -> None:
    found = intraclass(TABLE)
    one = (found.one_way, found.random, found.fixed)
    mean = (found.one_way_mean, found.random_mean, found.fixed_mean)
    assert one == pytest.approx((0.1657, 0.2898, 0.7148), abs=5.1e-5)
    assert mean == pytest.approx((0.4428, 0.6201, 0.9093), abs=5.1e-5)
    assert [round(value, 2) for value in one + mean] == [0.17, 0.29, 0.71, 0.44, 0.62, 0.91]


def test_a_judge_who_is_always_three_higher_counts_only_where_judges_may_change() -> None:
    moved = [[*row[:3], row[3] + 3] for row in TABLE]
    assert intraclass(moved).fixed == pytest.approx(intraclass(TABLE).fixed, rel=1e-12)
    assert intraclass(moved).random != pytest.approx(intraclass(TABLE).random, rel=1e-2)


def test_a_table_with_a_gap_is_refused() -> None:
    with pytest.raises(ValueError, match="every leaf read by each"):
        intraclass([[1.0, 2.0], [1.0]])
    with pytest.raises(ValueError, match="nothing to tell them apart"):
        intraclass([[1.0, 2.0], [1.0, 2.0]])
