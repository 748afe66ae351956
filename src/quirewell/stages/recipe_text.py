"""A course of treatment as TOML text, read and written; every fault in a sentence with its line.

Keys and their meaning stand in docs/reference/courses.md. ``key``, ``name`` and at least one
``[[step]]`` with ``key``, ``kind``, ``name`` and ``minutes`` are needed; what a step leaves out
comes from the step table. Text is bounded in size, depth and every number before it is used.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import fields
from typing import Any

from quirewell.record.plain_data import BadData, toml_data
from quirewell.stages.cautions import CAUTIONS
from quirewell.stages.course import (
    ON,
    PILOT_LOOK,
    PLACEHOLDER,
    Course,
    CourseStep,
    run_on,
)
from quirewell.stages.reading_entry import QUANTITIES
from quirewell.stages.step_table import STEP_KINDS, StepKind

__all__ = ["Course", "CourseError", "CourseStep", "read_course", "write_course"]

MOST_CHARACTERS = 60_000
MOST_STEPS, MOST_MINUTES, MOST_TOGETHER = 60, 14 * 24 * 60, 8
MOST_LINE, MOST_WORDS, MOST_LIST = 120, 900, 20
HEAD = ("key", "name", "purpose", "note", "standing", "step")
LINES = ("name", "reading", "standing")
WORDS = ("purpose", "does", "watch", "reversibility", "test_before", "can_wait")
LISTS = ("materials", "limits", "hazards", "equipment")
NUMBERS = {
    "minutes": (1, MOST_MINUTES), "likely_minutes": (1, MOST_MINUTES),
    "most_minutes": (1, MOST_MINUTES), "together": (1, MOST_TOGETHER),
    "least_wait": (0, MOST_MINUTES), "most_wait": (0, MOST_MINUTES),
}  # fmt: skip
READINGS = ("size", *QUANTITIES)
FLAGS = ("hands", "wet", "safe_stop")
STEP = tuple(field.name for field in fields(CourseStep))
_KEY = re.compile(r"[a-z0-9][a-z0-9-]{0,39}")
_HEADING = re.compile(r"^[ \t]*\[\[[ \t]*step[ \t]*\]\]", re.MULTILINE)
_DEEP = re.compile(r"(?:[\w\"'-]{1,60}[ \t]{0,9}\.[ \t]{0,9}){6}|(?:[\[{][ \t\r\n]*){6}")
_UNSEEN = re.compile(r"[\x00-\x08\x0b-\x1f\x7f\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff]")
INK_TEST = "An ink test of every colour on this sheet, with the very liquid of this step."


class CourseError(ValueError):
    """A course's text that cannot be read, in a sentence with the line or step it is in."""


def read_course(text: str, edition: int = 1) -> Course:
    """The course that a text says.

    Raises:
        CourseError: every fault that was found, a sentence each.
    """
    text = text.replace("\r\n", "\n")
    data = _parsed(text)
    lines = [text.count("\n", 0, found.start()) + 1 for found in _HEADING.finditer(text)]
    faults: list[str] = []
    for name in data:
        if name not in HEAD:
            faults.append(f"a course knows no {_short(name)}; it knows {', '.join(HEAD)}")
    key = data.get("key", "")
    if not isinstance(key, str) or not _KEY.fullmatch(key):
        faults.append(
            "a course has a key of small letters, figures and hyphens, at most 40, such as "
            f'key = "slow-way"; got {_short(key)}'
        )
    name = _words(data, "name", "the course", MOST_LINE, faults)
    if not name and "name" not in " ".join(faults):
        faults.append('a course has a name of its own: name = ".."')
    purpose, note = (_words(data, one, "the course", MOST_WORDS, faults) for one in HEAD[2:4])
    standing = _words(data, "standing", "the course", MOST_LINE, faults) or PLACEHOLDER
    rows = data.get("step", [])
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows) or not rows:
        raise CourseError(_said([*faults, "write each step under its own heading [[step]], at "
                                 "least one"]))  # fmt: skip
    if len(rows) > MOST_STEPS:
        raise CourseError(f"A course has at most {MOST_STEPS} steps, got {len(rows)}.")
    steps: list[CourseStep] = []
    for number, row in enumerate(rows):
        line = lines[number] if len(lines) == len(rows) else 0
        step = _step(row, _where(row, number, line), faults)
        if step is not None:
            steps.append(step)
    faults += _between(steps)
    if faults:
        raise CourseError(_said(faults))
    course = Course(str(key), name, tuple(steps), purpose, note, standing, edition, text)
    if order := list(run_on(course)):
        raise CourseError(_said(order))
    return course


def _parsed(text: str) -> dict[str, Any]:
    if len(text) > MOST_CHARACTERS:
        raise CourseError(f"A course has at most {MOST_CHARACTERS} signs, got {len(text)}.")
    if found := _DEEP.search(text):
        line = text.count("\n", 0, found.start()) + 1
        raise CourseError(f"Line {line}: a course has no tables or lists so deep within another.")
    try:
        return toml_data(text)
    except BadData as error:
        raise CourseError(f"This is no TOML: {str(error)[:200].rstrip('.')}.") from error


def _where(row: Mapping[str, Any], number: int, line: int) -> str:
    key = row.get("key")
    called = f" {key[:40]!r}" if isinstance(key, str) and key else ""
    return f"step {number + 1}{called}" + (f" (line {line})" if line else "")


def _step(row: Mapping[str, Any], where: str, faults: list[str]) -> CourseStep | None:
    before = len(faults)
    for name in row:
        if name not in STEP:
            faults.append(f"{where} knows no {_short(name)}; it knows {', '.join(STEP)}")
    key, kind, on = row.get("key", ""), row.get("kind", ""), row.get("on", "each")
    if not isinstance(key, str) or not _KEY.fullmatch(key) or key == PILOT_LOOK:
        faults.append(f"{where} needs a key of small letters, figures and hyphens (not "
                      f"{PILOT_LOOK}), got {_short(key)}")  # fmt: skip
    if not isinstance(kind, str) or kind not in STEP_KINDS:
        faults.append(f"{where}: kind is one of {', '.join(STEP_KINDS)}; got {_short(kind)}")
    if on not in ON:
        faults.append(f"{where}: on is one of {', '.join(ON)}; got {_short(on)}")
    held: dict[str, Any] = {one: _words(row, one, where, MOST_LINE, faults) for one in LINES}
    held |= {one: _words(row, one, where, MOST_WORDS, faults) for one in WORDS}
    held |= {one: _list(row, one, where, faults) for one in LISTS}
    held |= {one: _count(row, one, where, faults) for one in NUMBERS}
    held |= {one: _flag(row, one, where, faults) for one in FLAGS}
    held["hold_from"] = _words(row, "hold_from", where, 40, faults)
    held["most_c"] = _celsius(row, where, faults)
    if len(faults) > before:
        return None
    if not held["name"] or held["minutes"] is None:
        faults.append(f"{where} needs a name and its minutes")
        return None
    given = {one: value for one, value in held.items() if value not in (None, "", ())}
    usual = _usual(STEP_KINDS[kind])
    open_end = held["most_wait"] is None and not held["wet"]
    step = CourseStep(**{"safe_stop": open_end, **usual, **given, "key": key, "kind": kind,
                         "on": on})  # fmt: skip
    faults += [f"{where}: {fault}" for fault in _within(step)]
    return step


def _usual(kind: StepKind) -> dict[str, Any]:
    """What a step takes from the step table where it says nothing itself."""
    return {
        "does": kind.does, "materials": kind.materials, "hazards": kind.cautions,
        "test_before": INK_TEST if kind.aqueous else "",
    }  # fmt: skip


def _within(step: CourseStep) -> list[str]:
    out = [
        f"there is no caution {hazard[:40]!r}; there are {', '.join(CAUTIONS)}"
        for hazard in step.hazards if hazard not in CAUTIONS
    ]  # fmt: skip
    if step.reading and step.reading not in READINGS:
        out.append(f"reading is one of {', '.join(READINGS)}, got {step.reading[:40]!r}")
    if step.most_minutes is not None and step.most_minutes < step.minutes:
        out.append(f"most_minutes ({step.most_minutes}) is less than minutes ({step.minutes})")
    if step.likely_minutes is not None and step.likely_minutes > step.minutes:
        out.append(f"likely_minutes ({step.likely_minutes}) is more than minutes, the time to "
                   f"plan with ({step.minutes})")  # fmt: skip
    if step.most_wait is not None and step.most_wait < step.least_wait:
        out.append(f"most_wait ({step.most_wait}) is less than least_wait ({step.least_wait})")
    if step.safe_stop and step.most_wait is not None:
        out.append("a safe stop has no most_wait: leave one of the two out")
    if step.safe_stop and step.wet:
        out.append("a wet sheet is no safe stop: leave safe_stop out")
    if not step.safe_stop and step.most_wait is None and not step.wet:
        out.append("say how long it can wait: most_wait in minutes, or leave safe_stop out")
    if step.hold_from and not step.equipment:
        out.append("hold_from says from when equipment is held, so name the equipment too")
    if step.together > 1 and not step.hold_from:
        out.append("together counts the sheets that share a place held over several steps: say "
                   "hold_from too")  # fmt: skip
    if step.together > 1 and len(step.equipment) != 1:
        out.append("sheets go together in the places of one equipment: name just one")
    return out


def _between(steps: Sequence[CourseStep]) -> list[str]:
    out = []
    at: dict[str, int] = {}
    for index, step in enumerate(steps):
        if step.key in at:
            out.append(f"two steps are called {step.key!r}: give each its own key")
        at.setdefault(step.key, index)
        if not step.hold_from or step.hold_from == step.key:
            continue
        first = at.get(step.hold_from)
        if first is None:
            out.append(f"step {step.key!r} holds its equipment from step {step.hold_from!r}, which "
                       "does not come before it")  # fmt: skip
        elif any(one.on != step.on for one in steps[first:index]):
            out.append(f"step {step.key!r} holds its equipment from step {step.hold_from!r}, but "
                       "the steps between are not on the same sheets")  # fmt: skip
        elif any(set(one.equipment) & set(step.equipment) for one in steps[first:index]):
            out.append(f"step {step.key!r} holds equipment that a step before it takes as well: "
                       "name it once, at the step that gives it back")  # fmt: skip
    return out


def _words(
    row: Mapping[str, Any], name: str, where: str, most: int, faults: list[str]
) -> str:  # fmt: skip
    value = row.get(name, "")
    if not isinstance(value, str):
        faults.append(f"{where}: {name} is words between quotation marks, got {_short(value)}")
        return ""
    value = " ".join(_UNSEEN.sub(" ", value).split())
    if len(value) > most:
        faults.append(f"{where}: {name} has at most {most} signs, got {len(value)}")
        return ""
    return value


def _list(row: Mapping[str, Any], name: str, where: str, faults: list[str]) -> tuple[str, ...]:
    value = row.get(name, [])
    if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
        faults.append(f'{where}: {name} is a list such as ["one", "another"], got {_short(value)}')
        return ()
    if len(value) > MOST_LIST:
        faults.append(f"{where}: {name} holds at most {MOST_LIST}, got {len(value)}")
        return ()
    short = {one: _words({name: one}, name, where, 200, faults) for one in value}
    if name == "equipment":
        short = {key: word.lower()[:40] for key, word in short.items()}
    return tuple(dict.fromkeys(word for word in short.values() if word))


def _count(row: Mapping[str, Any], name: str, where: str, faults: list[str]) -> int | None:
    if name not in row:
        return None
    value, (low, high) = row[name], NUMBERS[name]
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        what = "is a whole number" if name == "together" else "is whole minutes"
        faults.append(f"{where}: {name} {what} from {low} to {high}, got {_short(value)}")
        return None
    return value


def _flag(row: Mapping[str, Any], name: str, where: str, faults: list[str]) -> bool | None:
    value = row.get(name)
    if value is not None and not isinstance(value, bool):
        faults.append(f"{where}: {name} is true or false, got {_short(value)}")
        return None
    return value


def _celsius(row: Mapping[str, Any], where: str, faults: list[str]) -> float | None:
    if "most_c" not in row:
        return None
    value = row["most_c"]
    if (
        isinstance(value, bool) or not isinstance(value, int | float)
        or not math.isfinite(value) or not 0 <= value <= 150
    ):  # fmt: skip
        faults.append(f"{where}: most_c is a temperature from 0 to 150 °C, got {_short(value)}")
        return None
    return float(value)


def _short(value: object) -> str:
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) >= 10**12:
        return "a number far too large"
    return "nothing" if value in ("", None) else repr(value)[:60]


def _said(faults: Sequence[str]) -> str:
    shown = [f"{fault[:1].upper()}{fault[1:].rstrip('.')}." for fault in faults[:8]]
    more = len(faults) - len(shown)
    return " ".join([*shown, *([f"And {more} more."] if more else [])])


def write_course(course: Course) -> str:
    """A course as text that reads as the same course; what the step table gives is left out."""
    out = [f"key = {_quoted(course.key)}", f"name = {_quoted(course.name)}"]
    for name in ("purpose", "note", "standing"):
        if value := getattr(course, name):
            out.append(f"{name} = {_quoted(value)}")
    for step in course.steps:
        kind = STEP_KINDS[step.kind]
        usual = CourseStep(
            "", "", "", 0, **_usual(kind), safe_stop=step.most_wait is None and not step.wet
        )
        out.append("\n[[step]]")
        for name in STEP:
            value = getattr(step, name)
            if value != getattr(usual, name):
                out.append(f"{name} = {_toml(value)}")
    return "\n".join(out) + "\n"


def _toml(value: object) -> str:
    if isinstance(value, tuple):
        return f"[{', '.join(_quoted(one) for one in value)}]"
    if isinstance(value, str):
        return _quoted(value)
    return str(value).lower()


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
