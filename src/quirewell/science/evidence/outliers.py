"""Values that lie far from the rest: flagged for a second look, never dropped.

A flag asks for a new reading and for the result with and without it. Both tests take normal
scatter for granted; Grubbs' looks for one value and misses two that hide each other.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

import numpy as np
import scipy

from quirewell.science.evidence.decimals import Array, centred, finite

Side = Literal["both", "high", "low"]
Values = Sequence[float] | Sequence[Decimal]


@dataclass(frozen=True, slots=True)
class Grubbs:
    """The value farthest out: its place, G = \\|x - mean\\| / s, the critical value, the flag."""

    index: int
    g: float
    critical: float
    flagged: bool


@dataclass(frozen=True, slots=True)
class Deviate:
    """One step of the generalised test: place of the value taken, its R and critical value."""

    index: int
    r: float
    critical: float


def grubbs(values: Values, alpha: float = 0.05, side: Side = "both") -> Grubbs:
    """Grubbs' test of one outlier (``grubbs1969``); ``high`` or ``low`` looks one way only.

    Raises:
        ValueError: fewer than three values, which never show one.

    >>> grubbs([9.9, 10.1, 10.0, 10.2, 14.0]).index
    4
    """
    rest = _centred(values)
    away = rest - rest.mean()
    away = {"both": np.abs(away), "high": away, "low": -away}[side]
    limit = grubbs_critical(rest.size, alpha, 2 if side == "both" else 1)
    sd = float(rest.std(ddof=1))
    place = int(np.argmax(away))
    g = float(away[place]) / sd if sd > 0 else 0.0
    return Grubbs(place, g, limit, g > limit)


def grubbs_critical(n: int, alpha: float = 0.05, sides: Literal[1, 2] = 2) -> float:
    """Critical G for ``n`` values: (n-1)/sqrt(n) sqrt(t^2/(n-2+t^2)), t at alpha/(sides n).

    Raises:
        ValueError: fewer than three values, or an alpha off 0 to 1.

    >>> round(grubbs_critical(8, sides=1), 3), round(grubbs_critical(8), 3)
    (2.032, 2.127)
    """
    if n < 3:
        raise ValueError(f"an outlier shows among 3 values or more, got {n}")
    if not 0 < alpha < 1:
        raise ValueError(f"alpha lies between 0 and 1, got {alpha}")
    t2 = float(scipy.stats.t.isf(alpha / (sides * n), n - 2)) ** 2
    return (n - 1) / math.sqrt(n) * math.sqrt(t2 / (n - 2 + t2))


def deviates(values: Values, most: int, alpha: float = 0.05) -> tuple[Deviate, ...]:
    """The generalised extreme Studentised deviates (``rosner1983``), a step each, ``most`` steps.

    Each step takes the value farthest from the mean of those left; its critical value is Grubbs'
    two-sided one for as many as are left. Rosner's approximation is good from 25 values on, fair
    from 15.

    Raises:
        ValueError: ``most`` below 1, or fewer than three values left at the last step.
    """
    rest = _centred(values)
    if not 1 <= most <= rest.size - 2:
        raise ValueError(
            f"among {rest.size} values 1 to {max(rest.size - 2, 0)} outliers can be looked for, "
            f"got {most}"
        )
    left = list(range(rest.size))
    out = []
    for _ in range(most):
        now = rest[left]
        away, sd = np.abs(now - now.mean()), float(now.std(ddof=1))
        far = int(np.argmax(away))
        r = float(away[far]) / sd if sd > 0 else 0.0
        out.append(Deviate(left[far], r, grubbs_critical(len(left), alpha)))
        del left[far]
    return tuple(out)


def many(values: Values, most: int, alpha: float = 0.05) -> tuple[int, ...]:
    """Places of the outliers, farthest first: as many as the LAST step whose R exceeds, even where
    earlier ones do not (outliers hide each other).

    Raises:
        ValueError: as ``deviates``.
    """
    steps = deviates(values, most, alpha)
    count = max((i for i, one in enumerate(steps, 1) if one.r > one.critical), default=0)
    return tuple(one.index for one in steps[:count])


def _centred(values: Values) -> Array:
    return centred(finite(values))[1]
