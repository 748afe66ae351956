"""Courses that come with the tool and the bench's own editions of them; every edition stays.

An own change makes the next edition of its key. Shipped courses are files "key.edition.toml".
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache, lru_cache
from importlib import resources

from quirewell.record.bench import EMPTY_BENCH, BenchState
from quirewell.record.benchwork import Recipe
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.stages.course import Course
from quirewell.stages.recipe_text import CourseError, read_course
from quirewell.stages.refusal import refused
from quirewell.studio.studio import STUDIO

Form = Mapping[str, str]
MOST_KEPT = 500

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
    """Every edition of a course, those set aside too, oldest first."""
    held = {course.edition: course for course in shipped().values() if course.key == key}
    for recipe in bench.courses.values():
        if recipe.key == key and (course := own_course(recipe)) is not None:
            held[recipe.edition] = course
    return tuple(held[number] for number in sorted(held))


def is_aside(bench: BenchState, course: Course) -> bool:
    """Whether an edition was set aside: it stays readable and is offered no longer."""
    recipe = bench.courses.get(course.id)
    return recipe is not None and recipe.aside


def courses(bench: BenchState = EMPTY_BENCH) -> tuple[Course, ...]:
    """The newest edition of every course: those that come with the tool first, then own ones."""
    keys = dict.fromkeys(course.key for course in shipped().values())
    keys.update(dict.fromkeys(recipe.key for recipe in bench.courses.values()))
    found = (course_of(bench, key) for key in keys)
    return tuple(course for course in found if course is not None)


def course_of(bench: BenchState, name: str) -> Course | None:
    """A course by "key@edition", or the newest edition by "key"; None where there is none."""
    key, _, edition = name.partition("@")
    every = editions(bench, key)
    if not edition:
        return next((one for one in reversed(every) if not is_aside(bench, one)), None)
    return next((course for course in every if str(course.edition) == edition), None)


# --- commands -----------------------------------------------------------------------------------


def keep_course(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """Keep a course's ``text`` as its next edition; ``key`` is the course that is changed (empty
    for a new one), ``newest`` the edition the text began from, ``note`` why.

    Raises:
        Refusal: text that is no course with every fault, another course's key, nothing changed, or
            an edition kept by somebody else meanwhile.
    """
    text = form.get("text", "").replace("\r\n", "\n").strip()
    try:
        course = read_course(f"{text}\n")
    except CourseError as error:
        raise refused(form, "text", f"{error}") from error
    wanted, every = form.get("key", ""), editions(bench, course.key)
    if wanted and course.key != wanted:
        raise refused(
            form, "text", f"this page is for the course {wanted!r}, and the text says the key "
            f"{course.key!r}; keep the key, or keep the text as a new course from the list",
        )  # fmt: skip
    if not wanted and every:
        raise refused(
            form, "text", f"there is a course with the key {course.key!r} already; give this one "
            "a key of its own, or change that one on its page",
        )  # fmt: skip
    newest = every[-1].edition if every else 0
    if form.get("newest", "") not in ("", str(newest)):
        raise refused(
            form, "text", f"edition {newest} was kept meanwhile; look at what it changed, then "
            "keep yours again",
        )  # fmt: skip
    now = course_of(bench, course.key)
    if now is not None and now == replace(course, edition=now.edition):
        raise refused(form, "text", f"this is edition {now.edition} as it stands; nothing changed")
    if len(bench.courses) >= MOST_KEPT:
        raise refused(form, "text", f"a bench keeps at most {MOST_KEPT} editions of its own")
    recipe = Recipe(
        f"{course.key}@{newest + 1}", course.key, newest + 1, course.name, course.text,
        " ".join(form.get("note", "").split())[:300], form.get("today", ""),
    )  # fmt: skip
    return (Draft(STUDIO, "recipe.kept", to_body(recipe)),)


def set_aside(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """Set an own edition (``id``) aside, or with ``back`` take it up again; what was treated by it
    still finds it.

    Raises:
        Refusal: an edition that came with the tool, or none.
    """
    known = form.get("id", "")
    if known in shipped() and known not in bench.courses:
        raise refused(
            form, "id", "this edition came with the tool and stays; keep an edition of your own, "
            "and that one is used",
        )  # fmt: skip
    if known not in bench.courses:
        raise refused(form, "id", "there is no such edition; look at the list again")
    changed = replace(bench.courses[known], aside=not form.get("back"))
    return (Draft(STUDIO, "recipe.kept", to_body(changed)),)
