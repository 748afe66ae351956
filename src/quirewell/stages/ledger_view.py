"""A bath's ledger for a page: reserve, alkali and pH over the wraps, with what was read.

Shapes are plain numbers in the panel's own units (0..100 across, 0..40 down), so that page and
report draw the same. pH stands beside the reserve on purpose: it hides what is used up.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from quirewell.record.finding import Run
from quirewell.record.nouns import Bath, ItemState
from quirewell.stages.asking import Asked, ask
from quirewell.stages.ledgering import METHOD, WRAP_G
from quirewell.stages.objecting import sheets_of

WIDE, TALL = 100.0, 40.0


@dataclass(frozen=True, slots=True)
class Dot:
    """A reading: where it lies, how far its 95 % reaches up and down, and what it says."""

    x: float
    y: float
    top: float
    foot: float
    says: str


@dataclass(frozen=True, slots=True)
class Panel:
    """One quantity over the wraps: its band and middle as SVG points, ticks, readings."""

    key: str
    name: str
    band: str
    line: str
    ticks: tuple[tuple[float, str], ...]
    dots: tuple[Dot, ...]
    banded: bool = True


@dataclass(frozen=True, slots=True)
class LedgerRow:
    """A wrap's row in words."""

    wrap: str
    bath: str
    ph: str
    alkali: str
    reserve: str


@dataclass(frozen=True, slots=True)
class LedgerView:
    """All of a ledger: the sentence, panels, rows, warnings, run, where fresh baths begin, and
    what can be asked of its numbers (of the first wrap's for all wraps')."""

    run: str
    says: str
    panels: tuple[Panel, ...]
    marks: tuple[tuple[float, str], ...]
    fresh: tuple[float, ...]
    rows: tuple[LedgerRow, ...]
    warnings: tuple[str, ...]
    params: dict[str, str]
    asked: tuple[Asked, ...] = ()


def ledger_of(state: ItemState, bath: Bath) -> LedgerView | None:
    """The newest ledger of a bath; None where none was kept."""
    run = state.newest_run(METHOD, bath.id)
    if run is None:
        return None
    first = next(one.subject for one in run.findings if one.subject.startswith("wrap "))
    asked = (
        ask(one, run, state)
        for one in run.findings
        if one.value is not None and one.subject in ("item", first)
    )
    return replace(
        ledger_view(run),
        asked=tuple(
            replace(one, name=f"{one.name}: {first}") if one.subject == first else one
            for one in asked
        ),
    )


def usual_entries(state: ItemState, bath: Bath) -> str:
    """Lines to begin a ledger with: see :func:`wrap_lines`."""
    return "\n".join(wrap_lines(state, bath))


def wrap_lines(state: ItemState, bath: Bath) -> list[str]:
    """A line to each wrap of the steps begun in that bath, with the mass that was weighed where
    one was."""
    lines = []
    weighed = {
        reading.place: reading.value
        for reading in state.readings.values()
        if reading.quantity == "mass" and reading.moment != "after"
    }
    for step in state.steps.values():
        if step.bath == bath.id and step.state != "planned":
            minutes = step.minutes or step.planned_minutes or 15
            for place in sheets_of(state, step.places):
                if place.startswith("w"):
                    lines.append(f"wrap {weighed.get(place, WRAP_G)} g {minutes:g} min")
    return lines


def ledger_view(run: Run) -> LedgerView:
    """A run of ``bath.ledger`` as a page shows it."""
    rows = [[float(part) for part in row.split()] for row in run.drawing["rows"].split(";")]
    read = [row.split() for row in run.drawing.get("readings", "").split(";") if row]
    numbers = [row[0] for row in rows]
    across = scale(0, max(numbers) + 1)
    fresh = [a[0] for a, b in zip(rows[1:], rows, strict=False) if a[1] != b[1]]
    by_name = {finding.quantity: finding for finding in run.findings}
    panels = tuple(
        panel_of(
            key,
            name,
            [(row[0], row[at], row[at + 1], row[at + 2]) for row in rows],
            [(int(r[0]), float(r[2]), float(r[3])) for r in read if kind and r[1] == kind],
            across,
            low,
        )
        for key, name, at, kind, low in (
            ("reserve", "Reserve left in the wrap, % CaCO3", 8, "", 0.0),
            ("alkali", "Alkali in the bath, mol/kg", 5, "alkalinity", 0.0),
            ("ph", "pH of the bath", 2, "pH", None),
        )
    )
    return LedgerView(
        run.id,
        by_name["bath.replace"].text,
        panels,
        tuple((across(n), f"{n:g}") for n in _few(numbers)),
        tuple(across(n - 0.5) for n in fresh),
        tuple(_row(row) for row in rows),
        run.warnings,
        dict(run.params),
    )


def _row(row: Sequence[float]) -> LedgerRow:
    ph, alkali, reserve = (row[at : at + 3] for at in (2, 5, 8))
    return LedgerRow(
        f"{row[0]:.0f}", f"{row[1]:.0f}", f"{ph[0]:.2f} ({ph[1]:.2f} to {ph[2]:.2f})",
        f"{alkali[0]:.4f} ({alkali[1]:.4f} to {alkali[2]:.4f})",
        f"{reserve[0]:.2f} ({reserve[1]:.2f} to {reserve[2]:.2f})",
    )  # fmt: skip


def scale(low: float, high: float) -> Callable[[float], float]:
    """Where a value lies across a panel, 0 to WIDE."""
    span = max(high - low, 1e-12)
    return lambda value: round(WIDE * (value - low) / span, 2)


def panel_of(
    key: str, name: str, rows: Sequence[tuple[float, float, float, float]],
    mine: Sequence[tuple[int, float, float]], across: Callable[[float], float],
    floor: float | None,
) -> Panel:  # fmt: skip
    """One quantity drawn: ``rows`` of (at, middle, low, high), ``mine`` of (after, value, u)."""
    low = min([row[2] for row in rows] + [v - 2 * u for _, v, u in mine])
    high = max([row[3] for row in rows] + [v + 2 * u for _, v, u in mine])
    low = floor if floor is not None else math.floor(low)
    high = math.ceil(high) if floor is None else high * 1.08

    def down(value: float) -> float:
        part = (value - low) / max(high - low, 1e-12)
        return round(TALL * (1 - min(max(part, 0.0), 1.0)), 2)

    upper = [f"{across(n)},{down(top)}" for n, _, _, top in rows]
    lower = [f"{across(n)},{down(foot)}" for n, _, foot, _ in reversed(rows)]
    dots = tuple(
        Dot(
            across(after + 0.5), down(value), down(value + 2 * u), down(value - 2 * u),
            f"{value:.3g} ± {2 * u:.2g} after wrap {after}",
        )
        for after, value, u in mine
    )  # fmt: skip
    return Panel(
        key, name, " ".join([*upper, *lower]),
        " ".join(f"{across(n)},{down(v)}" for n, v, _, _ in rows),
        tuple((down(value), text) for value, text in _ticks(low, high)), dots,
        any(top > foot for _, _, foot, top in rows),
    )  # fmt: skip


def _ticks(low: float, high: float) -> list[tuple[float, str]]:
    """Three to five round values between two."""
    raw = (high - low) / 4
    size = 10 ** math.floor(math.log10(max(raw, 1e-9)))
    step = next(size * k for k in (1, 2, 2.5, 5, 10) if size * k >= raw)
    first = math.ceil(low / step - 1e-9)
    out = []
    while first * step <= high + 1e-9:
        out.append((first * step, f"{first * step:.6g}"))
        first += 1
    return out


def _few(numbers: Sequence[float]) -> list[float]:
    step = max(1, math.ceil(len(numbers) / 8))
    return list(numbers[::step])
