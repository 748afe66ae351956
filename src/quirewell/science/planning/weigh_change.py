"""What would change which option is best: one number at a time, moved within its band.

``turns`` finds where another option overtakes (the break-even); ``worth_knowing`` is the expected
value of perfect information about one number alone (``howard1966``): what the mean gain would rise
by if it were known before choosing. No look costs less than nothing and none tells all, so it is
the most a look can be worth.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import scipy

from quirewell.science.planning.weigh import Array, Case, Guess, Option, gain

GRID = 21
NODES = (np.arange(25) + 0.5) / 25
ENDS = 1.6448536269514722  # of a normal: 5 % and 95 %


@dataclass(frozen=True, slots=True)
class Input:
    """One number that the answer rests on: its key, its band ``low`` to ``high``, where it stands
    now, equally likely ``nodes`` of it, and the case with it set."""

    key: str
    option: str
    low: float
    here: float
    high: float
    nodes: Array
    put: Callable[[Case, float], Case]


@dataclass(frozen=True, slots=True)
class Turn:
    """Beyond ``at`` (``side`` says on which side) ``instead`` gains more than what is best now."""

    input: Input
    at: float
    side: str
    instead: int


def inputs(case: Case) -> tuple[Input, ...]:
    """Every number of the case that is not sure."""
    out = []
    if not case.terms.hour.sure:
        out.append(_guessed("hour", "", case.terms.hour, _put_hour))
    for at, option in enumerate(case.options):
        for key in ("hours", "works", "mishap", "loses", "factor"):
            guess = getattr(option, key)
            if key == "works" and (not option.repairs or option.chances is not None):
                continue
            if not guess.sure and option.kind != "leave":
                out.append(_guessed(key, option.name, guess, _putter(at, key)))
    prices = case.prices
    if prices is not None and prices.slope:
        nodes = prices.slope * scipy.special.ndtri(NODES)
        reach = prices.slope * ENDS
        out.append(Input("slope", "", -reach, 0.0, reach, nodes, lambda c, x: replace(c, tilt=x)))
    if prices is not None and prices.level:
        nodes = np.exp(prices.level * scipy.special.ndtri(NODES) - prices.level**2 / 2)
        low, high = (math.exp(sign * prices.level * ENDS) for sign in (-1, 1))
        out.append(Input("level", "", low, 1.0, high, nodes, lambda c, x: replace(c, scale=x)))
    return tuple(out)


def _guessed(key: str, option: str, guess: Guess, put: Callable[[Case, float], Case]) -> Input:
    return Input(key, option, guess.low, guess.mean, guess.high, guess.at(NODES), put)


def _put_hour(case: Case, value: float) -> Case:
    return replace(case, terms=replace(case.terms, hour=Guess(value, value, value)))


def _putter(at: int, key: str) -> Callable[[Case, float], Case]:
    def put(case: Case, value: float) -> Case:
        set_to: dict[str, Any] = {key: Guess(value, value, value)}
        changed = replace(case.options[at], **set_to)
        return replace(case, options=(*case.options[:at], changed, *case.options[at + 1 :]))

    return put


def best(case: Case, allowed: Sequence[int]) -> int:
    """The option of the highest mean gain among those allowed; the first where they are alike."""
    gains = [gain(case, case.options[at]) for at in allowed]
    return allowed[int(np.argmax(np.round(gains, 9)))]


def turns(case: Case, allowed: Sequence[int]) -> tuple[Turn, ...]:
    """Where another option overtakes, the nearest place on either side of each input."""
    first = best(case, allowed)
    out = []
    for one in inputs(case):
        for side, end in (("below", one.low), ("above", one.high)):
            found = _turn(case, allowed, first, one, end)
            if found is not None:
                out.append(Turn(one, found[0], side, found[1]))
    return tuple(out)


def _turn(
    case: Case, allowed: Sequence[int], first: int, one: Input, end: float
) -> tuple[float, int] | None:
    held = one.here
    for value in np.linspace(one.here, end, GRID)[1:]:
        if best(one.put(case, float(value)), allowed) != first:
            low, high = held, float(value)
            for _ in range(40):
                middle = (low + high) / 2
                same = best(one.put(case, middle), allowed) == first
                low, high = (middle, high) if same else (low, middle)
            return high, best(one.put(case, high), allowed)
        held = float(value)
    return None


def worth_knowing(case: Case, allowed: Sequence[int], one: Input) -> float:
    """What knowing this number alone would add to the mean gain at most."""
    gains = np.array([
        [gain(put, put.options[at]) for at in allowed]
        for put in (one.put(case, float(value)) for value in one.nodes)
    ])  # fmt: skip
    return max(float(gains.max(axis=1).mean() - gains.mean(axis=0).max()), 0.0)


def worth_knowing_grade(case: Case, allowed: Sequence[int]) -> float:
    """The same for the grade it has as it lies, which a closer look at the damage would tell."""
    now = case.condition.steps[0]
    gains = np.stack([_by_draw(case, case.options[at]) for at in allowed])
    share = np.bincount(now) / now.size
    total = sum(
        share[step] * float(gains[:, now == step].mean(axis=1).max())
        for step in np.flatnonzero(share)
    )
    return max(float(total - gains.mean(axis=1).max()), 0.0)


def _by_draw(case: Case, option: Option) -> Array:
    """Mean gain in each draw of the condition."""
    steps = case.condition.steps
    if option.kind == "leave":
        return np.zeros(steps.shape[1])
    values = case.values()
    if option.chances is None:
        rows, weights = case.condition.ways(option.repairs, option.works.mean)
        after = weights @ values[steps[rows]]
    else:
        after = np.full(steps.shape[1], float(np.array(option.chances) @ values))
    prices = case.prices
    assert prices is not None
    after = after * option.factor.mean * (1 - option.mishap.mean * option.loses.mean)
    now = values[steps[0]] if prices.now is None else np.zeros(steps.shape[1])
    part: Array = (1 - case.terms.sale_fee) * (after - now)
    out: Array = part - part.mean() + gain(case, option)
    return out
