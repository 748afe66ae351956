"""The mean change over the units of one object, with what all of them share.

Leaves of one object scatter about their mean, and that part shrinks with their number. What moved
all of them alike (the air's humidity, the scanner's scale) does not, however many there are. Both
go into one budget (``jcgm100`` 5.1.2, G.4), and the two one-sided tests (``schuirmann1987``) are
made on it; with nothing shared they are the plain paired test of :mod:`.equivalence`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import scipy
from numpy.typing import NDArray

from quirewell.science.evidence.detectable import smallest_detectable
from quirewell.science.evidence.equivalence import hidden_by_rounding
from quirewell.science.evidence.uncertainty import Budget, BudgetTerm, resolution_u

ALPHA = 0.05
MOST_UNITS = 2000
_MANY = 2000.0
Word = Literal["unchanged", "changed", "cannot tell"]


@dataclass(frozen=True, slots=True)
class MeanChange:
    """Mean change over ``units`` [-] (``noun``: leaves, wraps), all in the unit of the differences.

    ``sd`` is the scatter from unit to unit, ``hidden`` that every difference was the same and the
    instrument's step had to stand in for it; ``budget`` holds the scatter of the mean and what is
    shared; ``low``, ``high`` bound the 90 % interval. ``rounding`` is what reading in steps may
    hide of the mean besides (:func:`.equivalence.hidden_by_rounding`), ``step`` the step itself.
    """

    units: int
    noun: str
    mean: float
    sd: float
    hidden: bool
    budget: Budget
    low: float
    high: float
    rounding: float = 0.0
    step: float = 0.0

    @property
    def dof(self) -> float:
        """Effective degrees of freedom [-] (``jcgm100`` G.4.1)."""
        return _dof(self.budget)

    @property
    def smallest_seen(self) -> float:
        """The smallest true change whose interval leaves out zero in 95 of 100 cases."""
        return _smallest_shift(self.budget.u, self.dof) + self.rounding

    @property
    def would_pass(self) -> float:
        """The smallest margin that the 90 % interval lies within."""
        return max(abs(self.low), abs(self.high))

    def p(self, margin: float) -> float:
        """The larger p value [0..1] of the two one-sided tests against +-``margin``."""
        room = margin - self.rounding
        if self.step and self.rounding >= self.step:
            room = margin if abs(self.mean) + self.step <= margin else -math.inf
        return float(scipy.stats.t.sf((room - abs(self.mean)) / self.budget.u, self.dof))

    def word(self, margin: float | None) -> Word:
        """The verdict, by the one rule of :mod:`.verdict`: unchanged only within a margin, changed
        where the 90 % interval leaves out zero."""
        if margin is not None and self.would_pass <= margin:
            return "unchanged"
        return "changed" if self.shifted else "cannot tell"

    @property
    def shifted(self) -> bool:
        """Whether the 90 % interval leaves out zero."""
        return self.low > 0 or self.high < 0


def mean_change(
    differences: Sequence[float], shared: Sequence[BudgetTerm] = (), step: float = 0.0,
    name: str = "leaves",
) -> MeanChange:  # fmt: skip
    """Mean of the differences (after minus before) of two or more units.

    ``step`` is the reading's smallest step: rounding leaves at least sqrt(2/12) of it in every
    difference, so no smaller scatter is believed. Units cut alike round alike: what that may hide
    of their mean widens the interval, to a whole step at least where they scatter by little.

    Raises:
        ValueError: fewer than two units, no scatter and no step, or what is not finite.
    """
    values = np.asarray(differences, dtype=np.float64)
    if values.size < 2:
        raise ValueError(f"a scatter needs 2 leaves or more, got {values.size}")
    if not np.all(np.isfinite(values)):
        raise ValueError("a difference is not a finite number")
    count = values.size
    least = math.sqrt(2) * resolution_u(step)
    found = float(values.std(ddof=1))
    hidden = bool(np.ptp(values) <= 1e-12 * max(1.0, float(np.abs(values).max())))
    if hidden and least == 0:
        raise ValueError(
            f"all {count} differences are the same; give the step of the instrument, because "
            "rounding hides their scatter"
        )
    sd = least if hidden else max(found, least)
    scatter = BudgetTerm(name, sd / math.sqrt(count), count - 1, f"{count} {name} scatter {sd:.3g}")
    same = BudgetTerm("resolution", least, basis=f"all the same in steps of {step:g}")
    budget = Budget((scatter, *((same,) if hidden else ()), *shared))
    mean, dof, u = float(values.mean()), _dof(budget), budget.u
    reach = float(scipy.stats.t.ppf(1 - ALPHA, dof)) * u
    lost = step if hidden else hidden_by_rounding(found, step)
    reach = max(reach, step) if lost >= step else reach + lost
    return MeanChange(
        count, name, mean, sd, hidden, budget, mean - reach, mean + reach, lost, step
    )  # fmt: skip


def _smallest_shift(u: float, dof: float) -> float:
    """Smallest true change (unit of ``u``) called a change in 95 of 100 cases: by the non-central
    t where few degrees of freedom know the scatter, else by the normal law."""
    limit = float(scipy.stats.t.ppf(1 - ALPHA, dof))
    if dof > _MANY:
        return smallest_detectable(u, limit)

    def lacking(shift: float) -> float:
        other = float(
            np.nan_to_num(scipy.stats.nct.cdf(-limit, dof, shift))
        )  # NaN far out: below 1e-8
        return float(scipy.stats.nct.sf(limit, dof, shift)) + other - (1 - ALPHA)

    top = limit
    while lacking(top) < 0:
        top *= 2
    return float(scipy.optimize.brentq(lacking, 1e-9, top, xtol=1e-9)) * u


def _dof(budget: Budget) -> float:
    return min(round(budget.dof, 6), 1e9)


def grouped(values: Mapping[str, float], group_of: Mapping[str, str]) -> tuple[float, ...]:
    """Mean of the values of each group, groups in the order they come."""
    groups: dict[str, list[float]] = {}
    for unit, value in values.items():
        groups.setdefault(group_of[unit], []).append(value)
    return tuple(float(np.mean(group)) for group in groups.values())


def chance_within(
    units: int, margin: float, sd: float, shared: float = 0.0, true_change: float = 0.0
) -> float:
    """Chance [0..1] that the test passes ``margin`` with so many units.

    As :func:`.equivalence.equivalence_power` (own derivation), with the shared standard
    uncertainty ``shared`` in the mean and in its interval. All in one unit.

    Raises:
        ValueError: fewer than two units, a margin or scatter that is not positive.
    """
    if units < 2 or not (margin > 0 and sd > 0 and shared >= 0):
        raise ValueError(
            f"a chance needs 2 leaves or more, a margin and a scatter above 0; got {units} leaves, "
            f"margin {margin}, scatter {sd}"
        )
    dof = units - 1
    own = sd / math.sqrt(units)
    spread = math.hypot(own, shared)
    top = 1 + 12 / math.sqrt(2 * dof)

    def passing(u: NDArray[np.float64]) -> NDArray[np.float64]:
        error = np.hypot(u * own, shared)
        free = dof * (error / np.maximum(u * own, 1e-300)) ** 4
        room = margin - scipy.stats.t.ppf(1 - ALPHA, np.minimum(free, 1e9)) * error
        inside = scipy.stats.norm.cdf((room - true_change) / spread)
        inside = inside - scipy.stats.norm.cdf((-room - true_change) / spread)
        held = np.where(room > 0, np.maximum(inside, 0.0), 0.0)
        return np.asarray(held * scipy.stats.chi2.pdf(u * u * dof, dof) * 2 * u * dof)

    at = np.linspace(1e-6, top, 2001)
    return float(min(scipy.integrate.simpson(passing(at), x=at), 1.0))


def units_needed(
    margin: float, sd: float, shared: float = 0.0, chance: float = 0.80, true_change: float = 0.0
) -> int | None:
    """Fewest units that pass ``margin`` with ``chance`` [0..1]; None where no number would,
    because of what they share, or more than ``MOST_UNITS``."""
    if abs(true_change) >= margin:
        return None
    low, high = 1, 2
    while chance_within(high, margin, sd, shared, true_change) < chance:
        low, high = high, 2 * high
        if low >= MOST_UNITS:
            return None
    while high - low > 1:
        middle = (low + high) // 2
        if chance_within(middle, margin, sd, shared, true_change) < chance:
            low = middle
        else:
            high = middle
    return high
