"""Two ways of measuring the same leaves: whether one may stand in for the other.

A correlation does not answer that; the differences do. Ratings agree by Krippendorff's alpha
(``science/condition/agreement``), measured sizes by the intraclass correlation.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from quirewell.science.evidence.decimals import Numbers, centred, finite, less
from quirewell.science.evidence.uncertainty import coverage_factor


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits of agreement (``bland1986``), all in the unit of the readings.

    ``mean`` and ``sd`` of the differences first less second; ``low`` and ``high`` bound about
    ``level`` of single differences to come; ``u_mean`` and ``u_limit`` are the standard
    uncertainties of the mean and of each limit, sqrt(3/n) sd for the latter.
    """

    mean: float
    sd: float
    low: float
    high: float
    u_mean: float
    u_limit: float
    pairs: int


def limits(first: Numbers, second: Numbers, factor: float | None = None) -> Limits:
    """Limits of agreement of two ways, a leaf a pair (readings of a leaf averaged before).

    ``factor`` [-] times the standard deviation; as a rule 1.96 (the source of 1986 took 2).

    Raises:
        ValueError: lists that differ in length, or fewer than two pairs.
    """
    differences: list[Decimal] = less(first, second)
    if len(differences) < 2:
        raise ValueError(f"agreement needs 2 pairs or more, got {len(differences)}")
    centre, rest = centred(differences)
    mean, sd = float(centre) + float(rest.mean()), float(rest.std(ddof=1))
    reach = (coverage_factor(0.95) if factor is None else factor) * sd
    count = len(differences)
    return Limits(
        mean, sd, mean - reach, mean + reach, sd / math.sqrt(count), sd * math.sqrt(3 / count),
        count,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Intraclass:
    """Six intraclass correlations [-] (``shrout1979``): of one reading, and of the mean of k.

    ``one_way``: every leaf by other raters; ``random``: the same raters, drawn from many;
    ``fixed``: these raters and no others, whose offsets do not count.
    """

    one_way: float
    random: float
    fixed: float
    one_way_mean: float
    random_mean: float
    fixed_mean: float


def intraclass(table: Sequence[Sequence[float]] | Sequence[Sequence[Decimal]]) -> Intraclass:
    """Intraclass correlations of a full table: a row a leaf, a column a rater or instrument.

    Raises:
        ValueError: fewer than two rows or columns, rows of unlike length, or leaves all alike.
    """
    rows, columns = len(table), len(table[0]) if table else 0
    if rows < 2 or columns < 2 or any(len(row) != columns for row in table):
        raise ValueError("2 leaves and 2 raters or more are needed, every leaf read by each")
    _, flat = centred(finite([one for row in table for one in row]))
    x = flat.reshape(rows, columns)
    leaves = columns * float(np.var(x.mean(axis=1), ddof=1))
    raters = rows * float(np.var(x.mean(axis=0), ddof=1))
    within = float(np.var(x, axis=1, ddof=1).mean())
    rest = x - x.mean(axis=1, keepdims=True) - x.mean(axis=0) + x.mean()
    error = float((rest**2).sum()) / ((rows - 1) * (columns - 1))
    if leaves == 0:
        raise ValueError("all leaves read alike; there is nothing to tell them apart by")
    k = columns
    return Intraclass(
        (leaves - within) / (leaves + (k - 1) * within),
        (leaves - error) / (leaves + (k - 1) * error + k * (raters - error) / rows),
        (leaves - error) / (leaves + (k - 1) * error),
        (leaves - within) / leaves,
        (leaves - error) / (leaves + (raters - error) / rows),
        (leaves - error) / leaves,
    )
