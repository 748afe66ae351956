"""pH of paper from readings that do not mean the same: strips, electrodes, cold extracts.

What is asked for is the pH a cold extract would give (``iso6588``). A strip or a flat electrode
in a drop reads the *surface* only and must not be taken for one (``tappi529``); coarse carbonate
makes a surface read far too low (``kelly1972``). So each method has its own offset and spread
about the cold extract; the offset is one for all readings of a kind, so that ten strips do not make
a cold extract. A pH of the *bath* says nothing of the paper and is kept apart. A strip off its
scale is a reading too: it says "above" or "below".
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import scipy
from numpy.typing import NDArray

Array = NDArray[np.float64]
Kind = Literal["cold extract", "surface electrode", "surface strip", "bath"]
OffScale = Literal["above", "below"]

# Standard deviation about the cold extract [pH]: (of the reading, of the method), and how much a
# surface may read low where carbonate is coarse. From memory, except the step of a strip.
SPREAD: Mapping[Kind, tuple[float, float]] = {
    "cold extract": (0.1, 0.0),
    "surface electrode": (0.2, 0.3),
    "surface strip": (0.4, 0.3),
}
LOW_PH, HIGH_PH = 3.0, 11.0
_STEP = 0.01
APART = 2.5


@dataclass(frozen=True, slots=True)
class PhReading:
    """A pH as read: ``kind``, value [pH], temperature [C] where known, and whether the strip was
    off its scale there; ``u`` replaces the usual standard uncertainty of the reading."""

    kind: Kind
    ph: float
    temperature_c: float | None = None
    off_scale: OffScale | None = None
    u: float | None = None

    def __post_init__(self) -> None:
        if not (math.isfinite(self.ph) and 0 <= self.ph <= 14):
            raise ValueError(f"a pH lies between 0 and 14, got {self.ph:g}")
        if self.temperature_c is not None and not -5 <= self.temperature_c <= 60:
            raise ValueError(
                f"a pH is read between -5 and 60 °C, got {self.temperature_c:g} °C"
                + ("; is that Fahrenheit?" if 60 < self.temperature_c <= 140 else "")
            )
        if self.u is not None and not 0.005 <= self.u <= 3:
            raise ValueError(f"the uncertainty of a pH lies between 0.005 and 3, got {self.u:g}")

    @property
    def says(self) -> str:
        """The reading in words."""
        sign = f"{self.off_scale} " if self.off_scale else ""
        return f"{self.kind} {sign}{self.ph:g}"

    @property
    def own_u(self) -> float:
        """Standard deviation of the reading itself [pH]."""
        return SPREAD[self.kind][0] if self.u is None else self.u

    @property
    def whole_u(self) -> float:
        """Standard deviation of one reading about what a cold extract would give [pH]."""
        return math.hypot(self.own_u, SPREAD[self.kind][1])


@dataclass(frozen=True, slots=True)
class PaperPh:
    """Cold-extract pH the readings of the paper point to: median, 90 % band, standard deviation.

    ``apart``: readings that contradict each other, with how many standard deviations lie between;
    ``bounded`` is "above" or "below" when only off-scale strips speak (the band is then one-sided);
    ``kept_apart``: readings of the bath, which say nothing of the paper.
    """

    median: float
    low90: float
    high90: float
    u: float
    apart: tuple[tuple[str, str, float], ...]
    bounded: OffScale | None
    kept_apart: tuple[PhReading, ...]


def paper_ph(readings: Sequence[PhReading]) -> PaperPh | None:
    """Readings of the paper as one; None when none of them is of the paper.

    A flat prior over pH 3 to 11; each reading is normal about the cold extract and its kind's
    offset, which is shared; an off-scale one counts by the chance of lying beyond. Readings that
    contradict each other widen the answer by the square root of their reduced chi square.
    """
    mine = [one for one in readings if one.kind != "bath"]
    if not mine:
        return None
    grid = np.arange(LOW_PH, HIGH_PH + _STEP / 2, _STEP)
    apart = _contradictions(mine)
    # Two readings g standard deviations apart have a reduced chi square of g^2 / 2.
    widen = max(
        [_widen([one for one in mine if one.off_scale is None])]
        + [gap / math.sqrt(2) for _, _, gap in apart]
    )
    log = np.zeros_like(grid)
    for kind in SPREAD:
        same = [one for one in mine if one.kind == kind]
        if same:
            log += _log_chance(grid, same, widen)
    share = np.exp(log - log.max())
    share /= share.sum()
    middle = float(np.sum(grid * share))
    ends = {one.off_scale for one in mine}
    bounded = next(iter(ends)) if len(ends) == 1 else None
    low, median, high = (_quantile(grid, share, q) for q in (0.05, 0.5, 0.95))
    return PaperPh(
        median, low, high, math.sqrt(float(np.sum((grid - middle) ** 2 * share))),
        apart, bounded, tuple(one for one in readings if one.kind == "bath"),
    )  # fmt: skip


def _log_chance(grid: Array, same: Sequence[PhReading], widen: float) -> Array:
    """Logarithm of the chance of readings of one kind, over every offset that kind may have."""
    method = SPREAD[same[0].kind][1] * widen
    reach = math.ceil(4 * method / _STEP)
    wide = LOW_PH + _STEP * np.arange(-reach, len(grid) + reach)
    log = np.zeros_like(wide)
    for one in same:
        score = (one.ph - wide) / (one.own_u * widen)
        if one.off_scale is None:
            log -= 0.5 * score**2
        else:
            log += scipy.special.log_ndtr(-score if one.off_scale == "above" else score)
    offsets = _STEP * np.arange(-reach, reach + 1)
    weights = np.exp(-0.5 * (offsets / method) ** 2) if reach else np.ones(1)
    chance = np.convolve(np.exp(log - log.max()), weights, "valid")
    return np.asarray(np.log(np.maximum(chance, 1e-300)))


def _widen(known: Sequence[PhReading]) -> float:
    """Square root of the reduced chi square about their mean, offsets shared; at least 1."""
    if len(known) < 2:
        return 1.0
    spread = np.array(
        [
            [
                (SPREAD[a.kind][1] ** 2 if a.kind == b.kind else 0.0)
                + (a.own_u**2 if n == m else 0.0)
                for m, b in enumerate(known)
            ]
            for n, a in enumerate(known)
        ]
    )
    values = np.array([one.ph for one in known])
    weight = np.linalg.solve(spread, np.ones(len(known)))
    off = values - float(weight @ values) / float(weight.sum())
    chi = float(off @ np.linalg.solve(spread, off)) / (len(known) - 1)
    return math.sqrt(max(1.0, chi))


def _quantile(grid: Array, share: Array, at: float) -> float:
    return float(np.interp(at, np.cumsum(share) - 0.5 * share, grid))


def _contradictions(readings: Sequence[PhReading]) -> tuple[tuple[str, str, float], ...]:
    out = []
    for n, one in enumerate(readings):
        for other in readings[n + 1 :]:
            same = one.kind == other.kind
            u = math.hypot(*((r.own_u if same else r.whole_u) for r in (one, other)))
            gap = _gap(one, other) / u
            if gap > APART:
                out.append((one.says, other.says, gap))
    return tuple(out)


def _gap(one: PhReading, other: PhReading) -> float:
    """How far two readings lie apart [pH], 0 where an off-scale one allows the other."""
    low, high = sorted((one, other), key=lambda entry: entry.ph)
    if low.off_scale == "above" or high.off_scale == "below":
        return 0.0
    return high.ph - low.ph
