"""One grid, a row a sheet, to type up what was pencilled on cards; pasted from a spreadsheet too.

Each cell is a reading, a time or a note, kept as typed under an id of its own, so that the same
grid sent twice keeps everything once and a changed cell corrects what it said. Nothing is kept
while a cell cannot be read. An empty cell says nothing: what it held before stays.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time
from decimal import Decimal
from typing import Literal
from zoneinfo import ZoneInfo

from quirewell.record.apply import noun_of
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState, Moment, Override, Reading, Step
from quirewell.stages import typed
from quirewell.stages.gates import objections
from quirewell.stages.naming import place_words
from quirewell.stages.places import read_places
from quirewell.stages.reading_entry import PH_METHODS, record_reading
from quirewell.stages.refusal import Problem, Refusal
from quirewell.stages.step_table import STEP_KINDS

Form = Mapping[str, str]
MOST_CHARACTERS = 60_000
AFTERWARDS = "typed up from paper cards after the work"


@dataclass(frozen=True, slots=True)
class Column:
    """A column of card and grid: a reading of ``quantity`` at ``moment``, a time, or words."""

    key: str
    label: str
    kind: Literal["reading", "time", "celsius", "words"]
    quantity: str = ""
    moment: Moment | None = None
    hint: str = ""


COLUMNS = (
    Column("width_before", "Width before", "reading", "width", "before", "184.5 mm"),
    Column("height_before", "Height before", "reading", "height", "before", "260 mm"),
    Column("ph_before", "pH before", "reading", "pH", "before", "4.5"),
    Column("tone_before", "Tone step before", "reading", "tone_step", "before", "9"),
    Column("into", "Into the bath", "time", hint="18:05"),
    Column("out", "Out of the bath", "time", hint="18:35"),
    Column("bath_c", "Bath at", "celsius", hint="21C"),
    Column("dried", "Dry", "time", hint="2026-11-29 18:00"),
    Column("width_after", "Width after", "reading", "width", "after", "184 mm"),
    Column("height_after", "Height after", "reading", "height", "after", "259.5 mm"),
    Column("ph_after", "pH after", "reading", "pH", "after", "8"),
    Column("tone_after", "Tone step after", "reading", "tone_step", "after", "7"),
    Column("note", "Note", "words"),
)  # fmt: skip
BY_KEY: Mapping[str, Column] = {column.key: column for column in COLUMNS}
BATHS = ("wash", "lime-bath")


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell as the grid shows it: its form field, what it holds, what was wrong."""

    field: str
    column: Column
    value: str
    wrong: str


@dataclass(frozen=True, slots=True)
class Row:
    """A sheet's row."""

    sheet: str
    name: str
    cells: tuple[Cell, ...]


def sheets_in(state: ItemState) -> tuple[str, ...]:
    """The sheets of the grid: cover and wraps, or the whole item where they were not counted."""
    return state.gathering.sheets() if state.gathering is not None else ("item",)


def rows(state: ItemState, form: Form, refusal: Refusal | None = None) -> tuple[Row, ...]:
    """The grid: what is typed or pasted, else what it kept before."""
    wrong = {problem.field: problem.says for problem in refusal.problems} if refusal else {}
    out = []
    for sheet in sheets_in(state):
        cells = []
        for column in COLUMNS:
            field = field_of(sheet, column)
            value = form.get(field, "") or _kept(state, sheet, column)
            cells.append(Cell(field, column, value, wrong.get(field, "")))
        name = "the whole" if sheet == "item" else place_words(sheet)
        out.append(Row(sheet, name, tuple(cells)))
    return tuple(out)


def field_of(sheet: str, column: Column) -> str:
    """The form field of a cell."""
    return f"{sheet}.{column.key}"


def pasted(state: ItemState, text: str) -> tuple[dict[str, str], tuple[str, ...]]:
    """Cells by field out of pasted text, and what could not be placed, in sentences.

    Parted by tabs, semicolons or commas; the first column says which sheet. With a first line of
    names, columns are found by them; without one they stand as on the cards.

    Raises:
        Refusal: nothing that looks like a table.
    """
    if len(text) > MOST_CHARACTERS:
        says = f"A grid has at most {MOST_CHARACTERS} characters, got {len(text)}; is it that?"
        raise Refusal((Problem("paste", says),), values={"paste": text[:2000]})
    table = _table(text)
    if not table:
        says = "Paste rows of a table: the sheet first (3, w03 or cover), then a cell each."
        raise Refusal((Problem("paste", says),), values={"paste": text})
    columns, body = _columns(table)
    cells: dict[str, str] = {}
    aside: list[str] = []
    known = sheets_in(state)
    for line in body:
        try:
            (sheet,) = read_places(state, {"sheet": line[0]}, field="sheet")
        except (Refusal, ValueError):
            aside.append(f"{line[0][:40]!r} is no sheet of this item; its row was left out.")
            continue
        if sheet not in known:
            aside.append(f"{place_words(sheet)} has no row here; it was left out.")
            continue
        for column, cell in zip(columns, line[1:], strict=False):
            if column is not None and cell:
                cells[field_of(sheet, column)] = cell[:200]
        if len(line) - 1 > len(columns):
            aside.append(f"{place_words(sheet)} has more cells than there are columns.")
    unknown = [name for name, column in zip(table[0][1:], columns, strict=False) if column is None]
    if unknown:
        aside.append(f"No column here for {', '.join(unknown)[:200]}; it was left out.")
    return cells, tuple(aside)


def keep_grid(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Keep every filled cell: readings, bath and drying times, notes; what is kept is not doubled.

    The form's head: ``day`` (of times without one), ``zone``, ``kind`` and ``way`` of the bath,
    ``method`` of pH, ``reason`` where a step had needed something before it.

    Raises:
        Refusal: with a sentence at each cell that cannot be read; nothing is kept.
    """
    problems: list[Problem] = []
    drafts: list[Draft] = []
    for sheet in sheets_in(state):
        typed_in = {
            column.key: text
            for column in COLUMNS
            if (text := form.get(field_of(sheet, column), "").strip())
        }
        if not typed_in:
            continue
        for column in COLUMNS:
            text = typed_in.get(column.key, "")
            if column.kind == "reading" and text:
                try:
                    drafts += _reading(state, form, sheet, column, text)
                except Refusal as refusal:
                    says = refusal.problems[0].says
                    problems.append(Problem(field_of(sheet, column), says))
        try:
            drafts += _steps(state, form, sheet, typed_in)
        except Refusal as refusal:
            problems += refusal.problems
    if problems:
        raise Refusal(tuple(problems), values=dict(form))
    return tuple(drafts)


def _reading(state: ItemState, form: Form, sheet: str, column: Column, text: str) -> list[Draft]:
    asked = {
        "quantity": column.quantity, "value": text, "place": sheet, "moment": column.moment or "",
        "note": "from a card",
    }  # fmt: skip
    if column.quantity == "pH":
        asked["method"] = form.get("method", "") or next(iter(PH_METHODS))
    (draft,) = record_reading(state, asked)
    reading = noun_of(draft.kind, draft.body)
    assert isinstance(reading, Reading)
    return _kept_once(state, state.readings, "reading", replace(reading, id=_id(sheet, column.key)))


def _steps(state: ItemState, form: Form, sheet: str, row: Mapping[str, str]) -> list[Draft]:
    """The bath and the drying of a sheet, and its note; refused where the times cannot be."""
    at = {
        key: _instant(form, sheet, key, row[key]) for key in ("into", "out", "dried") if key in row
    }
    if "out" in at and "into" not in at:
        raise _wrong(sheet, "into", "Out of the bath, but when did it go in?")
    for first, then in (("into", "out"), ("into", "dried"), ("out", "dried")):
        if first in at and then in at and at[then] < at[first]:
            what = BY_KEY[then].label.lower()
            says = f"{what.capitalize()} at {row[then]} is before {BY_KEY[first].label.lower()}."
            hint = "" if "-" in row[then] else " Write its day in front, as 2026-11-29 18:00."
            raise _wrong(sheet, then, says + hint)
    drafts: list[Draft] = []
    kind = form.get("kind", "") or BATHS[0]
    if "into" in at:
        celsius = _celsius(sheet, row["bath_c"]) if "bath_c" in row else None
        way = form.get("way", "") if form.get("way", "") in STEP_KINDS[kind].ways else ""
        step = Step(
            _id(sheet, kind), kind, (sheet,), "done" if "out" in at else "started",
            started_at=_text(at["into"]), done_at=_text(at["out"]) if "out" in at else "",
            temperature_c=celsius, note=row.get("note", ""), way=way,
        )  # fmt: skip
        drafts += _overrides(state, form, sheet, step)
        drafts += _kept_once(state, state.steps, "step", step)
    elif "bath_c" in row:
        raise _wrong(sheet, "into", "A bath's warmth is kept with the time the sheet went in.")
    elif "note" in row:
        raise _wrong(sheet, "note", "A note is kept with the bath; say when the sheet went in.")
    if "dried" in at:
        begun = at.get("out", at["dried"])
        drafts += _kept_once(
            state, state.steps, "step",
            Step(_id(sheet, "dry"), "dry", (sheet,), "done", started_at=_text(begun),
                 done_at=_text(at["dried"])),
        )  # fmt: skip
    return drafts


def _overrides(state: ItemState, form: Form, sheet: str, step: Step) -> list[Draft]:
    """What had stood against the step, passed over with the reason given; it is done already."""
    if step.id in state.steps:
        return []
    against = objections(state, STEP_KINDS[step.kind], step.places, None)
    if not against:
        return []
    reason = form.get("reason", "").strip()
    if not reason:
        says = f"{against[0].says} It was done all the same? Say why below, under Reason."
        raise _wrong(sheet, "into", says)
    rules = list(dict.fromkeys(one.rule for one in against))
    return [
        Draft(state.id, "override.made", to_body(
            Override(f"override-{step.id}-{n}", rule, f"{reason} ({AFTERWARDS})", step.id)
        ))
        for n, rule in enumerate(rules, start=1)
    ]  # fmt: skip


def _kept_once(
    state: ItemState,
    held: Mapping[str, Reading] | Mapping[str, Step],
    what: str,
    noun: Reading | Step,
) -> list[Draft]:
    """A draft for a new cell, a correction for a changed one, nothing for the same again."""
    known = held.get(noun.id)
    if known == noun:
        return []
    if known is not None:
        return [Draft(state.id, f"{what}.corrected", to_body(noun))]
    if isinstance(noun, Step):
        begun = replace(noun, state="started", done_at="")
        drafts = [Draft(state.id, "step.started", to_body(begun))]
        if noun.state == "done":
            drafts.append(Draft(state.id, "step.done", to_body(noun)))
        return drafts
    return [Draft(state.id, "reading.taken", to_body(noun))]


def _kept(state: ItemState, sheet: str, column: Column) -> str:
    if column.kind == "reading":
        reading = state.readings.get(_id(sheet, column.key))
        return reading.as_typed if reading else ""
    bath = next((step for kind in BATHS if (step := state.steps.get(_id(sheet, kind)))), None)
    dry = state.steps.get(_id(sheet, "dry"))
    if bath is not None:
        if column.key == "into":
            return bath.started_at
        if column.key == "out":
            return bath.done_at
        if column.key == "bath_c" and bath.temperature_c is not None:
            return f"{bath.temperature_c} °C"
        if column.key == "note":
            return bath.note
    return dry.done_at if dry is not None and column.key == "dried" else ""


def _id(sheet: str, key: str) -> str:
    return f"grid-{sheet}-{key.replace('_', '-')}"


def _wrong(sheet: str, key: str, says: str) -> Refusal:
    return Refusal((Problem(field_of(sheet, BY_KEY[key]), says),))


def _celsius(sheet: str, text: str) -> Decimal:
    try:
        value = typed.temperature_c(text)
    except typed.Unreadable as error:
        raise _wrong(sheet, "bath_c", f"{error}.") from error
    if not 0 <= value <= 60:
        raise _wrong(sheet, "bath_c", f"A bath lies between 0 and 60 °C, got {value} °C.")
    return value


_TIME = re.compile(r"(?:(\d{4}-\d\d-\d\d)[ T]+)?(\d{1,2})[:.h](\d\d)(?::\d\d(?:\.\d+)?)?(Z)?")


def _instant(form: Form, sheet: str, key: str, text: str) -> datetime:
    """A time as typed: "18:05", "2026-11-29 18:05"; times without a day are of the form's day."""
    found = _TIME.fullmatch(text.strip())
    try:
        if found is None:
            raise ValueError(f"{text[:40]!r} is no time; write it as 18:05 or 2026-11-29 18:05")
        if not (found[1] or form.get("day", "").strip()):
            raise ValueError("on which day? Fill in the day above, or write it in front")
        day = _day(found[1] or form["day"].strip())
        if not (int(found[2]) < 24 and int(found[3]) < 60):
            raise ValueError(f"there is no {text.strip()!r} on a clock")
        clock = time(int(found[2]), int(found[3]))
    except ValueError as error:
        says = str(error)
        raise _wrong(sheet, key, f"{says[:1].upper()}{says[1:]}.") from error
    zone = UTC if found[4] else ZoneInfo(form.get("zone", "") or "UTC")
    return datetime.combine(day, clock, zone).astimezone(UTC)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise ValueError(f"there is no day {text[:40]!r}; write it as 2026-11-29") from error


def _text(moment: datetime) -> str:
    return moment.isoformat(timespec="seconds").replace("+00:00", "Z")


def _table(text: str) -> list[list[str]]:
    lines = [line for line in text.removeprefix("\ufeff").splitlines() if line.strip()]
    if not lines:
        return []
    part = next((sign for sign in ("\t", ";") if sign in lines[0]), ",")
    try:
        found = [
            [cell.strip() for cell in row]
            for row in csv.reader(io.StringIO("\n".join(lines)), delimiter=part)
        ]
    except csv.Error:
        return []
    return [row for row in found if len(row) > 1]


def _columns(table: Sequence[Sequence[str]]) -> tuple[list[Column | None], list[Sequence[str]]]:
    names = [_plain(cell) for cell in table[0]]
    known = {_plain(label): column for column in COLUMNS for label in (column.label, column.key)}
    if any(name in known for name in names[1:]):
        return [known.get(name) for name in names[1:]], list(table[1:])
    return list(COLUMNS), list(table)


def _plain(text: str) -> str:
    return re.sub(r"[^a-z]+", " ", text.lower().split(",")[0]).strip()
