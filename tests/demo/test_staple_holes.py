"""The Annual's staple holes: what is found in its scans against what was planted."""

from __future__ import annotations

import numpy as np
import pytest

from quirewell.demo.publication import sheet_codes, sheet_plan
from quirewell.demo.scans import DrawnSheet, hole_truth
from quirewell.demo.staple_holes import LEGS_MM, planned_holes
from quirewell.science.booklet.align import align
from quirewell.science.booklet.holes import HoleAt, Sheet
from quirewell.science.imaging.staple_holes import find_holes

SEED, DPI = 1936, 100


def test_every_sheet_has_four_and_all_states_are_among_them() -> None:
    planted = [hole for code in sheet_codes() for hole in planned_holes(code, SEED)]
    assert len(planted) == 4 * len(sheet_codes())
    assert {hole.state for hole in planted} == {"clean", "torn", "rusted", "plugged", "missing"}
    away = np.array([(h.x_mm, h.y_mm - LEGS_MM[h.number - 1]) for h in planted])
    assert 0.1 < away.std() < 0.4 and np.abs(away).max() < 1.2


def test_holes_are_openings_of_the_outline_and_rust_spreads_round_the_rusted() -> None:
    for code in ("c", "w04", "w05"):
        plan = sheet_plan(code, SEED)
        open_ones = [hole for hole in plan.holes if hole.open]
        assert len(plan.outline.holes) == len(open_ones)
        for rim, hole in zip(plan.outline.holes, open_ones, strict=True):
            middle = rim.mean(axis=0) - [plan.half_mm, plan.head_mm]
            assert middle == pytest.approx([hole.x_mm, hole.y_mm], abs=0.3)
        assert len(plan.rust_mm) == sum(h.state in ("rusted", "plugged") for h in plan.holes)


@pytest.mark.parametrize(
    ("code", "side", "moment"),
    [("w03", "outer", "before"), ("w04", "inner", "after"), ("w05", "outer", "before")],
)
def test_found_holes_are_those_planted(code: str, side: str, moment: str) -> None:
    plan = sheet_plan(code, SEED)
    picture, truth = DrawnSheet(plan, DPI, SEED).panel(side, "left", moment, "dark")
    found = find_holes(
        picture, (truth.um_per_px_x / 1000, truth.um_per_px_y / 1000), panel="left",
        side=side, count=4,  # type: ignore[arg-type]
    )  # fmt: skip
    planted = hole_truth(plan, moment)
    assert [hole.state for hole in found.holes] == [hole.state for hole in planted]
    for hole, true in zip(found.holes, planted, strict=True):
        if true.state == "missing":
            assert hole.x_mm is None
            continue
        assert hole.x_mm is not None and hole.y_mm is not None
        assert hole.u_x_mm is not None and hole.u_y_mm is not None
        assert abs(hole.x_mm - true.x_mm) <= max(2 * hole.u_x_mm, 0.1)
        assert abs(hole.y_mm - true.y_mm) <= max(2 * hole.u_y_mm, 0.1)


def test_ten_sheets_come_back_within_what_theory_allows() -> None:
    """Holes found in all ten drawn sheets, torn, plugged and missing among them, against the same
    matching of the planted places: shifts and turns differ by no more than their own u says."""
    found, planted = [], []
    for code in sheet_codes():
        plan = sheet_plan(code, SEED)
        picture, truth = DrawnSheet(plan, DPI, SEED).panel("outer", "left", "after", "dark")
        scale = truth.um_per_px_x / 1000, truth.um_per_px_y / 1000
        seen = find_holes(picture, scale, panel="left", side="outer", count=4)
        found.append(
            Sheet(
                code,
                tuple(
                    HoleAt(one.number, one.x_mm, one.y_mm, one.u_mm, one.size_mm, one.state)
                    for one in seen.holes
                ),
            )
        )
        planted.append(
            Sheet(
                code,
                tuple(
                    HoleAt(one.number, one.x_mm, one.y_mm, 0.05, None, "clean")
                    if one.state != "missing"
                    else HoleAt(one.number, None, None, state="missing")
                    for one in hole_truth(plan, "after")
                ),
            )
        )
    ours, true = align(found), align(planted)
    away = np.array(
        [
            (one.dx_mm - other.dx_mm, one.dy_mm - other.dy_mm, one.turn_mrad - other.turn_mrad)
            for one, other in zip(ours.sheets, true.sheets, strict=True)
        ]
    )
    u = np.array([(s.u_dx_mm, s.u_dy_mm, s.u_turn_mrad) for s in ours.sheets], dtype=float)
    # The cover stays where it is; what is unsure of it is in every other sheet's shift.
    whole = np.hypot(u[1:], u[0])
    assert (np.abs(away[1:]) <= 3.0 * whole).all()
    assert np.sqrt(np.mean((away[1:] / whole) ** 2)) < 1.3
    assert np.abs(away[1:, :2]).max() < 0.2
