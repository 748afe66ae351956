"""The page on courses names every key and course there is, and its example is a course."""

from __future__ import annotations

import re
from pathlib import Path

from quirewell.stages.recipe_keep import shipped
from quirewell.stages.recipe_text import HEAD, MOST_CHARACTERS, MOST_STEPS, READINGS, read_course
from quirewell.stages.recipe_told import WORDS

PAGE = (Path(__file__).parents[2] / "docs/reference/courses.md").read_text(encoding="utf-8")


def test_every_key_and_course_is_named() -> None:
    named = set(re.findall(r"`([a-z_-]+)`", PAGE))
    assert (set(WORDS) | set(HEAD)) - {"step"} <= named
    assert {course.key for course in shipped().values()} <= named
    assert named & set(READINGS)
    assert f"{MOST_CHARACTERS // 1000} 000 signs and {MOST_STEPS} steps" in PAGE


def test_the_example_is_a_course() -> None:
    example = re.search(r"```toml\n(.*?)```", PAGE, re.DOTALL)
    assert example is not None and len(read_course(example[1]).steps) == 1
