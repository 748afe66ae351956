"""Steps of a card, set against each other over pairs: an exact test, against a margin as well.

The pair is the unit; a difference is what the first way gave less what the second gave, in steps.
Steps are ranks: the signed-rank test over all flips of the signs is exact whatever the scatter
(as long as it is even to both sides), with ties and zeros. Two of them, one against each end of
the margin, make an equivalence test (``schuirmann1987``); turned round they give the interval.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quirewell.science.evidence.ordinal import signed_rank
from quirewell.science.evidence.uncertainty import resolution_u

ALPHA = 0.05
FEWEST = 5
_SAME = 9
Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Steps:
    """What pairs of steps say of a difference, all sizes in steps.

    ``middle`` is the middle of all means of two pairs; ``low`` and ``high`` bound its 90 %
    interval, None below five pairs, which bound nothing. ``p_alike`` [0..1] is the larger of the
    two one-sided p values against the margin, ``p_apart`` two-sided against no difference.
    ``least_margin``: any margin above it would have passed (a step of the card at the least).
    ``flat``: all pairs differ alike, so that the card's step stands in for the scatter ``sd``.
    """

    pairs: int
    middle: float
    sd: float
    low: float | None
    high: float | None
    p_alike: float
    p_apart: float
    least_margin: float | None
    flat: bool

    @property
    def alike(self) -> bool:
        """Whether the difference surely (5 %) lies inside the margin."""
        return self.p_alike <= ALPHA

    @property
    def apart(self) -> bool:
        """Whether the 90 % interval leaves out zero."""
        return self.low is not None and self.high is not None and (self.low > 0 or self.high < 0)


def by_steps(differences: Sequence[float], margin: float, step: float = 1.0) -> Steps:
    """Judge steps of a card; a pair exactly on the margin speaks neither for nor against it.

    A margin finer than the card's ``step`` is never shown: what lies between two steps is not read.

    Raises:
        ValueError: fewer than two pairs, or a margin or step not above 0.

    >>> by_steps([0, 0, 0, 1, 0, 0], 1).p_alike
    0.03125
    """
    values = np.asarray(differences, dtype=np.float64)
    if values.size < 2:
        raise ValueError(f"two pairs or more are needed, got {values.size}")
    if not (margin > 0 and step > 0):
        raise ValueError(f"margin and step must be above 0, got {margin} and {step}")
    flat = bool(np.ptp(values) < 10**-_SAME)
    sd = math.sqrt(2) * resolution_u(step) if flat else float(values.std(ddof=1))
    low, negative = _lowest(values), _lowest(-values)
    high = None if negative is None else -negative + 0.0
    known = low is not None and high is not None
    return Steps(
        values.size, float(np.median(_means(values))) + 0.0, sd, low, high,
        max(tail(values + margin), tail(margin - values)) if margin >= step else 1.0,
        min(1.0, 2 * min(tail(values), tail(-values))),
        max(abs(low or 0.0), abs(high or 0.0), step) if known else None, flat,
    )  # fmt: skip


def tail(differences: Array) -> float:
    """Exact one-sided p [0..1] of the signed ranks: how often a flip of the signs gives as much.

    Ties share their mean rank; zeros have no sign to flip.

    >>> tail(np.array([1.0, 2.0, 3.0, 4.0, 5.0])) * 32
    1.0
    """
    values = np.round(differences, _SAME)
    return signed_rank([0.0] * values.size, values.tolist()).p_up


def _means(values: Array) -> Array:
    """All means of two pairs (each with itself too)."""
    one, two = np.triu_indices(values.size)
    return np.round((values[one] + values[two]) / 2, _SAME)


def _lowest(values: Array) -> float | None:
    """Lower end of the 90 % interval; None where even far below nothing is sure.

    The p of "surely above here" only grows from left to right and changes at means of two pairs
    alone: so they, and one point between each two, are looked through by halving.
    """
    ends = np.unique(_means(values))
    between = np.concatenate([(ends[:-1] + ends[1:]) / 2, [ends[-1] + 1.0]])
    points = np.column_stack([ends, between]).ravel()
    if tail(values - (ends[0] - 1.0)) > ALPHA:
        return None
    low, high = 0, points.size - 1
    while low < high:
        middle = (low + high) // 2
        if tail(values - points[middle]) > ALPHA:
            high = middle
        else:
            low = middle + 1
    return float(ends[low // 2])
