"""What is to be done at the bench now: one thing, what comes next, what is late or lies wet.

Everything under way over all items, from the steps of their records; what comes next from the plan
that stands, else from the steps that were planned by hand. A plan or a recipe is not needed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, Literal

from quirewell.record.bench import BenchState
from quirewell.record.nouns import ItemState, Step
from quirewell.stages.cautions import plain
from quirewell.stages.entry_time import read_instant, span_words
from quirewell.stages.gates import is_damp, objections, sheets_of
from quirewell.stages.naming import places_words, sheet_of
from quirewell.stages.step_table import STEP_KINDS

State = Literal["under way", "planned"]
Level = Literal["", "late", "too long", "wet"]
# A step is told as late only when it is so by more than a person's walk to the tray.
LATE_S = 60.0
_URGENT: Mapping[Level, int] = {"too long": 0, "late": 1, "wet": 2, "": 3}


@dataclass(frozen=True, slots=True)
class Course:
    """What a recipe says of a step: in words, and how long its sheet may wait after it."""

    name: str = ""
    does: str = ""
    watch: str = ""
    materials: tuple[str, ...] = ()
    limits: str = ""
    hazards: tuple[str, ...] = ()
    can_wait: str = ""
    reading: str = ""
    minutes: int | None = None
    most_minutes: int | None = None
    most_wait: int | None = None


NO_COURSE = Course()
Lookup = Callable[[str, str], Course]


def no_lookup(recipe: str, step: str) -> Course:
    """No recipe known."""
    return NO_COURSE


@dataclass(frozen=True, slots=True)
class Card:
    """One thing at the bench. ``key`` names it on the page; ``id`` is its record, where it has one.

    Instants are UTC; minutes are text as a form takes them. ``warn`` says in words what is late.
    """

    key: str
    item: str
    title: str
    state: State
    kind: str
    name: str
    places: tuple[str, ...]
    id: str = ""
    touched: int = 0
    task: str = ""
    recipe: str = ""
    recipe_step: str = ""
    planned: str = ""
    most: str = ""
    begin_at: str = ""
    started_at: str = ""
    due_at: str = ""
    most_at: str = ""
    does: str = ""
    watch: str = ""
    materials: tuple[str, ...] = ()
    can_wait: str = ""
    reading: str = ""
    cautions: tuple[dict[str, str], ...] = ()
    before: tuple[str, ...] = ()
    rule: str = ""
    reason: str = ""
    wets: bool = False
    hands: bool = True
    level: Level = ""
    warn: str = ""
    note: str = ""

    @property
    def where(self) -> str:
        """Its sheets in words."""
        return places_words(self.places)


@dataclass(frozen=True, slots=True)
class WetSheet:
    """Sheets that lie wet with nothing under way on them: since when, and what is too long."""

    item: str
    title: str
    places: tuple[str, ...]
    since: str
    says: str
    too_long: bool


@dataclass(frozen=True, slots=True)
class Today:
    """The bench page: the one thing, the others under way, what comes next, what lies wet."""

    now: Card | None
    under_way: tuple[Card, ...]
    next: tuple[Card, ...]
    wet: tuple[WetSheet, ...]
    left: int
    says: str


def today(
    states: Sequence[ItemState],
    rows: Sequence[Mapping[str, Any]],
    now: datetime,
    chosen: str = "",
    lookup: Lookup = no_lookup,
    bench: BenchState | None = None,
    only: str = "",
    over: bool = False,
) -> Today:
    """The bench at ``now``: ``rows`` are the steps of the plan that stands, ``chosen`` the key of
    the card a person asked for, ``only`` the item whose next steps are wanted; what is under way
    or lies wet is shown whatever it belongs to. ``over`` says that the plan is out of date: then
    none of its steps is late by itself."""
    under = [
        _under_way(state, step, now, lookup)
        for state in states
        for step in state.steps.values()
        if step.state == "started"
    ]
    under.sort(key=lambda card: (_URGENT[card.level], card.due_at or "9", card.started_at))
    ahead = [card for card in _ahead(states, rows, now, lookup, over) if only in ("", card.item)]
    wet = lying_wet(states, now, lookup)
    one = _one(under, ahead, wet, now, chosen)
    if one is not None and one.state == "planned":
        one = _asked_before(states, one, bench, now)
    others = tuple(card for card in under if one is None or card.key != one.key)
    rest = [card for card in ahead if one is None or card.key != one.key]
    following = tuple(_asked_before(states, card, bench, now) for card in rest[:3])
    return Today(one, others, following, wet, len(rest), _says(under, ahead, states))


def _one(
    under: Sequence[Card], ahead: Sequence[Card], wet: Sequence[WetSheet], now: datetime, key: str
) -> Card | None:
    """The one thing now: what was asked for, what is late, what lies wet, what is due to begin,
    what ends next, what begins next."""
    for card in (*under, *ahead):
        if key and card.key == key:
            return card
    if under and under[0].level:
        return under[0]
    busy = {(card.item, sheet) for card in under for sheet in card.places}
    free = [
        card for card in ahead if not any((card.item, sheet) in busy for sheet in card.places)
    ]  # fmt: skip
    for lying in wet:
        for card in free:
            if card.item == lying.item and set(card.places) & set(lying.places):
                return card
    for card in free:
        if card.begin_at and read_instant(card.begin_at) <= now + timedelta(minutes=1):
            return card
    if under:
        return under[0]
    return free[0] if free else (ahead[0] if ahead else None)


def _says(under: Sequence[Card], ahead: Sequence[Card], states: Sequence[ItemState]) -> str:
    if under or ahead:
        return ""
    if not states:
        return "There is no item yet. Open one first; then begin any step on any sheet here."
    if any(state.steps for state in states):
        return "Nothing is under way, and nothing more is planned. Begin a step by hand below."
    return "Nothing is planned yet. Begin any step on any sheets below, or make a plan first."


def _under_way(state: ItemState, step: Step, now: datetime, lookup: Lookup) -> Card:
    card = _card(state, step.kind, step.places, step.recipe, step.recipe_step, lookup)
    due, most = (
        after(step.started_at, step.planned_minutes),
        after(step.started_at, step.most_minutes),
    )
    level, warn = lateness(due, most, now, step.planned_minutes, step.most_minutes)
    return replace(
        card, key=f"s:{state.id}:{step.id}", state="under way", id=step.id,
        touched=state.touched.get(step.id, 0), task=step.task, planned=_plain(step.planned_minutes),
        most=_plain(step.most_minutes), started_at=step.started_at, due_at=due, most_at=most,
        level=level, warn=warn, note=step.note,
    )  # fmt: skip


def after(started_at: str, minutes: Decimal | None) -> str:
    """The instant some minutes after another; "" where either is not known."""
    if not started_at or minutes is None:
        return ""
    end = read_instant(started_at) + timedelta(minutes=float(minutes))
    return end.isoformat(timespec="seconds").replace("+00:00", "Z")


def lateness(
    due: str, most: str, now: datetime, planned: Decimal | None, longest: Decimal | None
) -> tuple[Level, str]:
    """How late a step under way is, and that in words."""
    if most and now > read_instant(most):
        gone = span_words((now - read_instant(most)).total_seconds())
        return "too long", f"Too long: {gone} over the longest it may take ({longest:f} min)."
    if due and (now - read_instant(due)).total_seconds() > LATE_S:
        gone = span_words((now - read_instant(due)).total_seconds())
        return "late", f"Late: {gone} over the {planned:f} min planned."
    return "", ""


def _ahead(
    states: Sequence[ItemState], rows: Sequence[Mapping[str, Any]], now: datetime, lookup: Lookup,
    over: bool,
) -> list[Card]:  # fmt: skip
    """What has not begun: the plan's steps by their begin, then those planned by hand."""
    by_id = {state.id: state for state in states}
    tasks = {step.task for state in states for step in state.steps.values() if step.task}
    cards = [
        _planned_row(by_id[row["item_id"]], row, now, lookup, over)
        for row in sorted(rows, key=lambda row: read_instant(row["start"]))
        if row["state"] == "planned" and row["item_id"] in by_id and row["id"] not in tasks
    ]
    for state in states:
        for step in state.steps.values():
            if step.state == "planned":
                cards.append(_by_hand(state, step, rows, lookup))
    return cards


def _planned_row(
    state: ItemState, row: Mapping[str, Any], now: datetime, lookup: Lookup, over: bool
) -> Card:  # fmt: skip
    places = tuple(row["sheets"]) or ("item",)
    card = _card(state, row["kind"], places, row["recipe"], row["step"], lookup)
    begin = read_instant(row["start"])
    behind = (now - begin).total_seconds()
    late = behind > LATE_S and not over
    return replace(
        card, key=f"p:{row['id']}", name=row["name"] or card.name, task=row["id"],
        planned=str(row["minutes"]), most=str(row.get("most_min") or ""),
        begin_at=begin.isoformat(timespec="seconds").replace("+00:00", "Z"),
        can_wait=row.get("can_wait") or card.can_wait, hands=bool(row["hands"]),
        level="late" if late else "",
        warn=f"Late: it was to begin {span_words(behind)} ago." if late else "",
    )  # fmt: skip


def _by_hand(
    state: ItemState, step: Step, rows: Sequence[Mapping[str, Any]], lookup: Lookup
) -> Card:  # fmt: skip
    card = _card(state, step.kind, step.places, step.recipe, step.recipe_step, lookup)
    row = next((one for one in rows if step.task and one["id"] == step.task), None)
    return replace(
        card, key=f"s:{state.id}:{step.id}", id=step.id, touched=state.touched.get(step.id, 0),
        task=step.task, planned=_plain(step.planned_minutes) or card.planned,
        most=_plain(step.most_minutes) or card.most, note=step.note,
        begin_at="" if row is None else read_instant(row["start"]).isoformat(),
    )  # fmt: skip


def _card(
    state: ItemState, kind: str, places: tuple[str, ...], recipe: str, step: str, lookup: Lookup
) -> Card:  # fmt: skip
    known = STEP_KINDS.get(kind)
    course = lookup(recipe, step) if recipe and step else NO_COURSE
    hazards = course.hazards or (known.cautions if known else ())
    return Card(
        "", state.id, state.item.title, "planned", kind,
        course.name or (known.name if known else kind or "Work"), places,
        recipe=recipe, recipe_step=step,
        planned="" if course.minutes is None else str(course.minutes),
        most="" if course.most_minutes is None else str(course.most_minutes),
        does=course.does or (known.does if known else ""), watch=course.watch,
        materials=course.materials or (known.materials if known else ()),
        can_wait=course.can_wait, reading=course.reading, cautions=tuple(plain(hazards)),
        wets=bool(known and known.wets_paper),
    )  # fmt: skip


def _asked_before(
    states: Iterable[ItemState], card: Card, bench: BenchState | None, now: datetime
) -> Card:  # fmt: skip
    """The card with what speaks against beginning it now."""
    kind = STEP_KINDS.get(card.kind)
    state = next(one for one in states if one.id == card.item)
    if kind is None:
        return card
    step = state.steps.get(card.id)
    heat = None if step is None or step.temperature_c is None else float(step.temperature_c)
    against = objections(
        state, kind, card.places, heat, step=step, bench=bench, at=now.isoformat()
    )  # fmt: skip
    if not against:
        return card
    return replace(
        card, before=tuple(one.says for one in against), rule=against[0].rule,
        reason=_reason_before(state, card.places),
    )  # fmt: skip


def _reason_before(state: ItemState, places: Sequence[str]) -> str:
    """The reason that let the step before begin, while its sheets are still wet: a sheet that lies
    in the bath does not wait for the same words to be typed again."""
    wet = {sheet for sheet in sheets_of(state, places) if is_damp(state, sheet)}
    for override in reversed(state.overrides.values()):
        step = state.steps.get(override.step)
        if step is not None and wet & set(sheets_of(state, step.places)):
            return override.reason
    return ""


def lying_wet(
    states: Iterable[ItemState], now: datetime, lookup: Lookup = no_lookup
) -> tuple[WetSheet, ...]:  # fmt: skip
    """Sheets that are wet by the record and on which nothing is under way."""
    out = []
    for state in states:
        begun = [step for step in state.steps.values() if step.state != "planned"]
        busy = {
            sheet for step in begun if step.state == "started"
            for sheet in sheets_of(state, step.places)
        }  # fmt: skip
        touched = dict.fromkeys(sheet for step in begun for sheet in sheets_of(state, step.places))
        groups: dict[str, list[str]] = {}
        last: dict[str, Step] = {}
        for sheet in touched:
            if sheet in busy or not sheet_of(sheet) or not is_damp(state, sheet):
                continue
            step = [one for one in begun if sheet in sheets_of(state, one.places)][-1]
            since = step.done_at or step.started_at
            groups.setdefault(since, []).append(sheet)
            last[since] = step
        out += [_wet(state, sheets, since, last[since], now, lookup)
                for since, sheets in groups.items()]  # fmt: skip
    return tuple(sorted(out, key=lambda one: one.since))


def _wet(
    state: ItemState, sheets: Sequence[str], since: str, step: Step, now: datetime, lookup: Lookup
) -> WetSheet:  # fmt: skip
    gone = 0.0 if not since else (now - read_instant(since)).total_seconds()
    course = lookup(step.recipe, step.recipe_step) if step.recipe else NO_COURSE
    long = course.most_wait is not None and gone > 60 * course.most_wait
    words = places_words(sheets)
    says = f"{words[:1].upper()}{words[1:]} of {state.item.title}: wet, with nothing under way"
    says += f" for {span_words(gone)}" if since else ""
    if course.most_wait is not None:
        says += f"; the next step follows within {course.most_wait} min"
    says += ": too long." if long else "."
    return WetSheet(state.id, state.item.title, tuple(sheets), since, says, long)


def _plain(value: Decimal | None) -> str:
    return "" if value is None else f"{value.normalize():f}"
