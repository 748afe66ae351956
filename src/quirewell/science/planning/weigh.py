"""What an option gains: its price afterwards, less what the item is worth now, less what it costs.

gain = (1 - sale fee) (m sum_g p(g) V(g) (1 - q l) - V_now) - work - materials - fees - insurance
- waiting, with m what told treatment leaves of a price, p the chances of each grade afterwards, q
the chance of a mishap and l the share of the price it takes. Means are exact sums over the grades;
what may come instead (:mod:`.weigh_risk`) is drawn, the same draws for all options. Money in one
currency, grades in points, prices as means (a log-normal's mean lies above its median).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import Literal

import numpy as np
import scipy
from numpy.typing import NDArray

from quirewell.science.planning.typed_range import PEAK

Array = NDArray[np.float64]
Counts = NDArray[np.int64]
Kind = Literal["leave", "press", "partial", "full", "own"]


@dataclass(frozen=True, slots=True)
class Guess:
    """A number by hand: least, likeliest, most (a PERT distribution, ``malcolm1959``)."""

    low: float
    likely: float
    high: float

    def __post_init__(self) -> None:
        ends = (self.low, self.likely, self.high)
        if not all(math.isfinite(one) and one >= 0 for one in ends):
            raise ValueError("least, likeliest and most are numbers of 0 or more")
        if not self.low <= self.likely <= self.high:
            raise ValueError(
                f"least, likeliest and most go up, got {self.low:g}, {self.likely:g} and "
                f"{self.high:g}"
            )

    @property
    def mean(self) -> float:
        """Its mean.

        >>> Guess(1, 2, 9).mean
        3.0
        """
        return (self.low + PEAK * self.likely + self.high) / (PEAK + 2)

    @property
    def sure(self) -> bool:
        """Whether it is one number."""
        return self.low == self.high

    def at(self, shares: Array) -> Array:
        """Values not passed in these shares (0 to 1) of cases."""
        if self.sure:
            return np.full(np.shape(shares), self.likely)
        place = (self.likely - self.low) / (self.high - self.low)
        between: Array = scipy.special.betaincinv(1 + PEAK * place, 1 + PEAK * (1 - place), shares)
        out: Array = self.low + (self.high - self.low) * between
        return out


NOTHING, ONE = Guess(0, 0, 0), Guess(1, 1, 1)


@dataclass(frozen=True)
class Condition:
    """Grades that may come: ``steps`` are numbers of the scale's steps, (2 ** repairs, draws), row
    ``k`` with those repairs done well whose bit is set in ``k``; ``grades`` the points of the
    steps."""

    grades: Array
    steps: Counts

    @cached_property
    def _table(self) -> Array:
        """Chance of each step in each row."""
        many, draws = self.grades.size, self.steps.shape[1]
        rows = [np.bincount(row, minlength=many) / draws for row in self.steps]
        out: Array = np.stack(rows)
        return out

    @property
    def now(self) -> Array:
        """Chance of each step as it lies."""
        return self.chances((), 1.0)

    def chances(self, repairs: tuple[int, ...], works: float) -> Array:
        """Chance of each step after some repairs, each turning out well by itself with the same
        chance: a mixture over all ways they may turn out."""
        rows, weights = self.ways(repairs, works)
        out: Array = weights @ self._table[rows]
        return out

    def ways(self, repairs: tuple[int, ...], works: float) -> tuple[Counts, Array]:
        """Rows of ``steps`` for all ways some repairs may turn out, and the chance of each."""
        rows, well = _ways(repairs)
        return rows, works**well * (1 - works) ** (len(repairs) - well)


@lru_cache(maxsize=64)
def _ways(repairs: tuple[int, ...]) -> tuple[Counts, Counts]:
    done = np.arange(1 << len(repairs))
    bits = done[:, None] >> np.arange(len(repairs)) & 1
    return (bits << np.array(repairs, dtype=np.int64)).sum(axis=1), bits.sum(axis=1)


@dataclass(frozen=True, slots=True)
class Prices:
    """Mean price at each step. ``now``: what the item would bring as it lies, None where that is
    read from the same prices. Logarithms of a price: ``level`` how unsure all of them are
    together, ``luck`` the scatter of one sale, ``slope`` how unsure the change by a point is, about
    grade ``about``; the sale is taken as the same whichever option is chosen. ``kept``: whether a
    change of slope leaves the worth as it lies where it is."""

    mean: Array
    now: float | None = None
    level: float = 0.0
    luck: float = 0.0
    slope: float = 0.0
    about: float = 0.0
    kept: bool = False

    @property
    def spread(self) -> float:
        """Standard deviation of the logarithm of the next sale."""
        return math.hypot(self.level, self.luck)


@dataclass(frozen=True, slots=True)
class Option:
    """One thing that can be done. ``repairs`` are bits of :class:`Condition`; ``works`` the chance
    of each to turn out well; ``mishap`` a chance and ``loses`` the share of the price it takes;
    ``factor`` what told treatment leaves of a price; ``chances`` of each step, where typed."""

    name: str
    kind: Kind = "own"
    repairs: tuple[int, ...] = ()
    works: Guess = ONE
    hours: Guess = NOTHING
    materials: float = 0.0
    mishap: Guess = NOTHING
    loses: Guess = NOTHING
    factor: Guess = ONE
    sent: bool = False
    chances: tuple[float, ...] | None = None


@dataclass(frozen=True, slots=True)
class Terms:
    """What work and sending cost. Shares are of 1; ``declared`` is the middle price where None.

    ``ceiling`` is the price up to which ``fee`` admits; above it ``next_fee`` is asked.
    """

    hour: Guess = NOTHING
    overhead: float = 0.0
    sale_fee: float = 0.0
    fee: float = 0.0
    ceiling: float = math.inf
    next_fee: float = 0.0
    per_item: float = 0.0
    insurance: float = 0.0
    declared: float | None = None
    wait: float = 0.0
    weeks: float = 0.0


@dataclass(frozen=True, slots=True)
class Case:
    """Everything that decides. ``tilt`` changes the logarithm of a price by so much a point of
    grade and ``scale`` all prices, for asking what would change the answer; ``caution`` counts so
    much of an expected loss beside the gain (0: not at all)."""

    condition: Condition
    options: tuple[Option, ...]
    terms: Terms = field(default_factory=Terms)
    prices: Prices | None = None
    tilt: float = 0.0
    scale: float = 1.0
    caution: float = 0.0

    def values(self) -> Array:
        """Mean price at each step."""
        prices = self.prices
        assert prices is not None
        out = prices.mean * self.scale
        if self.tilt:
            bent: Array = out * np.exp(self.tilt * (self.condition.grades - prices.about))
            here = self.condition.now
            kept = float(here @ out) / float(here @ bent) if prices.kept and here @ bent else 1.0
            out = bent * kept
        return out

    def worth_now(self) -> float:
        """Mean of what it would bring as it lies."""
        assert self.prices is not None
        if self.prices.now is not None:
            return self.prices.now * self.scale
        return float(self.condition.now @ self.values())


def chances_of(case: Case, option: Option) -> Array:
    """Chance of each step after an option."""
    if option.chances is not None:
        return np.array(option.chances)
    return case.condition.chances(option.repairs, option.works.mean)


def middle_price(values: Array, chances: Array) -> float:
    """The price that half the chances do not pass: what is declared where nothing else is said."""
    order = np.argsort(values, kind="stable")
    at = int(np.searchsorted(np.cumsum(chances[order]), 0.5 - 1e-12))
    return float(values[order][min(at, values.size - 1)])


def lines(case: Case, option: Option) -> tuple[tuple[str, float], ...]:
    """The parts of the expected gain, each with its name; they add up to it. Where no price is
    known, the costs alone."""
    if option.kind == "leave":
        return ()
    terms, out = case.terms, []
    if case.prices is not None:
        values, chances = case.values(), chances_of(case, option)
        plain = float(chances @ values)
        told = plain * option.factor.mean
        harmed = told * option.mishap.mean * option.loses.mean
        now = case.worth_now()
        out += [
            ("price afterwards, on average", plain),
            ("worth now", -now),
            ("told treatment takes", told - plain),
            ("a mishap takes, on average", -harmed),
            ("fee of the sale, on what is gained", -terms.sale_fee * (told - harmed - now)),
        ]
    work = option.hours.mean * terms.hour.mean
    out += [
        ("work", -work),
        ("overhead on the work", -work * terms.overhead),
        ("materials", -option.materials),
    ]
    if option.sent:
        out += [("fee of the service", -terms.fee), ("post", -terms.per_item)]
        if case.prices is not None:
            above = float(chances[values > terms.ceiling + 1e-9].sum())
            declared = middle_price(values, chances) if terms.declared is None else terms.declared
            out += [
                ("more fee above its ceiling", -above * max(terms.next_fee - terms.fee, 0.0)),
                ("insurance", -terms.insurance * declared),
                ("waiting", -terms.wait * terms.weeks * plain),
            ]
    return tuple((name, amount) for name, amount in out if amount)


def gain(case: Case, option: Option) -> float:
    """Expected gain over leaving it alone."""
    return sum(amount for _, amount in lines(case, option))
