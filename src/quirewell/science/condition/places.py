"""Places of many items in a row, where every value has a band: who is surely ahead of whom.

Two items whose bands overlap are tied. Since ties do not chain (A with B, B with C, yet A
surely before C), an item has no one place but a range of them: at best behind those only that
are surely ahead, at worst before those only that are surely behind.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Places = NDArray[np.int64]
Mask = NDArray[np.bool_]
# "Among the first" means the first tenth.
FIRST_SHARE = 0.1


@dataclass(frozen=True, slots=True)
class Standings:
    """Places (n,) of n items, 1 for the largest value: at ``best`` and at ``worst``.

    ``surely`` are items among the first tenth at their worst place; ``perhaps`` those that are
    so at their best place only, and whose whole band lies above the median of all values (else
    everything that is as it mostly is would count); ``first`` is how many places the first tenth
    has.
    """

    best: Places
    worst: Places
    surely: Mask
    perhaps: Mask
    first: int


def stand(value: Array, low: Array, high: Array) -> Standings:
    """Range of places of items whose values (n,) lie between ``low`` and ``high`` (n,), finite.

    Raises
    ------
    ValueError
        when the rows have unlike lengths, hold what is no number, or a value is not in its band
    """
    if not (value.shape == low.shape == high.shape) or low.ndim != 1:
        raise ValueError(
            f"values and bands need the same length, got {value.shape}, {low.shape}, {high.shape}"
        )
    if not (np.isfinite(low).all() and np.isfinite(high).all()):
        raise ValueError("every band must be finite")
    if not ((low <= value) & (value <= high)).all():
        raise ValueError("every value must lie in its band")
    count = len(low)
    ahead = count - np.searchsorted(np.sort(low), high, side="right")
    behind = np.searchsorted(np.sort(high), low, side="left")
    best, worst = (1 + ahead).astype(np.int64), (count - behind).astype(np.int64)
    first = max(1, math.ceil(FIRST_SHARE * count)) if count else 0
    surely = worst <= first
    stands_out = low > np.median(value) if count else np.zeros(0, bool)
    return Standings(best, worst, surely, (best <= first) & stands_out & ~surely, first)


def darker(light: Array, u: Array) -> tuple[Array, Array, float, float]:
    """By how much each tone [L*] is darker than the median of all, its standard uncertainty,
    and the median with its own (1.25 standard deviations of a mean, as for normal scatter).
    """
    middle = float(np.median(light))
    scatter = 1.4826 * float(np.median(np.abs(light - middle)))
    own = math.hypot(scatter, float(np.median(u)))
    u_middle = 1.2533 * own / math.sqrt(len(light))
    return middle - light, np.hypot(u, u_middle), middle, u_middle
