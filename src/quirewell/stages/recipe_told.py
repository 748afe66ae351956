"""A course in words: its steps as a person reads them, its lengths, and what an edition changed."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from quirewell.record.bench import BenchState
from quirewell.stages.cautions import CAUTIONS, plain
from quirewell.stages.course import ON_WORDS, Course, CourseStep
from quirewell.stages.naming import time_words
from quirewell.stages.reading_entry import QUANTITIES
from quirewell.stages.recipe_keep import courses, editions, is_aside
from quirewell.stages.recipe_text import READINGS
from quirewell.stages.step_table import STEP_KINDS

# What a person calls each key of a step; the guide and the changes read the same words.
WORDS: Mapping[str, str] = {
    "key": "key", "kind": "kind", "name": "name", "minutes": "time to plan with",
    "purpose": "purpose", "does": "what is done", "watch": "what to watch",
    "materials": "materials", "limits": "limits", "most_c": "warmest, °C", "hazards": "hazards",
    "reversibility": "what cannot be taken back", "test_before": "test before it", "on": "done to",
    "likely_minutes": "likely time", "most_minutes": "longest time", "hands": "takes hands",
    "equipment": "equipment", "hold_from": "holds its equipment from",
    "together": "sheets together", "least_wait": "least wait after it",
    "most_wait": "longest wait after it", "wet": "leaves the sheet wet",
    "can_wait": "how long it can wait, and in what state", "safe_stop": "safe stop",
    "reading": "reading to take", "standing": "on whose word",
}  # fmt: skip
_TIMES = ("minutes", "likely_minutes", "most_minutes", "least_wait", "most_wait")

GUIDE: tuple[tuple[str, str], ...] = (
    ("key, kind, name, minutes", "needed in each step. The kind is one of: "
     + "; ".join(f"{key} ({kind.name})" for key, kind in STEP_KINDS.items())),
    ("on", "; ".join(f"{key}: {words}" for key, words in ON_WORDS.items())),
    ("minutes, likely_minutes, most_minutes", "whole minutes: to plan with (of drying: dry in nine "
     "cases of ten), the usual, and from when it has lasted too long"),
    ("hands", "false where the sheet is left to itself: a bath, drying"),
    ("wet", "true where the sheet is wet when the step ends; then most_wait is needed"),
    ("least_wait, most_wait", "minutes between the end of this step and the start of the next"),
    ("can_wait, safe_stop", "how long it can wait and in what state, in words; a step without "
     "most_wait is a safe stop, and every course ends in one"),
    ("equipment, hold_from, together", "places taken, such as tray, rack, press, chamber; from the "
     "start of which step; how many sheets share one"),
    ("purpose, does, watch, materials, limits, most_c", "in words, and the warmest in C"),
    ("hazards", "ids of cautions: " + ", ".join(CAUTIONS)),
    ("reversibility, test_before", "in words"),
    ("reading", "one of: " + ", ".join(READINGS)),
    ("standing", "on whose word the step stands; common practice, no source unless said"),
)  # fmt: skip

START = """key = "my-course"
name = "My course"
purpose = "What it is for."

[[step]]
key = "clean"
kind = "surface-clean"
name = "Surface clean"
minutes = 20
can_wait = "as long as you like, flat and dry"
"""


@dataclass(frozen=True, slots=True)
class StepTold:
    """A step as it is read: ``facts`` are pairs of a label and words; ``new_hazards`` are cautions
    that no step before it has named, those to the object first."""

    key: str
    name: str
    kind: str
    line: str
    does: str
    watch: str
    test_before: str
    can_wait: str
    facts: tuple[tuple[str, str], ...]
    new_hazards: tuple[dict[str, str], ...]
    old_hazards: tuple[dict[str, str], ...]
    safe_stop: bool
    wet: bool


@dataclass(frozen=True, slots=True)
class EditionTold:
    """An edition in the list: where it came from, when, and what it changed."""

    edition: int
    came: str
    note: str
    aside: bool
    own: bool
    changes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CourseTold:
    """A course as page data."""

    course: Course
    steps: tuple[StepTold, ...]
    hands: str
    own: bool


def told(bench: BenchState, course: Course) -> CourseTold:
    """A course in words."""
    steps: list[StepTold] = []
    seen: set[str] = set()
    for step in course.steps:
        steps.append(_step(course, step, seen))
        seen.update(step.hazards)
    return CourseTold(course, tuple(steps), _hands(course), course.id in bench.courses)


def all_told(bench: BenchState) -> tuple[CourseTold, ...]:
    """The newest edition of every course in words."""
    return tuple(told(bench, course) for course in courses(bench))


def editions_told(bench: BenchState, key: str) -> tuple[EditionTold, ...]:
    """Every edition of a course, newest first, with what it changed against the one before."""
    out = []
    before: Course | None = None
    for course in editions(bench, key):
        own = bench.courses.get(course.id)
        came = "kept here" + (f" on {own.on}" if own.on else "") if own else "came with the tool"
        changes = differences(before, course) if before else ()
        out.append(EditionTold(
            course.edition, came, own.note if own else "", is_aside(bench, course),
            own is not None, changes,
        ))  # fmt: skip
        before = course
    return tuple(reversed(out))


def differences(before: Course, after: Course) -> tuple[str, ...]:
    """What changed between two editions, a sentence each.

    >>> from quirewell.stages.recipe_keep import shipped
    >>> differences(shipped()["slow-way@1"], shipped()["slow-way@1"])
    ()
    """
    out = [
        f"{label}: {_was(getattr(before, name))} before, {_was(getattr(after, name))} now."
        for name, label in (("name", "Name"), ("purpose", "Purpose"), ("note", "Note"),
                            ("standing", "On whose word"))
        if getattr(before, name) != getattr(after, name)
    ]  # fmt: skip
    old = {step.key: step for step in before.steps}
    new = {step.key: step for step in after.steps}
    out += [f"Step taken out: {step.name}." for key, step in old.items() if key not in new]
    out += [f"Step put in: {step.name}." for key, step in new.items() if key not in old]
    if [key for key in old if key in new] != [key for key in new if key in old]:
        out.append("The steps are in another order.")
    for key, step in new.items():
        if key in old:
            out += _changed(old[key], step)
    return tuple(out)


def _changed(before: CourseStep, after: CourseStep) -> Iterable[str]:
    for name, label in WORDS.items():
        was, now = getattr(before, name), getattr(after, name)
        if was != now:
            yield (
                f"{after.name}, {label}: {_was(was, name in _TIMES)} before, "
                f"{_was(now, name in _TIMES)} now."
            )


def _was(value: object, minutes: bool = False) -> str:
    if value is None or value in ("", ()):
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return "; ".join(str(one) for one in value)
    if isinstance(value, str):
        return f"\u201c{value}\u201d"
    number = f"{value:g}" if isinstance(value, float) else f"{value}"
    return f"{number} min" if minutes else number


def _hands(course: Course) -> str:
    """Hours of hands by the course's own numbers."""
    parts = []
    for sheet, who in (("w01", "a wrap"), ("c", "the cover"), ("", "the whole item")):
        minutes = sum(step.minutes for step in course.of(sheet) if step.hands)
        if minutes:
            parts.append(f"{_time(minutes)} for {who}")
    return "; ".join(parts)


def _step(course: Course, step: CourseStep, seen: Collection[str]) -> StepTold:
    kind = STEP_KINDS[step.kind]
    line = f"{ON_WORDS[step.on]}; {_time(step.minutes)}"
    line += " of hands" if step.hands else ", left to itself"
    hazards = plain(step.hazards)
    facts = (
        ("Purpose", step.purpose),
        ("Materials", "; ".join(step.materials)),
        ("Limits", "; ".join([*step.limits, *_limits(step)])),
        ("Can it be taken back", _taken_back(step)),
        ("Equipment", _equipment(course, step)),
        ("Reading to take", _reading(step.reading)),
        ("On whose word", step.standing),
    )
    return StepTold(
        step.key, step.name, kind.name, line, step.does, step.watch, step.test_before,
        _waits(step), tuple((label, words) for label, words in facts if words),
        tuple(one for one in hazards if one["id"] not in seen),
        tuple(one for one in hazards if one["id"] in seen), step.safe_stop, step.wet,
    )  # fmt: skip


def _time(minutes: int) -> str:
    return time_words(Decimal(minutes))


def _limits(step: CourseStep) -> Iterable[str]:
    if step.most_c is not None:
        yield f"at most {step.most_c:g} °C"
    if step.likely_minutes is not None:
        yield f"usually {_time(step.likely_minutes)}"
    if step.most_minutes is not None:
        yield f"too long from {_time(step.most_minutes)} on"


def _taken_back(step: CourseStep) -> str:
    if step.kind == "handle" and not step.reversibility:
        return "Nothing is done to the paper, so there is nothing to take back"
    words = step.permanence_words[:1].upper() + step.permanence_words[1:]
    if step.reversibility:
        words += f"; {step.reversibility}"
    return f"{words}; it takes away {step.evidence}" if step.evidence else words


def _equipment(course: Course, step: CourseStep) -> str:
    words = ", ".join(step.equipment)
    if not words:
        return ""
    first = course.step(step.hold_from) if step.hold_from else None
    if first is not None:
        words += f", held since \u201c{first.name}\u201d"
    if step.together > 1:
        words += f"; {step.together} sheets together"
    return words


def _waits(step: CourseStep) -> str:
    if step.can_wait:
        words = step.can_wait
    elif step.safe_stop:
        words = "as long as you like"
    else:
        words = f"{_time(step.most_wait or 0)} at most"
    if step.least_wait:
        words = f"at least {_time(step.least_wait)}; {words}"
    return words[:1].upper() + words[1:]


def _reading(key: str) -> str:
    if key == "size":
        return "width and height by rule"
    return QUANTITIES[key].name if key else ""
