"""Sheets laid by their holes: against scipy's Procrustes, planted truth, theory and geometry.

The planted truths and the theory they are held against are derived here; scipy is the outside
library (scipy.linalg.orthogonal_procrustes, scipy.spatial.transform.Rotation.align_vectors).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import orthogonal_procrustes
from scipy.optimize import minimize
from scipy.spatial.transform import Rotation

from laid_sheets import (
    CENTRE,
    LEGS_MM,
    PATTERN,
    moved_hole,
    planted,
    residuals,
    sheet,
    turned,
    with_hole,
)
from quirewell.science.booklet.align import ASSUMED_U_MM, align
from quirewell.science.booklet.holes import HoleAt, Sheet

SIGMA = 0.08
ARM_MM = 184.0


def points_of(one: Sheet) -> np.ndarray:
    return np.array([[hole.x_mm, hole.y_mm] for hole in one.holes], dtype=float)


def test_two_sheets_lie_as_scipy_lays_them() -> None:
    sheets, _ = planted(np.random.default_rng(1), count=2)
    first, second = map(points_of, sheets)
    a, b = second - second.mean(0), first - first.mean(0)
    matrix, _ = orthogonal_procrustes(a, b)  # a @ matrix is nearest to b
    assert np.linalg.det(matrix) > 0
    by_matrix = math.atan2(matrix[0, 1], matrix[0, 0])
    flat = [np.column_stack([one, np.zeros(4)]) for one in (b, a)]
    rotation, _ = Rotation.align_vectors(*flat)
    by_rotation = rotation.as_rotvec()[2]
    laid = align(sheets)
    placed = laid.sheets[1]
    assert placed.turn_mrad / 1e3 == pytest.approx(by_matrix, abs=1e-9)
    assert placed.turn_mrad / 1e3 == pytest.approx(by_rotation, abs=1e-9)
    # Both halves of what is left over go to either sheet.
    left = a @ matrix - b
    assert residuals(laid)[1] == pytest.approx(np.linalg.norm(left, axis=1) / 2, abs=1e-9)
    expected = turned(second - second.mean(0), by_matrix) + first.mean(0)
    assert laid.place(placed, second) == pytest.approx(expected, abs=1e-9)


def test_the_rms_is_what_theory_says() -> None:
    """N sheets give 8 N readings; fitted are 3 poses a sheet but the reference's and 8 places:
    8 N - 3 (N - 1) - 8 = 5 (N - 1) degrees of freedom, each of variance sigma^2, over 4 N holes.
    For N 15 and sigma 0.08 mm: 0.0864 mm in the plane."""
    rng = np.random.default_rng(1936)
    theory = SIGMA * math.sqrt(5 * 14 / 60)
    assert theory == pytest.approx(0.086, abs=0.0005)
    found = np.array([align(planted(rng)[0]).rms_mm for _ in range(60)])
    # One draw scatters by 1 / sqrt(2 * 70), sixty together by a hundredth.
    assert math.sqrt((found**2).mean()) == pytest.approx(theory, rel=0.04)
    assert np.mean(np.abs(found / theory - 1) < 0.15) > 0.8


def test_shift_and_turn_scatter_as_their_u_says() -> None:
    """sigma / sqrt(sum (y - mean y)^2) is 0.63 mrad for legs at 60, 73, 187 and 200 mm, and
    0.115 mm at a corner 184 mm out; a shift scatters by sigma / 2."""
    legs = np.array(LEGS_MM)
    of_turn = SIGMA / math.sqrt(((legs - legs.mean()) ** 2).sum())
    assert of_turn == pytest.approx(0.63e-3, abs=0.005e-3)
    assert of_turn * ARM_MM == pytest.approx(0.115, abs=0.001)
    rng = np.random.default_rng(7)
    off = []
    for _ in range(40):
        sheets, truth = planted(rng)
        laid = align(sheets)
        got = np.array([[one.dx_mm, one.dy_mm, one.turn_mrad / 1e3] for one in laid.sheets])
        # All lie in the cover's frame: its own error is common to all and drops out.
        rest = got - truth
        off.append((rest - rest.mean(0))[1:])
    spread = np.concatenate(off).std(0) / math.sqrt(1 - 1 / 15)
    assert spread[2] == pytest.approx(of_turn, rel=0.06)
    assert spread[:2] == pytest.approx([SIGMA / 2] * 2, rel=0.06)
    one = laid.sheets[3]
    assert one.u_turn_mrad == pytest.approx(1e3 * of_turn, rel=0.01)
    assert (one.u_dx_mm, one.u_dy_mm) == pytest.approx((SIGMA / 2, SIGMA / 2), rel=0.01)


@pytest.mark.parametrize("size", [None, 0.9])
def test_exact_holes_leave_exactly_nothing(size: float | None) -> None:
    sheets, truth = planted(np.random.default_rng(3), sigma=0.0, size=size)
    laid = align(sheets)
    assert laid.rms_mm < 1e-9 and laid.max_mm < 1e-9
    assert not any(one.flags for one in laid.sheets)
    placed = laid.sheets[4]
    turn = truth[4, 2] - truth[0, 2]
    assert placed.turn_mrad == pytest.approx(1e3 * turn, abs=1e-6)


angles = st.floats(-3.1, 3.1)
shifts = st.floats(-400, 400)


@given(angles, shifts, shifts, st.integers(0, 2**32 - 1))
@settings(max_examples=30, deadline=None, derandomize=True)
def test_moving_all_sheets_or_one_changes_no_residual(
    turn: float, dx: float, dy: float, seed: int
) -> None:
    sheets, _ = planted(np.random.default_rng(seed), count=5)
    before = residuals(align(sheets))

    def moved(one: Sheet) -> Sheet:
        at = turned(points_of(one), turn) + np.array([dx, dy])
        holes = (
            replace(hole, x_mm=float(x), y_mm=float(y))
            for hole, (x, y) in zip(one.holes, at, strict=True)
        )
        return replace(one, holes=tuple(holes))

    assert residuals(align([*map(moved, sheets)])) == pytest.approx(before, abs=1e-8)
    alone = [*sheets[:2], moved(sheets[2]), *sheets[3:]]
    assert residuals(align(alone)) == pytest.approx(before, abs=1e-8)


def test_a_mirrored_sheet_is_not_mirrored_back_and_a_larger_one_not_scaled() -> None:
    wide = PATTERN + np.array([[-3.0, 0], [3.0, 0], [-3.0, 0], [3.0, 0]])
    flat = [sheet(i, wide) for i in range(5)]
    mirrored = sheet(5, wide * [-1.0, 1.0])
    laid = align([*flat, mirrored])
    assert max(one or 0 for one in laid.sheets[5].residual_mm) > 2
    assert laid.sheets[5].flags
    grown = sheet(5, CENTRE + 1.004 * (wide - CENTRE))
    laid = align([*flat, grown])
    placed = laid.sheets[5]
    assert placed.scale == pytest.approx(1.004, abs=0.001)
    assert max(one or 0 for one in placed.residual_mm) > 0.15
    assert "further apart" in placed.flags[0] and placed.wrong_hole is None


def test_one_hole_is_flagged_and_turns_nothing() -> None:
    sheets, _ = planted(np.random.default_rng(5))
    sheets[3] = replace(sheets[3], holes=sheets[3].holes[2:3])
    sheets[4] = replace(sheets[4], holes=())
    sheets[6] = replace(sheets[6], holes=(HoleAt(1, None, None, state="missing"),))
    laid = align(sheets)
    one, none, missing = laid.sheets[3], laid.sheets[4], laid.sheets[6]
    assert one.u_turn_mrad is None and "One hole only" in one.flags[0]
    assert "cannot be turned by holes" in one.flags[0]
    assert abs(one.turn_mrad) < 1
    assert one.residual_mm[0] == pytest.approx(0, abs=1e-6)
    for bare in (none, missing):
        assert (bare.dx_mm, bare.dy_mm, bare.turn_mrad) == (0, 0, 0)
        assert bare.u_dx_mm is None and "No hole" in bare.flags[0]
    assert laid.rms_mm == pytest.approx(SIGMA * math.sqrt(70 / 60), rel=0.25)


def test_every_sheet_with_one_hole_only_is_told_so() -> None:
    sheets, _ = planted(np.random.default_rng(5), count=6)
    laid = align([replace(one, holes=one.holes[:1]) for one in sheets])
    assert all("One hole only" in one.flags[0] for one in laid.sheets)
    assert all(one.u_turn_mrad is None for one in laid.sheets)


def test_a_lost_staple_tells_how_unsure_turn_and_corner_are() -> None:
    """Two holes 13 mm apart: sigma sqrt(2) / 13 is 8.7 mrad, 1.6 mm at a corner 184 mm out."""
    sheets, _ = planted(np.random.default_rng(5))
    sheets[2] = replace(sheets[2], holes=sheets[2].holes[:2])
    placed = align(sheets).sheets[2]
    assert placed.u_turn_mrad == pytest.approx(1e3 * SIGMA * math.sqrt(2) / 13, rel=0.01)
    assert "One staple lost" in placed.flags[0]
    assert "8.7 mrad" in placed.flags[0] and "1.6 mm" in placed.flags[0]


def test_sheets_that_share_no_hole_with_the_reference_are_told() -> None:
    sheets, _ = planted(np.random.default_rng(8), count=4)
    halves = [
        replace(one, holes=one.holes[:2] if i < 2 else one.holes[2:])
        for i, one in enumerate(sheets)
    ]
    laid = align(halves)
    assert "Nothing ties it" in laid.sheets[2].flags[0]
    assert laid.sheets[2].u_dx_mm is None


@pytest.mark.parametrize("seed", range(12))
def test_one_wrong_hole_is_found_named_and_does_no_harm(seed: int) -> None:
    rng = np.random.default_rng(seed)
    sheets, _ = planted(rng)
    i, number, way = int(rng.integers(0, 15)), int(rng.integers(1, 5)), rng.uniform(0, 2 * np.pi)
    clean = align(sheets)
    sheets[i] = moved_hole(sheets[i], number, 1.5 * math.cos(way), 1.5 * math.sin(way))
    laid = align(sheets)
    assert [one.wrong_hole for one in laid.sheets if one.wrong_hole] == [number]
    placed = laid.sheets[i]
    assert placed.wrong_hole == number
    # As far off as planted, but for its own noise and the sheet's.
    assert placed.wrong_by_mm == pytest.approx(1.5, abs=5 * SIGMA)
    assert f"Hole {number}" in placed.flags[0] and f"{placed.wrong_by_mm:.2f} mm" in placed.flags[0]
    # 59 holes, 68 degrees of freedom; the others lie as before.
    assert laid.rms_mm == pytest.approx(SIGMA * math.sqrt(68 / 59), rel=0.3)
    others = [k for k in range(1, 15) if k != i]
    for k in others if i else []:
        assert laid.sheets[k].turn_mrad == pytest.approx(clean.sheets[k].turn_mrad, abs=0.5)


def test_a_wrong_hole_on_every_second_sheet_is_found_on_each() -> None:
    rng = np.random.default_rng(11)
    sheets, _ = planted(rng)
    planted_wrong = {}
    for i in range(1, 15, 2):
        number, way = int(rng.integers(1, 5)), rng.uniform(0, 2 * np.pi)
        planted_wrong[i] = number
        sheets[i] = moved_hole(sheets[i], number, 1.5 * math.cos(way), 1.5 * math.sin(way))
    found = {i: one.wrong_hole for i, one in enumerate(align(sheets).sheets) if one.wrong_hole}
    assert found == planted_wrong


def test_clean_sheets_are_hardly_ever_accused() -> None:
    """One in a hundred is what is allowed for all sheets together."""
    rng = np.random.default_rng(12)
    accused = sum(any(one.wrong_hole for one in align(planted(rng)[0]).sheets) for _ in range(100))
    assert accused <= 4


def test_two_wrong_sheets_alone_are_not_told_apart() -> None:
    sheets, _ = planted(np.random.default_rng(2), count=2)
    sheets[1] = moved_hole(sheets[1], 2, 0.0, 1.5)
    laid = align(sheets)
    assert any("Two sheets alone" in says for says in laid.warnings)


def test_too_small_uncertainties_are_raised_for_all() -> None:
    sheets, _ = planted(np.random.default_rng(4), sigma=0.24, u=0.08)
    laid = align(sheets)
    assert laid.raised == pytest.approx(3, rel=0.25)
    assert laid.sheets[1].u_turn_mrad == pytest.approx(0.63 * laid.raised, rel=0.02)
    assert not any(one.wrong_hole for one in laid.sheets)
    assert any("were raised" in says for says in laid.warnings)


def test_within_its_slack_a_hole_counts_nothing() -> None:
    """Wire 0.5 in holes of 0.9 mm: 0.2 mm of slack. One hole 0.15 mm off moves no other sheet; the
    same wire in holes of its own size has no slack, and it does."""
    exact, _ = planted(np.random.default_rng(6), count=5, sigma=0.0, size=0.9)
    near = [*exact[:2], moved_hole(exact[2], 1, 0.0, 0.15), *exact[3:]]
    laid, still = align(near), align(exact)
    assert laid.outside_slack == 0
    for one, other in zip(laid.sheets[3:], still.sheets[3:], strict=True):
        assert one.dy_mm == pytest.approx(other.dy_mm, abs=1e-9)
    used = laid.sheets[2].slack_used
    assert all(one is not None and one <= 1 for one in used)
    tight = align(near, wire_mm=0.9)
    assert tight.sheets[2].slack_used == (None,) * 4
    assert tight.sheets[2].dy_mm - still.sheets[2].dy_mm == pytest.approx(-0.15 / 4, abs=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_what_is_left_beyond_the_slack_is_the_least_scipy_finds(seed: int) -> None:
    """Three sheets, 0.1 mm of slack: the same sum by scipy's BFGS over poses and pattern."""
    sheets, _ = planted(np.random.default_rng(seed), count=3, sigma=0.25, u=0.3, size=0.7)
    holes = np.array([points_of(one) for one in sheets])

    def beyond(v: np.ndarray) -> float:
        poses, pattern = v[:6].reshape(2, 3), v[6:].reshape(4, 2) + PATTERN
        placed = [holes[0]] + [
            turned(holes[i + 1] - CENTRE, 1e-2 * turn) + CENTRE + [dx, dy]
            for i, (dx, dy, turn) in enumerate(poses)
        ]
        away = np.linalg.norm(np.array(placed) - pattern, axis=2)
        return float((np.maximum(0, away - 0.1) ** 2).sum())

    found = min(
        (minimize(beyond, 0.1 * start, method="BFGS", options={"gtol": 1e-9}).fun
         for start in np.random.default_rng(seed).normal(size=(3, 14))),
    )  # fmt: skip
    ours = float((np.maximum(0, residuals(align(sheets)) - 0.1) ** 2).sum())
    assert ours == pytest.approx(found, rel=2e-3, abs=1e-5)


def test_the_answer_within_slack_does_not_hang_on_where_it_starts() -> None:
    sheets, _ = planted(np.random.default_rng(9), count=6, size=0.8)
    one = align(sheets)
    far = [sheets[0], *(
        replace(held, holes=tuple(
            replace(hole, x_mm=hole.x_mm + 40, y_mm=hole.y_mm - 25) for hole in held.holes))
        for held in sheets[1:])]  # fmt: skip
    assert residuals(align(far)) == pytest.approx(residuals(one), abs=1e-4)


def test_a_torn_hole_pulls_less_and_counts_in_no_rms() -> None:
    sheets, _ = planted(np.random.default_rng(10), count=6, sigma=0.02, u=0.02)
    dragged = moved_hole(sheets[2], 1, 0.0, 1.2)
    torn = with_hole(dragged, 1, replace(dragged.holes[0], state="torn", size_mm=2.5))
    laid, clean = align([*sheets[:2], torn, *sheets[3:]]), align(sheets)
    assert laid.sheets[2].dy_mm == pytest.approx(clean.sheets[2].dy_mm, abs=0.06)
    assert laid.sheets[2].wrong_hole is None
    assert laid.sheets[2].residual_mm[0] == pytest.approx(1.2, abs=0.1)
    assert laid.max_mm < 0.2
    gone = with_hole(sheets[2], 1, HoleAt(1, None, None, state="missing"))
    without = align([*sheets[:2], gone, *sheets[3:]])
    assert without.sheets[2].residual_mm[0] is None


def test_an_unknown_u_is_assumed_and_said() -> None:
    sheets, _ = planted(np.random.default_rng(10), count=3, u=None)
    laid = align(sheets)
    assert laid.sheets[1].u_dx_mm == pytest.approx(ASSUMED_U_MM / 2, rel=0.01)
    assert any("12 holes have no u: 0.1 mm is assumed" in says for says in laid.warnings)


def test_the_cover_stays_or_else_the_outermost_with_two_staples() -> None:
    sheets, _ = planted(np.random.default_rng(13), count=4)
    assert align(sheets).reference == "c"
    placed = align(sheets).sheets[0]
    assert (placed.dx_mm, placed.dy_mm, placed.turn_mrad) == (0, 0, 0)
    short = [replace(one, holes=one.holes[:2]) for one in sheets[:2]] + sheets[2:]
    laid = align(short)
    assert laid.reference == "w02"
    assert any("w02 stays" in says for says in laid.warnings)


@pytest.mark.parametrize(
    ("sheets", "wire", "says"),
    [
        ([sheet(0, PATTERN)], 0.5, "two sheets or more"),
        ([sheet(0, PATTERN)] * 2, 0.5, "given once"),
        ([sheet(0, PATTERN), sheet(1, PATTERN)], 7.0, "wire"),
        ([Sheet("c", ()), Sheet("w01", ())], 0.5, "no sheet has a hole"),
    ],
)
def test_what_cannot_be_laid_is_refused(sheets: list[Sheet], wire: float, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        align(sheets, wire)
