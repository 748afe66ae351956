"""A course of treatment as data: its steps in order, and what must hold between them.

Times are whole minutes and placeholders of common practice unless a course says on whose word it
stands. ``least_wait`` and ``most_wait`` lie between the end of a step and the start of the next
on the same sheet; a step with no ``most_wait`` leaves the sheet where work may stop.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Literal

from quirewell.stages.step_table import PERMANENCE_WORDS, STEP_KINDS

On = Literal["each", "wraps", "cover", "item"]
ON: tuple[On, ...] = ("each", "wraps", "cover", "item")
ON_WORDS = {
    "each": "every sheet, the cover too", "wraps": "every wrap, not the cover",
    "cover": "the cover", "item": "the whole item",
}  # fmt: skip
PLACEHOLDER = "common practice, no source"
PILOT_LOOK = "pilot-look"
ONE_DAY = 24 * 60


@dataclass(frozen=True, slots=True)
class CourseStep:
    """One step. ``kind`` is a key of the step table; ``on`` says which sheets it is done to.

    ``minutes`` is the time to plan with (of drying: dry in nine cases of ten), ``likely_minutes``
    the usual one, ``most_minutes`` when it has lasted too long. The places of ``equipment`` are
    held from the start of step ``hold_from`` to the end of this one; ``together`` sheets share
    such a place. ``wet``: the sheet is wet when the step ends. ``hazards`` are ids of cautions.
    """

    key: str
    kind: str
    name: str
    minutes: int
    purpose: str = ""
    does: str = ""
    watch: str = ""
    materials: tuple[str, ...] = ()
    limits: tuple[str, ...] = ()
    most_c: float | None = None
    hazards: tuple[str, ...] = ()
    reversibility: str = ""
    test_before: str = ""
    on: On = "each"
    likely_minutes: int | None = None
    most_minutes: int | None = None
    hands: bool = True
    equipment: tuple[str, ...] = ()
    hold_from: str = ""
    together: int = 1
    least_wait: int = 0
    most_wait: int | None = None
    wet: bool = False
    can_wait: str = ""
    safe_stop: bool = True
    reading: str = ""
    standing: str = PLACEHOLDER

    @property
    def evidence(self) -> str:
        """What is gone after the step, by the step table."""
        return STEP_KINDS[self.kind].evidence

    @property
    def permanence_words(self) -> str:
        """Whether it can be taken back, by the step table."""
        return PERMANENCE_WORDS[STEP_KINDS[self.kind].permanence]


@dataclass(frozen=True, slots=True)
class Course:
    """A course of treatment in one of its editions; ``text`` is what it was read from."""

    key: str
    name: str
    steps: tuple[CourseStep, ...]
    purpose: str = ""
    note: str = ""
    standing: str = PLACEHOLDER
    edition: int = 1
    text: str = field(default="", compare=False)

    @property
    def id(self) -> str:
        """Key and edition, as records name it."""
        return f"{self.key}@{self.edition}"

    def step(self, key: str) -> CourseStep | None:
        """A step by its key; the look at the pilot belongs to every course."""
        if key == PILOT_LOOK:
            return LOOK
        return next((step for step in self.steps if step.key == key), None)

    def of(self, sheet: str) -> tuple[CourseStep, ...]:
        """The steps done to one sheet, in order; "" gives those of the whole item."""
        return tuple(step for step in self.steps if meant(step.on, sheet))

    @property
    def wets(self) -> bool:
        """Whether any step leaves a sheet wet."""
        return any(step.wet for step in self.steps)


def meant(on: On, sheet: str) -> bool:
    """Whether a step is done to a sheet ("c" the cover, "" the whole item, else a wrap).

    >>> meant("each", "c"), meant("wraps", "c"), meant("cover", "w01"), meant("item", "")
    (True, False, False, True)
    """
    if on == "item" or not sheet:
        return on == "item" and not sheet
    return on == "each" or (on == "cover") == (sheet == "c")


LOOK = CourseStep(
    PILOT_LOOK, "handle", "Look at the pilot", 15,
    purpose="To find out on one sheet what the same water would do to all the others.",
    does="Look at the dry pilot beside an untreated neighbour in the same light, measure both, and "
    "accept it by hand or say why not.",
    watch="Colours that moved, tidelines, a change of shade, cockling, size, a surface gone rough.",
    test_before="The pilot is washed, fully dried and has lain for a day.",
    can_wait="as long as you like, dry",
    reading="tone_step",
)  # fmt: skip


def run_on(course: Course) -> Iterable[str]:
    """What cannot be in a course's order, each as a sentence that names the step: a sheet left
    wet, a place where nobody may stop before work on the whole item, a course with no safe end."""
    for step in course.steps:
        if step.wet and step.most_wait is None:
            yield (
                f"step {step.key!r} leaves the sheet wet, and a wet sheet never waits without a "
                "limit: say most_wait in minutes"
            )
        if STEP_KINDS[step.kind].wets == "whole" and not step.wet:
            yield (
                f"step {step.key!r} is of kind {step.kind!r}, which wets the whole sheet: write "
                "wet = true"
            )
    for sheet, who in (("w01", "a wrap"), ("c", "the cover"), ("", "the whole item")):
        yield from _order(course, sheet, who)


def _order(course: Course, sheet: str, who: str) -> Iterable[str]:
    steps = course.of(sheet)
    for before, after in pairwise(steps):
        if before.wet and not after.wet and after.kind != "dry":
            yield (
                f"after step {before.key!r} {who} is wet, and step {after.key!r} neither keeps it "
                "wet nor dries it: put a step of kind 'dry' between them"
            )
    if steps and not steps[-1].safe_stop:
        yield (
            f"the course ends for {who} with step {steps[-1].key!r}, where nobody may stop: end "
            "with a step after which it can lie"
        )
    if not sheet:
        whole = [index for index, step in enumerate(course.steps) if step.on == "item"]
        for index in whole:
            near = course.steps[index + 1 : index + 2]
            if near and near[0].on != "item" and not course.steps[index].safe_stop:
                yield (
                    f"step {course.steps[index].key!r} is on the whole item and leaves it where "
                    f"nobody may stop, but step {near[0].key!r} is on single sheets"
                )
        return
    held = ""
    for step in course.steps:
        if meant(step.on, sheet):
            held = "" if step.safe_stop else step.key
        elif step.on == "item" and held:
            yield (
                f"step {step.key!r} is on the whole item and waits for every sheet, but step "
                f"{held!r} leaves {who} where nobody may stop"
            )
            held = ""
