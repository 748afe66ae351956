"""Many outliers among Rosner's 54 values (``rosner1983``), as the NIST handbook works it.

Standing: the statistics and critical values are computed; they equal the handbook's print, from
memory, which cuts them to 3.118 2.942 3.179 and 3.158 3.151 3.143. The values are from memory;
that all three statistics come out says that they are the right ones.
"""

from __future__ import annotations

import pytest

from quirewell.science.evidence.outliers import deviates, grubbs, many

VALUES = [
    -0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56, 1.58,
    1.65, 1.69, 1.70, 1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10, 2.14, 2.15,
    2.23, 2.24, 2.26, 2.35, 2.37, 2.40, 2.47, 2.54, 2.62, 2.64, 2.90, 2.92, 2.92, 2.93, 3.21,
    3.26, 3.30, 3.59, 3.68, 4.30, 4.64, 5.34, 5.42, 6.01,
]  # fmt: skip


def test_exactly_three_although_the_first_two_do_not_exceed() -> None:
    assert len(VALUES) == 54
    assert many(VALUES, 10) == (53, 52, 51)
    assert many(VALUES, 2) == ()


def test_the_first_statistics_and_critical_values() -> None:
    steps = deviates(VALUES, 3)
    assert [one.r for one in steps] == pytest.approx([3.119, 2.943, 3.179], abs=5.1e-4)
    assert [one.critical for one in steps] == pytest.approx([3.159, 3.151, 3.144], abs=5.1e-4)
    assert [one.r > one.critical for one in steps] == [False, False, True]


def test_the_test_for_one_value_misses_them() -> None:
    assert not grubbs(VALUES).flagged
