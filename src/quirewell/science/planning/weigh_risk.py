"""What may come instead of the mean: gains of all options drawn together.

One draw is one state of the world: the damage, which repairs turn out well, a mishap or none, the
sale, hours and rates. All options meet the same draws, so that they are compared pair by pair.
Condition comes from its own draws; all else is drawn by strata (a Latin square) with a fixed seed.
Errors of a chance and of a mean come from 20 batches that share no draw of the condition.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy

from quirewell.science.planning.weigh import Array, Case, Counts, Guess, Option, lines

SEED = 1936
TIMES = 10  # every draw of the condition meets so many draws of all else
BATCHES = 20
WORST = 0.2
_GRID = np.linspace(0.0, 1.0, 1001)
_BASIC = ("level", "slope", "mishap", "loses", "factor", "hours", "hour", "grade")


@dataclass(frozen=True, slots=True)
class Risk:
    """Spread of an option's gain; ``loss_error`` and ``worst_error`` come from the drawing alone.
    ``shortfall``: the mean loss, gains counting as 0. ``beats``: the chance to gain more than each
    other option, in their order."""

    u: float
    low90: float
    high90: float
    loss: float
    loss_error: float
    worst: float
    worst_error: float
    shortfall: float
    beats: tuple[float, ...]


def risks(case: Case) -> tuple[Risk, ...]:
    """The risk of every option of a case whose prices are known."""
    gains = draw_gains(case)
    return tuple(_risk(row, gains) for row in gains)


def draw_gains(case: Case) -> Array:
    """Gains, (options, draws)."""
    base, tiles = case.condition.steps.shape[1], TIMES
    count = base * tiles
    bits = max((bit for one in case.options for bit in one.repairs), default=-1) + 1
    rng = np.random.default_rng(SEED)
    columns = len(_BASIC) + bits
    strata = np.stack([rng.permutation(count) for _ in range(columns)])
    uniform = (strata + rng.random((columns, count))) / count
    common = dict(zip(_BASIC, uniform, strict=False))
    index = np.tile(np.arange(base), tiles)
    now = case.condition.steps[0][index]
    # The chance of a grade typed by hand goes with how good the item turns out to be.
    order = np.lexsort((common["grade"], now))
    common["grade"] = np.empty(count)
    common["grade"][order] = (np.arange(count) + 0.5) / count
    world = _World(index, now, common, uniform[len(_BASIC) :])
    return np.stack([_gains(case, option, world) for option in case.options])


@dataclass(frozen=True, slots=True)
class _World:
    """Draws common to all options: rows of the condition, steps as it lies, shares by name."""

    index: Counts
    now: Counts
    shares: dict[str, Array]
    works: Array


@lru_cache(maxsize=256)
def _quantiles(guess: Guess) -> Array:
    return guess.at(_GRID)


def _at(guess: Guess, shares: Array) -> Array:
    """Values of a guess at many shares, read off a fine table."""
    if guess.sure:
        return np.full(shares.shape, guess.likely)
    out: Array = np.interp(shares, _GRID, _quantiles(guess))
    return out


def _gains(case: Case, option: Option, world: _World) -> Array:
    count = world.index.size
    if option.kind == "leave":
        return np.zeros(count)
    terms, prices = case.terms, case.prices
    assert prices is not None
    shares = world.shares
    values, sale = case.values(), _sale(case, world)
    at = _steps(case, option, world)
    after = values[at] * _at(option.factor, shares["factor"]) * sale(case.condition.grades[at])
    hit = shares["mishap"] < option.mishap.mean
    after = after * np.where(hit, 1 - _at(option.loses, shares["loses"]), 1.0)
    if prices.now is None:
        now = values[world.now] * sale(case.condition.grades[world.now])
    else:
        now = prices.now * case.scale * sale(np.full(count, prices.about))
    work = _at(option.hours, shares["hours"]) * _at(terms.hour, shares["hour"])
    rest = -sum(amount for name, amount in lines(case, option) if name in _SURE)
    out: Array = (1 - terms.sale_fee) * (after - now) - work * (1 + terms.overhead) - rest
    if option.sent:
        more = max(terms.next_fee - terms.fee, 0.0)
        out = out - np.where(values[at] > terms.ceiling + 1e-9, more, 0.0)
    return out


_SURE = ("materials", "fee of the service", "post", "insurance", "waiting")


def _sale(case: Case, world: _World) -> Callable[[Array], Array]:
    """The luck of the sale at some grades, of mean 1: the same for all options."""
    prices = case.prices
    assert prices is not None
    level = np.exp(
        prices.spread * scipy.special.ndtri(world.shares["level"]) - prices.spread**2 / 2
    )
    if not prices.slope:
        return lambda grades: level
    turn = prices.slope * scipy.special.ndtri(world.shares["slope"])

    def factor(grades: Array) -> Array:
        away = grades - prices.about
        out: Array = level * np.exp(turn * away - (prices.slope * away) ** 2 / 2)
        return out

    return factor


def _steps(case: Case, option: Option, world: _World) -> Counts:
    """The step each draw ends on."""
    if option.chances is not None:
        edges = np.cumsum(option.chances)[:-1]
        return np.searchsorted(edges, world.shares["grade"], side="right")
    row = np.zeros(world.index.size, dtype=np.int64)
    for bit in option.repairs:
        row += (world.works[bit] < option.works.mean).astype(np.int64) << bit
    return case.condition.steps[row, world.index]


def _risk(mine: Array, gains: Array) -> Risk:
    loss = mine < -0.005  # less than half a hundredth is no loss
    losses, worsts = [], []
    for batch in _batches(mine.size):
        losses.append(float(loss[batch].mean()))
        worsts.append(_worst(mine[batch]))
    return Risk(
        float(mine.std()), float(np.quantile(mine, 0.05)), float(np.quantile(mine, 0.95)),
        float(loss.mean()), _error(losses), _worst(mine), _error(worsts),
        float(np.maximum(-mine, 0.0).mean()),
        tuple(float((mine > other + 0.005).mean()) for other in gains),
    )  # fmt: skip


def _batches(count: int) -> list[Counts]:
    """Draws in batches; a draw of the condition and its mirror image stay together."""
    base = count // TIMES
    half = max(base // 2, 1)
    batch = (np.arange(count) % base % half) * BATCHES // half
    return [np.flatnonzero(batch == one) for one in range(min(BATCHES, half))]


def _worst(gains: Array) -> float:
    """Mean of the worst fifth."""
    many = max(round(WORST * gains.size), 1)
    return float(np.partition(gains, many - 1)[:many].mean())


def _error(parts: Sequence[float]) -> float:
    return float(np.std(parts, ddof=1) / len(parts) ** 0.5) if len(parts) > 1 else 0.0
