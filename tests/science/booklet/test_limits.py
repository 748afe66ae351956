"""Limits that edges set: against scipy's SLSQP on the whole problem, and against geometry."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from laid_sheets import CENTRE, PATTERN, planted, sheet, turned, with_edges
from quirewell.science.booklet.align import Alignment, align
from quirewell.science.booklet.holes import STATES, Edges, HoleAt, Sheet
from quirewell.science.booklet.least_distance import NoRoom, limited_step
from quirewell.science.booklet.limits import Limits

WIDE = {"left_mm": -184.0, "right_mm": 184.0}
REFERENCE = Limits(head_tail_mm=0.25, fold_mm=20, beyond_mm=20, turn_mrad=20, middle_u_mm=20)


def head_scattered(seed: int, sigma: float = 0.25) -> list[Sheet]:
    """Fifteen planted sheets whose head was trimmed with a scatter of 0.25 mm."""
    rng = np.random.default_rng(seed)
    sheets, _ = planted(rng)
    heads = [0.0, *rng.normal(0, sigma, 14)]
    return [with_edges(one, head_mm=float(y), **WIDE) for one, y in zip(sheets, heads, strict=True)]


def head_off(laid: Alignment, sheets: list[Sheet]) -> float:
    """The farthest head corner off the cover's head, by the placed corners themselves."""
    off = []
    for one, placed in zip(sheets, laid.sheets, strict=True):
        assert one.edges is not None
        corners = np.array([[x, one.edges.head_mm] for x in (-184.0, 184.0)], dtype=float)
        off.append(float(np.abs(laid.place(placed, corners)[:, 1]).max()))
    return max(off)


@pytest.mark.parametrize("seed", range(4))
def test_heads_trimmed_unevenly_come_within_their_limit(seed: int) -> None:
    """The holes alone would leave head corners about a millimetre off; a limit of 0.25 mm is kept
    by every sheet, at the holes' cost."""
    sheets = head_scattered(seed)
    free = align(sheets, limits=replace(REFERENCE, head_tail_mm=20))
    laid = align(sheets, limits=REFERENCE)
    assert head_off(free, sheets) > 0.6
    assert head_off(laid, sheets) <= 0.25 + 1e-8
    excess = [one.edge_excess_mm for one in laid.sheets]
    assert max(one for one in excess if one is not None) == pytest.approx(head_off(laid, sheets))
    assert not laid.infeasible
    assert 1.2 * free.rms_mm < laid.rms_mm < 5 * free.rms_mm
    held = [one for one in laid.sheets if one.costs]
    assert held and all(set(one.costs) == {"head"} for one in held)
    assert max(one.costs["head"] for one in held) > 0.05


def test_the_whole_problem_agrees_with_slsqp() -> None:
    """Three sheets, no slack: shifts and turns of two and the pattern by scipy's SLSQP from the
    same sum of squares under the same head limits."""
    rng = np.random.default_rng(3)
    sheets, _ = planted(rng, count=3)
    heads = [0.0, 0.3, -0.2]
    sheets = [with_edges(one, head_mm=y, **WIDE) for one, y in zip(sheets, heads, strict=True)]
    laid = align(sheets, limits=REFERENCE)
    holes = np.array([[[one.x_mm, one.y_mm] for one in held.holes] for held in sheets], dtype=float)

    def placed(v: np.ndarray, i: int, points: np.ndarray) -> np.ndarray:
        if i == 0:
            return points
        dx, dy, turn = v[3 * i - 3 : 3 * i] * [1, 1, 1e-2]
        return turned(points - CENTRE, turn) + CENTRE + [dx, dy]

    def squares(v: np.ndarray) -> float:
        pattern = v[6:].reshape(4, 2) + PATTERN
        off = sum(((placed(v, i, holes[i]) - pattern) ** 2).sum() for i in range(3))
        # The middles between the reading edges lie on the fold, softly.
        middles = sum(placed(v, i, np.array([[0.0, 100.0]]))[0, 0] ** 2 for i in (1, 2))
        return float(off + middles * (0.08 / 20) ** 2)

    def room(v: np.ndarray) -> np.ndarray:
        corners = [
            placed(v, i, np.array([[-184.0, heads[i]], [184.0, heads[i]]]))[:, 1] for i in (1, 2)
        ]
        y = np.concatenate(corners)
        return np.concatenate([0.25 - y, 0.25 + y])

    found = minimize(
        squares, np.zeros(14), method="SLSQP", constraints=[{"type": "ineq", "fun": room}],
        options={"maxiter": 500, "ftol": 1e-13},
    )  # fmt: skip
    assert found.success
    ours = laid.rms_mm**2 * 12
    assert ours == pytest.approx(found.fun, rel=1e-3)
    by_turn = [one.turn_mrad for one in laid.sheets[1:]]
    assert by_turn == pytest.approx([10 * found.x[2], 10 * found.x[5]], abs=0.01)
    assert max(one.edge_excess_mm or 0 for one in laid.sheets) == pytest.approx(0.25, abs=1e-5)


def test_a_limit_that_is_left_out_gives_back_what_it_cost() -> None:
    sheets = head_scattered(1)
    laid = align(sheets, limits=REFERENCE)
    i, placed = max(enumerate(laid.sheets), key=lambda one: one[1].costs.get("head", 0.0))
    # The pattern of the others as it lies, and this sheet alone laid on it without limits.
    bare = Sheet("w99", sheets[i].holes)
    alone = align([sheet(0, laid.pattern, u=1e-5), bare])
    was, now = (
        np.sqrt(np.mean([(one or 0) ** 2 for one in held.residual_mm]))
        for held in (placed, alone.sheets[1])
    )
    assert placed.costs["head"] == pytest.approx(was - now, abs=1e-3)


def test_a_sheet_too_tall_cannot_keep_all_limits() -> None:
    sheets, _ = planted(np.random.default_rng(2), count=6, shift_mm=0.05, turn_mrad=0.2)
    sheets = [with_edges(one, head_mm=0.0, tail_mm=260.0, **WIDE) for one in sheets]
    sheets[3] = with_edges(sheets[3], head_mm=0.0, tail_mm=261.2, **WIDE)
    laid = align(sheets)
    placed = laid.sheets[3]
    assert laid.infeasible == ("w03",)
    # 1.2 mm taller, 0.25 mm at either end: one end has to give by 0.7 mm.
    assert placed.infeasible == "tail"
    assert "0.70 mm" in placed.flags[0] and placed.infeasible in placed.flags[0]
    assert placed.edge_excess_mm == pytest.approx(0.95, abs=0.01)
    assert not any(one.flags for one in laid.sheets if one.name != "w03")
    assert max(one.edge_excess_mm or 0 for one in laid.sheets if one.name != "w03") <= 0.251


def test_no_leaf_reaches_beyond_the_cover_and_no_sheet_turns_too_far() -> None:
    sheets, _ = planted(np.random.default_rng(4), count=6, sigma=0.01, shift_mm=0, turn_mrad=0)
    sheets = [with_edges(one, head_mm=0.0, tail_mm=260.0, **WIDE) for one in sheets]
    at = turned(PATTERN - CENTRE, -8e-3) + CENTRE
    sheets[2] = with_edges(sheet(2, at), head_mm=0.0, tail_mm=260.0, **WIDE)
    sheets[3] = with_edges(sheets[3], head_mm=0.0, tail_mm=260.0, left_mm=-184, right_mm=184.9)
    wide = Limits(head_tail_mm=20, fold_mm=20, beyond_mm=0.5, turn_mrad=2, middle_u_mm=20)
    laid = align(sheets, limits=wide)
    assert laid.sheets[2].turn_mrad == pytest.approx(2.0, abs=1e-3)
    assert "turn" in laid.sheets[2].costs
    assert laid.sheets[3].beyond_cover_mm == pytest.approx(0.5, abs=1e-6)
    assert laid.sheets[3].costs["reading edges"] > 0.05


def test_without_edges_no_turn_is_limited() -> None:
    sheets, _ = planted(np.random.default_rng(4), count=6, sigma=0.0)
    at = turned(PATTERN - CENTRE, -20e-3) + CENTRE
    laid = align([*sheets[:2], sheet(2, at), *sheets[3:]])
    assert laid.sheets[2].turn_mrad - laid.sheets[1].turn_mrad > 10
    assert laid.rms_mm < 1e-9


def test_edges_place_a_sheet_that_holes_cannot_turn() -> None:
    """Four corners 184 mm out, 0.3 mm each: 0.3 / (2 * 184) is 0.82 mrad."""
    sheets, _ = planted(np.random.default_rng(5), shift_mm=0.1, turn_mrad=0.3)
    sheets = [with_edges(one, head_mm=0.0, tail_mm=260.0, **WIDE) for one in sheets]
    sheets[2] = replace(sheets[2], holes=sheets[2].holes[:2])
    sheets[3] = replace(sheets[3], holes=())
    laid = align(sheets)
    for placed in laid.sheets[2:4]:
        assert placed.u_turn_mrad == pytest.approx(0.82, abs=0.02)
        assert abs(placed.turn_mrad) < 1
        assert "its edges place it" in placed.flags[0]


def test_a_reference_that_lost_its_head_is_held_against_the_others() -> None:
    sheets, _ = planted(np.random.default_rng(6), count=5, shift_mm=0.05, turn_mrad=0.1)
    sheets = [with_edges(one, head_mm=0.3, tail_mm=260.0, **WIDE) for one in sheets]
    sheets[0] = with_edges(sheets[0], tail_mm=260.0, **WIDE)
    sheets[3] = with_edges(sheets[3], head_mm=1.5, tail_mm=261.2, **WIDE)
    laid = align(sheets)
    assert "head" in laid.sheets[3].costs or "tail" in laid.sheets[3].costs
    assert (laid.sheets[3].edge_excess_mm or 9) <= 0.25 + 1e-6


def anything(rng: np.random.Generator) -> list[Sheet]:
    """Sheets with holes and edges anywhere, some missing, of any size, state and certainty."""
    count, places = int(rng.integers(2, 7)), int(rng.integers(1, 6))
    base = np.column_stack([np.zeros(places), np.cumsum(rng.uniform(0, 60, places))])
    scatter = float(rng.choice([0.0, 0.1, 1.0, 30.0]))
    out = []
    for i in range(count):
        at = base + rng.normal(0, scatter, base.shape)
        holes = [
            HoleAt(j + 1, float(x), float(y), *(
                None if rng.random() < 0.3 else float(value)
                for value in (10 ** rng.uniform(-4, 0.6), rng.uniform(0, 5))
            ), state=STATES[rng.integers(0, len(STATES))])
            for j, (x, y) in enumerate(at)
            if rng.random() < 0.8
        ]  # fmt: skip
        known = [
            None if rng.random() < 0.3 else float(value + rng.normal(0, 0.3))
            for value in (-184, 184, 0, 260)
        ]
        edges = None if rng.random() < 0.4 else Edges(*known)
        out.append(Sheet("c" if i == 0 else f"w{i:02d}", tuple(holes), edges))
    return out


@given(st.integers(0, 2**32 - 1), st.sampled_from([0.0, 0.25, 1.0]), st.sampled_from([0.0, 2.0]))
@settings(max_examples=30, deadline=None, derandomize=True)
def test_anything_is_laid_within_its_limits_or_told(seed: int, head: float, turn: float) -> None:
    sheets = anything(np.random.default_rng(seed))
    limits = Limits(head_tail_mm=head, turn_mrad=turn)
    if not any(hole.state != "missing" for one in sheets for hole in one.holes):
        with pytest.raises(ValueError, match="no sheet has a hole"):
            align(sheets, limits=limits)
        return
    laid = align(sheets, limits=limits)
    assert np.isfinite(laid.pattern).all() and np.isfinite([laid.rms_mm, laid.max_mm]).all()
    for one, placed in zip(sheets, laid.sheets, strict=True):
        assert np.isfinite([placed.dx_mm, placed.dy_mm, placed.turn_mrad]).all()
        assert all(off is None or off >= 0 for off in placed.residual_mm)
        if one.edges is not None and not placed.infeasible and one.name != laid.reference:
            assert (placed.edge_excess_mm or 0) <= head + 2e-3
            assert abs(placed.turn_mrad) <= turn + 0.02


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=40, deadline=None, derandomize=True)
def test_a_limited_step_is_the_one_slsqp_finds(seed: int) -> None:
    rng = np.random.default_rng(seed)
    n, m = 5, 9
    half = rng.normal(size=(12, n))
    hessian, gradient = half.T @ half, 30 * rng.normal(size=n)
    rows = rng.normal(size=(m, n))
    least = rows @ rng.normal(size=n) - rng.uniform(0, 0.3, m)
    step = limited_step(hessian, gradient, rows, least)
    assert (rows @ step - least).min() > -1e-7
    found = minimize(
        lambda d: 0.5 * d @ hessian @ d + gradient @ d, np.zeros(n), method="SLSQP",
        jac=lambda d: hessian @ d + gradient, options={"maxiter": 300, "ftol": 1e-13},
        constraints=[{"type": "ineq", "fun": lambda d: rows @ d - least, "jac": lambda d: rows}],
    )  # fmt: skip
    ours = 0.5 * step @ hessian @ step + gradient @ step
    if found.success:
        assert ours == pytest.approx(found.fun, rel=1e-5, abs=1e-5)


def test_limits_that_contradict_each_other_leave_no_step() -> None:
    rows = np.array([[1.0, 0.0], [-1.0, 0.0]])
    with pytest.raises(NoRoom):
        limited_step(np.eye(2), np.zeros(2), rows, np.array([1.0, 1.0]))


@pytest.mark.parametrize("name", ["head_tail_mm", "turn_mrad", "trim_u_mm"])
def test_a_limit_that_is_none_is_refused(name: str) -> None:
    with pytest.raises(ValueError, match="got -1"):
        Limits(**{name: -1.0})
