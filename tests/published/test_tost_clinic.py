"""Paired equivalence against published results.

Sources and standing:
- clinic table, results computed in R, as carried by the tests of statsmodels
  (``statsmodels_tost``; read there).
- Student's sleep data (``student1908``): t and interval computed; R's print from memory.
"""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from scipy import stats

from quirewell.science.evidence.decimals import less
from quirewell.science.evidence.equivalence import paired_equivalence

VAR1 = (
    [2.84, 2.51, 2.41, 2.95, 3.14, 3.79, 4.14, 3.85, 3.02, 3.45, 5.37, 3.81, 4.19, 3.16, 3.84],
    [2.60, 2.82, 2.18, 3.46, 4.01, 3.04, 3.47, 4.06, 2.91, 3.59, 4.51, 3.16, 3.86, 3.31, 3.02],
)
VAR2 = (
    [4.00, 3.26, 4.14, 3.42, 3.25, 4.34, 4.97, 4.31, 3.11, 3.41, 5.02, 4.21, 4.59, 5.30, 4.32],
    [3.76, 3.66, 3.65, 3.60, 3.48, 2.87, 3.24, 3.92, 3.99, 4.21, 4.21, 3.31, 3.61, 2.97, 2.73],
)
SLEEP = (
    [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0],
    [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4],
)


def _differences(pair: tuple[list[float], list[float]]) -> list[float]:
    return [first - second for first, second in zip(*pair, strict=True)]


def test_clinic_var1_is_equivalent_with_the_published_p_and_interval() -> None:
    result = paired_equivalence(_differences(VAR1), margin=0.6)
    assert result.p == pytest.approx(0.003166881489265175, rel=1e-9)
    assert result.low == pytest.approx(-0.0744336620516462, rel=1e-9)
    assert result.high == pytest.approx(0.4037669953849797, rel=1e-9)
    assert result.passes


def test_decimals_as_typed_give_the_same_even_far_from_zero() -> None:
    exact = less(
        [Decimal(f"{one:.2f}") for one in VAR1[0]], [Decimal(f"{one:.2f}") for one in VAR1[1]]
    )
    result = paired_equivalence(exact, margin=0.6, resolution=0.01)
    assert result.p == pytest.approx(0.003166881489265175, rel=1e-12)
    assert result.hidden < 1e-300  # a hundredth of the scatter hides nothing


def test_clinic_var2_is_not_shown_equivalent() -> None:
    result = paired_equivalence(_differences(VAR2), margin=0.6)
    assert result.p == pytest.approx(0.4412034046017588, rel=1e-9)
    assert result.low == pytest.approx(0.1261653305099018, rel=1e-9)
    assert result.high == pytest.approx(0.999168002823431, rel=1e-9)
    assert not result.passes


def test_clinic_log_ratio_has_the_published_p() -> None:
    logs = [math.log(first / second) for first, second in zip(*VAR1, strict=True)]
    result = paired_equivalence(logs, margin=math.log(1.25))
    assert result.p == pytest.approx(0.0001664157928976468, rel=1e-9)


def test_sleep_differences_have_the_computed_t_and_interval() -> None:
    result = paired_equivalence(_differences(SLEEP), margin=2.0)
    error = result.sd / math.sqrt(result.pairs)
    assert result.mean / error == pytest.approx(-4.062128, abs=5e-7)
    reach = float(stats.t.ppf(0.975, result.pairs - 1)) * error
    assert result.mean - reach == pytest.approx(-2.459886, abs=5e-7)
    assert result.mean + reach == pytest.approx(-0.700114, abs=5e-7)


@pytest.mark.parametrize(("margin", "p"), [(2.0, 0.154157), (3.0, 0.00265557)])
def test_sleep_equivalence_has_the_computed_p(margin: float, p: float) -> None:
    assert paired_equivalence(_differences(SLEEP), margin).p == pytest.approx(p, rel=2e-6)
