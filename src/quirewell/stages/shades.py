"""What the gathering drawing is coloured by: one quantity, one value a leaf or sheet.

Each value comes with its words, because colour alone says nothing. Where all values agree
within their uncertainty they share one level: the drawing shows no difference that the
numbers do not carry.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import hypot
from statistics import fmean

from quirewell.record.finding import Finding
from quirewell.record.nouns import ItemState
from quirewell.stages.asking import as_read, number_text, say, signed, unit_text
from quirewell.stages.examine import known_sheets, latest_measure, measurable
from quirewell.stages.naming import leaf_of, sheet_of
from quirewell.stages.results import COMPARE, latest_runs

TOP = 5


@dataclass(frozen=True, slots=True)
class Mark:
    """Value of a shade at a leaf ("w03.outer.left") or sheet ("w03"), ``level`` 0 to 5.

    A level of None draws the leaf as one of which nothing is known yet.
    """

    place: str
    value: float
    u: float
    short: str
    said: str
    level: int | None = None


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
        _step_shade(state),
        _measured_shade(state, "width", "Width before", "leaf.width_mm", "before"),
        _pair_shade(state, "change", "Change of width", "change.width_pct"),
        _pair_shade(state, "colour", "Colour difference (CIEDE2000)", "paper.dE00"),
        _reading_shade(state, "ph", "pH, latest reading", "ph"),
        _hand_shade(state),
    )  # fmt: skip


def shade(state: ItemState, key: str) -> Shade:
    """The shade called ``key``; the progress of the work when there is none of that name."""
    found = {entry.key: entry for entry in shades(state)}
    return found.get(key, found["progress"])


def _scaled(key: str, name: str, marks: Iterable[Mark], missing: str) -> Shade:
    """A shade whose levels run from the lowest value to the highest."""
    kept = tuple(marks)
    if not kept:
        return Shade(key, name, (), missing)
    low, high = min(kept, key=lambda mark: mark.value), max(kept, key=lambda mark: mark.value)
    span = high.value - low.value
    says = f"Lowest {low.said}, highest {high.said}."
    if span <= 2 * hypot(low.u, high.u):
        levelled = tuple(_at(mark, 2) for mark in kept)
        more = " No leaf differs from another by more than the uncertainty." if kept[1:] else ""
        return Shade(key, name, levelled, says + more)
    levelled = tuple(_at(mark, round(TOP * (mark.value - low.value) / span)) for mark in kept)
    return Shade(key, name, levelled, says)


def _at(mark: Mark, level: int) -> Mark:
    return Mark(mark.place, mark.value, mark.u, mark.short, mark.said, level)


def _progress_shade(state: ItemState) -> Shade:
    words = ("pictures", "measured", "treated", "compared")
    marks = []
    for sheet in known_sheets(state):
        done = _done(state, sheet)
        said = ", ".join(word for word, yes in zip(words, done, strict=True) if yes)
        count = sum(done)
        marks.append(Mark(sheet, count, 0.0, f"{count} of 4", said or "nothing yet", count or None))
    says = "One step each for pictures, measured, treated, compared."
    return Shade("progress", "Progress of the work", tuple(marks), says)


def _done(state: ItemState, sheet: str) -> tuple[bool, bool, bool, bool]:
    captures = [entry for entry in state.captures.values() if sheet_of(entry.place) == sheet]
    return (
        bool(captures),
        any(latest_measure(state, entry) for entry in captures),
        any(
            entry.state == "done" and sheet in map(sheet_of, entry.places)
            for entry in state.steps.values()
        ),
        any(
            entry.method == COMPARE and sheet_of(entry.subject) == sheet
            for entry in state.runs.values()
        ),
    )


def _measured_shade(state: ItemState, key: str, name: str, quantity: str, moment: str) -> Shade:
    found: list[Finding] = []
    for capture in state.captures.values():
        if measurable(capture) and (capture.moment or "before") == moment:
            run = latest_measure(state, capture)
            found += _wanted(run.findings if run else (), quantity)
    return _scaled(key, name, _by_leaf(found), f"No scan {moment} treatment is measured yet.")


def _step_shade(state: ItemState) -> Shade:
    """Steps of the owner's tone card, the latest scan of each leaf; the most probable step."""
    marks: dict[str, Mark] = {}
    for capture in state.captures.values():
        run = latest_measure(state, capture) if measurable(capture) else None
        for entry in run.findings if run else ():
            if entry.quantity == "tone.step" and sheet_of(entry.subject):
                shares = [float(part.split()[-1]) for part in entry.note.split(";")]
                step = max(range(len(shares)), key=shares.__getitem__)
                mean = sum(index * share for index, share in enumerate(shares))
                u = sum(share * (index - mean) ** 2 for index, share in enumerate(shares)) ** 0.5
                level = round(TOP * step / max(1, len(shares) - 1))
                short = entry.text.split(" (")[0]
                place = leaf_of(entry.subject)
                marks[place] = Mark(place, step + 1.0, u, short, entry.text, level)
    says = "The most probable step of your own card; the probability of each is with the leaf."
    missing = "No leaf is measured against a paper-tone card yet."
    return Shade("tone-step", "Step of the paper-tone card", tuple(marks.values()),
                 says if marks else missing)  # fmt: skip


def _pair_shade(state: ItemState, key: str, name: str, quantity: str) -> Shade:
    standing = latest_runs(state, COMPARE).values()
    found = [one for run in standing for one in _wanted(run.findings, quantity)]
    return _scaled(key, name, _by_leaf(found), "No pair is compared yet.")


def _wanted(findings: Iterable[Finding], quantity: str) -> list[Finding]:
    return [
        entry
        for entry in findings
        if entry.quantity == quantity and entry.value is not None and sheet_of(entry.subject)
    ]


def _by_leaf(findings: Iterable[Finding]) -> list[Mark]:
    """One mark a leaf: the mean of its faces; u is the largest of theirs, not less."""
    groups: dict[str, list[Finding]] = {}
    for entry in findings:
        groups.setdefault(leaf_of(entry.subject), []).append(entry)
    marks = []
    for place, group in groups.items():
        value = fmean(entry.value for entry in group if entry.value is not None)
        u = max(entry.u or 0.0 for entry in group)
        unit = group[0].unit
        quantity = group[0].quantity
        short = f"{number_text(value, u).split(' ±')[0]} {unit_text(unit)}".strip()
        said = signed(quantity, say(value, u, unit))
        marks.append(Mark(place, value, u, signed(quantity, short), said))
    return marks


def _reading_shade(state: ItemState, key: str, name: str, quantity: str) -> Shade:
    found: dict[str, Mark] = {}
    for reading in state.readings.values():
        if reading.quantity.lower() == quantity and sheet_of(reading.place):
            said = as_read(reading.value, reading.unit)
            if reading.off_scale:
                said = f"{reading.off_scale} {said}"
            place = leaf_of(reading.place)
            step = float(reading.resolution or 0)
            found[place] = Mark(place, float(reading.value), step, str(reading.value), said)
    return _scaled(key, name, found.values(), "No such reading is taken yet.")


def _hand_shade(state: ItemState) -> Shade:
    marks = {
        sheet_of(place): Mark(sheet_of(place), 1.0, 0.0, "in hand", f"in hand: {entry.kind}", TOP)
        for entry in state.steps.values()
        if entry.state == "started"
        for place in entry.places
        if sheet_of(place)
    }
    says = "A step is under way on the dark leaves." if marks else "No step is under way."
    return Shade("hand", "In hand now", tuple(marks.values()), says)
