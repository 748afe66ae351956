"""Claims of "no change that matters", with a margin fixed before anything is measured.

Paired two one-sided tests (``schuirmann1987``), their exact power, and the exact sign test
for tone steps. "Not significant" is never read as "unchanged".

Differences may be ``Decimal``: they are centred in decimal before they become floats.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
import scipy

from quirewell.science.evidence.decimals import Array, centred
from quirewell.science.evidence.uncertainty import resolution_u


@dataclass(frozen=True, slots=True)
class Equivalence:
    """Result of a paired equivalence test.

    ``p`` [0..1] is the larger of the two one-sided p values; ``low`` and ``high`` (unit of the
    differences) bound the 1 - 2 alpha interval of the mean difference; ``smallest_margin`` is
    the smallest margin that would have passed; ``used_resolution`` says that all differences
    were equal and the instrument's step had to stand in for their scatter; ``hidden`` (unit of
    the differences) is what rounding may hide of the mean (``hidden_by_rounding``), which the
    interval, the margin and p allow for.
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
    hidden: float = 0.0


# Scatter of differences, in steps, below which all leaves may be rounded the same way.
_SHARED = 0.6
_GRID = 2001


def hidden_by_rounding(sd: float, resolution: float) -> float:
    """What rounding to ``resolution`` may hide of a mean difference (same unit), own derivation.

    Leaves cut together read alike and round alike: rounding then does not average out, and up to
    a whole step of change can be hidden in every leaf at once. With normal scatter sigma of a
    reading the bias of a rounded mean is at most (step/pi) exp(-2 pi^2 sigma^2 / step^2), twice
    that for a difference; sigma^2 is what ``sd`` leaves over rounding's own step^2/6, halved.
    Below 0.6 steps of scatter (by simulation) this says too little and the whole step is taken.

    >>> hidden_by_rounding(0.1, 0.5), round(hidden_by_rounding(0.5, 0.5), 6)
    (0.5, 8.5e-05)
    """
    if resolution <= 0:
        return 0.0
    scatter = sd / resolution
    if scatter < _SHARED:
        return resolution
    own = (scatter**2 - 1 / 6) / 2
    return resolution * 2 / math.pi * math.exp(-2 * math.pi**2 * own)


def paired_equivalence(
    differences: Sequence[float] | Sequence[Decimal],
    margin: float,
    resolution: float = 0.0,
    alpha: float = 0.05,
    single_sd: float = 0.0,
) -> Equivalence:
    """Paired TOST of differences (after minus before) against +-``margin`` (same unit).

    When every difference is the same the scatter is not zero but hidden by rounding: then the
    standard deviation of a difference of two readings of step ``resolution`` is used,
    sqrt(2/12) resolution. What rounding may hide of the mean itself is allowed for, too: where
    it alone reaches the margin nothing is shown and p is 1. Where a difference is a mean of
    several readings, ``single_sd`` is the scatter of single ones over all leaves: they are what
    was rounded, and their scatter spreads it.

    Raises:
        ValueError: with fewer than two pairs, a margin that is not positive, or equal
            differences and no resolution.
    """
    size, limit, step = len(differences), float(margin), float(resolution)
    if size < 2:
        raise ValueError(f"an equivalence test needs 2 pairs or more, got {size}")
    if not 0 < limit < math.inf:
        raise ValueError(f"the margin must be above 0 and set before measuring, got {margin}")
    if not 0 <= step < math.inf:
        raise ValueError(f"the step of the instrument is 0 or more, got {resolution}")
    mean, sd, flat = _spread(differences, step)
    if flat:
        sd = math.sqrt(2) * resolution_u(step)
        if sd == 0:
            raise ValueError(
                f"all {size} differences are the same; give the step of the instrument, "
                "because rounding hides their scatter"
            )
    error, dof = sd / math.sqrt(size), size - 1
    hidden = step if flat else hidden_by_rounding(max(sd, single_sd), step)
    reach = float(scipy.stats.t.ppf(1 - alpha, dof)) * error
    if hidden < step or step == 0:
        reach, room = reach + hidden, limit - hidden
    else:
        reach, room = max(reach, step), limit if abs(mean) + step <= limit else -math.inf
    p = float(scipy.stats.t.sf((room - abs(mean)) / error, dof))
    low, high = mean - reach, mean + reach
    smallest = abs(mean) + reach
    return Equivalence(size, mean, sd, p, low, high, p <= alpha, smallest, flat, hidden)


def _spread(
    differences: Sequence[float] | Sequence[Decimal], step: float
) -> tuple[float, float, bool]:
    """Mean, standard deviation, and whether all differences are the same.

    Floats are the same when no more apart than arithmetic on them leaves.
    """
    exact = [one for one in differences if isinstance(one, Decimal)]
    rest: Array
    if len(exact) == len(differences):
        centre, rest = centred(exact)
        return float(centre) + float(rest.mean()), float(rest.std(ddof=1)), not rest.any()
    rest = np.asarray(differences, dtype=np.float64)
    if not np.isfinite(rest).all():
        raise ValueError("every difference is a finite number; leave out what was not read")
    apart = float(np.ptp(rest))
    flat = apart <= max(1e-9 * step, 1e-12 * float(np.abs(rest).max()))
    return float(rest.mean()), float(rest.std(ddof=1)), flat


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
    t = float(scipy.stats.t.ppf(1 - alpha, dof))

    u, share = scatter_grid(dof, margin / (t * k))
    high = scipy.special.ndtr((margin - true_change) / k - t * u)
    low = scipy.special.ndtr((-margin - true_change) / k + t * u)
    return float(min(max((high - low) @ share, 0.0), 1.0))


def scatter_grid(dof: float, top: float = math.inf) -> tuple[Array, Array]:
    """Points u of a sample standard deviation over sigma up to ``top``, and their weights.

    Sum(g(u) weight) is Simpson's rule for the mean of g, u^2 dof being chi-square of ``dof``.
    """
    wide = 12 / math.sqrt(2 * dof)
    u = np.linspace(max(0.0, min(1 - wide, top)), min(top, 1 + wide), _GRID)
    weights = np.full(_GRID, 2.0)
    weights[1::2], weights[0], weights[-1] = 4.0, 1.0, 1.0
    logs = (
        math.log(2) + (dof / 2) * math.log(dof / 2) - math.lgamma(dof / 2)
        + scipy.special.xlogy(dof - 1, u) - dof * u**2 / 2
    )  # fmt: skip
    return u, np.exp(logs) * weights * (u[1] - u[0]) / 3


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
    p = 1.0 if moved == 0 else float(scipy.stats.binomtest(down, moved, 0.5).pvalue)
    return SignTest(down, len(before) - moved, up, p)
