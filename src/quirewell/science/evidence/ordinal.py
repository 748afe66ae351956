"""Steps of a card before and after: ranks, not sizes; exact at small numbers of leaves.

No mean and no standard deviation of step numbers; leaves that stayed are counted and shown.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
import scipy

from quirewell.science.evidence.decimals import Array, less
from quirewell.science.evidence.proportion import exact

Steps = Sequence[float] | Sequence[int] | Sequence[Decimal]


@dataclass(frozen=True, slots=True)
class SignedRank:
    """Exact signed-rank test (``wilcoxon1945``) of paired readings.

    ``v``: sum of the ranks of the pairs that went down (before less after above 0). ``p`` [0..1]
    two-sided, ``p_down`` and ``p_up`` one-sided for "went down", "went up". ``middle``: middle of
    all means of two differences after less before (Hodges and Lehmann), unit of the readings.
    ``same``: pairs that stayed; they have no rank.
    """

    v: float
    p: float
    p_down: float
    p_up: float
    middle: float
    same: int


def signed_rank(before: Steps, after: Steps) -> SignedRank:
    """Signed ranks over all flips of the signs, exact with ties (mean ranks) and zeros.

    Raises:
        ValueError: lists that differ in length, or none.

    >>> signed_rank([4, 5, 5, 6], [3, 4, 4, 5]).p_down
    0.0625
    """
    change = _changes(before, after)
    moved = change[change != 0]
    one, two = np.triu_indices(change.size)
    middle = float(np.median((change[one] + change[two]) / 2)) + 0.0
    if not moved.size:
        return SignedRank(0.0, 1.0, 1.0, 1.0, middle, change.size)
    ranks = np.rint(2 * scipy.stats.rankdata(np.abs(moved))).astype(np.int64)
    chances = _flips(ranks)
    down = int(ranks[moved < 0].sum())
    p_down = float(min(1.0, chances[down:].sum()))
    p_up = float(min(1.0, chances[: down + 1].sum()))
    p = min(1.0, 2 * min(p_down, p_up))
    return SignedRank(down / 2, p, p_down, p_up, middle, change.size - moved.size)


def _flips(doubled: np.ndarray[tuple[int], np.dtype[np.int64]]) -> Array:
    """Chance of every sum of (doubled) ranks when each sign is a fair coin."""
    chances = np.zeros(int(doubled.sum()) + 1)
    chances[0] = 1.0
    for rank in doubled:
        shifted = np.zeros_like(chances)
        shifted[rank:] = chances[: chances.size - rank]
        chances = (chances + shifted) / 2
    return chances


@dataclass(frozen=True, slots=True)
class Moved:
    """Leaves that moved by a step or more: ``down``, ``up``; ``same`` moved by less.

    ``p`` [0..1]: exact two-sided sign test of the direction; ``share`` [0..1] of leaves that
    moved, either way, with its exact 90 % interval (``clopper1934``).
    """

    down: int
    same: int
    up: int
    p: float
    share: float
    low90: float
    high90: float

    def rarer_than(self, limit: float) -> bool:
        """Ordinal equivalence: surely (95 %, one-sided) fewer than ``limit`` [0..1] of leaves
        move by a step, the limit fixed before anything is read."""
        return self.high90 < limit


def moved(before: Steps, after: Steps, step: float | Decimal = 1) -> Moved:
    """Count leaves that moved by ``step`` or more (unit of the readings).

    Raises:
        ValueError: lists that differ in length, none, or a step that is not above 0.

    >>> moved([4, 5, 5], [3, 5, 5], 1).down
    1
    """
    if not step > 0:
        raise ValueError(f"a step must be above 0, got {step}")
    change = _changes(before, after)
    least = float(step) * (1 - 1e-12)
    down, up = int((change <= -least).sum()), int((change >= least).sum())
    count = change.size
    p = float(scipy.stats.binomtest(down, down + up).pvalue) if down + up else 1.0
    low, high = exact(down + up, count, 0.90)
    return Moved(down, count - down - up, up, p, (down + up) / count, low, high)


def leaves_for(limit: float, most: int = 2000) -> int:
    """Fewest leaves, none of them moved, that show fewer than ``limit`` [0..1] move (95 %).

    Raises:
        ValueError: a limit off 0 to 1, or so low that more than ``most`` leaves were needed.

    >>> leaves_for(0.23)
    12
    """
    if not 0 < limit < 1:
        raise ValueError(f"the limit is a share between 0 and 1, got {limit}")
    count = max(1, int(np.log(0.05) / np.log1p(-limit)) - 1)
    while exact(0, count, 0.90)[1] >= limit:
        count += 1
    if count > most:
        raise ValueError(f"more than {most} leaves would be needed; allow a larger share")
    return count


def _changes(before: Steps, after: Steps) -> Array:
    """After less before, exact in decimal first, so that equal steps tie."""
    return np.array([float(one) for one in less(after, before)])
