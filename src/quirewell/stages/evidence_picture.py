"""One picture a quantity: a mark a leaf, the mean with its 90 % interval, the margin as a band.

Everything is laid out here in units of the picture (about a pixel each), so that page and tests
read the same; a mark's shape says what it is, never its colour alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from quirewell.record.finding import Finding, Run
from quirewell.stages.asking import unit_text
from quirewell.stages.naming import sheet_of, sheet_words
from quirewell.stages.proving_said import leaf_said, size_said

WIDTH, LEFT, RIGHT = 720.0, 96.0, 24.0
TOP, ROW, MEAN_ROW, AXIS = 30.0, 22.0, 40.0, 46.0
MOST_ROWS = 60


@dataclass(frozen=True, slots=True)
class Mark:
    """A leaf's change: where, its shape (round, ring, or diamond for one that stands apart)."""

    x: float
    y: float
    shape: str
    says: str
    points: str = ""


@dataclass(frozen=True, slots=True)
class Picture:
    """What the page draws; ``band`` x and width of the margin, None without one."""

    height: float
    rows: tuple[tuple[float, str], ...]
    marks: tuple[Mark, ...]
    ticks: tuple[tuple[float, str], ...]
    zero: float
    band: tuple[float, float, str, str] | None
    mean: tuple[float, float, float, float] | None
    axis: str
    told: str
    foot: float
    width: float = WIDTH


def picture_of(run: Run, name: str) -> Picture | None:
    """The picture of a verdict's run; None where it holds no marks."""
    marks = _read(run.drawing.get("marks", ""))
    if not marks:
        return None
    found = {one.quantity: one for one in run.findings}
    change = found.get("evidence.change")
    typed = run.params.get("margin", "")
    margin = float(typed) if typed else None
    span = _span(marks, change, margin)
    across = _Scale(*span)
    names = list(dict.fromkeys(sheet_of(unit) or unit for unit, _, _ in marks))[:MOST_ROWS]
    rows = tuple((TOP + ROW * (at + 0.5), _row_name(one)) for at, one in enumerate(names))
    level = {one: y for one, (y, _) in zip(names, rows, strict=True)}
    foot = TOP + ROW * len(names)
    said = unit_text(change.unit if change is not None else "steps")
    drawn = tuple(
        _mark(across(value), level[sheet_of(place) or place], place, value, kind, said)
        for place, value, kind in marks
        if (sheet_of(place) or place) in level
    )
    mean = None
    if change is not None and change.value is not None and change.low90 is not None:
        assert change.high90 is not None
        mean = (across(change.low90), across(change.value), across(change.high90), foot + 20)
    band = None
    if margin:
        band = (
            across(-margin), across(margin) - across(-margin),
            f"−{size_said(margin, '')}", f"+{size_said(margin, '')}",
        )  # fmt: skip
    return Picture(
        foot + MEAN_ROW + AXIS, rows, drawn,
        tuple((across(at), _tick(at)) for at in _ticks(*span)), across(0.0), band, mean,
        f"change, {said}" if said else "change", _told(run, name, len(marks)), foot + MEAN_ROW,
    )  # fmt: skip


def _read(text: str) -> list[tuple[str, float, str]]:
    out = []
    for part in text.split():
        unit, value, kind = part.rsplit(",", 2)
        out.append((unit, float(value), kind))
    return out


class _Scale:
    """Across: the change to x."""

    def __init__(self, low: float, high: float) -> None:
        self.low, self.high = low, high

    def __call__(self, value: float) -> float:
        share = (value - self.low) / (self.high - self.low)
        return round(LEFT + share * (WIDTH - LEFT - RIGHT), 1)


def _span(
    marks: list[tuple[str, float, str]], change: Finding | None, margin: float | None
) -> tuple[float, float]:  # fmt: skip
    ends = [0.0, *(value for _, value, _ in marks)]
    if change is not None and change.low90 is not None and change.high90 is not None:
        ends += [change.low90, change.high90]
    if margin:
        ends += [-margin, margin]
    low, high = min(ends), max(ends)
    pad = 0.08 * (high - low) or 1.0
    return low - pad, high + pad


def _ticks(low: float, high: float) -> list[float]:
    raw = (high - low) / 6
    size = 10.0 ** math.floor(math.log10(raw))
    step = next(one * size for one in (1, 2, 5, 10) if one * size >= raw)
    first = math.ceil(low / step)
    return [at * step for at in range(first, math.floor(high / step) + 1)]


def _tick(value: float) -> str:
    return f"{value:.4g}".replace("-", "\u2212") if abs(value) > 1e-12 else "0"


def _row_name(sheet: str) -> str:
    known = sheet_of(sheet)
    return sheet_words(known) if known else leaf_said(sheet)[:14]


def _mark(x: float, y: float, place: str, value: float, kind: str, unit: str) -> Mark:
    says = f"{leaf_said(place)}: {_tick(value)} {unit}".strip()
    if kind == "odd":
        points = f"{x},{y - 8} {x + 8},{y} {x},{y + 8} {x - 8},{y}"
        return Mark(x, y, "diamond", f"{says}, stands apart", points)
    if place.endswith(".left"):
        return Mark(x, y + 4, "ring", says)
    return Mark(x, y - 4 if place.endswith(".right") else y, "round", says)


def _told(run: Run, name: str, count: int) -> str:
    verdict = next((one.text for one in run.findings if one.quantity == "evidence.verdict"), "")
    return f"{name}: changes of {count} leaves or places. {verdict}"
