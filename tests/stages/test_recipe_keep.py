"""Editions of a course: kept, compared in words, set aside and still readable."""

from __future__ import annotations

from dataclasses import replace

import pytest

from quirewell.record.apply_bench import fold_bench
from quirewell.record.bench import BenchState
from quirewell.record.event import Draft, Event
from quirewell.stages.recipe_keep import (
    course_of,
    courses,
    editions,
    keep_course,
    set_aside,
    shipped,
)
from quirewell.stages.recipe_text import write_course
from quirewell.stages.recipe_told import GUIDE, START, WORDS, differences, editions_told, told
from quirewell.stages.refusal import Refusal
from quirewell.stages.step_table import STEP_KINDS
from quirewell.studio.studio import STUDIO

SLOW = shipped()["slow-way@1"]


class Bench:
    def __init__(self) -> None:
        self.events: list[Event] = []

    @property
    def state(self) -> BenchState:
        return fold_bench(self.events)

    def do(self, drafts: tuple[Draft, ...]) -> None:
        for draft in drafts:
            number = len(self.events) + 1
            self.events.append(
                Event(number, STUDIO, number, draft.kind, draft.body, "2036-05-01T10:00:00Z", "UTC",
                      "the practitioner", "", "")
            )  # fmt: skip

    def keep(self, text: str, **form: str) -> None:
        self.do(keep_course(self.state, {"text": text, "key": "slow-way", **form}))


def edited(old: str, new: str) -> str:
    assert old in SLOW.text
    return SLOW.text.replace(old, new)


def test_own_changes_are_the_next_editions_and_every_edition_stays_readable() -> None:
    bench = Bench()
    bench.keep(edited("minutes = 45", "minutes = 50"), today="2036-05-01", note="thick paper")
    bench.keep(edited("minutes = 45", "minutes = 55"), newest="2")
    assert [course.edition for course in editions(bench.state, "slow-way")] == [1, 2, 3]
    lengths = [course.step("wash").minutes for course in editions(bench.state, "slow-way")]
    assert lengths == [45, 50, 55]
    assert course_of(bench.state, "slow-way").id == "slow-way@3"
    assert course_of(bench.state, "slow-way@1") == SLOW
    assert [course.key for course in courses(bench.state)] == [course.key for course in courses()]
    told_of = editions_told(bench.state, "slow-way")
    assert told_of[1].note == "thick paper" and told_of[1].came == "kept here on 2036-05-01"
    assert told_of[2].came == "came with the tool" and told_of[2].changes == ()
    assert told_of[0].changes == ("Cold bath, time to plan with: 50 min before, 55 min now.",)


def test_an_edition_set_aside_is_not_offered_and_its_number_is_not_used_again() -> None:
    bench = Bench()
    bench.keep(edited("minutes = 45", "minutes = 50"))
    bench.do(set_aside(bench.state, {"id": "slow-way@2"}))
    assert course_of(bench.state, "slow-way").edition == 1
    assert course_of(bench.state, "slow-way@2").step("wash").minutes == 50
    bench.keep(edited("minutes = 45", "minutes = 55"))
    assert course_of(bench.state, "slow-way").id == "slow-way@3"
    bench.do(set_aside(bench.state, {"id": "slow-way@3"}))
    bench.do(set_aside(bench.state, {"id": "slow-way@2", "back": "yes"}))
    assert course_of(bench.state, "slow-way").edition == 2


@pytest.mark.parametrize(
    ("text", "form", "says"),
    [
        (SLOW.text, {}, "nothing changed"),
        (SLOW.text + "# a remark\n", {}, "nothing changed"),
        (edited("minutes = 45", "minutes = 50"), {"newest": "7"}, "kept meanwhile"),
        (edited('key = "slow-way"', 'key = "other"'), {}, "keep the key"),
        (edited("minutes = 45", "minutes = 50"), {"key": ""}, "already"),
        ("", {}, "key"),
    ],
)
def test_what_cannot_be_kept_is_refused_at_the_text(
    text: str, form: dict[str, str], says: str
) -> None:
    with pytest.raises(Refusal) as caught:
        Bench().keep(text, **form)
    assert caught.value.problems[0].field == "text" and says in str(caught.value)
    assert caught.value.values["text"] == text


@pytest.mark.parametrize("id", ["slow-way@1", "slow-way@4", ""])
def test_what_came_with_the_tool_is_not_set_aside(id: str) -> None:
    with pytest.raises(Refusal):
        set_aside(BenchState(), {"id": id})


def test_differences_name_steps_put_in_taken_out_and_moved() -> None:
    steps = list(SLOW.steps)
    out = replace(SLOW, steps=tuple(step for step in steps if step.key != "take-down"))
    assert differences(SLOW, out) == ("Step taken out: Take down and measure.",)
    assert differences(out, SLOW) == ("Step put in: Take down and measure.",)
    moved = replace(SLOW, steps=(steps[1], steps[0], *steps[2:]))
    assert differences(SLOW, moved) == ("The steps are in another order.",)
    colder = replace(
        SLOW, name="Slow", steps=(steps[0], replace(steps[1], most_c=18.0), *steps[2:])
    )
    assert differences(SLOW, colder) == (
        "Name: \u201cSlow way: one wrap a tray, cold\u201d before, \u201cSlow\u201d now.",
        "Into the cold bath, warmest, °C: 25 before, 18 now.",
    )


def test_a_course_in_words_says_every_caution_once_before_the_step_it_is_first_true_of() -> None:
    seen = told(BenchState(), SLOW)
    first = [one["id"] for step in seen.steps for one in step.new_hazards]
    assert len(first) == len(set(first)) > 5
    assert all(one["standing"] for step in seen.steps for one in step.new_hazards)
    for step, row in zip(SLOW.steps, seen.steps, strict=True):
        assert len(row.new_hazards) + len(row.old_hazards) == len(step.hazards)
        facts = dict(row.facts)
        assert facts["Can it be taken back"] and facts["On whose word"] == step.standing
        if evidence := STEP_KINDS[step.kind].evidence:
            assert evidence in facts["Can it be taken back"]
    assert seen.hands == "75 min for a wrap"


def test_the_guide_names_every_key_and_its_beginning_is_a_course() -> None:
    keys = {key.strip() for row, _ in GUIDE for key in row.split(",")}
    assert keys == set(WORDS)
    bench = Bench()
    bench.do(keep_course(bench.state, {"text": START}))
    assert course_of(bench.state, "my-course@1").name == "My course"
    assert write_course(course_of(bench.state, "my-course")).strip() == START.replace(
        'purpose = "What it is for."',
        'purpose = "What it is for."\nstanding = "common practice, no source"',
    ).strip()  # fmt: skip
