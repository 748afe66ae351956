"""The highest sensible bid for something known only by a seller's photographs.

What it would bring is a mixture of levels (grades it may have), each log-normal or as typed by
hand, times a factor for each hidden fault that may be there, independent of one another (assumed).
Chances of faults follow from the answers to the signs by Bayes' rule. Money in one currency;
shares 0 to 1. Means are exact sums; odds come from a grid of logarithms of step ``STEP``, so that
a bid read from them is right to a thousandth of the price.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np
import scipy
from numpy.typing import NDArray

from quirewell.science.planning.typed_range import Range

Array = NDArray[np.float64]
Answer = Literal["", "not seen", "seen", "fine", "asked", "vouched"]
ANSWERS: tuple[Answer, ...] = ("", "not seen", "seen", "fine", "asked", "vouched")
OPEN: tuple[Answer, ...] = ("", "not seen", "asked", "vouched")
STEP = 0.0005
FEWER_TELL = 0.5  # sellers of a fault who say that there is none, being asked (assumed)
_REACH = 6.0  # standard deviations of a log-normal on the grid
Spread = float | Range  # a number that is sure, or low, likely and high


def mean_of(spread: Spread) -> float:
    """Mean of a number or of a range typed by hand."""
    return spread.mean if isinstance(spread, Range) else spread


@dataclass(frozen=True, slots=True)
class Level:
    """One grade it may have: its ``chance``, and what it would bring there before fees: a sure
    sum or a typed range; or a ``scatter`` of one sale about the median (standard deviation of the
    logarithm), the median known to ``u_log``."""

    chance: float
    value: Spread
    scatter: float = 0.0
    u_log: float = 0.0

    @property
    def mean(self) -> float:
        """Mean price; doubt about the median does not raise it."""
        return mean_of(self.value) * math.exp(self.scatter**2 / 2)


@dataclass(frozen=True, slots=True)
class Fault:
    """A hidden fault: its chance before anything was looked at, and the factor it leaves."""

    key: str
    chance: float
    factor: Spread


@dataclass(frozen=True, slots=True)
class Sign:
    """A sign of a fault: chance to see it where the fault is (``hit``) and where it is not."""

    key: str
    fault: str
    hit: float
    false: float


@dataclass(frozen=True, slots=True)
class Terms:
    """What goes off. ``fee`` share of a price a sale costs, ``premium`` share on top of a bid,
    ``wait`` share lost by waiting, ``told`` factor for treatment that is disclosed; the wanted
    return is ``want`` money and ``want_share`` of all money and time put in."""

    post: float = 0.0
    materials: float = 0.0
    hours: float = 0.0
    hourly: float = 0.0
    grading: float = 0.0
    fee: float = 0.0
    premium: float = 0.0
    wait: float = 0.0
    told: Spread = 1.0
    want: float = 0.0
    want_share: float = 0.0

    @property
    def spent(self) -> float:
        """What is spent whatever it sells for, the bid left out.

        >>> Terms(post=8, materials=3, hours=2, hourly=10, grading=25).spent
        56.0
        """
        return float(self.post + self.materials + self.hours * self.hourly + self.grading)

    @property
    def kept(self) -> float:
        """Share of the price that is left of a sale."""
        return (1 - self.fee) * (1 - self.wait)


def chance_of(fault: Fault, signs: Iterable[Sign], answers: Mapping[str, str]) -> float:
    """Chance that a fault is there, given what was answered to its signs (independent given it).

    A seller's word counts once for a fault however many signs were asked about.

    >>> round(chance_of(Fault("f", 0.1, 0.5), [Sign("s", "f", 0.8, 0.2)], {"s": "seen"}), 4)
    0.3077
    """
    odds = fault.chance, 1 - fault.chance
    mine = [one for one in signs if one.fault == fault.key]
    for one in mine:
        answer = answers.get(one.key, "")
        if answer == "seen":
            odds = odds[0] * one.hit, odds[1] * one.false
        elif answer == "fine":
            odds = odds[0] * (1 - one.hit), odds[1] * (1 - one.false)
    if any(answers.get(one.key) == "vouched" for one in mine):
        odds = odds[0] * FEWER_TELL, odds[1]
    total = sum(odds)
    return odds[0] / total if total > 0 else fault.chance


@dataclass(frozen=True, slots=True)
class Odds:
    """Distribution of what is left of a sale: chances ``below`` the edges of the grid (log)."""

    edges: Array
    below: Array

    def quantile(self, share: float) -> float:
        """Largest sum that the sale falls short of in no more than a ``share`` of cases."""
        at = int(np.searchsorted(self.below, share + 1e-9, side="right"))
        if at == 0 or at == len(self.below):
            return math.exp(self.edges[min(at, len(self.edges) - 1)])
        low, high = self.below[at - 1], self.below[at]
        part = (share - low) / (high - low)
        return math.exp(self.edges[at - 1] + STEP * min(max(part, 0.0), 1.0))

    def short_of(self, money: float) -> float:
        """Chance that the sale leaves less than ``money`` by more than a thousandth."""
        if money <= 0:
            return 0.0
        return float(np.interp(math.log(money) - STEP, self.edges, self.below, 0.0, 1.0))


@dataclass(frozen=True, slots=True)
class Question:
    """An open sign: chance that it would be seen, the highest bid after either answer, and what
    the answer is worth at the price asked about (money saved or gained, on average)."""

    sign: str
    chance_seen: float
    if_seen: float
    if_fine: float
    worth: float


@dataclass(frozen=True)
class Bid:
    """An offer as it is known now."""

    levels: tuple[Level, ...]
    terms: Terms
    faults: tuple[Fault, ...] = ()
    signs: tuple[Sign, ...] = ()
    answers: Mapping[str, str] | None = None

    def chances(self) -> dict[str, float]:
        """Chance of each fault by the answers."""
        known = self.answers or {}
        return {one.key: chance_of(one, self.signs, known) for one in self.faults}

    def mean(self, chances: Mapping[str, float] | None = None) -> float:
        """Mean of what a sale leaves, after fees, disclosure, waiting and faults: exact."""
        there = self.chances() if chances is None else chances
        out = sum(one.chance * one.mean for one in self.levels)
        for fault in self.faults:
            out *= 1 - there[fault.key] * (1 - mean_of(fault.factor))
        return out * mean_of(self.terms.told) * self.terms.kept

    def surplus(self, bid: float, mean: float | None = None) -> float:
        """Mean gain less the wanted return, at a bid."""
        terms, sale = self.terms, self.mean() if mean is None else mean
        spent = terms.spent + bid * (1 + terms.premium)
        return sale - spent - terms.want - terms.want_share * spent

    def highest(self, mean: float | None = None) -> float:
        """Bid at which the mean gain is just the wanted return; below 0 where there is none."""
        terms, sale = self.terms, self.mean() if mean is None else mean
        return ((sale - terms.want) / (1 + terms.want_share) - terms.spent) / (1 + terms.premium)

    def gain(self, bid: float) -> float:
        """Mean gain at a bid, own time counted."""
        return self.mean() - self.terms.spent - bid * (1 + self.terms.premium)

    def odds(self) -> Odds:
        """Distribution of what a sale leaves."""
        there = self.chances()
        start, masses = _mixture(
            [(one.chance, one.value, math.hypot(one.scatter, one.u_log)) for one in self.levels]
        )
        for spreads in (
            [(1.0, self.terms.told, 0.0)],
            *(
                [(1 - there[one.key], 1.0, 0.0), (there[one.key], one.factor, 0.0)]
                for one in self.faults
            ),
        ):
            begin, more = _mixture(spreads)
            start, masses = start + begin, scipy.signal.fftconvolve(masses, more)
        masses = np.maximum(masses, 0.0)
        edges = (start + np.arange(len(masses), dtype=np.float64) + 0.5) * STEP
        below = np.asarray(np.cumsum(masses) / masses.sum(), np.float64)
        return Odds(np.asarray(edges + math.log(self.terms.kept), np.float64), below)

    def bid_at_risk(self, odds: Odds, share: float) -> float:
        """Bid at which a loss has the chance ``share``; below 0 where there is none."""
        return (odds.quantile(share) - self.terms.spent) / (1 + self.terms.premium)

    def chance_of_loss(self, odds: Odds, bid: float) -> float:
        """Chance that a bid ends in a loss, own time counted."""
        return odds.short_of(self.terms.spent + bid * (1 + self.terms.premium))

    def falls(self) -> tuple[tuple[str, float], ...]:
        """By how much the highest bid would rise without each cause, the most first: "fault:key"
        or a term's name."""
        now, out = self.highest(), []
        there = self.chances()
        for fault in self.faults:
            out.append((f"fault:{fault.key}", self.highest(self.mean({**there, fault.key: 0.0}))))
        for name, gone in _GONE.items():
            out.append((name, replace(self, terms=replace(self.terms, **gone)).highest()))
        found = [(name, bid - now) for name, bid in out if bid - now > 5e-3]
        return tuple(sorted(found, key=lambda one: (-one[1], one[0])))

    def questions(self, price: float | None) -> tuple[Question, ...]:
        """Open signs by what an answer is worth at a ``price`` (the highest bid where None)."""
        known, there = self.answers or {}, self.chances()
        faults = {one.key: one for one in self.faults}
        at = max(self.highest(), 0.0) if price is None else price
        out = []
        for sign in self.signs:
            if known.get(sign.key, "") not in OPEN:
                continue
            fault = faults[sign.fault]
            p = there[fault.key]
            seen = p * sign.hit + (1 - p) * sign.false
            after = []
            for chance, part in ((seen, sign.hit), (1 - seen, 1 - sign.hit)):
                moved = p * part / chance if chance > 0 else p
                after.append(self.mean({**there, fault.key: moved}))
            if_seen, if_fine = (self.surplus(at, mean) for mean in after)
            blind = max(seen * if_seen + (1 - seen) * if_fine, 0.0)
            worth = seen * max(if_seen, 0.0) + (1 - seen) * max(if_fine, 0.0) - blind
            out.append(
                Question(
                    sign.key, seen, self.highest(after[0]), self.highest(after[1]), max(worth, 0.0)
                )
            )
        return tuple(sorted(out, key=lambda one: (-round(one.worth, 6), one.if_seen, one.sign)))


# What a term is when it costs nothing.
_GONE: dict[str, dict[str, float]] = {
    "post": {"post": 0.0},
    "materials": {"materials": 0.0},
    "hours": {"hours": 0.0},
    "grading": {"grading": 0.0},
    "fee": {"fee": 0.0},
    "premium": {"premium": 0.0},
    "wait": {"wait": 0.0},
    "told": {"told": 1.0},
    "want": {"want": 0.0, "want_share": 0.0},
}


def down_to_cents(money: float) -> float:
    """Money rounded down to hundredths, so that a bid never passes what was worked out.

    >>> down_to_cents(40.0), down_to_cents(39.999), down_to_cents(-0.001)
    (40.0, 39.99, -0.01)
    """
    return math.floor(round(100 * money, 6)) / 100


def _mixture(parts: Sequence[tuple[float, Spread, float]]) -> tuple[int, Array]:
    """Masses of a mixture (chance, value, scatter) at the nodes of the grid, from a first node."""
    spans = []
    for _, value, scatter in parts:
        low, high = (value.low, value.high) if isinstance(value, Range) else (value, value)
        reach = _REACH * scatter
        spans.append((math.log(low) - reach, math.log(high) + reach))
    start = math.floor(min(low for low, _ in spans) / STEP) - 1
    stop = math.ceil(max(high for _, high in spans) / STEP) + 1
    out = np.zeros(stop - start + 1)
    edges = (start + np.arange(len(out) + 1) - 0.5) * STEP
    for chance, value, scatter in parts:
        if isinstance(value, Range):
            part = (np.exp(edges) - value.low) / (value.high - value.low)
            below = scipy.special.betainc(*value.shape, np.clip(part, 0.0, 1.0))
        elif scatter > 0:
            below = scipy.special.ndtr((edges - math.log(value)) / scatter)
        else:
            at = math.log(value) / STEP - start
            node = math.floor(at)
            out[node] += chance * (1 - (at - node))
            out[node + 1] += chance * (at - node)
            continue
        out += chance * np.diff(below)
    return start, out


def grade_chances(
    low: float, likely: float, high: float, width: float = 0.5
) -> tuple[tuple[float, float], ...]:
    """A band of grades guessed from photographs as chances of grades every ``width`` points: each
    the part of a PERT distribution that lies nearest to it.

    >>> [(grade, round(chance, 4)) for grade, chance in grade_chances(4, 5, 6, 1)]
    [(4.0, 0.1035), (5.0, 0.793), (6.0, 0.1035)]
    """
    if low == high:
        return ((likely, 1.0),)
    typed = Range(low, likely, high)
    count = max(1, round((high - low) / width))
    grades = [low + (high - low) * k / count for k in range(count + 1)]
    cuts = [0.0, *((a + b) / 2 for a, b in pairwise(grades)), 11.0]
    below = [
        float(scipy.special.betainc(*typed.shape, min(max((cut - low) / (high - low), 0.0), 1.0)))
        for cut in cuts
    ]
    return tuple(
        (grade, after - before)
        for grade, (before, after) in zip(grades, pairwise(below), strict=True)
        if after > before
    )
