"""Open tears: thin lines of ground that run from an edge into the leaf.

Each free edge is laid out straight (depth against place along it). A pixel speaks for a tear by
how much it is like the ground and unlike the paper on *both* sides of it, so that the border of
a dark picture is no tear. Paths then grow inward from the edge: each collects what speaks for
it, may bridge a short gap, and ends where it has collected most. A line of print far from the
edge is never reached; one that starts at the edge is, so a person confirms every tear.

A closed tear shows no ground and is invisible in flat light.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.edges import Side
from quirewell.science.imaging.leaf import Leaf
from quirewell.science.imaging.tear_paths import collected, traced
from quirewell.science.imaging.tear_print import followed
from quirewell.science.imaging.tear_rules import gap_mm, is_rule, off_rule, smoothed
from quirewell.science.imaging.tear_strip import ENTRY_MM, NEEDED, EdgeStrip, lay_out

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8 | np.uint16]

SHALLOWEST_MM = 2.0
_GAP_MM = 0.6
# A tear seldom turns: each turn by 12 degrees costs as much as so much of a gap.
_TURN_MM = 0.05
_ARM_MM = 0.5
_APART_MM = 1.5
_MOST = 40
# How far the end found may lie from the true one: from planted tears. Among print the end is
# seen only in part of them, and on a light ground its thin part does not show.
TIP_U_MM = 0.35
TIP_NEAR_PRINT_U_MM = 0.5
TIP_PRINT_U_MM = 4.0
TIP_LIGHT_U_MM = 2.0
COURSE_U = 0.02


@dataclass(frozen=True, slots=True)
class OpenTear:
    """A tear as proposed: its edge, distance of its mouth along that edge from the edge's left
    or upper end, length along its course and greatest gap [mm], and its course [px] (n, 2) of
    the picture from the mouth to the tip. ``evidence`` is the mean share of ground in it;
    ``ends_in_print`` says that its end is lost among print, ``hard_to_see`` that the ground is
    light, on which a thin end does not show."""

    side: Side
    along_mm: float
    length_mm: float
    tip_u_mm: float
    course_u_mm: float
    width_mm: float
    evidence: float
    ends_in_print: bool
    hard_to_see: bool
    course_px: Array


@dataclass(frozen=True, slots=True)
class Tears:
    """All tears proposed, deepest first; ``smallest_gap_mm`` is the narrowest that would show."""

    found: tuple[OpenTear, ...]
    smallest_gap_mm: float


def find_tears(pixels: Pixels, leaf: Leaf, px_mm: float) -> Tears | None:
    """Look for open tears from every edge that shows ground; None when none does.

    Parameters
    ----------
    pixels
        picture (H, W, 3) in sRGB encoding
    px_mm
        size of a pixel [mm]
    """
    if not leaf.region.ground.any():
        return None
    found: list[OpenTear] = []
    gaps = []
    for side, edge in leaf.edges.items():
        if side == leaf.fold:
            continue
        strip = lay_out(pixels, leaf, side, edge, px_mm)
        if strip is None:
            continue
        found += _grown(strip)
        gaps.append(strip.smallest_gap_mm)
    if not gaps:
        return None
    ordered = sorted(found, key=lambda tear: -tear.length_mm)
    return Tears(tuple(ordered[:_MOST]), max(gaps))


def _grown(strip: EdgeStrip) -> list[OpenTear]:
    """Paths from the entries inward, the best first, none beside one that was taken."""
    step = strip.step_mm
    total, state, back = collected(
        strip.evidence, strip.entry, strip.needed, strip.first_row, round(_ARM_MM / step),
        _GAP_MM / step, _TURN_MM / step,
    )  # fmt: skip
    good = np.flatnonzero(total > 0.5 * SHALLOWEST_MM / step)
    order = good[np.argsort(total.ravel()[good], kind="stable")[::-1]]
    used = np.zeros(total.shape, bool)
    reach = max(1, round(_APART_MM / step))
    found: list[OpenTear] = []
    for index in order:
        row, column = divmod(int(index), total.shape[1])
        if used[row, column]:
            continue
        rows, columns = traced(back, int(state[row, column]), row, column)
        beside = used[rows, columns].any()
        for at, across in zip(rows, columns, strict=True):
            used[at, max(0, across - reach) : across + reach + 1] = True
        tear = None if beside else _tear(strip, rows, columns)
        if tear is not None:
            found.append(tear)
        if len(found) >= _MOST:
            break
    return found


def _tear(strip: EdgeStrip, rows: list[int], columns: list[int]) -> OpenTear | None:
    """A path as a tear; None when it does not go deep enough beyond its entry."""
    step = strip.step_mm
    inner = [at for at, (r, c) in enumerate(zip(rows, columns, strict=True))
             if not strip.entry[r, c]]  # fmt: skip
    if not inner or (len(rows) - inner[0]) * step < SHALLOWEST_MM - ENTRY_MM:
        return None
    depth = (rows[-1] - strip.first_row + 1) * step
    if depth < SHALLOWEST_MM:
        return None
    if is_rule(strip, rows, columns):
        return None
    cut = off_rule(strip, rows, columns)
    if cut is not None:
        strip, rows, columns = cut
    tip = TIP_LIGHT_U_MM if strip.light else TIP_U_MM
    hidden = False
    if cut is not None or _print_ahead(strip, rows[-1], columns[-1]):
        end = followed(strip, rows, columns)
        rows, columns, hidden = end.rows, end.columns, cut is not None or not end.plain
        tip = max(tip, TIP_PRINT_U_MM if hidden else TIP_NEAR_PRINT_U_MM)
    across = smoothed(columns, step)
    run = np.hypot(np.diff(across), 1.0).sum() * step
    length = float(run + (rows[0] - strip.first_row + 1) * step)
    values = strip.share[rows, columns]
    gap = float(gap_mm(strip, rows, columns))
    at = np.round(across).astype(int).clip(0, strip.x_px.shape[1] - 1)
    course = np.column_stack([strip.x_px[rows, at], strip.y_px[rows, at]]).astype(np.float64)
    return OpenTear(
        strip.side,
        strip.from_mm + float(columns[0] * step),
        length,
        tip,
        COURSE_U * length,
        gap,
        float(np.mean(values)),
        hidden,
        strip.light,
        course,
    )


def _print_ahead(strip: EdgeStrip, row: int, column: int) -> bool:
    """Whether print lies where a path ends or just beyond, so that its end may be hidden."""
    ahead, aside = round(2.5 / strip.step_mm), round(1.0 / strip.step_mm)
    part = strip.needed[row : row + ahead + 1, max(0, column - aside) : column + aside + 1]
    return bool((part > NEEDED).any())
