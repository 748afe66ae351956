"""Creep, roll and fold of the demo's Annual: planted truth, and what a bench reads of it.

Creep and flat sizes are the publication's own; the roll is planted here. Readings are drawn from
them with the scatter of a steel rule, read under a loupe where a sheet lies flat.
"""

from __future__ import annotations

import math

import numpy as np

from quirewell.demo.publication import CREEP_MM, HEIGHT_MM, WRAPS, sheet_codes, sheet_plan
from quirewell.demo.truth import BookletTruth

LEAF_MM, COVER_MM = 0.085, 0.12
# How far the block's front reading edge stands beyond its back one [mm].
ROLL_BEFORE_MM, ROLL_AFTER_MM = 1.4, 0.2
RULE_U_MM, LOUPE_U_MM, WIDTH_U_MM = 0.25, 0.1, 0.15
_MEASURED, _FOLDED, _CHECKED = 371, 372, 373


def halves_mm(code: str, seed: int, after: bool) -> tuple[float, float]:
    """A sheet's left and right half at mid-height [mm], outer side up, before or after the wash."""
    plan = sheet_plan(code, seed)
    points = np.array([(times * plan.half_mm, HEIGHT_MM / 2) for times in (0.0, 1.0, 2.0)])
    x = (plan.movement.forward(points) if after else points)[:, 0]
    return float(x[1] - x[0]), float(x[2] - x[1])


def booklet_truth(seed: int) -> BookletTruth:
    """The planted creep, overhangs and roll of a demo."""
    # The cover lies outside the outermost wrap by half a leaf and half itself.
    first = CREEP_MM * (1 + COVER_MM / LEAF_MM) / 2
    cover, outermost = halves_mm("c", seed, True), halves_mm("w01", seed, True)
    flat = {code: halves_mm(code, seed, False)[1] for code in sheet_codes()}
    thick = 2 * WRAPS * LEAF_MM + 2 * COVER_MM
    return BookletTruth(
        CREEP_MM, CREEP_MM / LEAF_MM,
        {
            code: half + CREEP_MM * (int(code[1:]) - 1) + first - flat["c"]
            for code, half in flat.items() if code != "c"
        },
        2 * first, cover[1] - outermost[1] - first, cover[0] - outermost[0] - first,
        ROLL_BEFORE_MM, ROLL_AFTER_MM, math.degrees(math.atan(ROLL_BEFORE_MM / thick)),
    )  # fmt: skip


def creep_form(seed: int) -> dict[str, str]:
    """Half widths of every sheet as read when it was taken apart, and ten leaves in a caliper."""
    rng = np.random.default_rng([seed, _MEASURED])
    rows = ["wrap,left_mm,right_mm,u_mm"]
    for code in sheet_codes():
        left, right = (one + rng.normal(0.0, LOUPE_U_MM) for one in halves_mm(code, seed, False))
        rows.append(f"{code},{left:.1f},{right:.1f},{WIDTH_U_MM:g}")
    ten = round(10 * LEAF_MM + rng.normal(0.0, 0.03), 1)
    return {"working": "creep", "widths": "\n".join(rows), "leaf_mm": f"{ten / 10:g}"}


def fold_form(seed: int) -> dict[str, str]:
    """The first fold without pressing, as it was read; the old crease is kept."""
    truth = booklet_truth(seed)
    cover, block = halves_mm("c", seed, True), halves_mm("w01", seed, True)
    read = {
        "front_now_mm": truth.front_mm, "back_now_mm": truth.back_mm,
        "bevel_mm": truth.roll_before_mm, "flat_cover_mm": sum(cover), "block_mm": block[1],
    }  # fmt: skip
    form = {"working": "fold", "choice": "keep", "leaves": str(2 * WRAPS)}
    return form | _read(read, seed, _FOLDED)


def checked_form(seed: int) -> dict[str, str]:
    """The same plan, with what was read after the press."""
    truth = booklet_truth(seed)
    read = {
        "front_after_mm": truth.front_mm, "back_after_mm": truth.back_mm,
        "roll_after_mm": truth.roll_after_mm,
    }  # fmt: skip
    return fold_form(seed) | _read(read, seed, _CHECKED)


def _read(truth: dict[str, float], seed: int, draw: int) -> dict[str, str]:
    rng = np.random.default_rng([seed, draw])
    return {name: f"{value + rng.normal(0.0, RULE_U_MM):.1f}" for name, value in truth.items()}
