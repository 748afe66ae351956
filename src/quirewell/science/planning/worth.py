"""What an item is worth at a grade, from one's own sales and from what was typed by hand.

Logarithms of prices against grades: a straight line first, a curve only where enough records show
that it foretells better. Bands by jackknife+ (``barber2021``). Grades in points (0 to 10), money in
one currency, times in years from the day asked for (sales lie at 0 or below).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import scipy
from numpy.typing import NDArray

from quirewell.science.planning.typed_range import Range
from quirewell.science.planning.worth_fit import SMOOTH, Fit, Rows, bend, line

Array = NDArray[np.float64]
Model = Literal["typed", "level", "line", "curve"]
FEWEST = 4  # records for an interval of 80 %: ceil(0.8 (n + 1)) <= n
LEVELS = (0.90, 0.80)
CURVE_FROM, CURVE_GRADES = 20, 5  # assumed; fewer records cannot tell a bend from scatter
TREND_FROM, TREND_YEARS = 12, 2.0  # assumed
TREND_CLEAR = 2.0  # times its standard uncertainty, from which the value follows it
TYPED_SALES = 2.0  # a range typed by hand counts as so many sales (assumed)
PULL = 4.0  # [points^2] of an item's slope to all items': 0.30 of scatter by 0.15 a point (assumed)
FAR = 1.0  # points outside the records from which no band is given (assumed)
NEAR = 0.5  # points by which a lone grade still stands for the one asked for (assumed)


class NoValue(ValueError):
    """No value can be told from what was given; the message says what to give."""


@dataclass(frozen=True, slots=True)
class Sale:
    """A sale: grade [points], price (money), years before the day asked for (0 or below), item."""

    grade: float
    price: float
    years: float | None = None
    item: str = ""


@dataclass(frozen=True, slots=True)
class Trend:
    """Change of log price a year over all records, its standard uncertainty, and whether the value
    was brought forward by it."""

    per_year: float
    u: float
    applied: bool
    years: float  # the records span


@dataclass(frozen=True, slots=True)
class Band:
    """Ends (money) between which the next sale at the grade falls, with the chance ``level``."""

    level: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Worth:
    """A value. ``median``: as many sales above as below. ``mean``: what to add up over many items.
    ``u_log``: standard uncertainty of the log median; ``scatter``: of one sale about it.
    ``band``: of the next sale by the records; ``typed``: the band as typed by hand."""

    grade: float
    model: Model
    median: float
    mean: float | None
    u_log: float | None
    u_log_mean: float | None
    scatter: float | None
    slope: float | None
    band: Band | None
    no_band: str
    typed: Band | None
    used: int
    trend: Trend | None
    outside: float  # points outside the records' grades; 0 within
    curve_gain: float | None = None  # mean squared miss saved by the curve, by its standard error
    u_slope: float | None = None

    def spread(self, u: float | None) -> tuple[float, float] | None:
        """Factors of a 90 % band of a median or mean known to ``u`` in the logarithm."""
        if u is None:
            return None
        reach = float(scipy.special.stdtrit(max(self.used - 1, 1), 0.95)) * u
        return math.exp(-reach), math.exp(reach)


def worth(
    grade: float, sales: Sequence[Sale], typed: Range | None = None, item: str | None = None
) -> Worth:
    """The value at ``grade``.

    Parameters
    ----------
    item : str, optional
        The item asked about, where sales are of several: its own level and slope, the slope drawn
        to that of all items, one trend for all. Without it all sales count as of one kind.

    Raises
    ------
    NoValue
        Neither a sale nor a range; or sales at one grade only, which is not the one asked for.
    """
    own = [one for one in sales if item is None or one.item == item]
    others = [] if item is None else [one for one in sales if one.item != item]
    if not own:
        if typed is None:
            raise NoValue("there is no sale to go by; type low, likely and high")
        return _typed_only(grade, typed)
    grades = np.array([one.grade for one in own])
    apart = float(grades.max() - grades.min())
    lone = apart == 0 and typed is None and not others
    if lone and abs(float(grades[0]) - grade) > NEAR:
        raise NoValue(
            f"all sales are of grade {grades[0]:g}, and nothing says how the price goes from there "
            f"to {grade:g}; add sales of other grades, or type low, likely and high"
        )
    y = np.log([one.price for one in own])
    plain = line(_rows(grade, own, others, typed, None))
    trend, fit = _with_trend(grade, own, others, typed, plain)
    outside = max(float(grades.min()) - grade, grade - float(grades.max()), 0.0)
    model: Model = "line" if plain.slope > 0 else "level"
    curved, gain = None, None
    if len(own) >= CURVE_FROM and np.unique(grades).size >= CURVE_GRADES and not outside:
        curved, gain = _curve(grade, own, typed, fit, y)
    if curved is not None:
        model, fit = "curve", curved
    return _told(grade, model, fit, own, typed, trend, outside, gain)


def _typed_only(grade: float, typed: Range) -> Worth:
    band = Band(0.90, typed.quantile(0.05), typed.quantile(0.95))
    return Worth(
        grade, "typed", typed.quantile(0.5), typed.mean, None, None, typed.logs[1], None, None,
        "no interval: there is no sale; the band is the one typed by hand", band, 0, None, 0.0,
    )  # fmt: skip


def _rows(
    grade: float, own: Sequence[Sale], others: Sequence[Sale], typed: Range | None,
    middle: float | None,
) -> Rows:  # fmt: skip
    """Columns: level, slope, (own slope less that of all), (years).

    Other items' levels drop out by taking each item's means off. ``middle`` is the age that sales
    without a date count as; None leaves years out.
    """
    own_slope = int(bool(others))
    width = 2 + own_slope + (middle is not None)

    def row(one: Sale) -> list[float]:
        points = one.grade - grade
        years = [] if middle is None else [middle if one.years is None else one.years]
        return [1.0, points, *[points] * own_slope, *years]

    x, y = [np.zeros((0, width))], [np.zeros(0)]
    names = sorted({one.item for one in others})
    for name in names:
        mine = [one for one in others if one.item == name]
        block, logs = np.array([row(one) for one in mine]), np.log([one.price for one in mine])
        block[:, 2] = 0.0
        x.append(block - block.mean(axis=0))
        y.append(logs - logs.mean())
    if others:
        x.append(math.sqrt(PULL) * np.eye(1, width, 2))
        y.append(np.zeros(1))
    if typed is not None:
        root = math.sqrt(TYPED_SALES)
        x.append(root * np.eye(1, width))
        y.append(np.array([root * typed.logs[0]]))
    return Rows(
        np.array([row(one) for one in own]), np.log([one.price for one in own]),
        np.vstack(x), np.concatenate(y), (1, 2) if others else (1,),
        width - 1 if middle is not None else None, len(names),
    )  # fmt: skip


def _with_trend(
    grade: float, own: Sequence[Sale], others: Sequence[Sale], typed: Range | None, plain: Fit
) -> tuple[Trend | None, Fit]:
    dated = [one.years for one in (*own, *others) if one.years is not None]
    if len(dated) < TREND_FROM or max(dated) - min(dated) < TREND_YEARS:
        return None, plain
    fit = line(_rows(grade, own, others, typed, float(np.mean(dated))))
    if fit.u_trend is None:
        return None, plain
    applied = abs(fit.trend) > TREND_CLEAR * fit.u_trend
    found = Trend(fit.trend, fit.u_trend, applied, max(dated) - min(dated))
    return found, fit if applied else plain


def _better(simple: Fit, rich: Fit) -> float:
    """Mean of what the richer model saves in squared misses, each record foretold without itself,
    by its own standard error; above 1 it is taken (the rule of one standard error)."""
    saved = simple.missed**2 - rich.missed**2
    if len(saved) < 2 or not np.all(np.isfinite(saved)):
        return 0.0
    error = float(saved.std(ddof=1)) / math.sqrt(len(saved))
    return float(saved.mean()) / error if error > 0 else 0.0


def _curve(
    grade: float, own: Sequence[Sale], typed: Range | None, fit: Fit, y: Array
) -> tuple[Fit | None, float]:
    dated = [one.years for one in own if one.years is not None]
    middle = float(np.mean(dated)) if dated else 0.0
    years = np.array([middle if one.years is None else one.years for one in own])
    trends = np.zeros(len(own)) if fit.trends is None else fit.trends
    pull = () if typed is None else (typed.logs[0], TYPED_SALES)
    grades = np.array([one.grade for one in own])
    curved = bend(grades, y, grade, SMOOTH, trends, years, fit.trend, pull)
    gain = _better(fit, curved)
    return (curved if gain > 1 else None), gain


def _told(
    grade: float, model: Model, fit: Fit, own: Sequence[Sale], typed: Range | None,
    trend: Trend | None, outside: float, gain: float | None,
) -> Worth:  # fmt: skip
    n = len(own)
    scatter = _scatter(fit, n, typed)
    median = math.exp(fit.at)
    hand = None
    if typed is not None and scatter is not None and n < FEWEST:
        reach = 1.6448536269514722 * scatter
        hand = Band(0.90, median * math.exp(-reach), median * math.exp(reach))
    band, why = None, ""
    if n < FEWEST:
        why = f"no interval: {n} of the {FEWEST} records it needs"
    elif outside > FAR:
        why = (
            f"no interval: grade {grade:g} lies {outside:g} outside the grades sold, and records "
            f"bear out no band beyond {FAR:g}"
        )
    elif not np.all(np.isfinite(fit.left)):
        why = "no interval: without one of the records the rest says nothing"
    else:
        chosen = trend is not None or gain is not None
        bands = (jackknife_plus(fit, level, chosen) for level in LEVELS)
        band = next(one for one in bands if one)
    u_log, u_slope = None, None
    if n >= FEWEST and np.all(np.isfinite(fit.left)):
        u_log, u_slope = _jackknife(fit.left), _jackknife(fit.slopes)
    mean, u_mean = None, None
    if scatter is not None:
        mean = math.exp(fit.at + scatter**2 / 2)
        if u_log is not None:
            u_mean = math.hypot(u_log, scatter**2 / math.sqrt(2 * max(n - 2, 1)))
    return Worth(
        grade, model, median, mean, u_log, u_mean, scatter, fit.slope, band, why, hand, n,
        trend, outside, gain, u_slope,
    )  # fmt: skip


def _jackknife(left: Array) -> float:
    """Standard error of an estimate from the estimates without each record."""
    n = len(left)
    return float(np.sqrt((n - 1) / n * np.sum((left - left.mean()) ** 2)))


def _scatter(fit: Fit, n: int, typed: Range | None) -> float | None:
    """Standard deviation of one sale in the logarithm; None where too few records tell it.

    The mean of miss times residual is unbiased for a straight line (each product is the squared
    residual by 1 - its leverage).
    """
    if n < FEWEST or not np.all(np.isfinite(fit.missed)):
        return None if typed is None else typed.logs[1]
    total = float(np.maximum(fit.missed * fit.off, 0).sum())
    if typed is None:
        return math.sqrt(total / n)
    return math.sqrt((total + TYPED_SALES * typed.logs[1] ** 2) / (n + TYPED_SALES))


def jackknife_plus(fit: Fit, level: float, chosen: bool = False) -> Band | None:
    """Band of the next record (``barber2021``); None where the records are too few for ``level``.

    The lower end is the floor(alpha (n + 1)) smallest of left-out value less miss, the upper the
    ceil((1 - alpha)(n + 1)) smallest of left-out value plus miss. Where the model was ``chosen`` by
    the same records, both lie half a rank farther out, as far as there are ranks: the choice has
    seen the records that are left out (assumed; held by simulation).
    """
    n = len(fit.left)
    upper = math.ceil(level * (n + 1) - 1e-9)
    if upper > n:
        return None
    if chosen:
        upper = min(math.ceil(level * (n + 1) + 0.5 - 1e-9), n)
    misses = np.abs(fit.missed)
    low = np.sort(fit.left - misses)[n - upper]
    high = np.sort(fit.left + misses)[upper - 1]
    return Band(level, math.exp(low), math.exp(high))


def mean_of_log_normal(median: float, scatter: float) -> float:
    """Mean of a price whose logarithm is normal: above its median.

    >>> round(mean_of_log_normal(1, 0.30), 3), round(mean_of_log_normal(1, 0.60), 3)
    (1.046, 1.197)
    """
    return median * math.exp(scatter**2 / 2)
