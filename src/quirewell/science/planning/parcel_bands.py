"""How sure an expected gain is: the spread of gains over the grades that may come back.

Items are taken to come back independently of each other. Where one's own eye errs the same way for
all of them, the band of a whole plan is wider than said here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
import scipy
from numpy.typing import NDArray

from quirewell.science.planning.parcels import Points

_CELLS = 8000


@dataclass(frozen=True, slots=True)
class Spread:
    """Mean, standard uncertainty, 5 % and 95 % points [cents]; the chance of a loss; the mean of
    the worst fifth [cents]."""

    mean: float
    u: float
    low90: float
    high90: float
    loss: float
    worst_fifth: float


def spread(parts: Sequence[Points], fixed: int = 0) -> Spread:
    """Spread of the sum of independent gains, less a fixed cost [cents].

    Gains are laid on a grid whose cells are a cent, or 1/8000 of the range where that is more; a
    gain between two cells is shared between them, so that the mean is kept."""
    mean = float(sum((p * v for points in parts for p, v in points), start=-fixed))
    variance = sum(_variance(points) for points in parts)
    low = [min(float(v) for _, v in points) for points in parts]
    width = sum(max(float(v) for _, v in points) for points in parts) - sum(low)
    step = max(1.0, width / _CELLS)
    chances: NDArray[np.float64] = np.ones(1)
    for points, least in zip(parts, low, strict=True):
        each = np.zeros(int((max(float(v) for _, v in points) - least) / step) + 2)
        for p, value in points:
            at = (float(value) - least) / step
            cell = int(at)
            each[cell] += float(p) * (1 - (at - cell))
            each[cell + 1] += float(p) * (at - cell)
        chances = np.convolve(chances, each)
    values = sum(low) - fixed + step * np.arange(chances.size)
    summed = np.cumsum(chances)
    summed /= summed[-1]
    taken = np.clip(np.minimum(summed, 0.2) - np.concatenate(([0.0], summed[:-1])), 0.0, None)
    return Spread(
        mean,
        sqrt(variance),
        float(values[np.searchsorted(summed, 0.05 - 1e-12)]),
        float(values[np.searchsorted(summed, 0.95 - 1e-12)]),
        float(chances[values < -0.5].sum()),
        float((taken * values).sum() / 0.2),
    )


def _variance(points: Points) -> float:
    mean = sum(p * v for p, v in points)
    return float(sum(p * (v - mean) ** 2 for p, v in points))


def mean_factor(spread_log: float) -> float:
    """Mean over median of a price whose logarithm is normal with this standard deviation: the
    typical price is less than what is got on average.

    >>> round(mean_factor(0.30), 3)
    1.046
    """
    return float(np.exp(spread_log**2 / 2))


def strata(spread_log: float, count: int = 9) -> list[float]:
    """Means of ``count`` equally likely parts of such a price, as multiples of its median; their
    own mean is :func:`mean_factor`."""
    edges = scipy.special.ndtri(np.arange(count + 1) / count)
    inside = np.diff(scipy.special.ndtr(edges - spread_log))
    return [float(one) for one in mean_factor(spread_log) * inside * count]
