"""A pamphlet in a press as cells: what must hold whatever the numbers, and what was seen before."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from quirewell.science.press.kernel import (
    DX,
    FACE_C,
    FACE_H,
    KIND,
    LAMBDA,
    PAPER_HEIKKILA,
    PAPER_TRYDING,
    RHO,
    humidity_and_heat,
    rates,
)
from quirewell.science.press.march import march
from quirewell.science.press.materials import (
    CONTACT_BOUNDS,
    MATERIALS,
    Contacts,
    hard_contact,
)
from quirewell.science.press.stack import Knobs, Layer, Pamphlet, Room, Side, Stack, cut, faces_of


def layer(key: str, mm: float | None = None, **start: float) -> Layer:
    material = MATERIALS[key]
    return Layer(material, mm or material.usual_mm, **start)


def case_a(**pamphlet: object) -> Stack:
    usual = {"centre": layer("thin-board", 0.5), **pamphlet}
    return Stack(
        (layer("aluminium"), layer("thin-board"), layer("release")),
        Pamphlet(**usual),  # type: ignore[arg-type]
        (layer("card"), layer("thin-board", 3.0), layer("wood")),
    )


def run(stack: Stack, knobs: Knobs = Knobs(), minutes: float = 15, top: float | None = 68.0):
    cells = cut(stack, knobs)
    times = np.linspace(0, 60 * minutes, 61)
    faces = faces_of(stack, Side(top), Side(None), knobs)
    return cells, march(cells.cells, faces, cells.start_c, cells.start_w, times)


def centre(cells, found):
    sheets = cells.sheets
    half = len(sheets) // 2
    return found.temperature_c[:, sheets[half - 1 : half + 1]].mean(axis=1)


def sealed(cells):
    faces = np.zeros((2, 6))
    faces[:, 2] = 1e-12
    return faces


def test_a_sealed_stack_keeps_its_water_and_comes_to_one_humidity():
    stack = replace(case_a(), above=(layer("blotter"),), below=(layer("card"), layer("blotter")))
    cells = cut(stack)
    times = np.array([0.0, 3600.0, 40 * 86400.0])
    found = march(cells.cells, sealed(cells), cells.start_c, cells.start_w, times)
    whole = found.water_kg_m3 @ cells.cells[:, DX]
    assert np.abs(whole / whole[0] - 1).max() < 1e-9
    humid = [
        humidity_and_heat(0, w / rho, t)[0]
        for w, rho, t in zip(
            found.water_kg_m3[-1], cells.cells[:, RHO], found.temperature_c[-1], strict=True
        )
    ]
    assert np.ptp(humid) < 1e-4
    assert np.ptp(found.temperature_c[-1]) < 1e-3


def test_what_is_shared_is_humidity_and_not_water():
    """Sealed, and two papers by two curves lie on each other: one humidity, two water contents."""
    cells = cut(Stack((), Pamphlet(2, cover=False, start_rh=0.6), ()))
    kinds = cells.cells[:, KIND] = np.array([PAPER_TRYDING] * 2 + [PAPER_HEIKKILA] * 2)
    times = np.array([0.0, 3600.0, 40 * 86400.0])
    faces = sealed(cells)
    faces[:, FACE_C] = 20.0
    found = march(cells.cells, faces, cells.start_c, cells.start_w, times)

    def both(k):
        u = found.water_kg_m3[k] / cells.cells[:, RHO]
        rows = zip(kinds, u, found.temperature_c[k], strict=True)
        return u, np.array([humidity_and_heat(int(kind), w, c)[0] for kind, w, c in rows])

    first_u, first = both(0)
    last_u, last = both(-1)
    assert np.ptp(first_u) < 1e-9 and np.ptp(first) > 0.05
    assert np.ptp(last) < 1e-4 and np.ptp(last_u) > 0.01
    assert np.ptp(found.temperature_c[-1]) < 1e-3


def test_an_open_stack_balances_its_books():
    cells, found = run(case_a())
    whole = found.water_kg_m3 @ cells.cells[:, DX] + found.water_out.sum(axis=1)
    assert np.abs(whole / whole[0] - 1).max() < 1e-9


def test_more_insulation_under_it_never_cools_the_centre():
    """Resistance alone: felt would bring its own cold mass and take up vapour."""
    stack = case_a()
    cells = cut(stack)
    faces = faces_of(stack, Side(68.0), Side(None))
    times = np.linspace(0, 1800, 61)
    courses = []
    for film in (20.0, 8.0, 2.0, 0.5):
        faces[1, FACE_H] = film
        found = march(cells.cells, faces, cells.start_c, cells.start_w, times)
        courses.append(centre(cells, found))
    for barer, warmer in pairwise(courses):
        assert (warmer >= barer - 1e-4).all()


def test_a_thicker_board_over_it_never_warms_the_centre_sooner():
    thin = case_a()
    above = (thin.above[0], layer("thin-board", 3.0), thin.above[2])
    assert (centre(*run(replace(thin, above=above))) <= centre(*run(thin)) + 1e-6).all()


@settings(max_examples=15, deadline=None, derandomize=True)
@given(
    film=st.floats(0.5, 20.0), less=st.floats(0.05, 0.95), start_rh=st.floats(0.4, 0.9),
    platen=st.floats(35.0, 80.0), wraps=st.integers(4, 20),
)  # fmt: skip
def test_less_heat_out_below_never_leaves_the_centre_cooler(film, less, start_rh, platen, wraps):
    stack = case_a(start_rh=start_rh, wraps=wraps)
    cells = cut(stack)
    faces = faces_of(stack, Side(platen), Side(None))
    times = np.linspace(0, 1800, 31)
    courses = []
    for through in (film, less * film):
        faces[1, FACE_H] = through
        found = march(cells.cells, faces, cells.start_c, cells.start_w, times)
        courses.append(centre(cells, found))
    assert (courses[1] >= courses[0] - 1e-3).all()


@settings(max_examples=15, deadline=None, derandomize=True)
@given(
    share=st.floats(0.1, 0.95), start_rh=st.floats(0.4, 0.9), platen=st.floats(35.0, 80.0),
    wraps=st.integers(4, 20),
)  # fmt: skip
def test_a_worse_conductor_above_never_warms_the_centre_sooner(share, start_rh, platen, wraps):
    """The release sheet on the hot side conducts less; its heat and its vapour stay as they are."""
    stack = case_a(start_rh=start_rh, wraps=wraps)
    cells = cut(stack)
    faces = faces_of(stack, Side(platen), Side(None))
    times = np.linspace(0, 1800, 31)
    worse = cells.cells.copy()
    worse[cells.layer == 2, LAMBDA] *= share
    first, second = (
        centre(cells, march(array, faces, cells.start_c, cells.start_w, times))
        for array in (cells.cells, worse)
    )
    assert (second <= first + 1e-3).all()
    assert second[-1] < first[-1]


def test_a_hard_contact_lies_between_what_was_measured():
    """``asme1992``: 97 to 200 W/(m2 K) at 2.3 kPa, 146 to 452 at 300 kPa."""
    assert CONTACT_BOUNDS["hard"] == (97.0, 452.0)
    assert hard_contact(2.3)[0] == 97.0 and hard_contact(300.0)[1] == 452.0
    for kpa in (0.0, 2.3, 20.0, 300.0, 1e4):
        low, high = hard_contact(kpa)
        assert 97.0 <= low < high <= 452.0
    lows = [hard_contact(kpa)[0] for kpa in (2.3, 10.0, 50.0, 300.0)]
    assert lows == sorted(lows) and lows[0] < lows[-1]
    for name, (low, high) in CONTACT_BOUNDS.items():
        assert low < getattr(Contacts(), name) < high


def test_a_board_is_cut_thin_where_it_meets_another():
    """A damp front is thinner: by cells of half a millimetre case A begun at 95 % lost 74 g/m2 by
    the moister curve, by cells of a thirtieth 86."""
    cells = cut(Stack((layer("thin-board", 3.0),), Pamphlet(2), (layer("release", 1.0),)))
    board = cells.cells[cells.layer == 0, DX]
    assert board.sum() == pytest.approx(3e-3, rel=1e-12)
    assert board[0] == board[-1] == board.min() <= 0.05e-3 and (board == board[::-1]).all()
    assert board[1] / board[0] == pytest.approx(2.0)
    assert (cells.cells[cells.layer == 0, 7][:-1] == 0).all()
    assert cells.cells[cells.layer == 1, DX] == pytest.approx([0.5e-3, 0.5e-3])


def test_nothing_happens_to_a_stack_at_rest():
    stack = case_a(start_rh=0.5)
    _, found = run(stack, top=None)
    assert np.ptp(found.temperature_c) < 0.01
    assert np.abs(found.water_out).max() < 1e-6


def test_one_cell_a_leaf_is_enough():
    """Four cells a leaf by a pamphlet of quarter leaves: 0.3 % in water, 0.1 K in the centre."""
    coarse, found = run(case_a(centre=None, cover=False))
    quarters = case_a(centre=None, cover=False, wraps=56, leaf_mm=0.085 / 4, leaf_g_m2=52.7 / 4)
    cells = cut(replace(quarters, pamphlet=replace(quarters.pamphlet, leaf_mm=0.03, leaf_g_m2=20)))
    fine = cells.cells.copy()
    sheets = cells.sheets
    fine[sheets, DX], fine[sheets, RHO] = 0.085e-3 / 4, 620.0
    fine[sheets, 7] = np.where(np.arange(len(sheets)) % 4 == 3, 1 / 2000, 0.0)
    fine[sheets[0] - 1, 7] = 1 / 2000
    rho = cells.cells[sheets, RHO]
    start = cells.start_w.copy()
    start[sheets] *= 620.0 / rho
    faces = faces_of(quarters, Side(68.0), Side(None))
    again = march(fine, faces, cells.start_c, start, found.t_s)

    def lost(course, at, dx):
        held = course.water_kg_m3[:, at] @ dx
        return held[0] - held[-1]

    first = lost(found, coarse.sheets, coarse.cells[coarse.sheets, DX])
    second = lost(again, sheets, fine[sheets, DX])
    assert second == pytest.approx(first, rel=0.01)
    assert centre(cells, again)[-1] == pytest.approx(centre(coarse, found)[-1], abs=0.1)


def test_two_solvers_agree():
    """LSODA against BDF, from the same rates: 1e-3 K and a thousandth of the water."""
    stack = case_a()
    cells, found = run(stack)
    faces = faces_of(stack, Side(68.0), Side(None))
    start = np.zeros(2 * len(cells.cells) + 4)
    start[2:-2:2], start[3:-2:2] = cells.start_c, cells.start_w

    def change(_time, state):
        out = np.empty(len(state))
        rates(state, cells.cells, faces, out)
        return out

    again = solve_ivp(change, (0, 900), start, "BDF", rtol=1e-8, atol=1e-8)
    assert again.y[2:-2:2, -1] == pytest.approx(found.temperature_c[-1], abs=1e-3)
    assert again.y[3:-2:2, -1] == pytest.approx(found.water_kg_m3[-1], rel=1e-3, abs=1e-4)


def test_leaves_are_numbered_from_the_top_and_a_board_lies_in_the_middle():
    cells = cut(case_a(wraps=3))
    assert [cells.names[i] for i in cells.sheets] == [
        "upper cover", "leaf 1", "leaf 2", "leaf 3", "leaf 4", "leaf 5", "leaf 6", "lower cover"
    ]  # fmt: skip
    assert "thin board in the centrefold" in cells.names
    dry = cells.dry_kg_m2[cells.sheets].sum()
    assert dry == pytest.approx(6 * 0.0527 + 2 * 0.108, rel=1e-9)


@pytest.mark.parametrize(
    ("stack", "says"),
    [
        (case_a(wraps=0), "wraps must lie"),
        (case_a(start_rh=80.0), "humidity must lie"),
        (case_a(leaf_mm=0.03), "denser than fibre"),
        (replace(case_a(), room=Room(70.0, 0.5)), "room must lie"),
        (replace(case_a(), above=(layer("wood", 400.0),)), "thickness must lie"),
    ],
)
def test_what_cannot_be_is_refused(stack, says):
    with pytest.raises(ValueError, match=says):
        cut(stack)


def test_contacts_matter_as_seen_before():
    """Cases K and L: leaf contact 500 and 10 000 part the centre by some 5 K at 15 minutes."""
    low, high = (
        centre(*run(case_a(), Knobs(contacts=Contacts(paper=h))))[-1] for h in (500.0, 10000.0)
    )
    assert 3 < high - low < 8
