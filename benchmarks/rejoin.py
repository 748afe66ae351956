"""Fifteen sheets laid by their holes, bare and within what their edges allow.

The peer lays the same sheets with general tools in the same run: a generalised Procrustes by
singular values (30 sweeps), then each sheet by scipy's SLSQP under the same limits on the head
corners, the pattern left where it is: so where the cover's own holes sit askew to its edges the
peer's other sheets pay for it, and its rms under limits is the larger one.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from typing import Any

import numpy as np

LEGS = np.array([[0.0, 60.0], [0.0, 73.0], [0.0, 187.0], [0.0, 200.0]])
HEAD_MM = 0.25
HALF_MM = 184.0


def bench(repeats: int = 15) -> dict[str, Any]:
    """Milliseconds, ratio to the peer, and the rms both come to, for bare and limited sheets."""
    from quirewell.science.booklet.align import align
    from quirewell.science.booklet.holes import Edges, HoleAt, Sheet
    from quirewell.science.booklet.limits import Limits

    rng = np.random.default_rng(1936)
    at = np.array([_turned(LEGS, *rng.normal(0, (0.3, 0.3, 2e-3))) for _ in range(15)])
    at += rng.normal(0, 0.08, at.shape)
    heads = np.array([0.0, *rng.normal(0, 0.25, 14)])

    def sheets(edged: bool, size: float | None = None) -> list[Sheet]:
        return [
            Sheet(
                "c" if i == 0 else f"w{i:02d}",
                tuple(HoleAt(j + 1, *map(float, at[i, j]), 0.08, size) for j in range(4)),
                Edges(-HALF_MM, HALF_MM, float(heads[i])) if edged else None,
            )
            for i in range(15)
        ]

    wide = Limits(HEAD_MM, 20.0, 20.0, 20.0, middle_u_mm=20.0)
    bare, edged, slack = sheets(False), sheets(True), sheets(True, 0.7)
    bare_ms, laid = _timed(lambda: align(bare), repeats)
    limited_ms, held = _timed(lambda: align(edged, limits=wide), repeats)
    slack_ms, loose = _timed(lambda: align(slack, limits=wide), repeats)
    peer_bare_ms, peer = _timed(lambda: _procrustes(at), repeats)
    peer_ms, peer_held = _timed(lambda: _slsqp(at, heads), repeats)
    return {
        "bare_ms": bare_ms,
        "bare_by_peer": bare_ms / peer_bare_ms,
        "bare_rms_mm": laid.rms_mm,
        "peer_bare_rms_mm": _rms(*peer),
        "limited_ms": limited_ms,
        "limited_by_peer": limited_ms / peer_ms,
        "limited_rms_mm": held.rms_mm,
        "limited_excess_mm": max(one.edge_excess_mm or 0.0 for one in held.sheets),
        "limited_with_slack_ms": slack_ms,
        "limited_with_slack_excess_mm": max(one.edge_excess_mm or 0.0 for one in loose.sheets),
        "peer_limited_rms_mm": _rms(*peer_held),
        "goal_ms": 50,
    }


def _timed(call: Callable[[], Any], repeats: int) -> tuple[float, Any]:
    found = call()
    seconds = []
    for _ in range(repeats):
        start = time.perf_counter()
        found = call()
        seconds.append(time.perf_counter() - start)
    return 1e3 * statistics.median(seconds), found


def _turned(points: Any, dx: float, dy: float, turn: float) -> Any:
    cos, sin = np.cos(turn), np.sin(turn)
    middle = LEGS.mean(0)
    return (points - middle) @ np.array([[cos, sin], [-sin, cos]]) + middle + [dx, dy]


def _rms(placed: Any, pattern: Any) -> float:
    return float(np.sqrt(((placed - pattern) ** 2).sum(2).mean()))


def _procrustes(at: Any) -> tuple[Any, Any]:
    """Generalised Procrustes by singular values, sheet by sheet; no reflection."""
    placed, pattern = at.copy(), at[0]
    for _ in range(30):
        for i, one in enumerate(at):
            a, b = one - one.mean(0), pattern - pattern.mean(0)
            left, _, right = np.linalg.svd(a.T @ b)
            left[:, 1] *= np.sign(np.linalg.det(left @ right))
            placed[i] = a @ left @ right + pattern.mean(0)
        pattern = placed.mean(0)
    return placed, pattern


def _slsqp(at: Any, heads: Any) -> tuple[Any, Any]:
    """The peer under limits: head corners within 0.25 mm of the cover's, by SLSQP."""
    from scipy.optimize import minimize

    placed, pattern = _procrustes(at)
    # Back into the cover's own frame, where its head is level.
    a, b = placed[0] - placed[0].mean(0), at[0] - at[0].mean(0)
    turn = np.arctan2((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum(), (a * b).sum())
    cos, sin = np.cos(turn), np.sin(turn)
    back = np.array([[cos, sin], [-sin, cos]])
    pattern = (pattern - placed[0].mean(0)) @ back + at[0].mean(0)
    out = [at[0]]
    for one, head in zip(at[1:], heads[1:], strict=True):
        corners = np.array([[-HALF_MM, head], [HALF_MM, head]])

        def off(v: Any, one: Any = one) -> float:
            return float(((_turned(one, v[0], v[1], 1e-2 * v[2]) - pattern) ** 2).sum())

        def room(v: Any, corners: Any = corners) -> Any:
            y = _turned(corners, v[0], v[1], 1e-2 * v[2])[:, 1]
            return np.concatenate([HEAD_MM - y, HEAD_MM + y])

        found = minimize(
            off, np.zeros(3), method="SLSQP", constraints=[{"type": "ineq", "fun": room}]
        )
        out.append(_turned(one, found.x[0], found.x[1], 1e-2 * found.x[2]))
    return np.array(out), pattern
