"""Claims of "no change that matters", with a margin fixed before anything is measured.

Paired two one-sided tests (``schuirmann1987``), their exact power, and the exact sign test
for tone steps. "Not significant" is never read as "unchanged".
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import integrate, stats

from quirewell.science.evidence.uncertainty import resolution_u


@dataclass(frozen=True, slots=True)
class Equivalence:
    """Result of a paired equivalence test.

    ``p`` [0..1] is the larger of the two one-sided p values; ``low`` and ``high`` (unit of the
    differences) bound the 1 - 2 alpha interval of the mean difference; ``smallest_margin`` is
    the smallest margin that would have passed; ``used_resolution`` says that all differences
    were equal and the instrument's step had to stand in for their scatter.
    """

    pairs: int
    mean: float
    sd: float
    p: float
    low: float
    high: float
    passes: bool
    smallest_margin: float
    used_resolution: bool = False


def paired_equivalence(
    differences: Sequence[float], margin: float, resolution: float = 0.0, alpha: float = 0.05
) -> Equivalence:
    """Paired TOST of differences (after minus before) against +-``margin`` (same unit).

    When every difference is the same the scatter is not zero but hidden by rounding: then the
    standard deviation of a difference of two readings of step ``resolution`` is used,
    sqrt(2/12) resolution.

    Raises:
        ValueError: with fewer than two pairs, a margin that is not positive, or equal
            differences and no resolution.
    """
    values = np.asarray(differences, dtype=np.float64)
    if values.size < 2:
        raise ValueError(f"an equivalence test needs 2 pairs or more, got {values.size}")
    if not margin > 0:
        raise ValueError(f"the margin must be above 0 and set before measuring, got {margin}")
    sd = float(values.std(ddof=1))
    flat = bool(np.all(values == values[0])) or not sd > 0
    if flat:
        sd = math.sqrt(2) * resolution_u(resolution)
        if sd == 0:
            raise ValueError(
                f"all {values.size} differences are the same; give the step of the instrument, "
                "because rounding hides their scatter"
            )
    mean = float(values.mean())
    error = sd / math.sqrt(values.size)
    dof = values.size - 1
    p_low = float(stats.t.sf((mean + margin) / error, dof))
    p_high = float(stats.t.cdf((mean - margin) / error, dof))
    reach = float(stats.t.ppf(1 - alpha, dof)) * error
    p = max(p_low, p_high)
    return Equivalence(
        values.size, mean, sd, p, mean - reach, mean + reach, p <= alpha, abs(mean) + reach, flat
    )


def equivalence_power(
    pairs: int, margin: float, sd: float, true_change: float = 0.0, alpha: float = 0.05
) -> float:
    """Exact chance [0..1] that a paired TOST passes.

    Integral over the sample standard deviation u (in units of sigma), with k = sd / sqrt(n):
    [Phi((m-d)/k - t u) - Phi((-m-d)/k + t u)] f(u) du for u from 0 to m / (t k), where
    u^2 (n-1) is chi-square with n - 1 degrees of freedom (own derivation).

    Raises:
        ValueError: with fewer than two pairs or sizes that are not positive.
    """
    if pairs < 2 or not (margin > 0 and sd > 0):
        raise ValueError(
            f"power needs 2 pairs or more, a margin and a scatter above 0; got {pairs} pairs, "
            f"margin {margin}, scatter {sd}"
        )
    dof = pairs - 1
    k = sd / math.sqrt(pairs)
    t = float(stats.t.ppf(1 - alpha, dof))

    def density(u: float) -> float:
        return float(stats.chi2.pdf(u * u * dof, dof)) * 2 * u * dof

    def passing(u: float) -> float:
        high = stats.norm.cdf((margin - true_change) / k - t * u)
        low = stats.norm.cdf((-margin - true_change) / k + t * u)
        return max(float(high - low), 0.0) * density(u)

    top = min(margin / (t * k), 1 + 12 / math.sqrt(2 * dof))
    value, _ = integrate.quad(passing, 0.0, top, limit=200)
    return float(min(value, 1.0))


def pairs_needed(
    margin: float, sd: float, chance: float = 0.80, true_change: float = 0.0, most: int = 2000
) -> int:
    """Fewest pairs whose paired TOST passes with ``chance`` [0..1].

    Raises:
        ValueError: when the true change is not inside the margin, or more than ``most`` pairs
            would be needed.

    >>> pairs_needed(1.0, 1.0)
    11
    """
    if abs(true_change) >= margin:
        raise ValueError(
            f"a true change of {true_change} is not inside the margin {margin}; no number of "
            "pairs can prove it"
        )
    low, high = 1, 2
    while equivalence_power(high, margin, sd, true_change) < chance:
        low, high = high, high * 2
        if low > most:
            raise ValueError(f"more than {most} pairs would be needed; widen the margin")
    while high - low > 1:
        middle = (low + high) // 2
        if equivalence_power(middle, margin, sd, true_change) < chance:
            low = middle
        else:
            high = middle
    return high


@dataclass(frozen=True, slots=True)
class SignTest:
    """Counts of pairs that went down, stayed, went up; exact two-sided p [0..1] of the sign."""

    down: int
    same: int
    up: int
    p: float


def sign_test(before: Sequence[float], after: Sequence[float]) -> SignTest:
    """Exact two-sided sign test of paired steps; ties are counted and shown, not dropped silently.

    Raises:
        ValueError: when the two lists differ in length.
    """
    if len(before) != len(after):
        raise ValueError(f"each reading needs its partner, got {len(before)} and {len(after)}")
    down = sum(b > a for b, a in zip(before, after, strict=True))
    up = sum(b < a for b, a in zip(before, after, strict=True))
    moved = down + up
    p = 1.0 if moved == 0 else float(stats.binomtest(down, moved, 0.5).pvalue)
    return SignTest(down, len(before) - moved, up, p)
