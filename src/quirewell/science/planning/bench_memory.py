"""What a bench's own history bears out: bands that ask for no model.

A median's band by order statistics: the r-th smallest and r-th largest of n hold the median unless
fewer than r of n fall to one side of it, which has the chance P(B <= r - 1) with B binomial(n, 1/2)
on each side. A share's band after ``clopper1934``. Both hold at least as often as they say.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy

LEVEL = 0.90
# The least n whose smallest and largest hold the median with 90 %: 0.5^n <= 0.05. With fewer than 5
# wraps and no mishap, one wrap in two would not be excluded either (1 - 0.05^(1/4) is 0.53).
FEWEST = 5


@dataclass(frozen=True, slots=True)
class Band:
    """A middle value and the ends of its band; ``n`` values went in."""

    middle: float
    low: float
    high: float
    n: int


def median_band(values: Sequence[float], level: float = LEVEL) -> Band | None:
    """The median of values and a band of ``level`` for it; None where they are too few.

    >>> median_band([3, 1, 2, 5, 4])
    Band(middle=3.0, low=1.0, high=5.0, n=5)
    >>> median_band([1, 2, 3, 4]) is None
    True
    """
    ordered = np.sort(np.asarray(values, dtype=np.float64))
    n, tail = len(ordered), (1 - level) / 2
    ranks = np.arange(1, n // 2 + 1)
    held = ranks[scipy.special.bdtr(ranks - 1, n, 0.5) <= tail]
    if not len(held):
        return None
    r = int(held[-1])
    return Band(float(np.median(ordered)), float(ordered[r - 1]), float(ordered[n - r]), n)


def holds_the_next(n: int) -> float:
    """Chance that the next value falls between the least and greatest of n, in no order of time.

    >>> holds_the_next(9)
    0.8
    """
    return (n - 1) / (n + 1)


def share_band(hits: int, n: int, level: float = LEVEL) -> Band:
    """A share of n and its exact band (``clopper1934``), with ``level`` or more.

    Raises:
        ValueError: more hits than tries, or no try.

    >>> band = share_band(0, 12)
    >>> band.low, round(band.high, 4)
    (0.0, 0.2209)
    """
    if not 0 <= hits <= n or n < 1:
        raise ValueError(f"a share is of 1 or more, with 0 to all of them, got {hits} of {n}")
    tail = (1 - level) / 2
    low = 0.0 if hits == 0 else float(scipy.special.betaincinv(hits, n - hits + 1, tail))
    high = 1.0 if hits == n else float(scipy.special.betaincinv(hits + 1, n - hits, 1 - tail))
    return Band(hits / n, low, high, n)
