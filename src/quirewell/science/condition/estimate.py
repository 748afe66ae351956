"""A grade from a list of damage: value, band, what binds, what each kind of damage costs.

raw = max(0, min(all ceilings, 10 + offset - sum of deductions)), deductions capped one by one; the
grade is the step of the scale below it. With ``by_root`` the deductions of each code are added up
and the codes by the root of their squares, so that ten trifles do not weigh as one loss (our own
choice, off unless asked for). The band comes from draws with a fixed seed
(``jcgm101``): each extent normal with its u and cut at 0, each deduction log-normal and each
ceiling normal about the rule's value, and what was not looked at (half the time nothing, else
exponential; assumed). More damage never raises the value, and the order of rows does not matter.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
import scipy
from numpy.typing import NDArray

from quirewell.science.condition.rules import TOP, Rule, Rules
from quirewell.science.condition.scale import Scale, Step

Array = NDArray[np.float64]
DRAWS = 2000
SEED = 20260
_TAIL = DRAWS // 20  # draws below a 90 % band, and above it


@dataclass(frozen=True, slots=True, order=True)
class Damage:
    """One damage: ``extent`` in ``unit`` with its standard uncertainty ``u``; ``location`` is
    cover, interior, spine or empty; ``place`` and ``note`` are the record's own words."""

    code: str
    extent: float
    unit: str
    u: float = 0.0
    location: str = ""
    place: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        if not (math.isfinite(self.extent) and self.extent >= 0):
            raise ValueError(f"an extent is 0 or more, got {self.extent:g}")
        if not (math.isfinite(self.u) and self.u >= 0):
            raise ValueError(f"u of an extent is 0 or more, got {self.u:g}")


@dataclass(frozen=True, slots=True)
class Band:
    """A value in points, its standard uncertainty, and its 90 % band."""

    value: float
    u: float
    low90: float
    high90: float


@dataclass(frozen=True, slots=True)
class Deduction:
    """What one rule takes off: of how much damage, how many points, whether its cap was met."""

    rule: Rule
    amount: float
    points: Band
    capped: bool


@dataclass(frozen=True, slots=True)
class Limit:
    """A ceiling that holds, and of how much damage."""

    rule: Rule
    amount: float


@dataclass(frozen=True, slots=True)
class Unsure:
    """Where the band comes from: shares [0..1] by first order, and the widest single cause.

    ``widest`` is a damage, or the rule that is least sure (of kind unseen: what was not looked at);
    None where nothing is unsure. ``by_extents``: the damage whose extent matters most.
    """

    extents: float
    rules: float
    unseen: float
    widest: Damage | Rule | None
    by_extents: Damage | None


@dataclass(frozen=True, slots=True)
class Estimate:
    """The estimate; ``binding`` is the ceiling that sets the value, None where deductions do."""

    raw: Band
    grade: Step
    low: Step
    high: Step
    chances: tuple[tuple[Step, float], ...]
    binding: Limit | None
    limits: tuple[Limit, ...]
    deductions: tuple[Deduction, ...]
    flags: tuple[Rule, ...]
    treatments: tuple[Damage, ...]
    unrated: tuple[Damage, ...]
    unsure: Unsure


@dataclass(frozen=True, slots=True)
class Mended:
    """The estimate as if damage of ``codes`` were gone without trace; ``gain`` in raw points."""

    codes: tuple[str, ...]
    raw: Band
    gain: Band
    grade: Step


@lru_cache(maxsize=8)
def _normals(columns: int) -> Array:
    """Standard normal draws with a fixed seed, each with its mirror image: their mean is 0."""
    half = np.random.default_rng(SEED).standard_normal((DRAWS // 2, columns))
    out = np.concatenate([half, -half])
    out.setflags(write=False)
    return out


def _band(value: float, draws: Array) -> Band:
    return _bands(np.array([value]), draws[:, None])[0]


def _bands(values: Array, draws: Array) -> list[Band]:
    """Bands of many values at once from their draws, (draws, values)."""
    cut = np.partition(draws, (_TAIL, DRAWS - 1 - _TAIL), axis=0)
    low, high = cut[_TAIL], cut[DRAWS - 1 - _TAIL]
    # The value is what the rules say of what was seen; it lies in its own band.
    low, high = np.minimum(low, values), np.maximum(high, values)
    rows = zip(values, draws.std(axis=0), low, high, strict=True)
    return [Band(*(float(one) for one in row)) for row in rows]


class Grading:
    """A list of damage under a table of rules, drawn once; asked for the estimate and for what
    each repair would change."""

    def __init__(
        self, damages: Iterable[Damage], rules: Rules, scale: Scale, by_root: bool = False
    ) -> None:
        self.damages = tuple(sorted(damages))
        self.rules, self.scale, self.by_root = rules, scale, by_root
        self._hits: list[tuple[Rule, list[int]]] = []
        of: dict[tuple[str, str], list[int]] = {}
        for index, one in enumerate(self.damages):
            of.setdefault((one.code, one.unit), []).append(index)
        for rule in rules.rows:
            met = of.get((rule.code, rule.unit), [])
            met = [index for index in met if rule.counts(self.damages[index].location)]
            if met:
                self._hits.append((rule, met))
        self._offset = next((rule for rule in rules.rows if rule.kind == "offset"), None)
        self._deduct = self._of("deduct")
        self._ceiling = self._of("ceiling")
        self._unseen = self._of("unseen")
        self._extents = np.array([[one.extent for one in self.damages]]).reshape(1, -1)
        self._draw()

    def _of(self, kind: str) -> list[tuple[Rule, list[int]]]:
        return [(rule, met) for rule, met in self._hits if rule.kind == kind]

    def _amounts(self, extents: Array, rows: list[tuple[Rule, list[int]]]) -> Array:
        """Damage each rule counts, (draws, rules)."""
        out = np.empty((len(extents), len(rows)))
        for column, (rule, met) in enumerate(rows):
            part = extents[:, met]
            out[:, column] = part.sum(axis=1) if rule.over == "sum" else part.max(axis=1)
        return out

    def _points(self, extents: Array) -> Array:
        """Points off by each deduction, (draws, rules)."""
        rows = [rule for rule, _ in self._deduct]
        over = self._amounts(extents, self._deduct) - np.array([rule.start for rule in rows])
        each = np.array([rule.value / rule.per for rule in rows])
        cap = np.array([rule.cap for rule in rows])
        out: Array = np.minimum(np.maximum(over, 0.0) * each, cap)
        return out

    def _tops(self, extents: Array) -> Array:
        """Highest grade each ceiling leaves, ``TOP`` where it does not hold, (draws, rules)."""
        rows = [rule for rule, _ in self._ceiling]
        met = self._amounts(extents, self._ceiling) >= np.array([rule.start for rule in rows])
        return np.where(met, np.array([rule.value for rule in rows]), TOP)

    def raw_of(self, extents: Array) -> Array:
        """Raw values, the rules as they stand, of many sets of extents (n, damages)."""
        offset = self._offset.value if self._offset else 0.0
        points = self._points(extents)
        return _raw(self._total(points, self._codes()), self._tops(extents), offset)

    def _draw(self) -> None:
        """Draw once: points, tops and what was not looked at."""
        parts = [len(self.damages), len(self._deduct), len(self._ceiling), len(self._unseen), 1]
        edges = np.cumsum([0, *parts])
        normals = _normals(32 * math.ceil(edges[-1] / 32))
        cut = [normals[:, low:high] for low, high in pairwise(edges)]
        self._cut = cut
        u = np.array([one.u for one in self.damages])
        extents = np.maximum(self._extents + u * cut[0], 0.0)
        spread = np.array([rule.spread for rule, _ in self._deduct])
        self._all_points = self._points(extents) * np.exp(spread * cut[1])
        shift = np.array([rule.spread for rule, _ in self._ceiling]) * cut[2]
        tops = self._tops(extents)
        self._all_tops = np.where(tops < TOP, np.clip(tops + shift, 0.0, TOP), TOP)
        if self._unseen:
            mean = np.array([rule.value for rule, _ in self._unseen])
            hidden = np.where(cut[3] > 0, -(scipy.special.log_ndtr(-cut[3]) + math.log(2)), 0.0)
            self._hidden = (mean * hidden).sum(axis=1)
        else:
            self._hidden = np.zeros(DRAWS)
        self._offsets = np.zeros(DRAWS)
        if self._offset:
            self._offsets = self._offset.value + self._offset.spread * cut[4][:, 0]
        self._raws = self._raw_draws(())

    def _raw_draws(self, gone: Collection[str]) -> Array:
        keep = [rule.code not in gone for rule, _ in self._deduct]
        tops = [rule.code not in gone for rule, _ in self._ceiling]
        points = self._all_points[:, keep] if gone else self._all_points
        limits = self._all_tops[:, tops] if gone else self._all_tops
        codes = [code for code in self._codes() if code not in gone]
        return _raw(self._total(points, codes), limits, self._offsets - self._hidden)

    def _codes(self) -> list[str]:
        return [rule.code for rule, _ in self._deduct]

    def _total(self, points: Array, codes: list[str]) -> Array:
        """All points off, (draws): a plain sum, or by the root of the codes' squares."""
        if not self.by_root:
            return np.asarray(points.sum(axis=1))
        squares = np.zeros(len(points))
        for code in set(codes):
            squares += points[:, [one == code for one in codes]].sum(axis=1) ** 2
        return np.sqrt(squares)

    def _raw_value(self, gone: Collection[str]) -> float:
        extents = self._extents.copy()
        for index, one in enumerate(self.damages):
            if one.code in gone:
                extents[0, index] = 0.0
        return float(self.raw_of(extents)[0])

    def without(self, codes: Collection[str]) -> Mended:
        """As if the damage of these codes were gone without trace: the most a repair can gain."""
        value, draws = self._raw_value(codes), self._raw_draws(codes)
        gain = max(0.0, value - self._raw_value(()))
        return Mended(
            tuple(sorted(codes)), _band(value, draws), _band(gain, draws - self._raws),
            self.scale.floor(value),
        )  # fmt: skip

    def mendings(self, groups: Sequence[Collection[str]]) -> Array:
        """Raw values for every way in which repairs may turn out, (2 ** groups, draws): in row
        ``k`` the damage of group ``j`` is gone where bit ``j`` of ``k`` is set. The same draws in
        every row, so that ways can be compared pair by pair."""
        gone = (
            {code for bit, codes in enumerate(groups) if row >> bit & 1 for code in codes}
            for row in range(1 << len(groups))
        )
        return np.stack([self._raw_draws(codes) for codes in gone])

    def returned(self, noise: float) -> tuple[tuple[Step, float], ...]:
        """Chance of each step to come back, where whoever grades scatters by ``noise`` points."""
        edges = np.array([step.value for step in self.scale.steps[1:]])
        above = scipy.special.ndtr((self._raws[:, None] - edges) / noise).mean(axis=0)
        chances = -np.diff(np.concatenate([[1.0], above, [0.0]]))
        return tuple(zip(self.scale.steps, (float(one) for one in chances), strict=True))

    def estimate(self) -> Estimate:
        """The estimate of all damage given."""
        value = self._raw_value(())
        raw = _band(value, self._raws)
        points = self._points(self._extents)[0]
        amounts = self._amounts(self._extents, self._deduct)[0]
        deductions = [
            Deduction(rule, float(amount), band, band.value >= rule.cap)
            for (rule, _), amount, band in zip(
                self._deduct, amounts, _bands(points, self._all_points), strict=True
            )
            if band.value > 0
        ]  # fmt: skip
        deductions.sort(key=lambda one: (-one.points.value, one.rule.id))
        limits = self._limits(self._ceiling)
        offset = self._offset.value if self._offset else 0.0
        lowest = limits[0] if limits else None
        off = float(self._total(points[None, :], self._codes())[0])
        binds = lowest is not None and lowest.rule.value < TOP + offset - off
        rated = {index for rule, met in self._hits for index in met if rule.kind != "off"}
        return Estimate(
            raw, self.scale.floor(value), self.scale.floor(raw.low90), self.scale.floor(raw.high90),
            self._chances(), lowest if binds else None, limits, tuple(deductions),
            tuple(limit.rule for limit in self._limits(self._of("flag"))),
            tuple(self.damages[i] for _, met in self._of("separate") for i in met),
            tuple(one for i, one in enumerate(self.damages) if i not in rated), self._unsure(),
        )  # fmt: skip

    def _limits(self, rows: list[tuple[Rule, list[int]]]) -> tuple[Limit, ...]:
        """Rules that hold from their start on, the lowest value first."""
        amounts = self._amounts(self._extents, rows)[0]
        held = [
            Limit(rule, float(amount))
            for (rule, _), amount in zip(rows, amounts, strict=True)
            if amount >= rule.start
        ]
        return tuple(sorted(held, key=lambda one: (one.rule.value, one.rule.id)))

    def _chances(self) -> tuple[tuple[Step, float], ...]:
        edges = np.array([step.value for step in self.scale.steps[1:]]) - 1e-9
        found = np.bincount(np.searchsorted(edges, self._raws, side="right"),
                            minlength=len(self.scale.steps))  # fmt: skip
        return tuple(
            (step, float(count) / DRAWS)
            for step, count in zip(self.scale.steps, found, strict=True)
            if count
        )

    def _unsure(self) -> Unsure:
        """First-order shares: squared slope of the raw value on each standard normal drawn."""
        about = self._raws - self._raws.mean()
        slopes = [(part.T @ about / DRAWS) ** 2 for part in self._cut]
        # A slope smaller than the scatter of so many draws is none.
        slopes = [np.where(part > 9 * about.var() / DRAWS, part, 0.0) for part in slopes]
        causes: list[Damage | Rule | None] = [
            *self.damages, *(rule for rule, _ in self._deduct + self._ceiling + self._unseen),
            self._offset,
        ]  # fmt: skip
        every = np.concatenate(slopes)
        total = float(every.sum())
        if total == 0.0:
            return Unsure(0.0, 0.0, 0.0, None, None)
        read, unseen = float(slopes[0].sum()), float(slopes[3].sum())
        most = self.damages[int(np.argmax(slopes[0]))] if read else None
        return Unsure(
            read / total, max(0.0, (total - read - unseen) / total), unseen / total,
            causes[int(np.argmax(every))], most,
        )  # fmt: skip


def _raw(off: Array, tops: Array, offset: Array | float) -> Array:
    left = TOP + offset - off
    if tops.shape[1]:
        left = np.minimum(left, tops.min(axis=1))
    out: Array = np.clip(left, 0.0, TOP)
    return out
