"""Edges that are not straight: a smooth curve of low order beside the fitted line.

A page that is cut crooked, swollen, or lies curved under the camera has edges that bow. What
lies between such an edge and its straight line is not missing paper. The curve has at most
four orders over the whole edge, so that it cannot follow a chip or a lost corner.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray

Array = NDArray[np.float64]
MOST_ORDER = 4
# An edge is called straight when its curve stays this close to the line (assumed: a guillotine
# and a lens of a flatbed do better, a hand-cut edge does not).
STRAIGHT_MM = 0.15
_BLOCK_MM = 2.0
_GAIN = 0.75
GENTLE = 0.04
# A curve counts only where paper carries it: over a lost corner it would run away.
_CARRIED = 1.25
_MOST_BOW_MM = 8.0


@dataclass(frozen=True, slots=True)
class Course:
    """Where an edge runs: medians over 2 mm of its departure from the line [px across, positive
    to the right and down], at places ``along`` it [px]."""

    along: tuple[float, ...]
    departure: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Curve:
    """Departure of an edge from its line [px across, positive to the right and down].

    ``start``, ``stop`` are where along the edge it was seen [px]; beyond them it stays level.
    ``bow_px`` is the range of the departure.
    """

    coefficients: tuple[float, ...]
    start: float
    stop: float
    bow_px: float

    def at(self, along: NDArray[np.floating] | float) -> Array:
        """Departure [px] at places along the edge."""
        place = np.clip(np.asarray(along, dtype=np.float64), self.start, self.stop)
        scaled = (2.0 * place - self.start - self.stop) / (self.stop - self.start)
        return np.asarray(legendre.legval(scaled, self.coefficients))


def course_of(along: Array, miss: Array, good: NDArray[np.bool_], px_mm: float) -> Course | None:
    """The course of an edge from its crossings [px]; None when there are hardly any."""
    x, y = _blocks(along, miss, good, max(_BLOCK_MM / px_mm, 6.0))
    return Course(tuple(x.tolist()), tuple(y.tolist())) if x.size >= 5 else None


def crooked_depth(course: Course, inward: float, start: float, stop: float) -> Array:
    """How deep a crooked edge may run, every pixel from ``start`` to ``stop`` [px inward].

    An edge that only runs askew leaves its line gently (at most 1 in 25, assumed); the steeper
    rim of a chip does not count. Zero where the edge was not seen.
    """
    x = np.arange(start, stop)
    places, depth = np.array(course.along), inward * np.array(course.departure)
    low = np.minimum.reduce(
        [d + GENTLE * np.abs(places - p) for p, d in zip(places, depth, strict=True)]
    )
    seen = np.interp(x, places, np.minimum(low, depth))
    return np.asarray(np.maximum(seen, 0.0))


def fit_curve(
    along: Array, miss: Array, good: NDArray[np.bool_], on_line: NDArray[np.bool_], px_mm: float
) -> Curve | None:
    """The curve of an edge; None when it is straight as far as can be told.

    Parameters
    ----------
    along, miss
        place along the edge and departure from its line [px]
    good, on_line
        which crossings can be used, and which of them lie on the straight line
    px_mm
        size of a pixel [mm]
    """
    if on_line.sum() < 40:
        return None
    start, stop = float(along[good].min()), float(along[good].max())
    x, y = _blocks(along, miss, good, max(_BLOCK_MM / px_mm, 6.0))
    if x.size < 4 * MOST_ORDER:
        return None
    scaled = (2.0 * x - start - stop) / (stop - start)
    straight = _spread(y)
    for order in range(2, MOST_ORDER + 1):
        found, keep = _robust(scaled, y, order, px_mm)
        left = _spread((y - legendre.legval(scaled, found))[keep])
        curve = Curve(tuple(float(c) for c in found), start, stop, 0.0)
        bow = np.ptp(curve.at(np.linspace(start, stop, 200)))
        carried = np.ptp(curve.at(x[keep])) if keep.any() else 0.0
        if bow > _CARRIED * carried or bow * px_mm > _MOST_BOW_MM:
            continue
        if keep.mean() >= 0.6 and bow * px_mm > STRAIGHT_MM and left < _GAIN * straight:
            better = _better(scaled, y, order, left, px_mm)
            if not better:
                return Curve(curve.coefficients, start, stop, float(bow))
    return None


def _better(scaled: Array, y: Array, order: int, left: float, px_mm: float) -> bool:
    """Whether one more order would still take away a good part of what is left."""
    if order >= MOST_ORDER:
        return False
    found, keep = _robust(scaled, y, order + 1, px_mm)
    return _spread((y - legendre.legval(scaled, found))[keep]) < _GAIN * left


def _blocks(
    along: Array, miss: Array, good: NDArray[np.bool_], block: float
) -> tuple[Array, Array]:
    """Medians of the departure over short stretches."""
    index = ((along - along[0]) / block).astype(int)
    places, values = [], []
    for number in np.unique(index[good]):
        here = good & (index == number)
        if here.sum() >= 3:
            places.append(float(along[here].mean()))
            values.append(float(np.median(miss[here])))
    return np.array(places), np.array(values)


def _robust(scaled: Array, y: Array, order: int, px_mm: float) -> tuple[Array, NDArray[np.bool_]]:
    """A curve that most blocks agree with: weights fall to nothing at six robust deviations."""
    keep = np.ones(y.size, bool)
    weight = np.ones(y.size)
    found = np.zeros(order + 1)
    for _ in range(20):
        found = np.asarray(legendre.legfit(scaled, y, order, w=np.sqrt(weight)))
        miss = y - legendre.legval(scaled, found)
        spread = max(_spread(miss), 0.02 / px_mm)
        weight = np.maximum(1.0 - (miss / (5.0 * spread)) ** 2, 0.0) ** 2 + 1e-9
        keep = np.abs(miss) < 3.5 * spread
    return found, keep


def _spread(values: Array) -> float:
    return 1.4826 * float(np.median(np.abs(values - np.median(values)))) if values.size else 0.0
