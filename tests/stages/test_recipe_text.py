"""Courses as text: both ways the same, every fault in a sentence with its line, hostile text."""

from __future__ import annotations

from dataclasses import replace

import pytest

from quirewell.stages.cautions import CAUTIONS, protective
from quirewell.stages.course import ONE_DAY, PLACEHOLDER, Course
from quirewell.stages.reading_entry import QUANTITIES
from quirewell.stages.recipe_keep import courses, shipped
from quirewell.stages.recipe_text import CourseError, read_course, write_course
from quirewell.stages.step_table import STEP_KINDS

HEAD = 'key = "mine"\nname = "Mine"\n'
WASH = (
    '[[step]]\nkey = "wash"\nkind = "wash"\nname = "Wash"\nminutes = 30\nwet = true\n'
    'most_wait = 10\ncan_wait = "ten minutes, in the bath"\n'
)
DRY = '[[step]]\nkey = "dry"\nkind = "dry"\nname = "Dry"\nminutes = 600\nhands = false\n'
WHOLE = HEAD + WASH + DRY


def refused(text: str) -> str:
    with pytest.raises(CourseError) as caught:
        read_course(text)
    return str(caught.value)


@pytest.mark.parametrize("id", sorted(shipped()))
def test_a_shipped_course_is_whole_and_reads_the_same_after_it_is_written(id: str) -> None:
    course = shipped()[id]
    assert read_course(write_course(course), course.edition) == course
    assert course.standing == PLACEHOLDER
    for step in course.steps:
        assert step.standing == PLACEHOLDER, "a time with a source would have to name it"
        assert step.purpose and step.does and step.can_wait and step.materials, step.key
        assert set(step.hazards) <= set(CAUTIONS) and step.kind in STEP_KINDS
        assert not step.can_wait.endswith(".")
        assert step.reading in ("", "size", *QUANTITIES)
        if STEP_KINDS[step.kind].aqueous:
            assert step.hazards
        if STEP_KINDS[step.kind].alkaline:
            assert "lime-eyes" in step.hazards


def test_the_first_wetting_of_every_course_names_a_test_that_comes_before() -> None:
    for course in courses():
        first = next((step for step in course.steps if step.wet), None)
        if first is not None:
            assert "ink test" in first.test_before.lower(), course.key


def test_every_course_with_a_bath_measures_before_it_and_after() -> None:
    for course in courses():
        bath = [at for at, step in enumerate(course.steps) if step.kind == "wash"]
        if bath:
            sizes = [at for at, step in enumerate(course.steps) if step.reading == "size"]
            assert min(sizes) < bath[0] and max(sizes) > bath[-1], course.key


def test_what_to_wear_follows_the_step_and_not_its_kind_alone() -> None:
    fold = shipped()["put-together@1"].step("fold-set")
    lift = shipped()["slow-way@1"].step("lift")
    assert fold is not None and lift is not None
    assert "heat-proof gloves" in " ".join(protective(fold.kind, fold.hazards))
    assert "goggles" in " ".join(protective(lift.kind, lift.hazards))
    assert not protective(lift.kind)


def test_the_chamber_keeps_the_item_a_day_half_of_it_folded_and_never_past_two() -> None:
    course = shipped()["put-together@1"]
    flat, folded = (course.step(key) for key in ("chamber-flat", "chamber-folded"))
    assert flat is not None and folded is not None
    assert flat.minutes == folded.minutes and flat.minutes + folded.minutes == ONE_DAY
    inside = [step for step in course.steps if step.key.startswith("chamber")]
    longest = sum(step.minutes for step in inside)
    longest += sum(step.most_wait or 0 for step in inside[:-1])
    # 48 hours is the caution's own limit; the minutes of moving in and out come on top of it.
    assert longest <= 2 * ONE_DAY + sum(step.minutes for step in inside if step.hands)


def test_what_a_step_leaves_out_comes_from_its_kind() -> None:
    step = read_course(WHOLE).step("wash")
    assert step is not None
    assert step.materials == STEP_KINDS["wash"].materials
    assert step.hazards == STEP_KINDS["wash"].cautions
    assert step.does == STEP_KINDS["wash"].does and "ink test" in step.test_before
    assert not step.safe_stop and read_course(WHOLE).steps[1].safe_stop


def test_steps_of_a_sheet_are_those_meant_for_it() -> None:
    course = shipped()["slow-way@1"]
    assert course.of("c") == () and len(course.of("w04")) == len(course.steps)
    look = course.step("pilot-look")
    assert look is not None and look.hands and course.step("no-such") is None


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (HEAD, "at least one"),
        (HEAD + "step = 3", "at least one"),
        ('name = "Mine"\n' + WASH + DRY, "has a key"),
        ('key = "Mine!"\nname = "M"\n' + WASH + DRY, "got 'Mine!'"),
        ("colour = 3\n" + WHOLE, "knows no 'colour'"),
        (WHOLE.replace("minutes = 30", "minuets = 30"), "step 1 'wash' (line 3) knows no "
         "'minuets'"),
        (WHOLE.replace("minutes = 600", "minutes = 0"), "step 2 'dry' (line 11): minutes is whole "
         "minutes from 1 to 20160, got 0"),
        (WHOLE.replace("minutes = 600", "minutes = 20161"), "from 1 to 20160"),
        (WHOLE.replace("minutes = 600", "minutes = 9.5"), "got 9.5"),
        (WHOLE.replace("minutes = 600", "minutes = true"), "got True"),
        (WHOLE.replace("minutes = 600", "minutes = 1_000_000_000_000_000"), "far too large"),
        (WHOLE.replace("minutes = 600", 'minutes = "long"'), "got 'long'"),
        (WHOLE.replace('kind = "dry"', 'kind = "bake"'), "kind is one of staples-out"),
        (WHOLE.replace('key = "dry"', 'key = "wash"'), "two steps are called 'wash'"),
        (WHOLE.replace('key = "dry"', 'key = "pilot-look"'), "not pilot-look"),
        (WHOLE.replace("hands = false", "hands = 0"), "hands is true or false"),
        (WHOLE + 'on = "pages"\n', "on is one of each, wraps, cover, item"),
        (WHOLE + 'hazards = ["bite"]\n', "no caution 'bite'"),
        (WHOLE + 'reading = "taste"\n', "reading is one of size"),
        (WHOLE + "most_c = nan\n", "0 to 150 °C"),
        (WHOLE + "most_c = inf\n", "0 to 150 °C"),
        (WHOLE + "most_minutes = 5\n", "less than minutes"),
        (WHOLE + "likely_minutes = 900\n", "more than minutes"),
        (WHOLE + 'hold_from = "wash"\n', "name the equipment"),
        (WHOLE + 'equipment = ["rack"]\nhold_from = "fill"\n', "does not come before it"),
        (WHOLE + "together = 2\n", "say hold_from too"),
        (WHOLE + "safe_stop = true\nmost_wait = 5\n", "safe stop has no most_wait"),
        (WHOLE + "least_wait = 9\nmost_wait = 5\n", "less than least_wait"),
        (WHOLE.replace("wet = true\n", ""), "wets the whole sheet"),
        (WHOLE.replace("most_wait = 10\n", ""), "never waits without a limit"),
        (HEAD + WASH, "ends for a wrap with step 'wash', where nobody may stop"),
        (WHOLE.replace('kind = "dry"', 'kind = "press"'), "neither keeps it wet nor dries it"),
        (HEAD + WASH + DRY + 'on = "item"\n', "leaves a wrap where nobody may stop"),
        ("key = ", "This is no TOML"),
    ],
)  # fmt: skip
def test_a_fault_is_said_in_a_sentence_with_its_step(text: str, says: str) -> None:
    told = refused(text)
    assert says.lower() in told.lower()
    assert told.endswith(".") and told[0].isupper() and len(told) < 3000


def test_every_fault_is_said_at_once() -> None:
    told = refused(WHOLE.replace("minutes = 30", "minutes = 0").replace('"dry"', '"bake"'))
    assert "line 3" in told and "line 11" in told


HOSTILE = {
    "long": "x" * 60_001,
    "deep lists": "a = " + "[" * 29_000 + "]" * 29_000,
    "deep with commas": "a = " + "[1," * 15_000,
    "deep keys": "a" + ".a" * 29_000 + " = 1",
    "deep quoted keys": ".".join(f'"{"a" * 61}"' for _ in range(900)) + " = 1",
    "many tables": "".join(f"[a{n}]\n" for n in range(9_000)),
    "digits": "a = " + "9" * 59_000,
    "hex": "a = 0x" + "f" * 59_000,
    "float": "a = 1e999999999",
    "many steps": HEAD + '[[step]]\nkey = "a"\n' * 3_000,
    "no dots": "k" * 59_000,
    "brackets and blanks": ("[" + " " * 20) * 2_500,
    "nul": "key = \"a\x00\"",
    "binary": "\ud800key",
}  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_text_is_refused_in_few_words(name: str) -> None:
    assert len(refused(HOSTILE[name])) < 3000


def test_unseen_signs_are_left_out_of_words() -> None:
    text = WHOLE.replace('name = "Wash"', 'name = "Wa\u202esh\u200b\ufeff"')
    step = read_course(text).step("wash")
    assert step is not None and step.name == "Wa sh"


def test_awkward_words_survive_writing() -> None:
    course = read_course(WHOLE)
    steps = (replace(course.steps[0], watch='a "quoted" \\ back\u00e9 \U0001f9fb'), course.steps[1])
    changed: Course = replace(course, steps=steps, note="line with ''' and \"\"\"")
    assert read_course(write_course(changed)) == changed
