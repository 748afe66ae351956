"""One-way analysis of variance, and the scatter from leaf to leaf split from that of readings."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
import scipy

from quirewell.science.evidence.decimals import centred, finite


@dataclass(frozen=True, slots=True)
class OneWay:
    """Analysis of variance of groups (leaves) with readings each.

    Mean squares stand in the readings' unit squared; ``f`` [-] and its p [0..1]; ``each`` is the
    number of readings a group that counts (their mean where groups are alike in size).
    """

    f: float
    p: float
    between: float
    within: float
    dof_between: int
    dof_within: int
    each: float

    @property
    def s_reading(self) -> float:
        """Scatter of readings of one leaf (unit of the readings)."""
        return math.sqrt(self.within)

    @property
    def s_leaf(self) -> float:
        """Scatter from leaf to leaf beyond that of readings (unit of the readings).

        (MS between - MS within) / n0, where n0 is ``each``; 0 where that is negative.
        """
        return math.sqrt(max(self.between - self.within, 0.0) / self.each)

    @property
    def r_squared(self) -> float:
        """Share [0..1] of the sum of squares that lies between the groups."""
        between = self.between * self.dof_between
        return between / (between + self.within * self.dof_within)


def one_way(groups: Sequence[Sequence[Decimal]] | Sequence[Sequence[float]]) -> OneWay:
    """One-way analysis of variance, centred in decimal before anything is squared.

    Raises:
        ValueError: fewer than two groups, an empty one, no group read twice, or no scatter at all.
    """
    if len(groups) < 2 or any(len(group) == 0 for group in groups):
        raise ValueError(f"two groups or more, none empty, are needed; got {len(groups)}")
    sizes = np.array([len(group) for group in groups])
    total, count = int(sizes.sum()), len(groups)
    if total == count:
        raise ValueError("every leaf was read once; read some twice to tell leaf from reading")
    _, flat = centred(finite([one for group in groups for one in group]))
    parts = np.split(flat, np.cumsum(sizes)[:-1])
    means = np.array([part.mean() for part in parts])
    within = float(sum(((part - part.mean()) ** 2).sum() for part in parts)) / (total - count)
    between = float((sizes * (means - flat.mean()) ** 2).sum()) / (count - 1)
    if within == 0 and between == 0:
        raise ValueError("all readings are the same; there is no scatter to split")
    f = between / within if within > 0 else math.inf
    p = float(scipy.stats.f.sf(f, count - 1, total - count))
    each = (total - float((sizes**2).sum()) / total) / (count - 1)
    return OneWay(f, p, between, within, count - 1, total - count, each)


def u_of_mean(s_leaf: float, s_reading: float, leaves: int, readings: int) -> float:
    """Standard uncertainty (unit of the scatters) of a mean over ``leaves``, read ``readings``
    times each: sqrt(s_leaf^2 / n + s_reading^2 / (n k)).

    Raises:
        ValueError: no leaf or no reading.
    """
    if leaves < 1 or readings < 1:
        raise ValueError(f"a leaf and a reading are needed, got {leaves} and {readings}")
    return math.sqrt((s_leaf**2 + s_reading**2 / readings) / leaves)


def readings_each(s_leaf: float, s_reading: float, cost: float = 1.0) -> int:
    """Readings a leaf that narrow the mean most for the work, at most 20.

    ``cost`` [-]: work of taking one more leaf over that of one more reading; the classical best is
    k = sqrt(cost) s_reading / s_leaf (from memory, and by trying all in the tests).

    Raises:
        ValueError: a scatter below 0 or a cost that is not above 0.

    >>> readings_each(0.1, 0.3, 1.0)
    3
    """
    if s_leaf < 0 or s_reading < 0 or not cost > 0:
        raise ValueError(
            f"scatters are 0 or more and a cost above 0, got {s_leaf}, {s_reading}, {cost}"
        )

    def work(k: int) -> float:
        return (s_leaf**2 + s_reading**2 / k) * (cost + k)

    return min(range(1, 21), key=work)
