"""From a start to a trusted field: coarse level, fine level, neighbours, spline.

At each level subsets on a lattice are found again (:mod:`.subset`), starting where the field so
far says. Matches where print repeats itself (:mod:`.periodic`) may sit a dot off and are put
aside; the others, when they agree with their neighbours, make the field; those put aside are
let in where they agree with it to less than a third of their own pitch, from a picture's rim
inward.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.levels import Level
from quirewell.science.imaging.neighbours import agreeing, off_neighbours
from quirewell.science.imaging.periodic import doubtful, repeats
from quirewell.science.imaging.spline_field import FieldFit, SplineField, fit_field
from quirewell.science.imaging.subset_bands import Subsets, match_subsets

Real = NDArray[np.float64]
Mask = NDArray[np.bool_]

_LEAST_ZNCC = (0.3, 0.5)
_WORST_U_PX = 0.3
_PITCH_SHARE = 0.3
_LEAST_POINTS = 12
_PLAIN_SHARE = 0.05
_GROWN_SHARE = 0.01
_GROWTHS = 3
# Interpolation pulls a match towards whole pixels by about so much, whatever the noise.
_PULL_PX = 0.001
_REACH_PX = 4.0
_COARSE_STEP_PX = 20
_COARSE_RADIUS_PX = 15


@dataclass(frozen=True, slots=True)
class Lattice:
    """Whole-numbered points of a level in (rows, columns), centred on the picture."""

    xs: Real
    ys: Real

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return len(self.ys), len(self.xs)

    @property
    def points(self) -> Real:
        """The points (rows x columns, 2), row by row [px]."""
        x, y = np.meshgrid(self.xs, self.ys)
        return np.column_stack([x.ravel(), y.ravel()])


def lattice(shape: tuple[int, ...], step: int, rim: int) -> Lattice:
    """A lattice ``step`` px apart that keeps ``rim`` px from the picture's edges."""
    lines = []
    for length in (shape[1], shape[0]):
        middle = (length - 1) // 2
        before = max(middle - rim, 0) // step
        beyond = max(length - 1 - rim - middle, 0) // step
        lines.append(middle + step * np.arange(-before, beyond + 1, dtype=np.float64))
    return Lattice(lines[0], lines[1])


@dataclass(frozen=True, slots=True)
class Found:
    """What one level found: the lattice's subsets, in the pictures' own pixels.

    ``points``, ``at`` (n, 2) [px before, px after], ``u`` (n, 2) [px after]; ``good`` (n,)
    says which are trusted, ``covered`` which lie on the surface in both; ``contrast`` [grey] is
    the before subset's; ``off`` (n,) the distance from the neighbours' median [px after].
    """

    shape: tuple[int, int]
    points: Real
    at: Real
    u: Real
    zncc: Real
    good: Mask
    covered: Mask
    contrast: Real
    fit: FieldFit
    off: Real


@dataclass(frozen=True, slots=True)
class Settings:
    """``step`` and ``radius`` of the subsets [px of the level], ``order`` of their shape."""

    step: int
    radius: int
    order: int = 1
    most_knots: int = 26


COARSE = Settings(_COARSE_STEP_PX, _COARSE_RADIUS_PX, 1, 13)


def find_level(
    level: Level,
    start: SplineField,
    shape: tuple[int, ...],
    settings: Settings,
    vouched: Found | None = None,
) -> Found | None:
    """One level: None when fewer than twelve subsets can be trusted.

    ``shape``: the before picture's own shape; ``vouched``: the coarser level's answer.
    """
    grid = lattice(level.pictures.before.shape, settings.step, settings.radius // 2 + 2)
    points = grid.points
    subsets = _matched(level, points, start, settings)
    alike, pitch = repeats(level.pictures.before, points, settings.radius)
    good = _sound(subsets, settings.radius)
    doubt = _doubt(subsets, alike, good)
    fit = _voucher(level, subsets, good & ~doubt, grid.shape, start, shape, settings, vouched)
    if fit is None:
        return None
    subsets = _again(level, subsets, good, fit.field, start, settings)
    good = _sound(subsets, settings.radius)
    doubt = _doubt(subsets, alike, good)
    rest = _let_in(level, subsets, good, doubt, pitch, fit.field, shape, settings)
    good &= ~doubt | (np.hypot(*rest.T) < _PITCH_SHARE * pitch)
    good = agreeing(
        rest.reshape(*grid.shape, 2), good.reshape(grid.shape), _u1(subsets).reshape(grid.shape)
    ).ravel()
    if good.sum() < _LEAST_POINTS:
        return None
    fit = _fit(level, subsets, good, shape, settings.most_knots)
    subsets = _widen(subsets, good, fit.widened)
    rest = _rest(level, subsets, fit.field)
    off, _ = off_neighbours(rest.reshape(*grid.shape, 2), good.reshape(grid.shape))
    return _found(level, subsets, grid.shape, good, fit, off.ravel())


def _doubt(subsets: Subsets, alike: Real, good: Mask) -> Mask:
    """Matches that others must vouch for: all where print repeats itself, for a whole picture
    may sit a dot off and agree with itself; on a page that is nearly all halftone only those
    whose correlation leaves it open."""
    repeating = np.asarray(alike > 0)
    if (good & ~repeating).sum() >= max(_LEAST_POINTS, _PLAIN_SHARE * good.sum()):
        return repeating
    return doubtful(subsets.zncc, alike)


def _let_in(
    level: Level, subsets: Subsets, good: Mask, doubt: Mask, pitch: Real, field: SplineField,
    shape: tuple[int, ...], settings: Settings,
) -> Real:  # fmt: skip
    """What the field leaves of each match, the field grown into large pictures from their rims."""
    rest = _rest(level, subsets, field)
    inside = good & (~doubt | (np.hypot(*rest.T) < _PITCH_SHARE * pitch))
    for _ in range(_GROWTHS):
        if (good & ~inside).sum() < _PLAIN_SHARE * good.sum():
            break
        field = _fit(level, subsets, inside, shape, min(13, settings.most_knots)).field
        rest = _rest(level, subsets, field)
        more = good & (~doubt | (np.hypot(*rest.T) < _PITCH_SHARE * pitch))
        grown = bool((more & ~inside).sum() > _GROWN_SHARE * good.sum())
        inside = more
        if not grown:
            break
    return rest


def _found(
    level: Level, subsets: Subsets, shape: tuple[int, int], good: Mask, fit: FieldFit, off: Real
) -> Found:
    return Found(
        shape, level.up_before(subsets.points), level.up_after(subsets.at),
        subsets.u * level.scale2, subsets.zncc, good, subsets.covered,
        subsets.contrast, fit, off * level.per_px,
    )  # fmt: skip


def _matched(level: Level, points: Real, start: SplineField, settings: Settings) -> Subsets:
    return match_subsets(
        level.pictures, points, _places(level, points, start, settings.radius), settings.radius,
        order=settings.order, reach_px=_REACH_PX,
    )  # fmt: skip


def _places(level: Level, points: Real, field: SplineField, radius: int) -> Real:
    """Starting polynomials of the level's subsets from a field in own pixels."""
    places = np.zeros((len(points), 2, 6))
    places[:, :, 0] = level.down_after(field.at(level.up_before(points)))
    for axis in (0, 1):
        step = np.zeros(2)
        step[axis] = radius
        ahead, behind = (field.at(level.up_before(points + sign * step)) for sign in (1, -1))
        places[:, :, 1 + axis] = 0.5 * (ahead - behind) / level.scale2
    return places


def _u1(subsets: Subsets) -> Real:
    """One standard uncertainty a point [px of the level]: never below the noise's bound."""
    both = np.sqrt(0.5 * (subsets.covariance[:, 0] + subsets.covariance[:, 1]))
    return np.hypot(np.maximum(both, subsets.bound), _PULL_PX)


def _sound(subsets: Subsets, radius: int) -> Mask:
    # Chance alone correlates the less, the more grains of texture a subset holds.
    least = float(np.clip(17.0 / (2 * radius + 1), *_LEAST_ZNCC))
    with np.errstate(invalid="ignore"):
        worst = np.sqrt(np.maximum(subsets.covariance[:, 0], subsets.covariance[:, 1]))
        return np.asarray(
            subsets.found & (subsets.zncc > least)
            & (np.maximum(worst, subsets.bound) < _WORST_U_PX)
        )  # fmt: skip


def _rest(level: Level, subsets: Subsets, field: SplineField) -> Real:
    """What a field leaves of each match [px of the level]; huge where nothing was found."""
    rest = subsets.at - level.down_after(field.at(level.up_before(subsets.points)))
    return np.where(subsets.found[:, None], rest, 1e3)


def _voucher(
    level: Level, subsets: Subsets, plain: Mask, grid: tuple[int, int], start: SplineField,
    shape: tuple[int, ...], settings: Settings, vouched: Found | None,
) -> FieldFit | None:  # fmt: skip
    """The field by those that cannot be a dot wrong, and by the coarser level."""
    rest = _rest(level, subsets, start).reshape(*grid, 2)
    plain = agreeing(rest, plain.reshape(grid), _u1(subsets).reshape(grid), slack_px=0.5).ravel()
    if vouched is None:
        if plain.sum() < _LEAST_POINTS:
            return None
        return _fit(level, subsets, plain, shape, settings.most_knots)
    near = vouched.good
    if plain.sum() + near.sum() < _LEAST_POINTS:
        return None
    points = np.vstack([level.up_before(subsets.points[plain]), vouched.points[near]])
    at = np.vstack([level.up_after(subsets.at[plain]), vouched.at[near]])
    coarse_u = np.hypot(*vouched.u[near].T) + 0.15 * level.per_px * 4
    u = np.concatenate([_u1(subsets)[plain] * level.per_px, coarse_u])
    return fit_field(points, at, u, shape, most=min(13, settings.most_knots))


def _widen(subsets: Subsets, good: Mask, factors: Real) -> Subsets:
    """The trusted subsets with the uncertainty that the field showed them to have."""
    variance = np.maximum(subsets.covariance[:, :2], subsets.bound[:, None] ** 2) + _PULL_PX**2
    covariance = np.column_stack([variance, subsets.covariance[:, 2]])
    covariance[good] *= factors[:, None] ** 2
    return replace(subsets, covariance=covariance)


def _fit(level: Level, subsets: Subsets, good: Mask, shape: tuple[int, ...], most: int) -> FieldFit:
    return fit_field(
        level.up_before(subsets.points[good]), level.up_after(subsets.at[good]),
        _u1(subsets)[good] * level.per_px, shape, most=most,
    )  # fmt: skip


def _again(
    level: Level, subsets: Subsets, good: Mask, field: SplineField, start: SplineField,
    settings: Settings,
) -> Subsets:  # fmt: skip
    """Try once more, from the field, the subsets that started elsewhere and did not settle well."""
    own = level.up_before(subsets.points)
    moved = np.hypot(*((field.at(own) - start.at(own)) / level.scale2).T)
    far = np.hypot(*_rest(level, subsets, field).T) > 1.0
    retry = subsets.covered & (~good | far) & (moved > 0.3)
    if not retry.any():
        return subsets
    fresh = _matched(level, subsets.points[retry], field, settings)
    parts = {}
    for name in Subsets.__slots__:
        values = np.array(getattr(subsets, name))
        values[retry] = getattr(fresh, name)
        parts[name] = values
    return Subsets(**parts)
