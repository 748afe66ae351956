"""A bath's ledger as panels and rows: every shape inside its panel, readings where they belong."""

from __future__ import annotations

from decimal import Decimal

import pytest

from quirewell.record.finding import Run
from quirewell.record.nouns import Bath, Item, ItemState
from quirewell.stages.ledger_view import TALL, WIDE, ledger_of, ledger_view
from quirewell.stages.methods import run_method

READ = "after 0: pH 12.4 @ 20;after 2: 10 mL took 4.1 mL of 0.05"


@pytest.fixture(scope="module")
def run() -> Run:
    lines = ";".join(["wrap 9.4 g 15 min"] * 4 + ["fresh"] + ["wrap 9.2 g"] * 3)
    return run_method("bath.ledger", "bath-1", {}, params={"entries": lines, "readings": READ})


def test_bands_lines_and_ticks_lie_inside_their_panel(run: Run) -> None:
    view = ledger_view(run)
    assert [one.key for one in view.panels] == ["reserve", "alkali", "ph"]
    for panel in view.panels:
        for pair in f"{panel.band} {panel.line}".split():
            x, y = (float(part) for part in pair.split(","))
            assert 0 <= x <= WIDE and 0 <= y <= TALL
        assert 3 <= len(panel.ticks) <= 7
        assert len(panel.line.split()) == 7


def test_readings_lie_on_their_own_panels(run: Run) -> None:
    counts = {one.key: len(one.dots) for one in ledger_view(run).panels}
    assert counts == {"reserve": 0, "alkali": 1, "ph": 1}
    dot = ledger_view(run).panels[1].dots[0]
    assert dot.top < dot.y < dot.foot
    assert "after wrap 2" in dot.says and "±" in dot.says


def test_rows_and_the_fresh_bath_are_told(run: Run) -> None:
    view = ledger_view(run)
    assert [row.bath for row in view.rows] == ["1"] * 4 + ["2"] * 3
    assert len(view.fresh) == 1
    assert view.says.startswith("Fresh bath every")
    assert " to " in view.rows[0].reserve


def test_every_number_of_a_ledger_can_be_asked_where_it_is_from(run: Run) -> None:
    bath = Bath("bath-1", Decimal("0.5"), Decimal("20"), Decimal("4"), "")
    view = ledger_of(ItemState("annual", 1, Item("Annual"), runs={run.id: run}), bath)
    assert view is not None
    by_name = {one.quantity: one for one in view.asked}
    assert {"bench.pickup_g_per_g", "bath.replace_after_wrap", "ledger.pH"} <= set(by_name)
    row = by_name["ledger.reserve_pct_caco3"]
    assert row.name.endswith(": wrap 1") and row.terms and row.sources and row.params
    assert "database" in row.note and row.method.startswith("bath.ledger")
