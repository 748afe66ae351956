"""One wrong hole on a sheet: found by leaving each out, where all together are improbable."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from quirewell.science.booklet.lie import Lie, Table
from quirewell.science.booklet.rigid import Array, applied, fit

# How improbable the holes of any one sheet must be together, and what is left may be at most.
IMPROBABLE = 0.01
LEFT = 0.001
# What two holes left out differ by (in chi-square) before the one is surely the wrong one.
APART = 6.0
# Turns of the sheets scatter by this at least [rad]: a hole left out that turns its sheet far more
# is the less likely.
TURNS = 2e-3
_ROUNDS = 6


@dataclass(frozen=True, slots=True)
class Suspect:
    """A hole that does not belong where it is: its sheet and place; another that might be meant as
    well (None: surely this one)."""

    sheet: int
    place: int
    instead: int | None


@dataclass(frozen=True, slots=True)
class Misfit:
    """How well each sheet fits what the others make of the pattern: ``chi`` (n,) its chi-square,
    ``free`` (n,) its degrees of freedom, ``p`` (n,) how often chance does worse; ``raised`` by what
    all uncertainties are too small (1: they are not); ``scaled`` (n,) where another scale explains
    it."""

    chi: Array
    free: Array
    p: Array
    raised: float
    scaled: NDArray[np.bool_]


def look(
    table: Table, lie: Lie, known_raised: float | None = None
) -> tuple[Misfit, Suspect | None]:
    """The misfit of each sheet, and the worst hole where leaving one out settles it.

    Each sheet is laid by a closed rotation on the mean of the *others*, so that a wrong hole does
    not spoil its own pattern; the others' own uncertainty counts. With five sheets or more whose
    misfit is improbable as a whole, all uncertainties are raised by the middle sheet's misfit
    (Birge's ratio [birge1932], made robust).
    """
    count, places = table.weight.shape
    placed = lie.poses.place(table.at)
    sums = (table.weight[..., None] * placed).sum(0)
    whole = table.weight.sum(0)
    others = whole - table.weight
    shared = (table.weight > 0) & (others > 1e-12 * np.maximum(whole, 1e-300))
    held = np.where(shared, others, 1.0)
    pattern = (sums - table.weight[..., None] * placed) / held[..., None]
    inverse = 1 / np.where(shared, table.weight, 1.0) + 1 / held
    weights = np.where(shared, 1 / inverse, 0.0)
    # Layer 0 leaves nothing out, layer j + 1 the hole at place j.
    layers = np.repeat(weights[None], places + 1, axis=0)
    for j in range(places):
        layers[j + 1, :, j] = 0.0
    chi, turn = _laid(placed, pattern, layers, table.slack)
    free = 2.0 * (layers > 0).sum(-1) - 3.0
    raised = known_raised or _raised(chi[0], free[0])
    chi = chi / raised**2
    p = np.where(
        free > 0, scipy.special.chdtrc(np.maximum(free, 1), np.where(free > 0, chi, 0)), 1.0
    )
    like_scaled = _scaled_chi(placed, pattern, weights, table.slack) / raised**2
    scaled = (p[0] < IMPROBABLE / count) & (
        scipy.special.chdtrc(np.maximum(free[0] - 1, 1), like_scaled) > LEFT
    ) & (like_scaled <= np.where(free[1:] > 0, chi[1:], np.inf).min(0) + APART)  # fmt: skip
    misfit = Misfit(chi[0], free[0], p[0], raised, scaled)
    return misfit, _suspect(misfit, chi[1:], free[1:], p[1:], lie.poses.turn + turn[1:], weights)


def _laid(placed: Array, pattern: Array, layers: Array, slack: Array) -> tuple[Array, Array]:
    """Chi-square beyond slack and turn of every sheet in every layer; the slack by majorisation:
    the aim is the nearest point of the disc about its place."""
    points = np.broadcast_to(placed, (*layers.shape, 2))
    aims = np.broadcast_to(pattern, points.shape)
    slacked = bool((slack > 0).any())
    targets = aims
    for _ in range(_ROUNDS if slacked else 1):
        motion = fit(points, targets, layers)
        off = applied(points, motion) - aims
        away = np.linalg.norm(off, axis=-1)
        over = np.maximum(0.0, away - slack)
        if slacked:
            targets = aims + off * (np.minimum(1.0, slack / np.maximum(away, 1e-300)))[..., None]
    return (layers * over**2).sum(-1), motion[0]


def _scaled_chi(placed: Array, pattern: Array, weights: Array, slack: Array) -> Array:
    """Chi-square of every sheet when it may also be larger or smaller as a whole."""
    motion = fit(placed, pattern, weights)
    laid = applied(placed, motion) - motion[2][:, None, :]
    aims = pattern - motion[2][:, None, :]
    by = (weights * (laid * aims).sum(-1)).sum(-1)
    scale = by / np.maximum((weights * (laid**2).sum(-1)).sum(-1), 1e-300)
    away = np.linalg.norm(scale[:, None, None] * laid - aims, axis=-1)
    return np.asarray((weights * np.maximum(0.0, away - slack) ** 2).sum(-1))


def _raised(chi: Array, free: Array) -> float:
    """By what the uncertainties are too small, the same for all sheets; 1 where they are not."""
    held = free > 0
    if held.sum() < 5:
        return 1.0
    ratio = float(np.median(chi[held] / free[held]))
    usual = 0.87  # the middle of chi-square by its 5 degrees of freedom
    several = float(scipy.special.chdtrc(free[held].sum(), ratio / usual * free[held].sum()))
    return float(np.sqrt(max(1.0, ratio / usual))) if several < LEFT else 1.0


def _suspect(
    misfit: Misfit, chi: Array, free: Array, p: Array, turn: Array, weights: Array
) -> Suspect | None:
    """The hole whose absence settles the sheet that fits worst."""
    count = len(misfit.chi)
    middle = np.median(turn, axis=0)
    usual = float(np.median(middle))
    spread = max(TURNS, 1.4826 * float(np.median(np.abs(middle - usual))))
    left_out = (weights.T > 0) & (free > 0)
    # Two degrees of freedom go with a hole: their gain must be as improbable as the whole.
    gain = misfit.chi - chi
    settles = left_out & (p > LEFT) & (gain > -2 * np.log(IMPROBABLE / count))
    settles &= (misfit.p < IMPROBABLE / count) & ~misfit.scaled
    if not settles.any():
        return None
    score = np.where(left_out, chi + ((turn - usual) / spread) ** 2, np.inf)
    sheets = np.flatnonzero(settles.any(0))
    sheet = int(sheets[np.argmax(misfit.chi[sheets])])
    mine = np.where(settles[:, sheet], score[:, sheet], np.inf)
    order = np.argsort(mine)
    other = int(order[1]) if len(order) > 1 else -1
    close = other >= 0 and mine[other] - mine[order[0]] < APART
    return Suspect(sheet, int(order[0]), other if close else None)
