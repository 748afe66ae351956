"""A plan file read: what it means, presets that are said, faults as sentences, bounds."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bench_plans import plan_text
from quirewell.stages.plan_text import read_plan, sheet_codes, slug, toml_text, with_recipes
from quirewell.stages.recipe_text import read_course


def read(*parts: str, **more):
    return read_plan(plan_text(*parts), **more)


def works(plan):
    return {work.id: work for work in plan.problem.works}


def test_a_plan_as_written():
    plan = read()
    assert [one.sheets for one in plan.items] == [("c", "w01", "w02")]
    assert plan.frame.iso(plan.problem.now) == "2026-10-23T18:00+01:00"
    assert plan.problem.shop.people == 1 and plan.problem.shop.places["tray"] == 2
    # Friday evening, then Monday's, an hour later in minutes that pass: the clocks went back.
    assert plan.problem.shop.hours[:2] == ((1080, 1320), (3 * 1440 + 1140, 3 * 1440 + 1380))
    assert works(plan)["annual/w01/dry"].minutes == 600
    assert {work.item for work in plan.problem.works} == {"annual"}


def test_nothing_said_of_the_bench_is_said():
    text = plan_text().replace("[studio]\n", "")
    assert "weekday evenings" in read_plan(text).notes[0]
    assert read().notes == ()


def test_what_a_recipe_needs_and_nobody_named_is_one_and_said():
    text = plan_text().replace('"tray"', '"deep tray"')
    plan = read_plan(text)
    assert plan.problem.shop.places["deep tray"] == 1
    assert any("one deep tray" in note for note in plan.notes)


def test_own_minutes_and_a_factor_of_drying_keep_the_recipes_ratio():
    plan = read("", 'minutes = {soak = 45, clean = "1 h 30"}\ndrying = 1.5')
    held = works(plan)
    assert held["annual/w01/soak"].minutes == 45 and held["annual/w01/clean"].minutes == 90
    assert held["annual/w01/dry"].minutes == 900
    assert held["annual/w01/dry"].likely_minutes == 600
    assert held["annual/w01/lift"].minutes == 5


def test_trays_given_leave_the_rest_alone():
    plan = read("", 'trays = ["w01 w02"]')
    assert plan.problem.given == (
        (("annual", "w01"), ("annual", "w02")), (("annual", "c"),),
    )  # fmt: skip
    with pytest.raises(ValueError, match="named twice, or is not among"):
        read("", 'trays = ["w01 w02", "w02"]')


def test_what_happened_is_fixed_in_minutes_of_the_plan():
    done = '[[done]]\nwork = "annual/w01/clean"\nstart = 2026-10-23T18:30:00\n' \
           "end = 2026-10-23T18:41:00\n"  # fmt: skip
    plan = read('now = "2026-10-23T18:50"', "", "", done)
    held = {one.work: one for one in plan.problem.fixed}
    assert (held["annual/w01/clean"].start, held["annual/w01/clean"].end) == (1110, 1121)
    assert held["annual/-/apart"].end == 1110, "what goes before is over"
    assert plan.problem.now == 1130
    assert any("Taken as over" in note and "Taken apart" in note for note in plan.notes)
    again = read(done=[{"work": "annual/w01/clean", "start": "2026-10-23T17:30:00Z"}])
    assert {one.work: one for one in again.problem.fixed}["annual/w01/clean"].start == 1110


def test_a_start_a_zone_and_now_may_come_from_outside():
    text = plan_text().replace("start = 2026-10-23T18:00:00\n", "").replace(
        'zone = "Europe/Lisbon"\n', "")  # fmt: skip
    plan = read_plan(text, start="2026-12-01T18:03:00+00:00", zone="Europe/Berlin")
    assert plan.frame.iso(plan.problem.now) == "2026-12-01T19:05+01:00"
    with pytest.raises(ValueError, match="no time zone"):
        read_plan(text, start="2026-12-01T18:00")


def test_recipes_are_embedded_so_that_the_text_says_the_same_later():
    bare = plan_text().partition("[[recipe]]")[0]
    with pytest.raises(ValueError, match="no recipe 'short-way'"):
        read_plan(bare)
    assert with_recipes(plan_text()) == plan_text()


def test_a_recipe_shipped_is_embedded():
    from quirewell.record.bench import EMPTY_BENCH
    from quirewell.stages.recipe_keep import courses

    course = courses(EMPTY_BENCH)[0]
    bare = plan_text().partition("[[recipe]]")[0].replace("short-way", course.key)
    whole = with_recipes(bare)
    assert whole.count("[[recipe]]") == 1 and with_recipes(whole) == whole
    assert read_plan(whole).items[0].course == course
    assert read_plan(whole).problem == read_plan(bare).problem


@pytest.mark.parametrize(
    ("parts", "says"),
    [
        (("grid_min = 7",), "one of 1, 5, 10, 15"),
        (('by = "luck"',), "solver or rule"),
        (("mix_items = 1",), "true or false"),
        (("time_limit_s = 1e9",), "between 0.1 and 3600"),
        (("time_limit_s = nan",), "between 0.1 and 3600"),
        (("days = 9999",), "from 1 to 180"),
        (("nothing = 1",), "knows no 'nothing'"),
        (("", 'pilot = "w09"'), "is not among its sheets"),
        (("", 'cover = "yes"'), "cover is true or false"),
        (("", "drying = 100"), "from 0.25 to 4"),
        (("", "drying = nan"), "from 0.25 to 4"),
        (("", "minutes = {soak = 0}"), "between 1 and 20160"),
        (("", "minutes = {boil = 5}"), "has no step 'boil'"),
        (("", 'minutes = {soak = "long"}'), "'long'"),
        (("", "", "people = 0"), "from 1 to 9"),
        (("", "", "people = 1e400"), "whole number"),
        (("", "", 'hours = "Mo 25-26"'), "no time of day"),
        (("", "", "hours = 5"), "are texts such as"),
        (("", "", 'off = ["2026-13-01"]'), "is no day"),
        (("", "", "[studio.places]\ntray = -1"), "from 0 to 200"),
        (("", "", "places = 3"), "a count for each equipment"),
        (("", "", "", "[[done]]\nwork = 'annual/w09/soak'"), "no work 'annual/w09/soak'"),
        (("", "", "", "[[done]]\nwork = 'annual/w01/soak'\nstart = 'noon'"), "a day and a time"),
        (("", "", "", "[[done]]\nwork = 'annual/w01/soak'\nstart = 2026-10-23T18:00:00\n"
          "end = 2026-10-23T17:00:00"), "ends before it begins"),
        (("", "", "", "[[item]]\nname = 'Copperbeck Garden Annual'\nrecipe = 'short-way'\n"
          "wraps = 1"), "two items are called"),
        (("", "", "", "[[item]]\nrecipe = 'short-way'"), "has no name"),
        (("", "", "", "[[item]]\nname = \"\\u001b[31mred\"\nrecipe = 'short-way'"),
         "printable signs"),
        (("", "", "", "[[item]]\nname = 'x'\nrecipe = 'short-way'\nwraps = inf"),
         "a sheet is written as"),
        (("", "", "", "[[item]]\nname = 'x'"), "names no recipe"),
        (("", "", "", "[[item]]\nname = 'x'\nid = 'a/b'\nrecipe = 'short-way'"), "an id is"),
        (("", "", "", "[[item]]\nname = 'x'\nrecipe = 'short-way'\nwraps = 100"), "1 to 99"),
        (("", "", "", "[[item]]\nname = 'x'\nrecipe = 'short-way'\nwraps = ['w03x']"),
         "names no sheet"),
        (("", "", "", "[[recipe]]\ntext = 'x'"), "[[recipe]] 1"),
        (("", "", "", "[recipes]"), "knows no 'recipes'"),
    ],
)  # fmt: skip
def test_a_fault_says_where_and_what_is_allowed(parts, says):
    with pytest.raises(ValueError) as caught:
        read(*parts)
    assert says in str(caught.value)
    assert len(str(caught.value)) < 1200


def test_too_much_is_refused_before_it_is_used():
    many = "".join(
        f"[[item]]\nname = 'item {n}'\nrecipe = 'short-way'\nwraps = 99\n" for n in range(3)
    )
    with pytest.raises(ValueError, match="at most 120 sheets"):
        read("", "", "", many)
    with pytest.raises(ValueError, match="at most 12 of"):
        read("", "", "", "[[item]]\n" * 50)
    with pytest.raises(ValueError, match="at most 1000000 signs"):
        read_plan("#" * 1_000_001)
    with pytest.raises(ValueError, match="no plan file"):
        read_plan("a = " + "[" * 5000)
    with pytest.raises(ValueError, match="no working hours in the"):
        read("days = 1", "", 'hours = "Mo 18-22"')


@given(st.text(max_size=60))
@settings(max_examples=60, deadline=None)
def test_whatever_is_typed_is_read_or_refused_with_a_sentence(typed):
    for text in (typed, plan_text(f"by = {typed}"), plan_text("", f"wraps = [{typed}]")):
        try:
            read_plan(text)
        except ValueError as error:
            assert str(error)


@given(st.text())
def test_any_text_stands_in_toml_as_it_is(text):
    import tomllib

    if all(not 0xD800 <= ord(sign) < 0xE000 for sign in text):
        assert tomllib.loads(f"a = {toml_text(text)}")["a"] == text


def test_sheets_and_ids_as_people_write_them():
    assert sheet_codes("c, 1 - 3; w05", "x") == ("c", "w01", "w02", "w03", "w05")
    for wrong in ("w00", "3-1", "0-2", "spine", ["w01", 2.5], "w1000"):
        with pytest.raises(ValueError):
            sheet_codes(wrong, "x")
    assert slug("Gärten & Höfe, 1936") == "garten-hofe-1936" and slug("園芸") == ""


def test_the_course_of_the_tests_is_a_course():
    from bench_plans import COURSE

    assert read_course(COURSE).step("soak").most_minutes == 60
