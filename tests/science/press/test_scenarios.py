"""Eighteen pressings computed before by another program with the same equations.

Computed elsewhere, not measured: a regression against an independent prototype, no validation. Its
contacts between metal and board are not told; ours are 200 W/(m2 K), which runs a degree warmer.
Each cell must lie within what that leaves open; the few that do not are named with their reason.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import pytest

from quirewell.science.paper.sorption import CURVES
from quirewell.science.press.course import Pressing, Rules, answers, follow
from quirewell.science.press.materials import MATERIALS, Contacts
from quirewell.science.press.stack import Knobs, Layer, Pamphlet, Stack


def _l(key: str, mm: float | None = None, **start: float) -> Layer:
    return Layer(MATERIALS[key], mm or MATERIALS[key].usual_mm, **start)


AL, SIL, CARD = _l("aluminium", 3.2), _l("release", 0.5), _l("card", 0.25)
BOARD, BLOTTER = _l("thin-board", 1.5), _l("blotter", 0.6)
HOT_AL = _l("aluminium", 3.2, start_c=68.0)
FOOT = (_l("thin-board", 3.0), _l("wood", 12.0))
ITEM = Pamphlet(14, start_rh=0.8, centre=_l("thin-board", 0.5))
A = Stack((AL, BOARD, SIL), ITEM, (CARD, *FOOT))


def _item(**changes: object) -> Stack:
    return replace(A, pamphlet=replace(ITEM, **changes))  # type: ignore[arg-type]


@dataclass(frozen=True)
class Row:
    """A case: its stack; by both curves (the second None where one was told) centre at 5 and 15
    min, cold cover [C], water lost [g/m2], hot and cold cover [kg/kg], greatest humidity in 60 min,
    seconds above 95 % within the 15."""

    case: str
    stack: Stack
    t5: tuple[float, float | None]
    t15: tuple[float, float | None]
    cold: tuple[float, float | None]
    lost: tuple[float, float | None]
    hot_u: tuple[float, float | None]
    cold_u: tuple[float, float | None]
    rh: tuple[float, float | None]
    over: tuple[float | None, float | None] = (None, None)
    heat: str = "above"
    knobs: Knobs = field(default_factory=Knobs)


N = None
ROWS = (
    Row("A", A, (45.5, 45.4), (52.6, 52.7), (48.1, N), (50, 44), (0.100, 0.088), (0.159, 0.136),
        (0.95, 0.88), (5, 0)),
    Row("B", replace(A, below=(BLOTTER, BLOTTER, *FOOT)), (46.7, N), (53.1, N), (49.0, N),
        (62, 53), (0.101, 0.089), (0.135, 0.119), (0.95, 0.88)),
    Row("C", replace(A, below=(SIL, *FOOT)), (46.2, N), (53.0, N), (48.4, N), (20, 16),
        (0.101, 0.089), (0.280, 0.229), (1.00, 0.996), (635, 455)),
    Row("D", replace(A, above=(AL, BOARD, CARD)), (47.5, N), (54.3, N), (49.7, N), (42, N),
        (0.108, N), (0.161, N), (0.96, N)),
    Row("E", replace(A, below=(CARD, BOARD, AL)), (65.8, N), (67.4, N), (67.8, N), (43, 38),
        (0.155, 0.130), (0.134, 0.115), (0.94, 0.87), heat="both"),
    Row("E2", replace(A, below=(SIL, BOARD, AL)), (65.6, N), (67.9, N), (67.8, N), (23, 19),
        (0.159, 0.136), (0.164, 0.139), (0.94, 0.87), heat="both"),
    Row("F", _item(start_rh=0.5), (45.1, N), (52.5, N), (47.3, N), (11, 10), (0.072, 0.062),
        (0.122, 0.105), (0.79, 0.70)),
    Row("G", _item(start_rh=0.95), (45.5, N), (53.1, N), (48.8, N), (81, 76), (0.125, 0.113),
        (0.178, 0.163), (1.00, 0.98), (895, 900)),
    Row("H", _item(centre=None), (46.7, N), (53.6, N), (49.2, N), (34, N), (0.098, N), (0.167, N),
        (0.98, N), (545, 0)),
    Row("I", _item(centre=_l("film", 0.05)), (45.0, N), (52.3, N), (46.9, N), (29, N), (0.110, N),
        (0.152, N), (1.00, N), (795, 755)),
    Row("J", replace(A, above=(HOT_AL, BOARD, SIL)), (45.9, N), (52.7, N), (48.2, N), (51, N),
        (0.099, N), (0.159, N), (0.95, N)),
    Row("K", A, (44.3, N), (49.3, N), (42.2, N), (50, N), (0.080, N), (0.169, N), (0.99, N),
        knobs=Knobs(contacts=Contacts(paper=500.0))),
    Row("L", A, (46.1, N), (53.9, N), (50.6, N), (50, N), (0.110, N), (0.151, N), (0.93, N),
        knobs=Knobs(contacts=Contacts(paper=10_000.0))),
    Row("M", A, (45.3, N), (52.6, N), (48.2, N), (50, N), (0.095, N), (0.170, N), (0.98, N),
        knobs=Knobs(leaf_mu=3 / 8)),
    Row("N", A, (45.2, N), (52.8, N), (47.7, N), (45, N), (0.117, N), (0.138, N), (0.93, N),
        knobs=Knobs(leaf_mu=30 / 8)),
    Row("O", replace(A, above=(HOT_AL, SIL)), (51.3, N), (56.5, N), (51.9, N), (56, N), (0.092, N),
        (0.166, N), (0.97, N)),
    Row("P", _item(wraps=8), (47.1, N), (54.4, N), (51.4, N), (45, N), (0.100, N), (0.151, N),
        (0.93, N)),
    Row("Q", _item(wraps=24), (42.8, N), (50.4, N), (43.5, N), (50, N), (0.099, N), (0.157, N),
        (0.97, N)),
)  # fmt: skip


def _values(row: Row, curve: str) -> dict[str, float]:
    knobs = replace(row.knobs, curve=curve)  # type: ignore[arg-type]
    pressing = Pressing(row.stack, row.heat, 68.0, 15.0, "none")  # type: ignore[arg-type]
    course = follow(pressing, knobs)
    hour = follow(replace(pressing, minutes=60.0), knobs)
    found = answers(course, Rules(hot_c=0.0))
    return {
        "t5": float(np.interp(300.0, course.t_s, course.centre_c)),
        "t15": found.centre_c,
        "cold": float(course.temperature_c[-1, -1]),
        "lost": found.lost_g_m2,
        "hot_u": float(course.u[-1, 0]),
        "cold_u": float(course.u[-1, -1]),
        "rh": float(hour.rh.max()),
        "over": found.red_s,
    }


ALLOWED = {"t5": 1.7, "t15": 1.7, "cold": 1.7, "lost": 2.0, "hot_u": 0.003, "cold_u": 0.02,
           "rh": 0.015, "over": 60.0}  # fmt: skip
# Cells that lie farther off: how far, and why.
FARTHER = {
    ("I", "t5"): (2.5, "a film between leaves: ours touches as paper does, theirs seems to less"),
    ("I", "t15"): (2.0, "the same"),
    ("G", "lost"): (8.0, "begun near saturation, where the two curves and their ends decide"),
    ("A", "over"): (360.0, "our peak is 0.955, theirs 0.95: the limit itself decides"),
}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.case)
@pytest.mark.parametrize("k", [0, 1], ids=CURVES)
def test_a_case_is_as_it_was_computed_elsewhere(row: Row, k: int) -> None:
    found = _values(row, CURVES[k])
    for name, allowed in ALLOWED.items():
        then = getattr(row, name)[k]
        if then is None:
            continue
        off = abs(found[name] - then)
        farther = FARTHER.get((row.case, name))
        assert off <= (allowed if farther is None else farther[0]), (name, found[name], then)


@pytest.mark.parametrize(("case", "name"), FARTHER)
def test_a_cell_is_named_only_where_it_lies_farther_off(case: str, name: str) -> None:
    row = next(row for row in ROWS if row.case == case)
    off = abs(_values(row, "tryding")[name] - getattr(row, name)[0])
    assert off > ALLOWED[name]


def _times(stack: Stack, heat: str = "above") -> tuple[float | None, float | None]:
    course = follow(Pressing(stack, heat, 68.0, 15.0, "none"))  # type: ignore[arg-type]
    rise = (course.centre_c - 20.0) / 48.0
    out = []
    for level in (0.5, 0.9):
        over = np.flatnonzero(rise >= level)
        out.append(float(course.t_s[over[0]]) if len(over) else None)
    return out[0], out[1]


def test_when_the_centre_is_warm() -> None:
    """Then: 260 s and never; both sides hot 90 and 220 s; preheated and bare 100 s."""
    half, most = _times(A)
    assert half is not None
    assert 200 <= half <= 270
    assert most is None
    half, most = _times(replace(A, below=(CARD, BOARD, AL)), "both")
    assert half is not None
    assert most is not None
    assert 70 <= half <= 100
    assert 190 <= most <= 230
    half, _ = _times(replace(A, above=(HOT_AL, SIL)))
    assert half is not None
    assert 80 <= half <= 110


@pytest.mark.parametrize(("cooling", "minutes"), [("in place", 69), ("cold plates", 10)])
def test_how_long_it_cools_to_25_c(cooling: str, minutes: float) -> None:
    found = answers(follow(Pressing(A, "above", 68.0, 15.0, cooling)))  # type: ignore[arg-type]
    assert found.cool_s is not None
    assert abs(found.cool_s / 60 - minutes) <= 0.1 * minutes + 1
