"""A pressing for a page: the stack drawn, each sheet's water at the end, courses with bands."""

from __future__ import annotations

from dataclasses import dataclass

from quirewell.record.finding import Run
from quirewell.science.press.course import Pressing
from quirewell.stages.ledger_view import Panel, panel_of, scale
from quirewell.stages.press_entry import read_pressing
from quirewell.stages.pressing import MIDWAY, out_words

# How tall a layer and a sheet are drawn.
_LAYER, _SHEET = 5.0, 1.6


@dataclass(frozen=True, slots=True)
class Block:
    """A layer as drawn: top, height, its name and what kind of layer it is."""

    top: float
    tall: float
    name: str
    kind: str


@dataclass(frozen=True, slots=True)
class SheetBar:
    """A sheet's water at the end of heating: from low to high along the bar, and its middle."""

    top: float
    tall: float
    low: float
    middle: float
    high: float
    name: str
    says: str
    level: str


@dataclass(frozen=True, slots=True)
class ChangeRow:
    """A change tried, as a row of words."""

    name: str
    why: str
    hot_and_damp: str
    greatest: str
    cool_side: str
    out: str
    centre: str
    cools: str
    helps: bool


@dataclass(frozen=True, slots=True)
class PressView:
    """All a page shows of a pressing."""

    alarm: str
    level: str
    open_side: str
    change: str
    swap: str
    panels: tuple[Panel, ...]
    marks: tuple[tuple[float, str], ...]
    fresh: tuple[float, ...]
    blocks: tuple[Block, ...]
    bars: tuple[SheetBar, ...]
    start: float
    ticks: tuple[tuple[float, str], ...]
    tall: float
    hot_above: bool
    hot_below: bool
    heat_says: str
    changes: tuple[ChangeRow, ...]
    changes_say: str
    calibrated: bool = False


def press_view(run: Run) -> PressView:
    """A run of ``press.run`` as its pictures and words."""
    drawing = run.drawing
    texts = {one.quantity: one.text for one in run.findings if one.text}
    times = [float(t) / 60 for t in drawing["t_s"].split()]
    across = scale(0.0, times[-1])
    panels = tuple(
        panel_of(key, name, _series(times, drawing[key]), (), across, floor)
        for key, name, floor in (
            ("centre_c", "Temperature at the fold, °C", None),
            ("hot_u", "Water in the cover at the heat, g/g", 0.0),
            ("cool_u", "Water in the cover away from it, g/g", 0.0),
        )
    )
    pressing = read_pressing(run.params)
    blocks, bars, start, ticks, tall = _stack(run, pressing)
    level = drawing.get("alarm", "none|").split("|")[0]
    heat_says = {
        "above": "heat from above", "below": "heat from below", "both": "heat from both sides",
        "none": "no heat",
    }[pressing.heat]  # fmt: skip
    return PressView(
        texts["press.alarm"], level, texts["press.open_side"], texts["press.change"],
        texts["press.swap"], panels, tuple((across(m), f"{m:g}") for m in _minutes(times[-1])),
        (across(float(drawing["ends_s"]) / 60),), blocks, bars, start, ticks, tall,
        pressing.heat in ("above", "both"), pressing.heat in ("below", "both"),
        f"{heat_says}, {pressing.hottest_c:g} °C" if pressing.heat != "none" else heat_says,
        changes_of(run), MIDWAY, bool(run.params.get("known")),
    )  # fmt: skip


def _series(times: list[float], text: str) -> list[tuple[float, float, float, float]]:
    low, middle, high = ([float(v) for v in row.split()] for row in text.split(";"))
    return list(zip(times, middle, low, high, strict=True))


def _minutes(last: float) -> list[int]:
    step = next(s for s in (5, 10, 15, 30, 60, 120, 240, 480) if last / s <= 6)
    return list(range(0, int(last) + 1, step))


def _stack(run: Run, pressing: Pressing) -> tuple[
    tuple[Block, ...], tuple[SheetBar, ...], float, tuple[tuple[float, str], ...], float
]:  # fmt: skip
    drawing = run.drawing
    low, middle, high = ([float(v) for v in row.split()] for row in drawing["end_u"].split(";"))
    peak = [float(v) for v in drawing["peak_rh"].split(";")[1].split()]
    names = drawing["sheets"].split(";")
    most = max(0.2, *high) * 1.05
    along = scale(0.0, most)
    blocks: list[Block] = []
    bars: list[SheetBar] = []
    y = 0.0
    for layer in pressing.stack.above:
        blocks.append(Block(y, _LAYER, _named(layer.material.name, layer.mm), layer.material.key))
        y += _LAYER
    for number, name in enumerate(names):
        if number == len(names) // 2 and pressing.stack.pamphlet.centre is not None:
            centre = pressing.stack.pamphlet.centre
            blocks.append(
                Block(y, _LAYER, f"{_named(centre.material.name, centre.mm)}, in the centrefold",
                      centre.material.key)
            )  # fmt: skip
            y += _LAYER
        level = "red" if peak[number] > 0.95 else "amber" if peak[number] > 0.85 else "calm"
        bars.append(
            SheetBar(
                y, _SHEET, along(low[number]), along(middle[number]), along(high[number]), name,
                f"{name}: {middle[number]:.2f} g/g ({low[number]:.2f} to {high[number]:.2f}), "
                f"{100 * peak[number]:.0f} % at its dampest", level,
            )
        )  # fmt: skip
        y += _SHEET
    for layer in pressing.stack.below:
        blocks.append(Block(y, _LAYER, _named(layer.material.name, layer.mm), layer.material.key))
        y += _LAYER
    step = 0.05 if most < 0.35 else 0.1
    ticks = tuple((along(k * step), f"{k * step:.2g}") for k in range(int(most / step) + 1))
    return tuple(blocks), tuple(bars), along(float(drawing["start_u"])), ticks, round(y, 2)


def _named(name: str, mm: float) -> str:
    return f"{name}, {mm:g} mm"


def changes_of(run: Run) -> tuple[ChangeRow, ...]:
    """What else was tried, as words, the pressing as it is first."""
    return tuple(_change(line) for line in run.drawing["changes"].splitlines())


def _change(line: str) -> ChangeRow:
    name, why, red, _amber, rh, cool, lost, centre, cools, helps = line.split("|")
    return ChangeRow(
        name, why, f"{float(red) / 60:.0f} min", f"{100 * float(rh):.0f} %",
        f"{float(cool):.2f} g/g", out_words(float(lost)), f"{float(centre):.0f} °C",
        f"{float(cools) / 60:.0f} min" if cools else "over a day", helps == "yes",
    )  # fmt: skip
