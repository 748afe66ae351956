"""Printed rules are no tears: straight, upright to the edge and of one width.

A rule that runs off the sheet is not proposed; one that a tear runs into is taken out of its way.
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import scipy
from numpy.typing import NDArray

from quirewell.science.imaging.tear_strip import EdgeStrip

Array = NDArray[np.float64]

_RULE_MM = 22.0
_OFF_MM = 0.08
_UPRIGHT_DEG = 2.5
# As the tail of a tear a rule is taken for one from here on; no planted tear ran so straight.
_TAIL_MM = 10.0
_SIDE_MM = 0.35
_JOIN_MM = 1.0
_CAME_MM = 2.5
# A tear may bend; into a rule it turns at once, and into a long one even a small turn tells.
_TURN_DEG = 12.0
_LONG_MM = 25.0
_LONG_TURN_DEG = 4.0
_AGAINST = 0.15


def smoothed(columns: list[int], step_mm: float) -> Array:
    """A path's columns without the staircase of its samples."""
    window = max(3, round(0.8 / step_mm))
    return np.asarray(
        scipy.ndimage.uniform_filter1d(np.array(columns, np.float64), window, mode="nearest")
    )


def gap_mm(strip: EdgeStrip, rows: list[int], columns: list[int], quantile: float = 0.9) -> float:
    """Gap of a tear [mm]: share of ground summed across it; its greatest unless stated."""
    reach = max(2, round(0.7 / strip.step_mm))
    sums = []
    for row, column in zip(rows, columns, strict=True):
        part = strip.share[row, max(0, column - reach) : column + reach + 1]
        sums.append(float(np.clip(part, 0.0, 1.0)[part > 0.15].sum()))
    return float(np.quantile(sums, quantile) * strip.step_mm)


def is_rule(strip: EdgeStrip, rows: list[int], columns: list[int]) -> bool:
    """Whether a whole path is a printed rule that runs off the sheet: long, upright to the
    edge, straight and of one width, as no tear is."""
    step = strip.step_mm
    if len(rows) * step < _RULE_MM or _straight(rows, smoothed(columns, step), step) is None:
        return False
    across = np.round(smoothed(columns, step)).astype(int).tolist()
    third = len(rows) // 3
    wide, narrow = (
        gap_mm(strip, rows[part], across[part], 0.5)
        for part in (slice(0, third), slice(-third, None))
    )
    return bool(0.7 < wide / max(narrow, 1e-6) < 1.4)


def off_rule(
    strip: EdgeStrip, rows: list[int], columns: list[int]
) -> tuple[EdgeStrip, list[int], list[int]] | None:
    """A path cut where it turns into a printed rule, and the strip with that rule taken out of
    the evidence; None when it turns into none."""
    step = strip.step_mm
    across = smoothed(columns, step)
    shortest = round(_TAIL_MM / step)
    if len(rows) <= shortest or _straight(rows[-shortest:], across[-shortest:], step) is None:
        return None
    start = len(rows) - shortest
    more = max(1, round(1.0 / step))
    line = _straight(rows[start:], across[start:], step)
    while start >= more and (
        longer := _straight(rows[start - more :], across[start - more :], step)
    ):
        start, line = start - more, longer
    back = max(0, start - round(_JOIN_MM / step))
    if (
        line is None
        or back < shortest // 3
        or not _turns(rows[:back], across[:back], line, step, (len(rows) - start) * step)
    ):
        return None
    slope, offset = line
    every = np.arange(strip.evidence.shape[0])
    middle = np.round(offset + slope * every).astype(int)
    evidence = strip.evidence.copy()
    side = max(1, round(_SIDE_MM / step))
    for beside in range(-side, side + 1):
        at = np.clip(middle + beside, 0, evidence.shape[1] - 1)
        needed = strip.needed[every, at]
        evidence[every, at] = np.minimum(evidence[every, at], needed - _AGAINST * (1.0 - needed))
    return dataclasses.replace(strip, evidence=evidence), rows[:back], columns[:back]


def _turns(
    rows: list[int], across: Array, line: tuple[float, float], step_mm: float, tail_mm: float
) -> bool:
    """Whether a path came at another angle than that of the line it goes on along."""
    last = round(_CAME_MM / step_mm)
    slope = float(np.polyfit(rows[-last:], across[-last:], 1)[0])
    least = _LONG_TURN_DEG if tail_mm >= _LONG_MM else _TURN_DEG
    return abs(math.degrees(math.atan(slope) - math.atan(line[0]))) > least


def _straight(rows: list[int], across: Array, step_mm: float) -> tuple[float, float] | None:
    """Slope and offset [columns] of the line through a path; None when it is not straight and
    upright to the edge."""
    slope, offset = np.polyfit(rows, across, 1)
    off = np.abs(across - offset - slope * np.array(rows))
    if 1.4826 * float(np.median(off)) * step_mm >= _OFF_MM:
        return None
    if abs(math.degrees(math.atan(slope))) >= _UPRIGHT_DEG:
        return None
    return float(slope), float(offset)
