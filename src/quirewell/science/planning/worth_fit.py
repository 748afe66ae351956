"""Log price against grade: a straight line, and a curve that may bend but never falls.

Both give the value asked for with every record, and again with each record left out: what the
jackknife+ of :mod:`.worth` needs. Grades in points, prices as natural logarithms, times in years.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

Array = NDArray[np.float64]
MOST_KNOTS = 7
SMOOTH = (
    3.0  # of neighbouring slopes [points^2] (assumed; choosing it from the records won nothing)
)
_SINGULAR = 1e-9


@dataclass(frozen=True, slots=True)
class Fit:
    """A fit at the grade asked for: ``at``, and ``left[i]`` without record i (log price);
    ``missed[i]`` is record i less the fit without it, ``off[i]`` less the fit with it;
    ``slope`` per point, ``slopes[i]`` without record i; ``trend`` per year with its ``u_trend``,
    ``trends[i]`` without record i."""

    at: float
    left: Array
    missed: Array
    off: Array
    slope: float
    slopes: Array
    trend: float = 0.0
    u_trend: float | None = None
    trends: Array | None = None


@dataclass(frozen=True, slots=True)
class Rows:
    """A linear model. Column 0 is the level at the grade asked for; ``slopes`` are the columns that
    add up to the price's slope (never below 0), ``trend`` the column of years, if any.

    ``fixed`` rows (what was typed by hand, other items' sales, the pull on a slope) are in every
    fit and are never left out. ``levels`` were already taken off the fixed rows as means.
    """

    x: Array
    y: Array
    fixed: Array
    fixed_y: Array
    slopes: tuple[int, ...]
    trend: int | None = None
    levels: int = 0


def line(rows: Rows) -> Fit:
    """Least squares with a slope of 0 or more; closed form for each record left out.

    Leaving out row i moves the coefficients by -P x_i e_i / (1 - h_i), with P the inverse normal
    matrix and h_i = x_i P x_i (``belsley1980``). Where the rest cannot tell a slope, or tells a
    falling one, it is 0; where it cannot tell a trend either, that is 0 too.
    """
    n, p = rows.x.shape
    whole = list(range(p))
    flat = [column for column in whole if column not in rows.slopes]
    level = [column for column in flat if column != rows.trend]
    beta, betas = np.zeros(p), np.zeros((n, p))
    settled, todo = False, np.ones(n, dtype=bool)
    u_trend = None
    for columns in (whole, flat, level):
        x = rows.x[:, columns]
        a = np.vstack([x, rows.fixed[:, columns]])
        if np.linalg.matrix_rank(a) < _needed(a):
            continue
        inverse: Array = np.asarray(np.linalg.pinv(a.T @ a, hermitian=True), dtype=np.float64)
        found: Array = inverse @ (a.T @ np.concatenate([rows.y, rows.fixed_y]))
        reach = x @ inverse
        h = np.einsum("ij,ij->i", reach, x)
        off = rows.y - x @ found
        tells = 1 - h > _SINGULAR
        without = found - reach * (off / np.where(tells, 1 - h, 1.0))[:, None]
        full, fulls = np.zeros(p), np.zeros((n, p))
        full[columns], fulls[:, columns] = found, without
        good = todo & tells & (fulls[:, list(rows.slopes)].sum(axis=1) >= 0)
        betas[good] = fulls[good]
        todo &= ~good
        if not settled and full[list(rows.slopes)].sum() >= 0:
            beta, settled = full, True
            u_trend = _u_trend(rows, columns, a, inverse, found)
        if settled and not todo.any():
            break
    if not settled:
        raise ValueError("no sale and nothing typed by hand says the level; give one of the two")
    if todo.any():  # a lone record, left out: nothing else tells the level
        betas[todo] = np.nan
    missed = rows.y - np.einsum("ij,ij->i", rows.x, betas)
    trend = 0.0 if rows.trend is None else float(beta[rows.trend])
    both = list(rows.slopes)
    return Fit(
        float(beta[0]), betas[:, 0], missed, rows.y - rows.x @ beta,
        float(beta[both].sum()), betas[:, both].sum(axis=1), trend, u_trend,
        None if rows.trend is None else betas[:, rows.trend],
    )  # fmt: skip


def _needed(a: Array) -> int:
    """Columns that hold anything: a column of nothing but 0 is left at 0."""
    return int(np.any(a != 0, axis=0).sum())


def _u_trend(
    rows: Rows, columns: list[int], a: Array, inverse: Array, found: Array
) -> float | None:
    if rows.trend is None or rows.trend not in columns:
        return None
    off = np.concatenate([rows.y, rows.fixed_y]) - a @ found
    free = len(a) - len(columns) - rows.levels
    place = columns.index(rows.trend)
    return float(np.sqrt(inverse[place, place] * (off @ off) / free)) if free > 0 else None


def knots_of(grades: Array, most: int = MOST_KNOTS) -> Array:
    """Grades at which the curve may bend: all there are, or ``most`` spread evenly over them."""
    there = np.unique(grades)
    if there.size <= most:
        return there
    return np.asarray(np.unique(np.quantile(there, np.linspace(0, 1, most))))


def ramps(grades: Array, knots: Array) -> Array:
    """Columns that rise by their share of each stretch between knots, and are flat outside it."""
    low, high = knots[:-1], knots[1:]
    return np.asarray(np.clip(grades[:, None], low, high) - low)


@dataclass(frozen=True, slots=True)
class Curve:
    """A curve that never falls: level at the lowest knot (log price), slopes between knots."""

    knots: Array
    level: float
    slopes: Array

    def at(self, grades: Array) -> Array:
        """Log price at grades; flat beyond the outermost knots."""
        return np.asarray(self.level + ramps(np.asarray(grades, float), self.knots) @ self.slopes)


def curve(
    grades: Array, y: Array, knots: Array, smooth: float, weights: Array | None = None
) -> Curve:
    """Least squares over slopes of 0 or more, neighbouring slopes drawn together by ``smooth``.

    With a knot at every grade and ``smooth`` 0 this is isotonic regression; with ``smooth`` without
    bound it is the straight line.
    """
    root = np.ones(len(y)) if weights is None else np.sqrt(weights)
    a, target = _system(ramps(grades, knots), y, smooth, root)
    found, _ = scipy.optimize.nnls(a, target)
    return Curve(knots, float(found[0] - found[1]), found[2:])


def _system(columns: Array, y: Array, smooth: float, root: Array) -> tuple[Array, Array]:
    """Rows for non-negative least squares; the level is free, so it has a column to each side."""
    n, k = columns.shape
    pull = np.sqrt(smooth) * np.diff(np.eye(k), axis=0)
    a = np.zeros((n + len(pull), k + 2))
    a[:n, 0], a[:n, 1], a[:n, 2:] = root, -root, columns * root[:, None]
    a[n:, 2:] = pull
    return a, np.concatenate([y * root, np.zeros(len(pull))])


def bend(
    grades: Array, y: Array, at: float, smooth: float, trends: Array, years: Array,
    trend: float = 0.0, typed: Sequence[float] = (),
) -> Fit:  # fmt: skip
    """The curve at a grade, and again without each record.

    The trend is the line's own (``trend``, and ``trends[i]`` without record i) and is taken out
    first. ``typed`` is a log price at ``at`` and the number of sales it counts for. Sums of
    products are made once and each record's own part taken from them; the level, free of sign,
    drops out by taking weighted means off.
    """
    knots, n = knots_of(grades), len(y)
    x = ramps(np.concatenate([grades, [at] * bool(typed)]), knots)
    middle = float(y.mean())
    rows = np.column_stack([
        np.ones(len(x)), x, np.concatenate([y, typed[:1]]) - middle,
        np.concatenate([years, [0.0] * bool(typed)]),
    ])  # fmt: skip
    weights = np.concatenate([np.ones(n), typed[1:]])
    sums = (rows * weights[:, None]).T @ rows
    # Of the whole first, then without each record.
    each = sums - np.concatenate([np.zeros((1, *sums.shape)), rows[:n, :, None] * rows[:n, None]])
    rates = np.concatenate([[trend], trends])
    k = x.shape[1]
    v, a = each[:, :, k + 1], each[:, :, k + 2]
    told = v - rates[:, None] * a
    means = each[:, 1 : k + 1, 0] / each[:, :1, 0]
    pull = np.sqrt(smooth) * np.diff(np.eye(k), axis=0)
    normal = each[:, 1 : k + 1, 1 : k + 1] - means[:, :, None] * each[:, None, 0, 1 : k + 1]
    lower = np.linalg.cholesky(normal + pull.T @ pull)
    wanted = told[:, 1 : k + 1] - means * told[:, :1]
    targets = np.linalg.solve(lower, wanted[:, :, None])[:, :, 0]
    slopes = np.array([scipy.optimize.nnls(lower[i].T, targets[i])[0] for i in range(n + 1)])
    levels = middle + told[:, 0] / each[:, 0, 0] - np.einsum("ij,ij->i", means, slopes)
    asked = ramps(np.array([at]), knots)[0]
    values = levels + slopes @ asked
    fitted = levels[1:] + np.einsum("ij,ij->i", x[:n], slopes[1:])
    missed = y - trends * years - fitted
    off = y - trend * years - levels[0] - x[:n] @ slopes[0]
    stretch = min(max(int(np.searchsorted(knots, at)) - 1, 0), len(knots) - 2)
    return Fit(
        float(values[0]), values[1:], missed, off,
        float(slopes[0][stretch]), slopes[1:, stretch], trend,
    )  # fmt: skip
