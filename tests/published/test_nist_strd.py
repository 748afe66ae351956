"""NIST Statistical Reference Datasets (``nist_strd``): analysis of variance, one straight line.

Standing: certified values read in the files that scipy carries among its own tests; the readings
are taken from the same files as decimal text. scipy drops the files in some builds; the one that
the lock names has them.
"""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
import scipy.stats

from quirewell.science.evidence import line, variance

DATA = Path(scipy.stats.__file__).parent / "tests/data"
SETS = ["SiRstv", "AtmWtAg", *(f"SmLs0{number}" for number in range(1, 10))]


def _anova(name: str) -> tuple[list[list[Decimal]], dict[str, Decimal]]:
    text = (DATA / f"nist_anova/{name}.dat").read_text(encoding="ascii").splitlines()
    head, data = text[:60], text[60:]
    between = next(row for row in head if row.startswith("Between")).split()
    within = next(row for row in head if row.startswith("Within")).split()
    share = next(row for row in head if "R-Squared" in row).split()[-1]
    s = next(row for row in head if "Standard Deviation" in row).split()[-1]
    certified = {"f": between[-1], "ms": within[-1], "dof": within[-3], "r2": share, "s": s}
    groups: dict[str, list[Decimal]] = {}
    for row in data:
        if row.strip():
            group, value = row.split()
            groups.setdefault(group, []).append(Decimal(value))
    return list(groups.values()), {key: Decimal(value) for key, value in certified.items()}


@pytest.mark.parametrize("name", SETS)
def test_one_way_analysis_has_the_certified_values(name: str) -> None:
    groups, certified = _anova(name)
    found = variance.one_way(groups)
    assert found.dof_within == int(certified["dof"])
    assert found.f == pytest.approx(float(certified["f"]), rel=1e-12)
    assert found.within == pytest.approx(float(certified["ms"]), rel=1e-12)
    assert found.s_reading == pytest.approx(float(certified["s"]), rel=1e-12)
    assert found.r_squared == pytest.approx(float(certified["r2"]), rel=1e-12)


@pytest.mark.parametrize(
    ("name", "holds", "lost"),
    [("SmLs01", 1e-12, 0.0), ("SmLs04", 1e-9, 1e-12), ("SmLs07", 1e-3, 1e-5),
     ("AtmWtAg", 1e-9, 1e-12)],
)  # fmt: skip
def test_readings_turned_into_floats_first_have_lost_digits(
    name: str, holds: float, lost: float
) -> None:
    """The reason for decimals: as floats the stiffer sets keep fewer digits, whatever is done."""
    groups, certified = _anova(name)
    floats = scipy.stats.f_oneway(*(np.array([float(one) for one in group]) for group in groups))
    wrong = abs(float(floats.statistic) / float(certified["f"]) - 1)
    assert lost <= wrong <= holds


def test_the_line_of_norris_has_the_certified_values() -> None:
    text = (DATA / "nist_linregress/Norris.dat").read_text(encoding="ascii").splitlines()
    rows = [row.split() for row in text[60:96]]
    y, x = ([Decimal(row[column]) for row in rows] for column in (0, 1))
    found = line.fit(x, y)
    assert found.dof == 34
    assert found.intercept == pytest.approx(-0.262323073774029, rel=1e-11)
    assert found.slope == pytest.approx(1.00211681802045, rel=1e-13)
    assert found.u_intercept == pytest.approx(0.232818234301152, rel=1e-11)
    assert found.u_slope == pytest.approx(0.429796848199937e-3, rel=1e-11)
    assert found.s == pytest.approx(0.884796396144373, rel=1e-11)
