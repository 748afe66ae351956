"""Grades that came back, held against the estimate: weights drawn from the starting rules.

Model: returned = 10 + b - sum over codes of m_c d_c + noise, where d_c are the points the rules
take off, b an offset and m_c >= 0 how much more or less a code costs this user. A ridge pulls m
towards 1 and b towards 0 (``hoerl1970``): least squares of
|y - 10 - b + D m|^2 / s^2 + |m - 1|^2 / ``SPREAD_DEDUCT``^2 + b^2 / ``OFFSET``^2, m >= 0. The noise
s starts from ``NOISE`` as if ten returns had shown it, and takes up the scatter that is left; y is
the middle of the step that came back. Items that a ceiling holds say nothing of the weights and are
set aside. Below ``LEAST`` returns nothing is changed. Only what was sent comes back: it holds for
items like those that were sent.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy
from numpy.typing import NDArray

from quirewell.science.condition.agreement import alpha, ranked_score
from quirewell.science.condition.estimate import Damage, Grading
from quirewell.science.condition.rules import SPREAD_DEDUCT, TOP, Rule, Rules
from quirewell.science.condition.scale import Scale

Array = NDArray[np.float64]
LEAST = 10
OFFSET = 0.4  # points, standard deviation of an offset (assumed)
NOISE = 0.5  # points, scatter of a returned grade (assumed; refined by what comes back)
_HELD = 10  # returns the starting noise counts as
SELECTION = (
    "Only what was sent comes back: this holds for items like those that were sent, not for those "
    "held back because they looked poor."
)


@dataclass(frozen=True, slots=True)
class Return:
    """One item: its damage as noted before sending, and the grade that came back."""

    item: str
    grade: float
    damages: tuple[Damage, ...]


@dataclass(frozen=True, slots=True)
class Fit:
    """Weights: multiplier of each column and the offset, their covariance (offset last), noise."""

    weights: Array
    offset: float
    covariance: Array
    noise: float


@dataclass(frozen=True, slots=True)
class Calibration:
    """What the returns say.

    ``score_before`` and ``score_after``: mean ranked probability score of the starting rules and of
    the fit, each return left out of the fit that forecasts it; None before ``LEAST``. ``bias``:
    mean of returned minus estimated with its standard uncertainty. ``hits``: how many bands of
    whole steps, each 80 % or more, held their return; ``honest``: between which counts honest bands
    of that width lie in 95 of 100 cases.
    """

    count: int
    used: int
    bias: float
    bias_u: float | None
    agreement: float | None
    says: str
    offset: float = 0.0
    offset_u: float = OFFSET
    noise: float = NOISE
    weights: tuple[tuple[str, float, float], ...] = ()
    score_before: float | None = None
    score_after: float | None = None
    hits: int | None = None
    honest: tuple[int, int] | None = None

    @property
    def enough(self) -> bool:
        """Whether there were returns enough to fit the weights."""
        return self.score_after is not None

    @property
    def better(self) -> bool:
        """Whether the fit forecasts better than the starting rules: only then it is used."""
        return (
            self.score_after is not None
            and self.score_before is not None
            and self.score_after < self.score_before
        )


def ridge(
    points: Array, returned: Array, spread: float = SPREAD_DEDUCT, noise: float | None = None
) -> Fit:
    """Fit multipliers and offset to ``returned`` (n) from ``points`` off (n, codes).

    ``noise`` None: taken from the scatter, starting from ``NOISE``.
    """
    count = len(points)
    start = NOISE if noise is None else noise
    fit = _solve(points, returned, spread, start)
    if noise is None:
        left = returned - TOP - fit.offset + points @ fit.weights
        s2 = (_HELD * NOISE**2 + float(left @ left)) / (_HELD + count)
        fit = _solve(points, returned, spread, math.sqrt(s2))
    return fit


def _solve(points: Array, returned: Array, spread: float, noise: float) -> Fit:
    codes = points.shape[1]
    rows = np.hstack([-points, np.ones((len(points), 1))]) / noise
    pull = np.diag(np.r_[np.full(codes, 1 / spread), 1 / OFFSET])
    full = np.vstack([rows, pull])
    goal = np.r_[(returned - TOP) / noise, np.full(codes, 1 / spread), 0.0]
    # The offset may be negative and nnls knows only what is not: it enters as a difference.
    solved, _ = scipy.optimize.nnls(np.hstack([full, -full[:, -1:]]), goal)
    return Fit(
        solved[:codes], float(solved[codes] - solved[codes + 1]), np.linalg.inv(full.T @ full),
        noise,
    )  # fmt: skip


def forecast(fit: Fit, points: Array, scale: Scale) -> Array:
    """Chance of each step of the scale for an item with these points off, normal about the fit."""
    centre = TOP + fit.offset - float(points @ fit.weights)
    row = np.r_[-points, 1.0]
    spread = math.sqrt(fit.noise**2 + float(row @ fit.covariance @ row))
    edges = np.array([step.value for step in scale.steps[1:]])
    above = scipy.special.ndtr((centre - edges) / spread)
    return -np.diff(np.concatenate([[1.0], above, [0.0]]))


def starting(codes: int, spread: float = SPREAD_DEDUCT) -> Fit:
    """The rules as they start, before anything came back."""
    cov = np.diag(np.r_[np.full(codes, spread**2), OFFSET**2])
    return Fit(np.ones(codes), 0.0, cov, NOISE)


def calibrate(returns: Sequence[Return], rules: Rules, scale: Scale) -> Calibration:
    """Hold returned grades against the rules; see the module's text.

    Raises:
        ValueError: no returns.
    """
    if not returns:
        raise ValueError("give at least one grade that came back")
    ordered = sorted(returns, key=lambda one: one.item)
    graded = [Grading(one.damages, rules, scale).estimate() for one in ordered]
    given = np.array([one.grade for one in ordered])
    guessed = np.array([one.grade.value for one in graded])
    bias, u = _bias(given - guessed)
    try:
        agree: float | None = alpha([list(guessed), list(given)]) if len(given) > 1 else None
    except ValueError:
        agree = None
    free = [index for index, one in enumerate(graded) if one.binding is None]
    base = Calibration(len(given), len(free), bias, u, agree, "")
    if len(free) < LEAST:
        held = len(given) - len(free)
        aside = f" ({held} more are held by a ceiling and say nothing of the weights)"
        says = (
            f"Not enough returns yet: {len(free)} that can be used{aside if held else ''}, and "
            f"{LEAST} are needed. The rules stay as they are. {SELECTION}"
        )
        return replace(base, says=says)
    codes = sorted({d.rule.code for index in free for d in graded[index].deductions})
    points = np.zeros((len(free), len(codes)))
    for row, index in enumerate(free):
        for one in graded[index].deductions:
            points[row, codes.index(one.rule.code)] += one.points.value
    return _calibrated(base, points, given[free], codes, scale)


def _calibrated(
    base: Calibration, points: Array, returned: Array, codes: list[str], scale: Scale
) -> Calibration:
    middles = np.array([scale.middle(float(one)) for one in returned])
    fit = ridge(points, middles)
    prior = starting(len(codes))
    before, after, within, hits = [], [], [], 0
    for row, grade in enumerate(returned):
        keep = np.arange(len(returned)) != row
        chances = forecast(ridge(points[keep], middles[keep]), points[row], scale)
        outcome = scale.index(float(grade))
        before.append(ranked_score(forecast(prior, points[row], scale), outcome))
        after.append(ranked_score(chances, outcome))
        upto = np.cumsum(chances)
        low, high = np.searchsorted(upto, 0.1), np.searchsorted(upto, 0.9)
        hits += int(low <= outcome <= high)
        within.append(float(chances[low : high + 1].sum()))
    u = np.sqrt(np.diag(fit.covariance))
    # Whole steps hold more than 80 %: the bands are judged by what they hold.
    honest = honest_hits(len(returned), min(float(np.mean(within)), 1.0))
    better = np.mean(after) < np.mean(before)
    says = (
        f"{len(returned)} returns, left out one by one, are forecast by weights fitted to the "
        f"others with a mean ranked probability score of {np.mean(after):.2f}, by the rules as "
        f"they start with {np.mean(before):.2f} (0 is best): "
        f"{'the fitted weights are used' if better else 'no better, so the rules stay'}. "
        f"{SELECTION}"
    )
    return replace(
        base, says=says, offset=fit.offset, offset_u=float(u[-1]), noise=fit.noise,
        weights=tuple((code, float(w), float(s)) for code, w, s in
                      zip(codes, fit.weights, u, strict=False)),
        score_before=float(np.mean(before)), score_after=float(np.mean(after)), hits=hits,
        honest=honest,
    )  # fmt: skip


def _bias(off: Array) -> tuple[float, float | None]:
    if len(off) < 2:
        return float(off.mean()), None
    return float(off.mean()), float(off.std(ddof=1)) / math.sqrt(len(off))


def honest_hits(count: int, level: float = 0.8) -> tuple[int, int]:
    """How many of ``count`` bands at ``level`` hold when they are honest, in 95 of 100 cases.

    >>> honest_hits(20)
    (12, 19)
    """
    low, high = scipy.stats.binom.ppf([0.025, 0.975], count, level)
    return int(low), int(high)


def calibrated(rules: Rules, found: Calibration) -> Rules:
    """The table with the weights that the returns show; the table itself where they are too few or
    forecast no better.

    Each weight carries its own spread from then on; that weights and offset lean on one another is
    left out, which mostly makes the band wider.
    """
    if not found.better:
        return rules
    by_code = {code: (weight, u) for code, weight, u in found.weights}
    said = f"weight by {found.used} returns"
    rows = [_weighted(rule, *by_code[rule.code], said)
            if rule.kind == "deduct" and rule.code in by_code else rule
            for rule in rules.rows if rule.kind != "offset"]  # fmt: skip
    old = next((rule.value for rule in rules.rows if rule.kind == "offset"), 0.0)
    rows.append(Rule("offset", "", "offset", value=old + found.offset, spread=found.offset_u,
                     note=f"offset by {found.used} returns"))  # fmt: skip
    return Rules(tuple(rows), f"{rules.version}, with {found.used} returns")


def _weighted(rule: Rule, weight: float, u: float, said: str) -> Rule:
    value = min(rule.value * weight, TOP)
    spread = min(u / weight, 2.0) if weight > 0.05 else 2.0
    note = f"{rule.note}; {said}" if rule.note else said
    return replace(rule, value=value, cap=rule.cap * weight, spread=spread, note=note)
