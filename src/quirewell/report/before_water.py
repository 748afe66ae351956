"""Before water, in the report: what was asked and answered, what was kept, and the pilot."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from quirewell.record.benchwork import Check, Pilot
from quirewell.record.nouns import ItemState
from quirewell.report.content import day
from quirewell.report.model import JOURNAL, typed
from quirewell.stages.checks import QUESTIONS, standing
from quirewell.stages.examine import known_sheets
from quirewell.stages.naming import place_words, places_words
from quirewell.stages.objecting import begun_on
from quirewell.stages.pilot import course_of, pilot_name
from quirewell.stages.step_table import STEP_KINDS

_VERDICT = {"": "not judged", "yes": "accepted", "no": "not accepted"}


def before_water(state: ItemState) -> dict[str, Any]:
    """Rows of checks (question, answer, where, note), of what was kept (what, where, why) and of
    pilots (which, through, course, measured, verdict); empty where nothing was wetted or asked."""
    asked = bool(state.checks) or any(
        (kind := STEP_KINDS.get(step.kind)) is not None and kind.wets == "whole"
        and step.state != "planned"
        for step in state.steps.values()
    )  # fmt: skip
    then = _as_wetted(state)
    return {
        "checks": [row for key in QUESTIONS for row in _check_rows(then, key)] if asked else [],
        "keeps": [
            [typed(keep.what, keep.id), _capital(place_words(keep.place)), keep.why]
            for keep in state.keeps.values()
        ],
        "pilots": [_pilot_row(state, pilot) for pilot in state.pilots.values()],
    }


def _as_wetted(state: ItemState) -> ItemState:
    """The item with its steps up to the last that wetted whole sheets: new staples that went in
    afterwards were not in the bath."""
    steps = list(state.steps.items())
    last = max(
        (at for at, (_, step) in enumerate(steps)
         if step.state != "planned" and step.kind in STEP_KINDS
         and STEP_KINDS[step.kind].wets == "whole"),
        default=len(steps) - 1,
    )  # fmt: skip
    return replace(state, steps=dict(steps[: last + 1]))


def _check_rows(state: ItemState, key: str) -> list[list[Any]]:
    """How a check stands, sheets alike together: by the record, by a person, or not at all. The
    answer leads to what it stands on; one that nobody gave, to the whole record."""
    groups: dict[tuple[str, str], list[str]] = {}
    refs: dict[tuple[str, str], dict[str, None]] = {}
    for sheet in known_sheets(state):
        one = standing(state, sheet, key)
        answer = state.checks.get(one.check)
        if key == "surfactant-rinsed" and one.from_record:
            continue
        told = (one.says, _note(answer))
        groups.setdefault(told, []).append(sheet)
        refs.setdefault(told, {}).update(dict.fromkeys(one.refs))
    return [
        [
            QUESTIONS[key].name, typed(told[0], *(refs[told] or (JOURNAL,))),
            _capital(places_words(tuple(on))), told[1],
        ]
        for told, on in groups.items()
    ]  # fmt: skip


def _note(answer: Check | None) -> str:
    if answer is None:
        return ""
    on = day(answer.at) if answer.at else ""
    return ": ".join(part for part in (on, answer.note) if part)


def _pilot_row(state: ItemState, pilot: Pilot) -> list[Any]:
    """A pilot by its own record, and what it went through by the steps that took it there."""
    course = course_of(state, pilot)
    through = "; ".join(STEP_KINDS[one].name for one in course.through if one in STEP_KINDS)
    steps = [
        step.id for step, _ in begun_on(state, pilot.place)
        if pilot.place and step.kind in course.through
    ]  # fmt: skip
    days = [f"dry on {day(course.dried_at)}"] if course.dried_at else []
    days += [f"looked at on {day(pilot.looked_at)}"] if pilot.looked_at else []
    verdict = _VERDICT[pilot.accepted] + (f": {pilot.note}" if pilot.note else "")
    return [
        typed(_capital(pilot_name(pilot)), pilot.id),
        typed(through or "nothing yet", *(steps or (pilot.id,))), ", ".join(days),
        typed(pilot.measured, pilot.id), typed(verdict, pilot.id),
    ]  # fmt: skip


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
