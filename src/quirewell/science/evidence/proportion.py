"""Shares counted on few leaves: exact limits (``clopper1934``), and Wilson's interval to compare.

``exact`` and ``upper`` never cover less than they say; ``wilson`` is shorter and covers its level
on average only. Nothing bad in 12 leaves still allows 22 % (``upper(0, 12)``).
"""

from __future__ import annotations

import math

from quirewell.science.evidence.detectable import event_rate_interval as exact
from quirewell.science.evidence.detectable import event_rate_limit as upper
from quirewell.science.evidence.uncertainty import coverage_factor

__all__ = ["exact", "upper", "wilson"]


def wilson(hits: int, n: int, level: float = 0.95) -> tuple[float, float]:
    """Two-sided interval [0..1] of a share by the score test (``wilson1927``).

    Raises:
        ValueError: hits that do not lie between 0 and n.

    >>> [round(end, 4) for end in wilson(3, 10)]
    [0.1078, 0.6032]
    """
    if not (n >= 1 and 0 <= hits <= n):
        raise ValueError(f"hits must lie between 0 and the number looked at, got {hits} of {n}")
    z, share = coverage_factor(level), hits / n
    middle = share + z**2 / (2 * n)
    reach = z * math.sqrt(share * (1 - share) / n + z**2 / (4 * n**2))
    whole = 1 + z**2 / n
    return max(0.0, (middle - reach) / whole), min(1.0, (middle + reach) / whole)
