"""What a course means for a bench plan: its works, waits, held places, trays, and the pilot first.

Ids are "{item}/{sheet or '-'}/{step}". Steps on single sheets follow each other sheet by sheet; a
step on the whole item waits for every sheet, and what comes after waits for it. With a pilot no
other sheet is wetted before the pilot is dry, has lain for a day and was looked at.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from quirewell.science.planning.bench_shop import Hold, Tray, Wait, Work
from quirewell.stages.course import LOOK, ONE_DAY, PILOT_LOOK, Course, CourseStep, meant

SCRAP = "scrap"


@dataclass(frozen=True, slots=True)
class Works:
    """Parts of a bench problem for one item."""

    works: tuple[Work, ...]
    waits: tuple[Wait, ...]
    holds: tuple[Hold, ...]
    trays: tuple[Tray, ...]


@dataclass(slots=True)
class _Made:
    course: Course
    item: str
    minutes: Mapping[str, int]
    works: list[Work] = field(default_factory=list)
    waits: list[Wait] = field(default_factory=list)
    holds: list[Hold] = field(default_factory=list)

    def id(self, sheet: str, step: str) -> str:
        return f"{self.item}/{sheet or '-'}/{step}"

    def work(self, step: CourseStep, sheet: str, uses: tuple[str, ...] = ()) -> str:
        minutes = self.minutes.get(step.key, step.minutes)
        likely = step.likely_minutes
        if likely is not None:
            likely = min(likely, minutes)
        id = self.id(sheet, step.key)
        self.works.append(Work(id, self.item, sheet, step.key, minutes, step.hands, uses, likely))
        return id

    def wait(self, before: str, after: str, step: CourseStep | None = None) -> None:
        """``after`` follows ``before``; ``step`` is what ``before`` was, where its waits hold."""
        if step is None:
            self.waits.append(Wait(before, after))
        else:
            self.waits.append(Wait(before, after, step.least_wait, step.most_wait, step.wet))


def works_of(
    course: Course, item: str, sheets: Sequence[str], *, minutes: Mapping[str, int] | None = None,
    pilot: str = "", mix_items: bool = False,
) -> Works:  # fmt: skip
    """The works of a course on one item's sheets ("c" is the cover). ``minutes`` sets other times
    by step; ``pilot`` is one of the sheets, or "scrap" for a piece of like paper.

    Raises:
        ValueError: a sheet named twice, a pilot that is none of them, a step or time that cannot
            be, or no sheet this course does anything to.
    """
    minutes = dict(minutes or {})
    _check(course, sheets, minutes, pilot)
    made = _Made(course, item, minutes)
    wet = _first_wet(course, pilot) if pilot else None
    look = ""
    if pilot and wet is not None:
        look = made.id(pilot, PILOT_LOOK)
        if pilot == SCRAP:
            _scrap(made)
    ends: dict[str, tuple[str, CourseStep]] = {}
    whole: tuple[str, CourseStep] | None = None
    for step in course.steps:
        for sheet in [""] if step.on == "item" else sheets:
            if not meant(step.on, sheet):
                continue
            id = made.work(step, sheet, () if step.hold_from else step.equipment)
            if not sheet:
                for before, last in ends.values():
                    made.wait(before, id, last)
                if whole is not None and not ends:
                    made.wait(whole[0], id, whole[1])
                continue
            if sheet in ends:
                made.wait(*(ends[sheet][0], id), ends[sheet][1])
            elif whole is not None:
                made.wait(whole[0], id, whole[1])
            ends[sheet] = (id, step)
        if step.on == "item":
            whole, ends = (made.id("", step.key), step), {}
    if look:
        _pilot(made, sheets, pilot, look)
    trays = _places(made, sheets, pilot if look else "", mix_items)
    return Works(tuple(made.works), tuple(made.waits), tuple(made.holds), trays)


def _check(
    course: Course, sheets: Sequence[str], minutes: Mapping[str, int], pilot: str
) -> None:  # fmt: skip
    twice = [sheet for index, sheet in enumerate(sheets) if sheet in sheets[:index]]
    if twice:
        raise ValueError(f"the sheet {twice[0]} is named twice; name each sheet once")
    if not sheets or SCRAP in sheets or "" in sheets:
        raise ValueError("name the sheets that are treated, such as w01 and w02, or c for a cover")
    if not any(meant(step.on, sheet) for step in course.steps for sheet in ("", *sheets)):
        raise ValueError(f"the course {course.name!r} does nothing to {' '.join(sheets)}")
    if pilot and pilot != SCRAP and pilot not in sheets:
        raise ValueError(f"the pilot {pilot} is none of {' '.join(sheets)}; name one, or scrap")
    if pilot and pilot != SCRAP and course.wets and _first_wet(course, pilot) is None:
        raise ValueError(f"this course does not wet {pilot}; choose a sheet that it wets, or scrap")
    for key, value in minutes.items():
        if course.step(key) is None:
            known = ", ".join(step.key for step in course.steps)
            raise ValueError(f"the course {course.name!r} has no step {key!r}; it has {known}")
        if isinstance(value, bool) or not isinstance(value, int) or value < 1:
            raise ValueError(f"minutes of {key} are a whole number from 1, got {value!r}")


def _wet_run(steps: Sequence[CourseStep]) -> tuple[CourseStep, ...]:
    """From the first step that wets to the drying that ends it."""
    first = next((index for index, step in enumerate(steps) if step.wet), None)
    if first is None:
        return ()
    end = next((i for i, step in enumerate(steps) if i > first and not step.wet), len(steps) - 1)
    inside = {step.key for step in steps[first : end + 1]}
    while end + 1 < len(steps) and (
        not steps[end].safe_stop or steps[end + 1].hold_from in inside
    ):  # till it may lie and its place is given back: dry on the rack, then taken down
        end += 1
        inside.add(steps[end].key)
    return tuple(steps[first : end + 1])


def _first_wet(course: Course, sheet: str) -> CourseStep | None:
    run = _wet_run(_steps_of(course, sheet))
    return run[0] if run else None


def _steps_of(course: Course, sheet: str) -> tuple[CourseStep, ...]:
    """A sheet's own steps; a scrap goes the way of the wraps, or of the cover alone."""
    if sheet != SCRAP:
        return course.of(sheet)
    wraps = course.of("w01")
    return wraps if _wet_run(wraps) else course.of("c")


def _scrap(made: _Made) -> None:
    last: tuple[str, CourseStep] | None = None
    for step in _wet_run(_steps_of(made.course, SCRAP)):
        id = made.work(step, SCRAP, () if step.hold_from else step.equipment)
        if last is not None:
            made.wait(last[0], id, last[1])
        last = id, step


def _pilot(made: _Made, sheets: Sequence[str], pilot: str, look: str) -> None:
    """The look at the pilot a day after it is dry; whoever is wetted waits for it, and so does the
    pilot itself before it goes on."""
    own = _steps_of(made.course, pilot)
    run = _wet_run(own)
    made.work(LOOK, pilot)
    dried = next(step for step in (*run[1:], run[-1]) if not step.wet)
    made.waits.append(Wait(made.id(pilot, dried.key), look, ONE_DAY))
    if dried is not run[-1]:
        made.wait(made.id(pilot, run[-1].key), look)
    if pilot != SCRAP:
        after = own[own.index(run[-1]) + 1 :]
        for step in after[:1]:
            made.wait(look, made.id(pilot, step.key))
    for sheet in sheets:
        if sheet == pilot:
            continue
        first = _first_wet(made.course, sheet)
        if first is not None:
            made.wait(look, made.id(sheet, first.key))
    after = made.course.steps[made.course.steps.index(run[-1]) + 1 :]
    whole = next((step for step in after if step.on == "item"), None)
    if whole is not None:
        made.wait(look, made.id("", whole.key))


def _places(
    made: _Made, sheets: Sequence[str], pilot: str, mix_items: bool
) -> tuple[Tray, ...]:  # fmt: skip
    """Held places: one a sheet, or a tray that sheets share from the first step to the last."""
    trays = []
    held = {work.id for work in made.works}
    for step in made.course.steps:
        if not step.hold_from:
            continue
        on = [""] if step.on == "item" else [*sheets, *([SCRAP] if pilot == SCRAP else [])]
        if step.together > 1 and step.on != "item":
            keys = tuple(one.key for one in _range(made.course, step))
            alone = tuple(dict.fromkeys(
                sheet for sheet in on if sheet in ("c", pilot) and meant(step.on, sheet)
            ))  # fmt: skip
            trays.append(Tray(keys, step.equipment[0], step.together, alone, mix_items))
            continue
        for sheet in on:
            first, last = made.id(sheet, step.hold_from), made.id(sheet, step.key)
            if first in held and last in held:
                made.holds += [Hold(name, first, last) for name in step.equipment]
    return tuple(trays)


def _range(course: Course, step: CourseStep) -> Iterable[CourseStep]:
    last = course.steps.index(step)
    first = next(i for i, one in enumerate(course.steps) if one.key == step.hold_from)
    return course.steps[first : last + 1]
