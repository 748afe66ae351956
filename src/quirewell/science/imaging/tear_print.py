"""Where a tear ends that runs into print: followed on, but only farther than chance would go.

A tear that is established on bare paper may be followed through print by less evidence than one
that starts there. How far a path would run on *without* a tear is found from decoys: the same
last stretch of the tear laid beside itself, 3 to 14 mm off, and followed by the same rule.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from quirewell.science.imaging.tear_paths import collected, traced
from quirewell.science.imaging.tear_strip import EdgeStrip

_BASE_MM = 3.0
_REACH_MM = 28.0
_ARM_MM = 0.5
_ASIDE_MM = tuple(sign * away for sign in (-1.0, 1.0) for away in np.arange(3.0, 14.1, 1.6))
# A path that goes on runs past the decoys' second farthest by so much, yet not out of sight.
_BEYOND = 1.5
_LEAST_MM = 1.0
_MOST_MM = 26.0
_FEWEST = 9
# By the lenient rule nothing goes on farther than this where the end is plainly seen.
_PLAIN_MM = 0.6


@dataclass(frozen=True, slots=True)
class _Rule:
    """Evidence needed, loss allowed [mm], cost of a turn by 12 degrees [mm]."""

    needed: float
    allowed_mm: float
    turn_mm: float


_STRICT = _Rule(0.55, 1.2, 0.2)
_LENIENT = _Rule(0.35, 1.2, 0.15)


@dataclass(frozen=True, slots=True)
class End:
    """A tear's path to its end, and whether that end is plainly seen."""

    rows: list[int]
    columns: list[int]
    plain: bool


def followed(strip: EdgeStrip, rows: list[int], columns: list[int]) -> End:
    """Follow a path on into print where it goes farther than its decoys do."""
    lenient = _onward(strip, rows, columns, 0, _LENIENT)
    if lenient is None:
        return End(rows, columns, False)
    if _length_mm(strip, lenient) < _PLAIN_MM:
        return End(rows, columns, True)
    more = _onward(strip, rows, columns, 0, _STRICT)
    length = 0.0 if more is None else _length_mm(strip, more)
    if more is None or not _LEAST_MM <= length <= _MOST_MM:
        return End(rows, columns, False)
    beside = (
        _onward(strip, rows, columns, round(aside / strip.step_mm), _STRICT) for aside in _ASIDE_MM
    )
    chance = sorted(_length_mm(strip, path) for path in beside if path is not None)
    if len(chance) < _FEWEST or length <= _BEYOND * chance[-2]:
        return End(rows, columns, False)
    return End(rows + more[0][1:], columns + more[1][1:], False)


def _length_mm(strip: EdgeStrip, path: tuple[list[int], list[int]]) -> float:
    return float(np.hypot(np.diff(path[1]), 1.0).sum()) * strip.step_mm


def _onward(
    strip: EdgeStrip, rows: list[int], columns: list[int], aside: int, rule: _Rule
) -> tuple[list[int], list[int]] | None:
    """How a path goes on from its last sample, were it to lie ``aside`` columns off; None when
    its last stretch would leave the strip. Its own last 3 mm are taken as certain."""
    step = strip.step_mm
    last = max(3, round(_BASE_MM / step))
    down, over = np.array(rows[-last:]), np.array(columns[-last:]) + aside
    reach = round(_REACH_MM / step)
    top, left = max(0, int(down[0]) - 2), max(0, int(over[-1]) - reach)
    part = (slice(top, int(down[-1]) + reach), slice(left, int(over[-1]) + reach))
    evidence = strip.evidence[part].copy()
    down, over = down - top, over - left
    if over.min() < 1 or over.max() >= evidence.shape[1] - 1:
        return None
    end = int(down[-1])
    evidence[: end + 1] = -1.0
    for beside in (-1, 0, 1):
        evidence[down, over + beside] = 1.0
    entry = np.zeros(evidence.shape, np.bool_)
    entry[down[0], over[0]] = True
    total, state, back = collected(
        evidence, entry, np.minimum(strip.needed[part], np.float32(rule.needed)), 0,
        round(_ARM_MM / step), rule.allowed_mm / step, rule.turn_mm / step,
    )  # fmt: skip
    row, column = divmod(int(np.argmax(total)), total.shape[1])
    if row <= end:
        return [rows[-1]], [columns[-1] + aside]
    found = traced(back, int(state[row, column]), row, column)
    kept = [at for at, value in enumerate(found[0]) if value >= end]
    return [found[0][at] + top for at in kept], [found[1][at] + left for at in kept]
