"""A store's year for a page: warmth, damp and ageing month by month, drawn as the ledger is."""

from __future__ import annotations

from dataclasses import dataclass

from quirewell.record.finding import Run
from quirewell.stages.ledger_view import Panel, panel_of, scale

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True, slots=True)
class Month:
    """A month in words and numbers: mean [C], mean [% RH], ageing by 20 C and 50 %."""

    name: str
    mean_c: float
    mean_rh_pct: float
    rate: float


@dataclass(frozen=True, slots=True)
class SeasonView:
    """Panels of a year, the months along their foot, and the rows behind them."""

    panels: tuple[Panel, ...]
    marks: tuple[tuple[float, str], ...]
    fresh: tuple[float, ...]
    rows: tuple[Month, ...]


def season_view(run: Run) -> SeasonView:
    """A run of ``outlook.climate`` as its seasonal picture."""
    rows = []
    for row in run.drawing["months"].split(";"):
        number, warm, damp, rate = row.split()
        rows.append((int(number), float(warm), 100 * float(damp), float(rate)))
    across = scale(0, 13)
    panels = tuple(
        panel_of(key, name, [(row[0], row[at], row[at], row[at]) for row in rows], (), across, low)
        for key, name, at, low in (
            ("ageing", "Ageing, times that at 20 °C and 50 % RH", 3, 0.0),
            ("warmth", "Mean temperature, °C", 1, None),
            ("damp", "Mean humidity, % RH", 2, None),
        )
    )
    return SeasonView(
        panels, tuple((across(row[0]), _MONTHS[row[0] - 1][:1]) for row in rows), (),
        tuple(Month(_MONTHS[n - 1], warm, damp, rate) for n, warm, damp, rate in rows),
    )  # fmt: skip
