"""A value whose uncertainty is not known says so; a count is exact."""

from __future__ import annotations

import pytest

from quirewell.cli.output import table
from quirewell.record.finding import Finding
from quirewell.record.measured import Measured


def test_an_unknown_uncertainty_is_null_and_so_is_its_band() -> None:
    said = Finding("r.0", "change.smallest_detectable_pct", "w01", 0.26, None, "%").measured()
    assert said.as_json() == {"value": 0.26, "u": None, "low90": None, "high90": None, "unit": "%"}


def test_a_band_worked_out_by_itself_stays_where_u_is_not_known() -> None:
    out = Measured(2.0, None, "1", low90=1.0, high90=4.0).as_json()
    assert (out["u"], out["low90"], out["high90"]) == (None, 1.0, 4.0)


def test_a_count_is_exact() -> None:
    out = Measured(12.0, 0.0, "1").as_json()
    assert (out["u"], out["low90"], out["high90"]) == (0.0, 12.0, 12.0)


@pytest.mark.parametrize("u", [-0.1, float("nan"), float("inf")])
def test_an_uncertainty_that_cannot_be_is_refused(u: float) -> None:
    with pytest.raises(ValueError, match=r"measured value|negative"):
        Measured(1.0, u, "mm")


def test_a_table_gives_no_spread_where_none_is_known() -> None:
    lines = table([Finding("", "scanner.scans", "", 3.0, 0.0, "1"),
                   Finding("", "scanner.dpi", "", 300.0, None, "dpi"),
                   Finding("", "leaf.width_mm", "", 168.42, 0.024, "mm")])  # fmt: skip
    assert [line.split()[-2:] for line in lines[:2]] == [["scanner.scans", "3"], ["300", "dpi"]]
    assert "±" not in lines[0] + lines[1] and lines[2].endswith("168.420 ± 0.048 mm")
