"""What stands between the sheets and the water, at a glance: checks, inks, keeps, the pilot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from quirewell.record.benchwork import Keep, Pilot
from quirewell.record.nouns import ItemState, SpotTest, Step
from quirewell.stages.checks import QUESTIONS, Question, standing
from quirewell.stages.examine import known_sheets
from quirewell.stages.gates import objections
from quirewell.stages.ink_gate import Wish, colours_of, ink_tests_of, stood, wish_of
from quirewell.stages.keeping import keep_words
from quirewell.stages.naming import places_words
from quirewell.stages.objecting import sheets_of, speaks_for
from quirewell.stages.pilot import Course, course_of, measured_words, pilot_name, suggested
from quirewell.stages.step_table import STEP_KINDS, StepKind

ANY = "every colour"
SHORT = {
    "ink-test": "ink tests", "keep-untested": "what is to be kept", "pilot-first": "the pilot",
    **{key: row.name[:1].lower() + row.name[1:] for key, row in QUESTIONS.items()},
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class CheckRow:
    """A check over all sheets: which are well, open or answered "not yet", each in words."""

    question: Question
    well: tuple[tuple[str, tuple[str, ...]], ...]
    open: tuple[str, ...]
    undone: tuple[str, ...]
    answers: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Column:
    """A bath the inks must stand: of a planned step, or water and lime water in general."""

    key: str
    name: str
    wish: Wish
    kind: StepKind
    sheets: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Cell:
    """How one colour stands to one bath: ``level`` "well", "mind", "no" or "" (not in it)."""

    level: str
    says: str


@dataclass(frozen=True, slots=True)
class InkRow:
    """A colour on the sheets where it stands alike to every bath."""

    colour: str
    where: str
    places: tuple[str, ...]
    keep: bool
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class PilotRow:
    """A pilot in words, with its course and what was measured on it since."""

    pilot: Pilot
    name: str
    course: Course
    measured: str


@dataclass(frozen=True, slots=True)
class Glance:
    """Sheets on which the same is still open before water; nothing where they may go in."""

    sheets: tuple[str, ...]
    open: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Before:
    """The whole page; ``pilots`` newest first, ``suggests`` a sheet and why."""

    sheets: tuple[str, ...]
    glance: tuple[Glance, ...]
    checks: tuple[CheckRow, ...]
    columns: tuple[Column, ...]
    inks: tuple[InkRow, ...]
    keeps: tuple[tuple[Keep, str], ...]
    pilots: tuple[PilotRow, ...]
    suggests: tuple[str, str]
    waiting: PilotRow | None


def before(state: ItemState) -> Before:
    """What stands before water for every sheet of an item."""
    sheets = known_sheets(state) or ("item",)
    columns = _columns(state, sheets)
    newest = sorted(state.pilots.values(), key=lambda one: -state.touched.get(one.id, 0))
    pilots = tuple(
        PilotRow(one, pilot_name(one), course_of(state, one), measured_words(state, one))
        for one in newest
    )
    return Before(
        sheets, _glance(state, sheets),
        tuple(_check(state, row, sheets) for row in QUESTIONS.values()),
        columns, _inks(state, sheets, columns),
        tuple((keep, keep_words(keep)) for keep in state.keeps.values()),
        pilots, suggested(state), next((one for one in pilots if not one.pilot.accepted), None),
    )  # fmt: skip


def _glance(state: ItemState, sheets: Sequence[str]) -> tuple[Glance, ...]:
    wash = STEP_KINDS["wash"]
    groups: dict[tuple[str, ...], list[str]] = {}
    for sheet in sheets:
        rules = dict.fromkeys(one.rule for one in objections(state, wash, (sheet,)))
        groups.setdefault(tuple(SHORT.get(rule, rule) for rule in rules), []).append(sheet)
    return tuple(
        Glance(tuple(on), names)
        for names, on in sorted(groups.items(), key=lambda row: len(row[0]))
    )


def _check(state: ItemState, question: Question, sheets: Sequence[str]) -> CheckRow:
    stands = {sheet: standing(state, sheet, question.key) for sheet in sheets}
    well: dict[str, list[str]] = {}
    for sheet, one in stands.items():
        if one.state == "well":
            well.setdefault(one.says, []).append(sheet)
    return CheckRow(
        question, tuple((says, tuple(on)) for says, on in well.items()),
        tuple(sheet for sheet, one in stands.items() if one.state == "open"),
        tuple(sheet for sheet, one in stands.items() if one.state == "no"),
        tuple(dict.fromkeys(one.check for one in stands.values() if one.check)),
    )  # fmt: skip


def _columns(state: ItemState, sheets: Sequence[str]) -> tuple[Column, ...]:
    """A column to each bath that planned steps ask for; water and lime water where none is."""
    found: dict[tuple[bool, str], Column] = {}
    for step in state.steps.values():
        kind = STEP_KINDS.get(step.kind)
        if kind is None or kind.wets != "whole" or step.state != "planned":
            continue
        wish = wish_of(state, kind, _celsius(step), step)
        key = (kind.alkaline, wish.says)
        mine = sheets_of(state, step.places)
        known = found.get(key)
        both = tuple(dict.fromkeys((*(known.sheets if known else ()), *mine)))
        found[key] = Column(step.id, f"{kind.name}: {wish.says}", wish, kind, both)
    if found:
        return tuple(found.values())
    return (
        Column("water", "Water", Wish(), STEP_KINDS["wash"], tuple(sheets)),
        Column("lime", "Lime water", Wish(alkaline=True), STEP_KINDS["lime-bath"], tuple(sheets)),
    )


def _celsius(step: Step) -> float | None:
    return None if step.temperature_c is None else float(step.temperature_c)


def _inks(state: ItemState, sheets: Sequence[str], columns: Sequence[Column]) -> tuple[InkRow, ...]:
    groups: dict[tuple[str, bool, tuple[Cell, ...]], tuple[list[str], list[str]]] = {}
    for sheet in sheets:
        keeps = [(keep.what, keep.place, True) for keep in state.keeps.values()
                 if keep.place != "item" and speaks_for(keep.place, sheet)]  # fmt: skip
        colours = [(name, place, False) for name, place in colours_of(state, sheet)]
        rows = [*keeps, *colours]
        for name, place, keep in rows or [(ANY, sheet, False)]:
            cells = tuple(_cell(state, sheet, name, place, column) for column in columns)
            on, at = groups.setdefault((name, keep, cells), ([], []))
            on.append(sheet)
            at.append(place if place != "item" else sheet)
    for one in state.keeps.values():
        if one.place == "item":
            cells = tuple(_cell(state, "item", one.what, "item", column) for column in columns)
            groups[(one.what, True, cells)] = (["item"], ["item"])
    return tuple(
        InkRow(name, places_words(tuple(dict.fromkeys(at))), tuple(dict.fromkeys(at)), keep, cells)
        for (name, keep, cells), (_, at) in groups.items()
        if any(cell.level for cell in cells)
    )


def _cell(state: ItemState, sheet: str, colour: str, place: str, column: Column) -> Cell:
    if sheet != "item" and sheet not in column.sheets:
        return Cell("", "not in it")
    if colour == ANY and not ink_tests_of(state, sheet):
        return Cell("no", "not tested")
    found = stood(state, sheet, colour, place, column.wish)
    if found.hard:
        return Cell("no", found.hard)
    worst = _worst(found.tests, column.wish)
    if worst is not None and worst.result != "no change":
        level = "no" if worst.result == "bleeds" else "mind"
        return Cell(level, f"{worst.result} in {worst.liquid}")
    return Cell("mind", found.soft) if found.soft else Cell("well", "no change")


def _worst(tests: Sequence[SpotTest], wish: Wish) -> SpotTest | None:
    """The worst result in a liquid this bath is, water counting for both."""
    rank = {"no change": 0, "slight": 1, "bleeds": 2}
    mine = [one for one in tests if wish.alkaline or "lime" not in one.liquid.lower()] or tests
    return max(mine, key=lambda one: rank[one.result], default=None)


def test_begins(state: ItemState) -> dict[str, str]:
    """How the form of an ink test begins: the bath that is planned next, else nothing."""
    columns = _columns(state, ())
    wish = columns[0].wish if columns else Wish()
    liquid = "lime water 1:1" if wish.alkaline else "water"
    return {
        "liquid": f"{liquid} with surfactant" if wish.surfactant else liquid,
        "minutes": _text(wish.minutes), "temperature_c": _text(wish.celsius),
    }  # fmt: skip


def _text(value: Decimal | None) -> str:
    return "" if value is None else f"{value.normalize():f}"
