"""Courses that come with the tool can be planned into evenings, and no rule is broken."""

from __future__ import annotations

import pytest

from quirewell.science.planning.bench_check import broken
from quirewell.science.planning.bench_model import plan
from quirewell.science.planning.bench_shop import Problem, Shop
from quirewell.stages.recipe_keep import shipped
from quirewell.stages.recipe_works import works_of

DAY = 24 * 60
EVENINGS = tuple((day * DAY + 18 * 60, day * DAY + 22 * 60) for day in range(40))
PLACES = {"tray": 2, "rack": 8, "press": 1, "chamber": 1, "iron": 1}


@pytest.mark.parametrize("id", sorted(shipped()))
def test_every_course_fits_into_evenings_and_no_rule_is_broken(id: str) -> None:
    course = shipped()[id]
    pilot = "w02" if course.of("w02") and course.wets else ""
    made = works_of(course, "annual", ("c", "w01", "w02", "w03"), pilot=pilot)
    problem = Problem(
        made.works, made.waits, Shop(PLACES, EVENINGS), made.holds, made.trays, now=EVENINGS[0][0]
    )
    answer = plan(problem, time_limit_s=2.0, by="rule")
    assert answer.status == "found", answer.conflict
    assert broken(problem, answer) == ()
    placed = {one.work: one for one in answer.placed}
    assert len(placed) == len(made.works)
    if pilot:
        look = placed["annual/w02/pilot-look"]
        wet = {step.key for step in course.steps if step.wet}
        others = [w for w in made.works if w.step in wet and w.sheet not in ("w02", "")]
        assert others and all(placed[one.id].start >= look.end for one in others)
