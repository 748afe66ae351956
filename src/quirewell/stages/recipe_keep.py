"""Courses that come with the tool and the bench's own editions of them; every edition stays.

An own change makes the next edition of its key. Shipped courses are files "key.edition.toml".
"""

from __future__ import annotations

from functools import cache, lru_cache
from importlib import resources

from quirewell.record.bench import EMPTY_BENCH, BenchState
from quirewell.record.benchwork import Recipe
from quirewell.stages.course import Course
from quirewell.stages.recipe_text import CourseError, read_course

ORDER = (
    "dry-clean", "slow-way", "fast-way", "tear-sealing", "dry-and-press", "cover", "put-together",
)  # fmt: skip


@cache
def shipped() -> dict[str, Course]:
    """The courses that come with the tool, by "key@edition", in the order they are shown."""
    found = []
    for place in (resources.files("quirewell.stages") / "recipes").iterdir():
        if place.name.endswith(".toml"):
            edition = int(place.name.split(".")[1])
            found.append(read_course(place.read_text(encoding="utf-8"), edition))
    found.sort(key=lambda course: (ORDER.index(course.key), course.edition))
    return {course.id: course for course in found}


@lru_cache(maxsize=256)
def _read(text: str, edition: int) -> Course | None:
    try:
        return read_course(text, edition)
    except CourseError:
        return None


def own_course(recipe: Recipe) -> Course | None:
    """What an own edition says; None where its text can be read no longer."""
    return _read(recipe.text, recipe.edition)


def editions(bench: BenchState, key: str) -> tuple[Course, ...]:
    """Every edition of a course, oldest first."""
    held = {course.edition: course for course in shipped().values() if course.key == key}
    for recipe in bench.courses.values():
        if recipe.key == key and (course := own_course(recipe)) is not None:
            held[recipe.edition] = course
    return tuple(held[number] for number in sorted(held))


def courses(bench: BenchState = EMPTY_BENCH) -> tuple[Course, ...]:
    """The newest edition of every course: those that come with the tool first, then own ones."""
    keys = dict.fromkeys(course.key for course in shipped().values())
    keys.update(dict.fromkeys(recipe.key for recipe in bench.courses.values()))
    found = (editions(bench, key) for key in keys)
    return tuple(every[-1] for every in found if every)


def course_of(bench: BenchState, name: str) -> Course | None:
    """A course by "key@edition", or the newest edition by "key"; None where there is none."""
    key, _, edition = name.partition("@")
    every = editions(bench, key)
    if not edition:
        return every[-1] if every else None
    return next((course for course in every if str(course.edition) == edition), None)
