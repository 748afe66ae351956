"""How all sheets lie on one common pattern of holes: the least sum over poses and pattern at once.

Sum over holes of w (max(0, r - c)^2 + e r^2): r the distance of a placed hole from its place in the
pattern, c its slack, w = 1 / u^2; e is tiny and only settles where a sheet lies within its slack.
Soft rows add w (value - target)^2; limits are kept. Linearised in shift and turn the sum is convex,
so Newton's steps with its own curvature come to the one answer; under limits each is a
least-distance problem. One sheet, the reference, does not move.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quirewell.science.booklet.least_distance import NoRoom, limited_step
from quirewell.science.booklet.limits import ARM_MM, Rows
from quirewell.science.booklet.rigid import Array, Poses, applied, fit

# Pull to the middle of the slack, by the weight of a hole beyond it.
PULL = 1e-4
_STEPS = 60
# Limits that leave no room at all (a turn is not quite straight) give by the first that does.
_SPARES_MM = (0.0, 1e-6, 1e-4, 1e-2, 1.0, 100.0)
# A step that would gain less of the sum than this is the last one.
SETTLED = 1e-10


@dataclass(frozen=True, slots=True)
class Table:
    """Holes of ``n`` sheets by the ``k`` places of the pattern: where (n, k, 2), uncertainty
    (n, k) [mm], slack (n, k) [mm], weight (n, k) (0: none there, or set aside), whether torn."""

    at: Array
    u: Array
    slack: Array
    weight: Array
    torn: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Lie:
    """The sheets' poses and the pattern (k, 2) they lie on, in the reference sheet's frame."""

    poses: Poses
    pattern: Array


def first_lie(table: Table, reference: int) -> Lie:
    """A start: sheets laid in turn on the mean of those that lie, by closed rotations. A sheet
    that shares no hole stays as it is."""
    count = len(table.at)
    laid = np.zeros(count, dtype=bool)
    laid[reference] = True
    placed = table.at.copy()
    turn, shift = np.zeros(count), np.zeros((count, 2))
    for sweep in range(count + 4):
        held = table.weight * laid[:, None]
        whole = held.sum(0)
        pattern = (held[..., None] * placed).sum(0) / np.maximum(whole, 1e-300)[:, None]
        weights = table.weight * (whole > 0)
        shared = (weights > 0).sum(1)
        # Those that share two places or more come first; a single one says nothing of the turn.
        best = min(2, int(shared[~laid].max())) if not laid.all() else 1
        ready = laid | (shared >= max(best, 1))
        more = bool((ready & ~laid).any())
        motion = fit(table.at, np.broadcast_to(pattern, table.at.shape), weights)
        moved = applied(table.at, motion)
        placed = np.where(ready[:, None, None], moved, table.at)
        turn = np.where(ready, motion[0], 0.0)
        shift = np.where(ready[:, None], applied(np.zeros((count, 1, 2)), motion)[:, 0], 0.0)
        laid = ready
        if not more and sweep >= 4:
            break
    poses = Poses(turn, shift, np.zeros(2)).seen_from(reference)
    alone = ~((table.weight > 0) & ((table.weight > 0).sum(0) > 1)).any(1)
    poses = Poses(
        np.where(alone, 0.0, poses.turn), np.where(alone[:, None], 0.0, poses.shift), poses.centre
    ).about(_middle(table.at[reference], table.weight[reference]))
    return Lie(poses, mean_pattern(poses.place(table.at), table.weight))


def _middle(points: Array, weights: Array) -> Array:
    held = points[weights > 0]
    return np.asarray(held.mean(0) if len(held) else points.mean(0))


def mean_pattern(placed: Array, weights: Array) -> Array:
    """The weighted mean of placed holes (k, 2)."""
    whole = np.maximum(weights.sum(0), 1e-300)
    return np.asarray((weights[..., None] * placed).sum(0) / whole[:, None])


def settle(
    table: Table, start: Lie, reference: int, soft: Rows, limits: Rows | None = None,
    moves: bool = True, settled: float = SETTLED,
) -> Lie:  # fmt: skip
    """The least sum from a start; ``moves``: whether the pattern moves with the sheets. Where it
    does not there need be no reference (-1)."""
    count, places = table.weight.shape
    free = np.ones(3 * count + 2 * places * moves, dtype=bool)
    if reference >= 0:
        free[3 * reference : 3 * reference + 3] = False
    poses, pattern = start.poses, start.pattern
    best = _sum(table, poses, pattern, soft)
    for number in range(_STEPS):
        gradient, hessian = _slope_and_curve(table, poses, pattern, soft, moves)
        step = np.zeros(len(free))
        step[free] = _step(gradient[free], hessian[np.ix_(free, free)], poses, limits, free)
        share, gain = 1.0, -float(gradient @ step)
        last = gain < settled * (1 + best) and (number > 0 or limits is None)
        while True:
            part = share * step
            to_poses, to_pattern = _stepped(poses, pattern, part, moves)
            now = _sum(table, to_poses, to_pattern, soft)
            # The first step under limits may have to climb to keep them.
            if last or (limits is not None and number == 0) or share < 1e-6:
                break
            if now <= best - 1e-4 * share * gain:
                break
            share /= 2
        poses, pattern, best = to_poses, to_pattern, now
        if last:
            break
    return Lie(poses, pattern)


def _stepped(poses: Poses, pattern: Array, step: Array, moves: bool) -> tuple[Poses, Array]:
    count = len(poses.turn)
    by_sheet = step[: 3 * count].reshape(count, 3)
    poses = poses.moved(by_sheet[:, 2] / ARM_MM, by_sheet[:, :2])
    return poses, pattern + step[3 * count :].reshape(-1, 2) if moves else pattern


def _sum(table: Table, poses: Poses, pattern: Array, soft: Rows) -> float:
    away = np.linalg.norm(poses.place(table.at) - pattern, axis=-1)
    over = np.maximum(0.0, away - table.slack)
    rows = soft.values(poses) - soft.bound
    return float((table.weight * (over**2 + PULL * away**2)).sum() + (soft.weight * rows**2).sum())


def _slope_and_curve(
    table: Table, poses: Poses, pattern: Array, soft: Rows, moves: bool
) -> tuple[Array, Array]:
    """Gradient and curvature in shift and turn of each sheet, then the pattern."""
    count, places = table.weight.shape
    placed = poses.place(table.at)
    off = placed - pattern
    away = np.linalg.norm(off, axis=-1)
    unit = off / np.maximum(away, 1e-300)[..., None]
    beyond = away > table.slack
    over = np.where(beyond, away - table.slack, 0.0)
    across = np.where(table.slack > 0, over / np.maximum(away, 1e-300), 1.0)
    along = np.where(beyond, 1.0 - across, 0.0)
    outer = unit[..., :, None] * unit[..., None, :]
    curve = along[..., None, None] * outer + (across + PULL)[..., None, None] * np.eye(2)
    curve *= 2 * table.weight[..., None, None]
    pull = 2 * table.weight[..., None] * (over[..., None] * unit + PULL * off)
    arm = (placed - poses.centre) / ARM_MM
    slopes = np.zeros((count, places, 2, 3))
    slopes[..., 0, 0] = slopes[..., 1, 1] = 1.0
    slopes[..., 0, 2], slopes[..., 1, 2] = -arm[..., 1], arm[..., 0]
    turned = np.swapaxes(slopes, -1, -2)
    by_curve = turned @ curve
    gradient_s = (turned @ pull[..., None])[..., 0].sum(1)
    blocks = (by_curve @ slopes).sum(1)
    if len(soft.sheet):
        lines = soft.slopes(poses)
        rest = soft.values(poses) - soft.bound
        np.add.at(gradient_s, soft.sheet, (2 * soft.weight * rest)[:, None] * lines)
        np.add.at(
            blocks, soft.sheet,
            2 * soft.weight[:, None, None] * lines[:, :, None] * lines[:, None, :],
        )  # fmt: skip
    size = 3 * count
    whole = np.zeros((size + 2 * places * moves,) * 2)
    own = np.arange(size).reshape(count, 3)
    whole[own[:, :, None], own[:, None, :]] = blocks
    gradient = gradient_s.ravel()
    if moves:
        cross = -by_curve.transpose(0, 2, 1, 3).reshape(size, 2 * places)
        whole[:size, size:] = cross
        whole[size:, :size] = cross.T
        held = size + np.arange(2 * places).reshape(places, 2)
        whole[held[:, :, None], held[:, None, :]] = curve.sum(0)
        gradient = np.concatenate([gradient, -pull.sum(0).ravel()])
    # What nothing holds stays where it is: a tiny stiffness against moving at all.
    whole.flat[:: len(whole) + 1] += 1e-9 * (1.0 + whole.diagonal())
    return gradient, whole


def normal_matrix(table: Table, lie: Lie, soft: Rows) -> tuple[Array, Array]:
    """Normal equations of a table without slack: of all sheets and the pattern, and of each sheet
    against a pattern that is known (n, 3, 3); in mm, turns in mm at the arm."""
    _, curve = _slope_and_curve(table, lie.poses, lie.pattern, soft, True)
    count = len(table.weight)
    blocks = np.stack([curve[3 * i : 3 * i + 3, 3 * i : 3 * i + 3] for i in range(count)])
    return curve / 2, blocks / 2


def _step(gradient: Array, hessian: Array, poses: Poses, limits: Rows | None, free: Array) -> Array:
    if limits is None or not len(limits.sheet):
        return np.asarray(np.linalg.solve(hessian, -gradient))
    rows = np.zeros((len(limits.sheet), len(free)))
    columns = 3 * limits.sheet[:, None] + np.arange(3)
    np.put_along_axis(rows, columns, -limits.slopes(poses), axis=1)
    least = limits.values(poses) - limits.bound
    for spare in _SPARES_MM:
        try:
            return limited_step(hessian, gradient, rows[:, free], least - spare)
        except NoRoom:
            continue
    raise NoRoom("no lie keeps the limits, even widely loosened")
