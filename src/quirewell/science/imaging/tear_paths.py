"""Paths that grow inward through a strip of evidence and collect as much of it as they can.

Dynamic programming, row by row, over eleven directions 12 degrees apart. A path scores by the
mean evidence on a short straight line through each sample *in its own direction*, so that a
row of halftone dots or a string of letters scores little; it pays for every turn, begins at an
entry with nothing and dies when it has lost more than it may from the most it ever had.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from quirewell.science.compiled import compiled

Float = NDArray[np.float32]
ANGLES_DEG = np.arange(-60.0, 61.0, 12.0)
SLOPES = np.tan(np.radians(ANGLES_DEG)).astype(np.float64)
_BEGUN = 100


def collected(
    evidence: Float,
    entry: NDArray[np.bool_],
    needed: Float,
    first_row: int,
    arm: int,
    allowed: float,
    turn: float,
) -> tuple[Float, NDArray[np.int8], NDArray[np.int8]]:
    """Score of the best path to each sample.

    Parameters
    ----------
    evidence
        what a sample says for (up to 1) or against (down to -1) a tear (rows, columns)
    entry
        where a path may begin
    needed
        mean evidence a straight line needs not to lose by it, per sample
    arm
        half the length of that line [rows]
    allowed
        how much a path may lose before it dies
    turn
        what a turn of 12 degrees costs

    Returns
    -------
    (total, state, back)
        best score (rows, columns), -inf where none; the direction of that path; and for every
        direction (directions, rows, columns) the direction before
    """
    rows, columns = evidence.shape
    total = np.full((rows, columns), -np.inf, np.float32)
    state = np.zeros((rows, columns), np.int8)
    back = np.full((SLOPES.size, rows, columns), _BEGUN, np.int8)
    _grow(
        np.ascontiguousarray(evidence, np.float32), np.ascontiguousarray(entry),
        np.ascontiguousarray(needed, np.float32), first_row, arm, allowed, turn, SLOPES,
        total, state, back,
    )  # fmt: skip
    return total, state, back


@compiled
def _shift(slope: float, row: int) -> int:
    """Columns a path of that slope moves from the row before to ``row``."""
    return int(np.floor(slope * row + 0.5) - np.floor(slope * (row - 1) + 0.5))


@compiled
def _along(evidence: Float, row: int, column: int, slope: float, first_row: int, arm: int) -> float:
    """Mean evidence on a straight line through a sample."""
    rows, columns = evidence.shape
    reach = max(2, int(arm / np.sqrt(1.0 + slope * slope) + 0.5))
    total, count = 0.0, 0
    for step in range(-reach, reach + 1):
        at = row + step
        across = column + int(np.floor(slope * step + 0.5))
        if at < first_row or at >= rows or across < 0 or across >= columns:
            continue
        total += evidence[at, across]
        count += 1
    return total / max(count, 1)


@compiled
def _grow(
    evidence: Float,
    entry: NDArray[np.bool_],
    needed: Float,
    first_row: int,
    arm: int,
    allowed: float,
    turn: float,
    slopes: NDArray[np.float64],
    total: Float,
    state: NDArray[np.int8],
    back: NDArray[np.int8],
) -> None:
    rows, columns = evidence.shape
    ways = slopes.size
    scores = np.full((2, ways, columns), -np.inf)
    tops = np.full((2, ways, columns), -np.inf)
    lengths = np.sqrt(1.0 + slopes * slopes)
    for row in range(first_row, rows):
        now, before = row % 2, (row + 1) % 2
        for way in range(ways):
            shift = _shift(slopes[way], row)
            for column in range(columns):
                source = column - shift
                best, top, came = -np.inf, -np.inf, 100
                if row > first_row and 0 <= source < columns:
                    for old in range(max(0, way - 1), min(ways, way + 2)):
                        value = scores[before, old, source] - turn * abs(way - old)
                        if value > best:
                            best, top, came = value, tops[before, old, source], old
                if entry[row, column] and best <= 0.0:
                    best, top, came = 0.0, 0.0, 100
                if best > -np.inf:
                    need = needed[row, column]
                    mean = _along(evidence, row, column, slopes[way], first_row, arm)
                    gain = (mean - need) / (1.0 - need)
                    best += lengths[way] * max(gain, -1.0)
                    top = max(top, best)
                    if best < top - allowed:
                        best, top = -np.inf, -np.inf
                scores[now, way, column] = best
                tops[now, way, column] = top
                back[way, row, column] = came
                if best > total[row, column]:
                    total[row, column] = best
                    state[row, column] = way


def traced(back: NDArray[np.int8], way: int, row: int, column: int) -> tuple[list[int], list[int]]:
    """The path that arrives at a sample in direction ``way``, from its beginning."""
    rows, columns = [row], [column]
    while True:
        old = int(back[way, row, column])
        if old == _BEGUN:
            break
        slope = float(SLOPES[way])
        column -= int(np.floor(slope * row + 0.5) - np.floor(slope * (row - 1) + 0.5))
        row -= 1
        way = old
        rows.append(row)
        columns.append(column)
    return rows[::-1], columns[::-1]
