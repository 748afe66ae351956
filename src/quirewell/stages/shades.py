"""What the gathering drawing is coloured by: one quantity, one value a leaf or sheet.

Each value comes with its words, because colour alone says nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from statistics import fmean

from quirewell.record.finding import Finding
from quirewell.record.nouns import ItemState
from quirewell.stages.asking import say
from quirewell.stages.examine import known_sheets, latest_measure, measurable
from quirewell.stages.naming import sheet_of


@dataclass(frozen=True, slots=True)
class Mark:
    """Value of a shade at a place (a leaf such as "w03.outer.left", or a sheet)."""

    place: str
    value: float
    said: str


@dataclass(frozen=True, slots=True)
class Shade:
    """A quantity to colour the drawing by. ``marks`` is empty when nothing is known yet."""

    key: str
    name: str
    marks: tuple[Mark, ...]
    says: str


def shades(state: ItemState) -> tuple[Shade, ...]:
    """Every quantity the drawing can be coloured by, known or not."""
    return (
        _progress_shade(state),
        _measured_shade(state, "tone-before", "Yellowness before (b*)", "tone.b", "before"),
        _measured_shade(state, "tone-after", "Yellowness after (b*)", "tone.b", "after"),
        _measured_shade(state, "width", "Width before", "leaf.width_mm", "before"),
        _pair_shade(state, "change", "Change of width", "change.width_pct"),
        _pair_shade(state, "colour", "Colour difference (CIEDE2000)", "paper.dE00"),
        _reading_shade(state, "ph", "pH, latest reading", "ph"),
        _hand_shade(state),
    )


def shade(state: ItemState, key: str) -> Shade:
    """The shade called ``key``; the progress of the work when there is none of that name."""
    found = {entry.key: entry for entry in shades(state)}
    return found.get(key, found["progress"])


def _shade(key: str, name: str, marks: Iterable[Mark], missing: str) -> Shade:
    kept = tuple(marks)
    if not kept:
        return Shade(key, name, (), missing)
    lowest, highest = min(kept, key=_value), max(kept, key=_value)
    return Shade(key, name, kept, f"Lowest {lowest.said}, highest {highest.said}.")


def _value(mark: Mark) -> float:
    return mark.value


def _progress_shade(state: ItemState) -> Shade:
    def steps(sheet: str) -> tuple[bool, ...]:
        captures = [entry for entry in state.captures.values() if sheet_of(entry.place) == sheet]
        return (
            bool(captures),
            any(latest_measure(state, entry) for entry in captures),
            any(
                entry.state == "done" and sheet in map(sheet_of, entry.places)
                for entry in state.steps.values()
            ),
            any(
                entry.method == "pair.compare" and sheet_of(entry.subject) == sheet
                for entry in state.runs.values()
            ),
        )

    words = ("pictures", "measured", "treated", "compared")
    marks = []
    for sheet in known_sheets(state):
        done = steps(sheet)
        said = ", ".join(word for word, yes in zip(words, done, strict=True) if yes)
        marks.append(Mark(sheet, float(sum(done)), said or "nothing yet"))
    made = _shade("progress", "Progress of the work", marks, "The gathering is not described yet.")
    return Shade(made.key, made.name, made.marks, "Pictures, measured, treated, compared.")


def _measured_shade(state: ItemState, key: str, name: str, quantity: str, moment: str) -> Shade:
    marks = []
    for capture in state.captures.values():
        if not measurable(capture) or (capture.moment or "before") != moment:
            continue
        run = latest_measure(state, capture)
        marks += _marks(run.findings if run else (), quantity)
    return _shade(key, name, marks, f"No scan {moment} treatment is measured yet.")


def _pair_shade(state: ItemState, key: str, name: str, quantity: str) -> Shade:
    marks: dict[str, Mark] = {}
    for run in state.runs.values():
        if run.method == "pair.compare":
            marks.update({mark.place: mark for mark in _marks(run.findings, quantity)})
    return _shade(key, name, marks.values(), "No pair is compared yet.")


def _marks(findings: Iterable[Finding], quantity: str) -> list[Mark]:
    return [
        Mark(entry.subject, entry.value, say(entry.value, entry.u, entry.unit))
        for entry in findings
        if entry.quantity == quantity and entry.value is not None and sheet_of(entry.subject)
    ]


def _reading_shade(state: ItemState, key: str, name: str, quantity: str) -> Shade:
    found: dict[str, Mark] = {}
    for reading in state.readings.values():
        if reading.quantity.lower() == quantity and sheet_of(reading.place):
            said = f"{reading.value} {reading.unit}".strip()
            found[reading.place] = Mark(reading.place, float(reading.value), said)
    return _shade(key, name, found.values(), "No such reading is taken yet.")


def _hand_shade(state: ItemState) -> Shade:
    marks = {
        sheet_of(place): Mark(sheet_of(place), 1.0, f"in hand: {entry.kind}")
        for entry in state.steps.values()
        if entry.state == "started"
        for place in entry.places
        if sheet_of(place)
    }
    made = _shade("hand", "In hand now", marks.values(), "No step is under way.")
    return Shade(
        made.key, made.name, made.marks, made.says if not marks else "A step is under way."
    )


def by_sheet(marks: Iterable[Mark]) -> dict[str, float]:
    """Mean value [unit of the marks] of each sheet."""
    groups: dict[str, list[float]] = {}
    for mark in marks:
        groups.setdefault(sheet_of(mark.place), []).append(mark.value)
    return {sheet: fmean(values) for sheet, values in groups.items()}
