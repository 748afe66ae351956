"""What a step remembers of the course it follows: which edition, which step, and its times."""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from quirewell.record.bench import EMPTY_BENCH, BenchState
from quirewell.record.nouns import Step
from quirewell.stages import typed
from quirewell.stages.course import Course, CourseStep
from quirewell.stages.ink_gate import WARM_C, has_surfactant
from quirewell.stages.recipe_keep import course_of, courses
from quirewell.stages.refusal import no
from quirewell.stages.step_table import ONE_OR_TWO, STEP_KINDS

Form = Mapping[str, str]
MOST = 14 * 24 * 60
_NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,39}(?:@[0-9]{1,6})?")


def with_course_step(form: Form, bench: BenchState | None = None) -> Form:
    """A form with ``course_step`` ("slow-way@1/wash") taken apart into ``recipe`` and
    ``recipe_step``, and into the ``kind`` of that step where none was chosen."""
    name, _, key = form.get("course_step", "").strip().partition("/")
    if not name:
        return form
    course = course_of(bench or EMPTY_BENCH, name)
    step = course.step(key) if course else None
    kind = form.get("kind", "").strip() or (step.kind if step else "")
    return {**form, "recipe": name, "recipe_step": key, "kind": kind}


def courses_to_follow(
    bench: BenchState,
) -> tuple[tuple[str, tuple[tuple[str, str], ...]], ...]:  # fmt: skip
    """Every course by name and edition, with a choice for each of its steps."""
    return tuple(
        (f"{course.name}, edition {course.edition}",
         tuple((f"{course.id}/{step.key}", step.name) for step in course.steps))
        for course in courses(bench)
    )  # fmt: skip


def by_course(step: Step, form: Form, bench: BenchState | None = None) -> dict[str, Any]:
    """The fields ``recipe``, ``recipe_step``, ``planned_minutes``, ``most_minutes`` and ``task``
    that a form carries. A course named without its edition is taken in its newest one, and a step
    of it brings its own times where the form says none.

    Raises:
        Refusal: no such course or step of it, another kind of step, or times that cannot be.
    """
    changes: dict[str, Any] = {}
    for name in ("planned_minutes", "most_minutes"):
        if form.get(name, "").strip():
            changes[name] = _minutes(form, name)
    if "task" in form:
        changes["task"] = form["task"].strip()[:200]
    if "recipe" in form:
        changes |= _followed(step, form, bench, changes)
    planned = changes.get("planned_minutes", step.planned_minutes)
    most = changes.get("most_minutes", step.most_minutes)
    if planned is not None and most is not None and most < planned:
        raise no(form, "most_minutes", f"The longest ({most} min) is shorter than the time planned "
                                       f"({planned} min).")  # fmt: skip
    return changes


def _followed(
    step: Step, form: Form, bench: BenchState | None, given: Mapping[str, Any]
) -> dict[str, Any]:  # fmt: skip
    name, key = form["recipe"].strip(), form.get("recipe_step", "").strip()
    if not name:
        return {"recipe": "", "recipe_step": ""}
    if not _NAME.fullmatch(name):
        raise no(form, "recipe", "A course is named as slow-way@1: its key and its edition; got "
                                 f"{name[:60]!r}.")  # fmt: skip
    course = course_of(bench or EMPTY_BENCH, name)
    if course is None:
        if bench is not None or "@" not in name:
            raise no(form, "recipe", f"There is no course {name!r}; choose one of the recipes.")
        return {"recipe": name, "recipe_step": key[:60]}
    if not key:
        return {"recipe": course.id, "recipe_step": ""}
    return {"recipe": course.id, "recipe_step": key, **_step_times(course, key, step, form, given)}


def _step_times(
    course: Course, key: str, step: Step, form: Form, given: Mapping[str, Any]
) -> dict[str, Any]:  # fmt: skip
    one = course.step(key)
    if one is None:
        known = ", ".join(each.key for each in course.steps)
        raise no(form, "recipe_step", f"The course {course.name!r} has no step {key[:60]!r}; it "
                                      f"has {known}.")  # fmt: skip
    if one.kind != step.kind:
        kinds = [STEP_KINDS[kind].name if kind in STEP_KINDS else kind for kind in
                 (one.kind, step.kind)]  # fmt: skip
        raise no(form, "recipe_step", f"In the course {course.name!r} the step {one.name!r} is "
                                      f"{kinds[0]}, not {kinds[1]}.")  # fmt: skip
    way = {} if step.way or form.get("way", "").strip() else _way(course, one)
    if "planned_minutes" in given or step.planned_minutes is not None:
        return way
    times: dict[str, Any] = {**way, "planned_minutes": Decimal(one.minutes)}
    if one.most_minutes is not None and "most_minutes" not in given and step.most_minutes is None:
        times["most_minutes"] = Decimal(one.most_minutes)
    return times


def _way(course: Course, one: CourseStep) -> dict[str, Any]:
    """The way of a wash that is warm or holds surfactant, so that ink tests and the rinse are asked
    for as that bath needs them; nothing for other steps."""
    surfactant = has_surfactant(f"{one.does} {' '.join(one.materials)}")
    if one.kind != "wash" or not (surfactant or (one.most_c or 0) > WARM_C):
        return {}
    water = "warm with surfactant" if surfactant else "warm"
    return {"way": f"{water}, {ONE_OR_TWO[any(each.together > 1 for each in course.steps)]}"}


def followed_words(step: Step, bench: BenchState | None = None) -> str:
    """Which course a step follows, in words; empty where it follows none."""
    if not step.recipe:
        return ""
    key, _, edition = step.recipe.partition("@")
    course = course_of(bench or EMPTY_BENCH, step.recipe)
    words = f"{course.name if course else key}, edition {edition}"
    if not step.recipe_step:
        return words
    one = course.step(step.recipe_step) if course else None
    return f"{words}, step {one.name if one else step.recipe_step}"


def _minutes(form: Form, name: str) -> Decimal:
    try:
        minutes = typed.minutes(form[name].strip())
    except typed.Unreadable as error:
        raise no(form, name, f"{error}.") from error
    if not 0 <= minutes <= MOST:
        raise no(form, name, f"Minutes must be between 0 and {MOST} (two weeks), got {minutes}.")
    return minutes
