"""A store's year as panels: a point a month, inside the frame, higher when it ages faster."""

from __future__ import annotations

from pathlib import Path

import pytest

from quirewell.demo.store_log import write_store_log
from quirewell.stages.methods import run_method
from quirewell.stages.season_view import season_view


@pytest.fixture(scope="module")
def year(tmp_path_factory):
    path: Path = write_store_log(tmp_path_factory.mktemp("log") / "store.csv", 1936)
    return season_view(run_method("outlook.climate", "store", {"log": path}))


def test_each_month_has_its_row_and_the_planted_season_shows(year):
    assert [row.name for row in year.rows] == (
        ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
    )
    warmest = max(year.rows, key=lambda row: row.mean_c)
    assert warmest.name in ("Jul", "Aug")  # planted: a sine at its top 4790 h after New Year
    assert warmest.mean_c == pytest.approx(20.0, abs=0.3)
    coldest = min(year.rows, key=lambda row: row.mean_c)
    assert coldest.mean_c == pytest.approx(14.0, abs=0.3)
    assert warmest.rate > 2 * coldest.rate


def test_the_picture_has_a_point_a_month_and_the_same_order(year):
    assert [panel.key for panel in year.panels] == ["ageing", "warmth", "damp"]
    assert len(year.marks) == 12
    across = [place for place, _ in year.marks]
    assert across == sorted(across)
