"""Layers over a pair: arrows free of how the leaf lay, strain in numbers, factors stated."""

from __future__ import annotations

import math

import numpy as np
import pytest

from quirewell.record.finding import Run
from quirewell.stages.pair_layers import FACTORS, pair_layers, rigid_part


def compared(**drawing: str) -> Run:
    return Run("r2", "pair.compare", 2, "seeded", "w01.outer.left", (), drawing=drawing)


def lattice(
    exx: float, eyy: float, turn_deg: float = 0.0, shift: tuple[float, float] = (0.0, 0.0)
) -> str:
    angle = math.radians(turn_deg)
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    rows = []
    for y in range(0, 1401, 100):
        for x in range(0, 1001, 100):
            stretched = np.array([x * (1 + exx), y * (1 + eyy)])
            dx, dy = turn @ stretched + shift - (x, y)
            rows.append(f"{x},{y},{dx:.6f},{dy:.6f},{1e6 * exx:.2f},{1e6 * eyy:.2f}")
    return " ".join(rows)


def test_arrows_leave_out_how_the_leaf_lay_on_the_glass() -> None:
    still = pair_layers(compared(field=lattice(0, 0, 1.5, (40.0, -25.0))), 100.0, 0, (1000, 1400))
    assert max(math.hypot(one.dx, one.dy) for one in still.arrows) < 1e-3
    grown = pair_layers(compared(field=lattice(0.001, 0, 1.5, (40, -25))), 100.0, 0, (1000, 1400))
    right = max(grown.arrows, key=lambda one: one.x)
    left = min(grown.arrows, key=lambda one: one.x)
    assert right.dx == pytest.approx(0.5, abs=0.01) and left.dx == pytest.approx(-0.5, abs=0.01)
    assert grown.largest.endswith(" mm") and float(grown.largest.split()[0]) <= 0.06


def test_the_rigid_part_of_a_turn_and_shift_is_all_of_it() -> None:
    points = np.random.default_rng(3).uniform(0, 1000, (40, 2))
    angle = 0.3
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    moved = points @ turn.T + (5, -7) - points
    np.testing.assert_allclose(rigid_part(points, moved), moved, atol=1e-9)


def test_strain_cells_say_their_number_and_the_colour_follows_its_sign() -> None:
    layers = pair_layers(compared(field=lattice(0.0012, -0.0004)), None, 0, (1000, 1400))
    across, along = layers.strains
    assert {cell.says for cell in across.cells} == {"+0.12"}
    assert {cell.says for cell in along.cells} == {"\u22120.040"}
    assert across.top_pct == 0.15 and along.top_pct == 0.05
    assert {cell.step for cell in across.cells} == {"p2"}
    assert {cell.step for cell in along.cells} == {"m2"}
    assert (across.mean, along.mean) == ("+0.12", "\u22120.040")
    assert [words for _, words in across.scale][-1] == "+0.15 % or more"


def test_the_factor_is_asked_or_chosen_so_that_the_longest_arrow_fits() -> None:
    run = compared(field=lattice(0.001, 0))
    chosen = pair_layers(run, 100.0, 0, (1000, 1400))
    longest = max(math.hypot(one.dx, one.dy) for one in chosen.arrows)
    assert chosen.factor in FACTORS and chosen.factor * longest <= 60
    assert pair_layers(run, 100.0, 5, (1000, 1400)).factor == 5
    assert pair_layers(run, 100.0, 7, (1000, 1400)).factor == chosen.factor


def test_a_comparison_without_a_field_has_its_points_only() -> None:
    layers = pair_layers(compared(points_px="10.5,20 30,40", before_size_px="832 1166"), None)
    assert (layers.arrows, layers.strains, layers.inks) == ((), (), None)
    assert layers.dots == "M10.5 20h0M30 40h0" and layers.dot_count == 2
    assert (layers.width_px, layers.height_px) == (832, 1166)
    assert layers.any
    assert not pair_layers(compared(), None).any


@pytest.mark.parametrize("field", ["1,2,3", "a,b,c,d,e,f", "nan,1,1,1,1,1 2,2,2,2,2,inf", ""])
def test_a_field_that_cannot_be_read_is_not_drawn(field: str) -> None:
    assert not pair_layers(compared(field=field), None).any


def test_inks_become_boxes_with_their_names() -> None:
    layers = pair_layers(compared(inks="red_ink:10,20,30,40 1,2,3,4;dark_ink:5,5,5,5;fine:"), None)
    assert layers.inks is not None
    assert [(mark.points, mark.says) for mark in layers.inks.marks] == [
        ("10,20 40,20 40,60 10,60", "red ink"),
        ("1,2 4,2 4,6 1,6", "red ink"),
        ("5,5 10,5 10,10 5,10", "dark ink"),
    ]
