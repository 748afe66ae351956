"""A smooth displacement field from scattered matches: tensor cubic B-splines on few knots.

Least squares over the matched points, weighted by their uncertainty and made robust (Tukey's
biweight), with a little stiffness so that places without a match stay calm. The number of
knots is the smallest whose four-fold cross-validation lies within 10 % of the best, each fold
summed up by the median of what was left out (one bad fold must not choose). The stiffness
acts on third differences, so that neither a stretch nor a bow is held back. After
``eilers1996`` (penalised B-splines).

What a match's own residual says of its uncertainty is too little where the surface itself
changed. So the uncertainties are compared, in groups of like size, with what the field leaves,
and widened where they were too small; then the field is fitted once more.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from quirewell.science.compiled import compiled

Real = NDArray[np.float64]

# Intervals along the longer side that are tried; the shorter side gets its share.
_TRIED = (1, 2, 3, 5, 7, 10, 13, 16, 19, 22, 26)
_NEAR_BEST = 1.10
_FOLDS = 4
_STIFFNESS = 1e-5
_FLOOR = 4.0
_GROUPS = 8
_TUKEY = 4.685
_ROUNDS = 4


@compiled
def _weights(at: float, count: int, out: Real) -> int:
    """Four cubic B-spline weights at ``at`` in 0..count; the first coefficient's number."""
    first = min(max(int(np.floor(at)), 0), count - 1)
    f = at - first
    g = 1.0 - f
    out[0] = g * g * g / 6.0
    out[1] = (4.0 - 6.0 * f * f + 3.0 * f * f * f) / 6.0
    out[2] = (4.0 - 6.0 * g * g + 3.0 * g * g * g) / 6.0
    out[3] = f * f * f / 6.0
    return first


@compiled
def _normal(
    x: Real, y: Real, weight: Real, values: Real, across: int, down: int, gram: Real, right: Real
) -> None:
    """Add weighted normal equations of points (x, y in knot intervals) to gram and right.

    ``gram[row, back]`` couples ``row`` with ``row - back``: the lower band of the matrix.
    """
    u, v = np.zeros(4), np.zeros(4)
    wide = across + 3
    for n in range(x.size):
        if weight[n] <= 0.0:
            continue
        i, j = _weights(x[n], across, u), _weights(y[n], down, v)
        for a in range(4):
            for b in range(4):
                row = (j + a) * wide + i + b
                here = weight[n] * v[a] * u[b]
                for k in range(values.shape[1]):
                    right[row, k] += here * values[n, k]
                for c in range(a + 1):
                    for d in range(4):
                        back = row - (j + c) * wide - i - d
                        if back >= 0:
                            gram[row, back] += here * v[c] * u[d]


@compiled
def _band_factor(band: Real) -> bool:
    """Cholesky factor of a banded matrix, in place; false where it is not positive definite."""
    count, wide = band.shape
    for i in range(count):
        first = max(0, i - wide + 1)
        for j in range(first, i + 1):
            total = band[i, i - j]
            for k in range(max(first, j - wide + 1), j):
                total -= band[i, i - k] * band[j, j - k]
            if i == j:
                if total <= 0.0:
                    return False
                band[i, 0] = np.sqrt(total)
            else:
                band[i, i - j] = total / band[j, 0]
    return True


@compiled
def _band_solve(band: Real, right: Real) -> None:
    """Solve in place, all columns of ``right``, with a banded Cholesky factor."""
    count, wide = band.shape
    for n in range(right.shape[1]):
        for i in range(count):
            total = right[i, n]
            for k in range(max(0, i - wide + 1), i):
                total -= band[i, i - k] * right[k, n]
            right[i, n] = total / band[i, 0]
        for i in range(count - 1, -1, -1):
            total = right[i, n]
            for k in range(i + 1, min(count, i + wide)):
                total -= band[k, k - i] * right[k, n]
            right[i, n] = total / band[i, 0]


@compiled
def _value(x: Real, y: Real, across: int, down: int, coefficients: Real, out: Real) -> None:
    """Values (n, k) of coefficients ((down + 3) (across + 3), k) at the points."""
    u, v = np.zeros(4), np.zeros(4)
    wide = across + 3
    for n in range(x.size):
        i, j = _weights(x[n], across, u), _weights(y[n], down, v)
        for k in range(coefficients.shape[1]):
            total = 0.0
            for a in range(4):
                for b in range(4):
                    total += v[a] * u[b] * coefficients[(j + a) * wide + i + b, k]
            out[n, k] = total


@dataclass(frozen=True, slots=True)
class Knots:
    """A lattice of ``across`` x ``down`` intervals over (0, 0) to (width, height) [px]."""

    across: int
    down: int
    width: float
    height: float

    @property
    def unknowns(self) -> int:
        """Number of coefficients of one component."""
        return (self.across + 3) * (self.down + 3)

    @property
    def band(self) -> int:
        """Diagonals of the normal equations, from the middle one down."""
        return 3 * (self.across + 3) + 4

    def into(self, points: Real) -> tuple[Real, Real]:
        """Points [px] in units of intervals, held inside the lattice."""
        x = np.clip(points[:, 0] / self.width, 0.0, 1.0) * self.across
        y = np.clip(points[:, 1] / self.height, 0.0, 1.0) * self.down
        return np.ascontiguousarray(x), np.ascontiguousarray(y)


@dataclass(frozen=True, slots=True)
class SplineField:
    """A place in the after picture for every place in the before picture.

    ``affine`` (2, 3) [px] carries the most; ``bend`` (down + 3, across + 3, 2) are spline
    coefficients of the rest [px]; beyond the lattice the bend keeps its rim's value.
    """

    affine: Real
    knots: Knots
    bend: Real

    def bend_at(self, points: Real) -> Real:
        """The bend (n, 2) [px] at points (n, 2) [px before]."""
        out = np.zeros((len(points), 2))
        x, y = self.knots.into(np.asarray(points, dtype=np.float64))
        flat = np.ascontiguousarray(self.bend.reshape(-1, 2))
        _value(x, y, self.knots.across, self.knots.down, flat, out)
        return out

    def at(self, points: Real) -> Real:
        """Where points (n, 2) [px before] lie in the after picture (n, 2) [px]."""
        out: Real = points @ self.affine[:, :2].T + self.affine[:, 2] + self.bend_at(points)
        return out

    def bend_on(self, xs: Real, ys: Real, dx: int = 0, dy: int = 0) -> tuple[Real, Real]:
        """The bend, or a derivative of it, on the lattice ``ys`` x ``xs`` [px before]."""
        knots = self.knots
        across = _rows(xs / knots.width * knots.across, knots.across, dx)
        down = _rows(ys / knots.height * knots.down, knots.down, dy)
        scale = (knots.across / knots.width) ** dx * (knots.down / knots.height) ** dy
        planes = [scale * (down @ self.bend[:, :, k] @ across.T) for k in (0, 1)]
        return planes[0], planes[1]

    def on(self, xs: Real, ys: Real) -> tuple[Real, Real]:
        """x and y in the after picture [px] of the lattice ``ys`` x ``xs`` [px before]."""
        parts = self.bend_on(xs, ys)
        planes = [
            row[0] * xs[None, :] + row[1] * ys[:, None] + row[2] + part
            for row, part in zip(self.affine, parts, strict=True)
        ]
        return planes[0], planes[1]

    def slopes_on(self, xs: Real, ys: Real) -> Real:
        """Matrices (rows, columns, 2, 2) that carry a small step before into one after."""
        out = np.empty((len(ys), len(xs), 2, 2))
        for column, (dx, dy) in enumerate(((1, 0), (0, 1))):
            for row, part in enumerate(self.bend_on(xs, ys, dx, dy)):
                out[:, :, row, column] = self.affine[row, column] + part
        return out


def _rows(at: Real, count: int, derivative: int) -> Real:
    """Spline weights (n, count + 3) of positions in intervals, or of their derivative."""
    outside = (at < 0) | (at > count)
    at = np.clip(at, 0, count)
    first = np.minimum(np.floor(at).astype(int), count - 1)
    f = at - first
    g = 1 - f
    if derivative == 0:
        parts = [g**3 / 6, (4 - 6 * f**2 + 3 * f**3) / 6, (4 - 6 * g**2 + 3 * g**3) / 6, f**3 / 6]
    else:
        parts = [-(g**2) / 2, (3 * f**2 - 4 * f) / 2, (4 * g - 3 * g**2) / 2, f**2 / 2]
        parts = [np.where(outside, 0.0, part) for part in parts]
    out = np.zeros((len(at), count + 3))
    for k, part in enumerate(parts):
        out[np.arange(len(at)), first + k] = part
    return out


@dataclass(frozen=True, slots=True)
class FieldFit:
    """A fitted field; ``weights`` (n,) are what each point counted for at last (0 = dropped),
    ``residuals`` (n, 2) [px] point minus field, ``factor`` the Cholesky factor of the normal
    equations, ``score_px`` the cross-validated median error of a point, ``widened`` (n,) the
    factor by which each point's uncertainty was too small, 1 or more."""

    field: SplineField
    weights: Real
    residuals: Real
    factor: Real
    score_px: float
    widened: Real


def influence(fit: FieldFit, points: Real, over: Real, design: Real, share: Real) -> Real:
    """How the fit of ``design`` to the field over places ``over`` depends on each match.

    ``design`` (m, k): columns fitted by least squares to the field at ``over`` (m, 2), each
    place weighted by ``share`` (m,).
    Answer (n, k): change of each coefficient for a unit move of each of ``points`` (n, 2).
    """
    knots = fit.field.knots
    weighted = design * share[:, None]
    project = np.linalg.pinv(design.T @ weighted) @ weighted.T
    right = np.zeros((knots.unknowns, design.shape[1]))
    x, y = knots.into(over)
    spare = np.zeros((knots.unknowns, knots.band))
    _normal(
        x, y, np.ones(len(over)), np.ascontiguousarray(project.T), knots.across, knots.down,
        spare, right,
    )  # fmt: skip
    out = np.zeros((len(points), design.shape[1]))
    _value(*knots.into(points), knots.across, knots.down, _solved(fit.factor, right), out)
    return out * fit.weights[:, None]


def fit_field(
    points: Real,
    targets: Real,
    u_px: Real,
    shape: tuple[int, ...],
    *,
    most: int = 26,
    least_points_each: float = 2.0,
) -> FieldFit:
    """Fit ``targets`` (n, 2) [px after] over ``points`` (n, 2) [px before] in a picture ``shape``.

    ``u_px`` (n,): standard uncertainty of each match [px]. ``most``: intervals along the
    longer side, at most; ``least_points_each``: points each coefficient must have on average.

    Raises:
        ValueError: with fewer than 12 points.
    """
    if len(points) < 12:
        raise ValueError(f"a field needs 12 matched points or more, got {len(points)}")
    prior = _prior(u_px)
    affine = _affine(points, targets, prior)
    rest = targets - (points @ affine[:, :2].T + affine[:, 2])
    knots, score = _choose_knots(shape, points, rest, prior, most, least_points_each)
    field, _, _ = _fitted(knots, affine, points, rest, prior)
    widened = _widened(targets - field.at(points), u_px)
    prior = _prior(widened * u_px)
    field, weights, factor = _fitted(knots, affine, points, rest, prior)
    return FieldFit(field, weights, targets - field.at(points), factor, score, widened)


def _prior(u_px: Real) -> Real:
    """Weights of mean 1; the sharpest matches count alike, for they all miss the field."""
    weight = 1.0 / (u_px**2 + (_FLOOR * float(np.median(u_px))) ** 2)
    out: Real = weight / float(np.mean(weight))
    return out


def _fitted(
    knots: Knots, affine: Real, points: Real, rest: Real, prior: Real
) -> tuple[SplineField, Real, Real]:
    bend, weights, factor = _robust(knots, points, rest, prior)
    shaped = bend.reshape(knots.down + 3, knots.across + 3, 2)
    return SplineField(affine, knots, shaped), weights, factor


def _choose_knots(
    shape: tuple[int, ...], points: Real, rest: Real, prior: Real, most: int, each: float
) -> tuple[Knots, float]:
    folds = _folds(len(points))
    scores: dict[Knots, float] = {}
    for knots in _candidates(shape, len(points), most, each):
        scores[knots] = _score(knots, points, rest, prior, folds)
        if scores[knots] > 1.5 * min(scores.values()):
            break
    best = min(scores.values())
    return next(pair for pair in scores.items() if pair[1] <= _NEAR_BEST * best)


def _folds(count: int) -> NDArray[np.int_]:
    return np.asarray(np.random.default_rng(4).permutation(count) % _FOLDS)


def _widened(residuals: Real, u_px: Real) -> Real:
    """How many times larger the residuals are than stated, in groups of like uncertainty."""
    rank = np.argsort(np.argsort(u_px))
    group = rank * _GROUPS // len(u_px)
    # The median of a squared two-dimensional normal residual is 2 ln 2 times its variance.
    ratio = (residuals**2).sum(axis=1) / np.maximum(u_px**2, 1e-12) / (2 * np.log(2))
    factors = np.array([np.sqrt(np.median(ratio[group == g])) for g in range(_GROUPS)])
    middles = np.array([np.median(np.log(u_px[group == g] + 1e-9)) for g in range(_GROUPS)])
    smooth = np.interp(np.log(u_px + 1e-9), middles, np.log(np.maximum(factors, 1.0)))
    return np.asarray(np.exp(smooth))


def _candidates(shape: tuple[int, ...], count: int, most: int, each: float) -> list[Knots]:
    height, width = float(shape[0] - 1), float(shape[1] - 1)
    out: list[Knots] = []
    for longer in _TRIED:
        shorter = max(1, round(longer * min(height, width) / max(height, width)))
        across, down = (shorter, longer) if height >= width else (longer, shorter)
        knots = Knots(across, down, width, height)
        if not out or (longer <= most and knots.unknowns * each <= count):
            out.append(knots)
    return out


def _affine(points: Real, targets: Real, weight: Real) -> Real:
    """Robust affine (2, 3)."""
    centre = points.mean(axis=0)
    design = np.column_stack([points - centre, np.ones(len(points))])
    weight = weight.copy()
    prior = weight
    for _ in range(8):
        root = np.sqrt(weight)[:, None]
        solution = np.linalg.lstsq(design * root, targets * root, rcond=None)[0]
        weight = prior * _tukey(targets - design @ solution)
    linear = solution[:2].T
    return np.column_stack([linear, solution[2] - linear @ centre])


def _tukey(residuals: Real) -> Real:
    size = np.hypot(residuals[:, 0], residuals[:, 1])
    scale = max(float(np.median(size)) / 1.1774, 1e-4)
    out: Real = np.clip(1 - (size / (_TUKEY * scale)) ** 2, 0, 1) ** 2
    return out


def _equations(knots: Knots, points: Real, rest: Real, weight: Real) -> tuple[Real, Real]:
    gram = np.zeros((knots.unknowns, knots.band))
    right = np.zeros((knots.unknowns, 2))
    x, y = knots.into(points)
    _normal(x, y, weight, np.ascontiguousarray(rest), knots.across, knots.down, gram, right)
    return gram, right


@lru_cache(maxsize=64)
def _unit_stiffness(knots: Knots) -> Real:
    """Third differences of the coefficients along both ways, and a breath of their size."""
    wide, tall = knots.across + 3, knots.down + 3
    along = np.diff(np.eye(wide), n=3, axis=0)
    down = np.diff(np.eye(tall), n=3, axis=0)
    thrice = np.kron(np.eye(tall), along.T @ along) + np.kron(down.T @ down, np.eye(wide))
    full = (_STIFFNESS * thrice + 1e-9 * np.eye(knots.unknowns)) / knots.unknowns
    out = np.zeros((knots.unknowns, knots.band))
    for back in range(knots.band):
        out[back:, back] = np.diagonal(full, -back)
    return out


def _factor(gram: Real, knots: Knots, weight: float) -> Real:
    band = gram + weight * _unit_stiffness(knots)
    if not _band_factor(band):
        raise ValueError("the field's equations have no answer: too few matches for its knots")
    return band


def _solved(factor: Real, right: Real) -> Real:
    out = np.ascontiguousarray(right, dtype=np.float64).copy()
    _band_solve(factor, out)
    return out


def _robust(knots: Knots, points: Real, rest: Real, prior: Real) -> tuple[Real, Real, Real]:
    """Coefficients, final weights and the factor of the last equations."""
    weight = prior
    x, y = knots.into(points)
    for _ in range(_ROUNDS):
        gram, right = _equations(knots, points, rest, weight)
        factor = _factor(gram, knots, float(weight.sum()))
        bend = _solved(factor, right)
        fitted = np.zeros_like(rest)
        _value(x, y, knots.across, knots.down, bend, fitted)
        used = weight
        weight = prior * _tukey(rest - fitted)
    return bend, used, factor


def _score(knots: Knots, points: Real, rest: Real, prior: Real, folds: NDArray[np.int_]) -> float:
    """Median length of what a fold misses when it was left out; median over the folds."""
    _, weight, _ = _robust(knots, points, rest, prior)
    parts = []
    for fold in range(_FOLDS):
        mine = folds == fold
        parts.append(_equations(knots, points[mine], rest[mine], weight[mine]))
    gram, right = sum(part[0] for part in parts), sum(part[1] for part in parts)
    missed = []
    for fold in range(_FOLDS):
        mine = folds == fold
        factor = _factor(gram - parts[fold][0], knots, float(weight[~mine].sum()))
        bend = _solved(factor, right - parts[fold][1])
        fitted = np.zeros((int(mine.sum()), 2))
        _value(*knots.into(points[mine]), knots.across, knots.down, bend, fitted)
        missed.append(float(np.median(np.hypot(*(rest[mine] - fitted).T))))
    return float(np.median(missed))
