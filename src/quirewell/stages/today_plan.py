"""The plan that stands, as the bench page reads it, and what the recipes say of its steps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from quirewell.record.bench import BenchState
from quirewell.record.nouns import ItemState
from quirewell.stages.bench_planning import as_json
from quirewell.stages.entry_time import instant
from quirewell.stages.plan_progress import standing
from quirewell.stages.plan_told import over
from quirewell.stages.recipe_keep import course_of
from quirewell.stages.today import NO_COURSE, Course, Lookup


@dataclass(frozen=True, slots=True)
class Plan:
    """Its steps with the state each has by the record, what is late, and the plan in a sentence;
    ``over`` where it should long be done and steps are left."""

    rows: tuple[Mapping[str, Any], ...]
    late: tuple[str, ...]
    says: str
    lookup: Lookup
    over: bool = False


def standing_plan(bench: BenchState, states: Sequence[ItemState], now: datetime) -> Plan:
    """The newest plan kept, with what really happened; without one no steps."""
    lookup = lookup_of(bench)
    kept = next(reversed(bench.bench_plans.values()), None)
    if kept is None:
        return Plan((), (), "", lookup)
    told = standing(as_json(kept.run), states, instant(now))
    return Plan(
        tuple(told["steps"]), tuple(told["late"]), str(told["says"]), lookup, over(told, now)
    )  # fmt: skip


def lookup_of(bench: BenchState) -> Lookup:
    """What a recipe says of one of its steps, in words; nothing where it is not known here."""

    def look(recipe: str, key: str) -> Course:
        course = course_of(bench, recipe)
        step = course.step(key) if course is not None else None
        if step is None:
            return NO_COURSE
        return Course(
            step.name, step.does, step.watch, step.materials, "; ".join(step.limits),
            step.hazards, step.can_wait, step.reading, step.minutes, step.most_minutes,
            step.most_wait,
        )  # fmt: skip

    return look
