"""A ladder of paper tones of one's own, measured once, and the step a leaf's tone falls on.

The card is whatever its owner laid out: any number of papers in order, each with its CIELAB. A
tone is never just called a step: its uncertainty makes each step more or less probable, and a
tone off the ladder is said to be off it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.difference import ciede2000

Array = NDArray[np.float64]
LEAST_STEPS, MOST_STEPS = 2, 40
_DRAWS = 4000
_LONGEST = 4000
# How well a step of the card is known, CIELAB each, unless its owner says (assumed).
STEP_U = 0.3


@dataclass(frozen=True, slots=True)
class Step:
    """One paper of the card: its name and CIELAB D50."""

    name: str
    lab: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class OnCard:
    """Where a tone falls: ``probability`` of each step (sums to 1), the most probable one.

    ``away_de00`` is how far the tone lies from that step; ``off`` says that it lies off the
    ladder, and ``says`` it all in words.
    """

    step: int
    probability: tuple[float, ...]
    away_de00: float
    off: bool
    says: str


def card_text(steps: tuple[Step, ...]) -> str:
    """The card in one line: "name L a b; name L a b"."""
    return "; ".join(
        f"{step.name} {' '.join(f'{value:.2f}' for value in step.lab)}" for step in steps
    )


def read_card(text: str) -> tuple[Step, ...]:
    """Read a card: one step a line or between semicolons, a name and L* a* b*, in order.

    Raises
    ------
    ValueError
        in a sentence: no steps, two of one name, or values that are no paper
    """
    if len(text) > _LONGEST:
        raise ValueError(f"a tone card has at most {MOST_STEPS} steps; {len(text)} letters given")
    steps = [_step(line) for line in text.replace(";", "\n").splitlines() if line.strip()]
    if not LEAST_STEPS <= len(steps) <= MOST_STEPS:
        raise ValueError(
            f"a tone card has {LEAST_STEPS} to {MOST_STEPS} steps, each a name and L* a* b* (as in "
            f"'3 78.2 4.1 19.5'), got {len(steps)}"
        )
    names = [step.name for step in steps]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise ValueError(f"two steps of the tone card are called {twice!r}")
    apart = ciede2000(*(np.array([s.lab for s in part]) for part in (steps[:-1], steps[1:])))
    if apart.min() < 0.2:
        raise ValueError(
            f"steps {names[int(np.argmin(apart))]!r} and {names[int(np.argmin(apart)) + 1]!r} of "
            "the tone card have the same tone; leave one out"
        )
    return tuple(steps)


def _step(line: str) -> Step:
    words = line.replace(",", " ").split()
    try:
        values = [float(word) for word in words[-3:]]
    except ValueError:
        values = []
    name = " ".join(words[:-3])[:40]
    good = len(values) == 3 and all(map(math.isfinite, values)) and name
    if not good or not (5 <= values[0] <= 100 and max(abs(v) for v in values[1:]) <= 80):
        raise ValueError(
            f"a step of the tone card is a name and L* a* b* of a paper (as in '3 78.2 4.1 19.5'), "
            f"got {line.strip()[:60]!r}"
        )
    return Step(name, (values[0], values[1], values[2]))


def on_card(
    lab: tuple[float, float, float], u_lab: tuple[float, float, float], steps: tuple[Step, ...],
    step_u: float = STEP_U,
) -> OnCard:  # fmt: skip
    """Where a tone of uncertainty ``u_lab`` (standard, each of L*, a*, b*) falls on a card.

    Each draw takes the tone and every step anew within their uncertainties, and goes to the
    nearest step by CIEDE2000; seeded, so that the same question has the same answer.
    """
    rng = np.random.default_rng(1931)
    card = np.array([step.lab for step in steps])
    tones = np.array(lab) + rng.normal(size=(_DRAWS, 3)) * np.array(u_lab)
    steps_drawn = card + step_u * rng.normal(size=(_DRAWS, len(card), 3))
    nearest = np.argmin(ciede2000(tones[:, None, :], steps_drawn), axis=1)
    share = np.bincount(nearest, minlength=len(card)) / _DRAWS
    best = int(np.argmax(share))
    away = ciede2000(np.array(lab), card)
    near = int(np.argmin(away))
    off = bool(away[near] > _reach(card, near) + 2.0 * max(u_lab))
    says = _says(lab, steps, share, best, float(away[near]), off)
    return OnCard(best, tuple(float(p) for p in share), float(away[near]), off, says)


def _reach(card: Array, near: int) -> float:
    """How far from a step a tone may lie and still be on the ladder: half its widest gap, and 1."""
    gaps = ciede2000(card[:-1], card[1:])
    beside = gaps[max(0, near - 1) : near + 1]
    return float(0.5 * beside.max() + 1.0)


def _says(
    lab: tuple[float, float, float], steps: tuple[Step, ...], share: Array, best: int,
    away: float, off: bool,
) -> str:  # fmt: skip
    likely = [
        f"step {steps[index].name}: {100 * share[index]:.0f} %"
        for index in np.argsort(-share)
        if share[index] >= 0.05
    ]
    words = ", ".join(likely)
    if not off:
        return words
    ends = sorted((steps[0].lab[0], steps[-1].lab[0]))
    if lab[0] > ends[1]:
        where = "lighter than its lightest step"
    elif lab[0] < ends[0]:
        where = "darker than its darkest step"
    else:
        where = "of another hue than its steps"
    return f"off the card, {where}: nearest is step {steps[best].name}, {away:.1f} CIEDE2000 away"
