"""A treated wrap remembers the edition of the course it followed, and the step of it."""

from decimal import Decimal

import pytest

from folding import annual
from quirewell.record.bench import BenchState
from quirewell.record.benchwork import Recipe
from quirewell.stages import treat
from quirewell.stages.recipe_keep import shipped
from quirewell.stages.refusal import Refusal

DRY = {"kind": "surface-clean", "places": "w01", "recipe": "dry-clean", "recipe_step": "clean"}


def own(edition: int = 2) -> BenchState:
    text = shipped()["dry-clean@1"].text.replace("minutes = 20", "minutes = 25")
    one = Recipe(f"dry-clean@{edition}", "dry-clean", edition, "Dry", text)
    return BenchState(courses={one.id: one})


def planned(form: dict[str, str], bench: BenchState | None = None):
    item = annual(4)
    item.do(treat.plan_step(item.state, form, bench))
    return item, next(iter(item.state.steps.values()))


def test_a_step_takes_the_newest_edition_and_its_times():
    _, step = planned(DRY)
    assert (step.recipe, step.recipe_step) == ("dry-clean@1", "clean")
    assert (step.planned_minutes, step.most_minutes) == (Decimal(20), Decimal(60))
    _, step = planned(DRY, own())
    assert (step.recipe, step.planned_minutes) == ("dry-clean@2", Decimal(25))


@pytest.mark.parametrize(
    ("step", "way"),
    [
        ("fast-way@1/fill", "warm with surfactant, two wraps at a time"),
        ("fast-way@1/wash", "warm with surfactant, two wraps at a time"),
        ("fast-way@1/rinse-in", ""),
        ("fast-way@1/rinse", ""),
        ("slow-way@1/wash", ""),
        ("cover@1/wash", ""),
    ],
)
def test_a_warm_bath_of_a_course_says_so_that_its_ink_test_is_asked_for(step, way):
    _, made = planned({"places": "w02", "course_step": step})
    assert made.way == way
    cold = "cold, one wrap at a time"
    _, made = planned({"places": "w02", "course_step": step, "way": cold})
    assert made.way == cold


def test_an_older_edition_may_be_named_and_own_times_hold():
    form = {**DRY, "recipe": "dry-clean@1", "planned_minutes": "35", "task": "annual/w01/clean"}
    _, step = planned(form, own())
    assert (step.recipe, step.planned_minutes) == ("dry-clean@1", Decimal(35))
    assert step.task == "annual/w01/clean"


def test_the_view_says_which_course_and_a_correction_keeps_it():
    item, step = planned(DRY, own())
    item.do(treat.correct_step(item.state, {"id": step.id, "note": "by the window"}))
    row = treat.view(item.state, own())["steps"][0]
    assert row["course"] == "Dry: surface clean only, edition 2, step Surface clean"
    assert treat.view(item.state)["steps"][0]["course"] == "dry-clean, edition 2, step clean"
    assert item.state.steps[step.id].recipe == "dry-clean@2"


@pytest.mark.parametrize(
    ("more", "field", "says"),
    [
        ({"recipe": "boil@1"}, "recipe", "no course"),
        ({"recipe": "dry-clean@9"}, "recipe", "no course"),
        ({"recipe": "<b>"}, "recipe", "its key and its edition"),
        ({"recipe_step": "rinse"}, "recipe_step", "measure, clean, after"),
        ({"kind": "mend"}, "recipe_step", "Surface cleaned, not Tear mended"),
        ({"planned_minutes": "soon"}, "planned_minutes", ""),
        ({"planned_minutes": "30", "most_minutes": "10"}, "most_minutes", "shorter"),
        ({"most_minutes": "99999"}, "most_minutes", "two weeks"),
    ],
)
def test_what_is_not_in_the_course_is_refused_in_place(more, field, says):
    with pytest.raises(Refusal) as caught:
        planned({**DRY, **more}, own())
    assert caught.value.problems[0].field == field and says in str(caught.value)


def test_a_step_chosen_from_a_course_brings_its_kind():
    _, step = planned({"places": "w02", "course_step": "dry-clean@1/clean"})
    assert (step.kind, step.recipe, step.recipe_step) == ("surface-clean", "dry-clean@1", "clean")
    with pytest.raises(Refusal) as caught:
        planned({"places": "w02", "kind": "mend", "course_step": "dry-clean@1/clean"})
    assert caught.value.values["course_step"] == "dry-clean@1/clean"
    for wrong in ("nothing@1/clean", "dry-clean@1/", "dry-clean@1/boil", "/", "<>/<>"):
        with pytest.raises(Refusal):
            planned({"places": "w02", "course_step": wrong}, BenchState())
