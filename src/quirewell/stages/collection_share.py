"""Missing area of a surveyed scan in % of the leaf as it was whole, with a scale or without one.

A share of the leaf's own area needs no scale. What is taken for a missing piece does: pieces
smaller than 1 mm2 pass for roughness. Without a scale that limit is set as if the picture's longer
side were an A4 sheet's, and how much hangs on it is found by looking twice more, with pixels half
and twice as large.
"""

from __future__ import annotations

import math
from typing import Any

from quirewell.science.imaging.edges import SIDES
from quirewell.science.imaging.loss import SMALLEST_MM2, Loss, find_loss
from quirewell.stages.measuring import Seen

Row = dict[str, Any]
# By how much the guessed size of a pixel may be out either way (assumed).
_GUESS_OUT = 2.0
# How far the share may be out because the edges too were sought with the guessed size, of itself
# (on 12 drawn leaves with the guess 3.5 times too large the share came out 0 to 8 % off).
_EDGES_SHARE = 0.05
# Half of the smallest piece that counts, at the larger of those sizes.
_UNSEEN_MM2 = _GUESS_OUT**2 * SMALLEST_MM2 / 2
# Splits and staple holes along a fold are not summed (assumed size, as where a scale is known).
_FOLD_MM2 = 3.0
NONE: Row = {"loss_pct": None, "loss_pct_u": None, "loss_basis": None}


def loss_share(seen: Seen, row: Row) -> Row:
    """``loss_pct`` with its standard uncertainty, and ``loss_basis``: "mm" from the areas in
    ``row``, "pixels" from the picture alone; all None where the leaf is not whole in the picture
    or no ground shows."""
    if seen.scale is not None:
        return _from_mm(row)
    if seen.leaf is None or seen.loss is None or any(s not in seen.leaf.edges for s in SIDES):
        return dict(NONE)
    width, height = row["width_px"], row["height_px"]
    whole = width * height
    whole_u = math.hypot(width * row["height_px_u"], height * row["width_px_u"])
    return _share(seen.loss.area_px, _u_px(seen, seen.loss), whole, whole_u, "pixels")


def _from_mm(row: Row) -> Row:
    loss, u, area, area_u = (row[name] for name in ("loss_mm2", "loss_mm2_u", "area_mm2",
                                                    "area_mm2_u"))  # fmt: skip
    if loss is None or area is None or area + loss <= 0:
        return dict(NONE)
    return _share(loss, u, area + loss, area_u, "mm")


def _share(loss: float, loss_u: float, whole: float, whole_u: float, basis: str) -> Row:
    share = 100.0 * loss / whole
    u = math.hypot(100.0 * loss_u / whole, share * whole_u / whole)
    return {"loss_pct": share, "loss_pct_u": u, "loss_basis": basis}


def _u_px(seen: Seen, loss: Loss) -> float:
    """Standard uncertainty of the missing area [px^2], the guessed size of a pixel included."""
    leaf = seen.leaf
    assert leaf is not None
    areas = [loss.area_px]
    for factor in (1 / _GUESS_OUT, _GUESS_OUT):
        other = find_loss(seen.picture.pixels, leaf, seen.px_mm * factor)
        areas += [other.area_px] if other is not None else []
    guess = (max(areas) - min(areas)) / math.sqrt(12.0)
    unseen = _UNSEEN_MM2 / seen.px_mm**2
    fold = _FOLD_MM2 / seen.px_mm**2 if leaf.fold is not None else 0.0
    edges = _EDGES_SHARE * loss.area_px
    return math.hypot(loss.u_rim_px, loss.u_outline_px, loss.u_holes_px, guess, edges, unseen, fold)
