"""A pressing as a band: the same stack followed with everything that nobody knows let go free.

Two curves of sorption; contacts, resistances to vapour and conduction drawn log-evenly between
their bounds, by a low-discrepancy sequence, so that sixty-four runs do the work of hundreds.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quirewell.science.evidence.normal import Z90
from quirewell.science.press.course import Answers, Course, Pressing, Rules, answers, follow
from quirewell.science.press.known import Bounds, Known, draws_of, knobs_of

Array = NDArray[np.float64]
DRAWS = 64
LOW, HIGH = 5.0, 95.0
Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Band:
    """A pressing over the draws: the courses' answers, and for each time the 5, 50, 95 % of what is
    drawn: (3, times) each for temperature and water of the hot, centre and cool sheet; for each
    sheet water at the end of heating (3, sheets) and its greatest humidity."""

    middle: Course
    runs: tuple[Answers, ...]
    t_s: Array
    hot_c: Array
    centre_c: Array
    cool_c: Array
    hot_u: Array
    centre_u: Array
    cool_u: Array
    end_u: Array
    peak_rh: Array

    def three(self, name: str) -> tuple[float, float, float] | None:
        """5, 50, 95 % of an answer; None where half of the runs or more never come to it."""
        values = [getattr(run, name) for run in self.runs]
        known = sorted(value for value in values if value is not None)
        if len(known) * 2 <= len(values):
            return None
        low, middle, high = np.percentile(known, (LOW, 50.0, HIGH))
        return float(low), float(middle), float(high)

    @property
    def dose_days(self) -> tuple[float, float, float]:
        """Equivalent days, low, middle, high: what the course leaves open and what ageing does."""
        days = [run.dose.days for run in self.runs]
        middle = float(np.median(days))
        if middle <= 0:
            return 0.0, 0.0, 0.0
        course_u = float(np.std(np.log(np.maximum(days, 1e-9))))
        own = float(np.median([run.dose.log_u for run in self.runs]))
        spread = math.exp(Z90 * math.hypot(course_u, own))
        return middle / spread, middle, middle * spread

    @property
    def balance_error_rel(self) -> float:
        """The books of the middle course: water gone astray by all water."""
        return self.middle.balance_error_rel


def band(
    pressing: Pressing, rules: Rules | None = None, bounds: Bounds | None = None,
    draws: int = DRAWS, progress: Progress = lambda done, of: None, known: Known | None = None,
) -> Band:  # fmt: skip
    """Follow a pressing over ``draws`` settings (2 to 512) of what is unknown, or of what a
    calibration (``known``) of the press leaves unknown within the bounds.

    Raises
    ------
    ValueError
        As :func:`.course.follow`.
    """
    if not 2 <= draws <= 512:
        raise ValueError(f"a band takes 2 to 512 runs, got {draws}")
    bounds = Bounds() if bounds is None else bounds
    settings = knobs_of(bounds, draws) if known is None else draws_of(known, draws, bounds)
    courses = []
    for number, knobs in enumerate(settings):
        courses.append(follow(pressing, knobs))
        progress(number + 1, draws)
    runs = tuple(answers(course, rules) for course in courses)
    longest = max(courses, key=lambda course: course.t_s[-1])
    # As far as every run goes: beyond that some have long been cool.
    times = longest.t_s[longest.t_s <= min(float(course.t_s[-1]) for course in courses)]
    middle = follow(pressing, None if known is None else known.best)

    def over(values: Callable[[Course], Array]) -> Array:
        rows = [np.interp(times, course.t_s, values(course)) for course in courses]
        return np.asarray(np.percentile(np.array(rows), (LOW, 50.0, HIGH), axis=0))

    end = [course.u[course.heating_ends] for course in courses]
    peak = [course.rh.max(axis=0) for course in courses]
    half = middle.u.shape[1] // 2
    return Band(
        middle, runs, times,
        over(lambda c: c.temperature_c[:, c.hot_sheet]), over(lambda c: c.centre_c),
        over(lambda c: c.temperature_c[:, _away(c)]),
        over(lambda c: c.u[:, c.hot_sheet]), over(lambda c: c.u[:, half]),
        over(lambda c: c.u[:, _away(c)]),
        np.percentile(np.array(end), (LOW, 50.0, HIGH), axis=0),
        np.percentile(np.array(peak), (LOW, 50.0, HIGH), axis=0),
    )  # fmt: skip


def _away(course: Course) -> int:
    """The sheet on the far side of the heat, the lower where both sides are hot."""
    return 0 if course.pressing.heat == "below" else course.u.shape[1] - 1
