"""How well grades agree: ranked probability score of a forecast, Krippendorff's alpha of raters."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Level = Literal["nominal", "ordinal", "interval", "ratio"]


def ranked_score(chances: Sequence[float] | Array, outcome: int) -> float:
    """Ranked probability score [0..K-1] of chances over K ordered steps; 0 is best.

    RPS = sum over steps of (F_k - [outcome <= k])^2 (``epstein1969``), not divided by K - 1.

    Raises:
        ValueError: chances that are none, or an outcome that is no step.

    >>> round(ranked_score([0.1, 0.2, 0.4, 0.2, 0.1], 2), 12)
    0.2
    """
    given = np.asarray(chances, dtype=np.float64)
    if not 0 <= outcome < len(given):
        raise ValueError(f"the outcome is a step from 0 to {len(given) - 1}, got {outcome}")
    if (given < 0).any() or abs(given.sum() - 1) > 1e-6:
        raise ValueError(f"chances are 0 or more and add up to 1, got a sum of {given.sum():g}")
    hit = np.arange(len(given)) >= outcome
    return float(((np.cumsum(given) - hit) ** 2).sum())


def alpha(ratings: Sequence[Sequence[float | None]], level: Level = "ordinal") -> float:
    """Krippendorff's alpha [-] of raters (rows) over units (columns), None where not rated.

    alpha = 1 - D_observed / D_expected over the coincidence matrix (``krippendorff2011``); 1 is
    full agreement, 0 what chance gives.

    Raises:
        ValueError: fewer than two ratings that can be paired, or all the same.
    """
    units = [[one for one in unit if one is not None] for unit in zip(*ratings, strict=True)]
    units = [unit for unit in units if len(unit) > 1]
    values = sorted({one for unit in units for one in unit})
    if len(values) < 2:
        raise ValueError("agreement needs units rated twice, and more than one value among them")
    place = {value: index for index, value in enumerate(values)}
    seen = np.zeros((len(values), len(values)))
    for unit in units:
        counts = np.bincount([place[one] for one in unit], minlength=len(values)).astype(float)
        seen += (np.outer(counts, counts) - np.diag(counts)) / (len(unit) - 1)
    totals = seen.sum(axis=1)
    apart = _distance(np.array(values, dtype=np.float64), totals, level)
    expected = (np.outer(totals, totals) - np.diag(totals)) / (totals.sum() - 1)
    return float(1 - (seen * apart).sum() / (expected * apart).sum())


def _distance(values: Array, totals: Array, level: Level) -> Array:
    """Squared difference of every two values, by the level of the scale."""
    if level == "nominal":
        return 1.0 - np.eye(len(values))
    if level == "interval":
        return (values[:, None] - values) ** 2
    if level == "ratio":
        both = values[:, None] + values
        return (np.divide(values[:, None] - values, both, where=both != 0,
                          out=np.zeros_like(both))) ** 2  # fmt: skip
    upto = np.cumsum(totals) - totals / 2
    return (upto[:, None] - upto) ** 2
