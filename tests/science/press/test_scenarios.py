"""Eighteen pressings computed elsewhere, a regression, not a validation: an independent prototype
with the same equations computed them. No measured press history of a pamphlet is known.

The rows are followed as that prototype followed them. What it says of itself: platen 500, leaf on
leaf 2000 W/(m2 K), low contacts at hard faces only (300 is the value it names). What it does not
say was found by fitting, and each is held by a test below that fails without it: silicone and film
touch as hard things do; the cover is two cells, and its water is that of the outer half; between
two hot plates the card lies on 3 mm of board alone; the wood conducts 0.13 W/(m K).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import pytest

from quirewell.science.paper.sorption import CURVES
from quirewell.science.press.course import Course, Pressing, Rules, answers, follow
from quirewell.science.press.kernel import CELL, DX, JOINT, RHO, humidity_and_heat
from quirewell.science.press.march import march
from quirewell.science.press.materials import MATERIALS, Contacts
from quirewell.science.press.stack import (
    Cells,
    Knobs,
    Layer,
    Pamphlet,
    Side,
    Stack,
    cut,
    faces_of,
)


def _l(key: str, mm: float | None = None, **start: float) -> Layer:
    return Layer(MATERIALS[key], mm or MATERIALS[key].usual_mm, **start)


AL, SIL, CARD = _l("aluminium", 3.2), _l("release", 0.5), _l("card", 0.25)
BOARD, BLOTTER = _l("thin-board", 1.5), _l("blotter", 0.6)
HOT_AL = _l("aluminium", 3.2, start_c=68.0)
THICK, WOOD = _l("thin-board", 3.0), _l("wood", 12.0)
FOOT = (THICK, WOOD)
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
    Row("E", replace(A, below=(CARD, THICK)), (65.8, N), (67.4, N), (67.8, N), (43, 38),
        (0.155, 0.130), (0.134, 0.115), (0.94, 0.87), heat="both"),
    Row("E2", replace(A, below=(SIL, THICK)), (65.6, N), (67.9, N), (67.8, N), (23, 19),
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
BY_CASE = {row.case: row for row in ROWS}
HARD, WOOD_CONDUCTS = 300.0, 0.13
NAMES = ("t5", "t15", "cold", "lost", "hot_u", "cold_u", "rh", "over")


def _theirs(stack: Stack, wood: float = WOOD_CONDUCTS, hard: bool = True) -> Stack:
    """The stack of that prototype: silicone and film hard, wood that conducts less."""

    def one(layer: Layer) -> Layer:
        material = layer.material
        if material.key in ("release", "film"):
            material = replace(material, hard=hard)
        if material.key == "wood":
            material = replace(material, conducts=wood)
        return replace(layer, material=material)

    item = stack.pamphlet
    inner = None if item.centre is None else one(item.centre)
    return replace(
        stack, above=tuple(map(one, stack.above)), below=tuple(map(one, stack.below)),
        pamphlet=replace(item, centre=inner),
    )  # fmt: skip


def _split(cells: Cells, parts: np.ndarray) -> Cells:
    """Each cell in so many, with no joint between them."""
    at = np.repeat(np.arange(len(parts)), parts)
    array = cells.cells[at].copy()
    array[:, DX] /= parts[at]
    array[:-1, JOINT][at[:-1] == at[1:]] = 0.0
    return replace(
        cells, cells=array, start_c=cells.start_c[at], start_w=cells.start_w[at],
        layer=cells.layer[at], leaf=cells.leaf[at], names=tuple(cells.names[i] for i in at),
        dry_kg_m2=array[:, RHO] * array[:, DX],
    )  # fmt: skip


def _run(
    stack: Stack, knobs: Knobs, heat: str = "above", minutes: int = 60, halves: int = 2,
    finer: int = 1,
) -> tuple[np.ndarray, ...]:  # fmt: skip
    """Times [s]; of the pamphlet's cells temperature, water [kg/kg], humidity; its water [g/m2];
    temperature of the fold. Covers are in ``halves``, then every cell in ``finer``."""
    knobs = replace(knobs, contacts=replace(knobs.contacts, hard=HARD))
    cells = cut(stack, knobs)
    assert cells.cells.shape[1] == CELL
    covers = np.array([halves if name.endswith("cover") else 1 for name in cells.names])
    cells = _split(cells, covers)
    cells = _split(cells, np.full(len(cells.cells), finer))
    faces = faces_of(stack, Side(68.0), Side(68.0 if heat == "both" else None), knobs)
    t_s = np.linspace(0, 60 * minutes, 12 * minutes + 1)
    found = march(cells.cells, faces, cells.start_c, cells.start_w, t_s)
    at = cells.sheets
    celsius = found.temperature_c[:, at]
    u = found.water_kg_m3[:, at] / cells.cells[at, RHO]
    curve = CURVES.index(knobs.curve)
    flat = zip(u.ravel(), celsius.ravel(), strict=True)
    rh = np.array([humidity_and_heat(curve, w, c)[0] for w, c in flat]).reshape(u.shape)
    grams = 1000 * found.water_kg_m3[:, at] @ cells.cells[at, DX]
    leaf = cells.leaf[at]
    middle = (leaf.max() + 1) // 2
    fold = celsius[:, (leaf == middle - 1) | (leaf == middle)].mean(axis=1)
    return t_s, celsius, u, rh, grams, fold


def _values(row: Row, curve: str, stack: Stack | None = None, halves: int = 2) -> dict[str, float]:
    knobs = replace(row.knobs, curve=curve)  # type: ignore[arg-type]
    stack = _theirs(row.stack) if stack is None else stack
    t_s, celsius, u, rh, grams, fold = _run(stack, knobs, row.heat, halves=halves)
    five, end = np.searchsorted(t_s, (300.0, 900.0))
    damp = (rh[: end + 1] > 0.95).any(axis=1)
    return {
        "t5": fold[five], "t15": fold[end], "cold": celsius[end, -1], "lost": grams[0] - grams[end],
        "hot_u": u[end, 0], "cold_u": u[end, -1], "rh": rh.max(),
        "over": float(t_s[1] * damp[1:].sum()),
    }  # fmt: skip


# C, C, C, g/m2, kg/kg, kg/kg, share, s: rounding of the table (half of 0.1 C, 1 g/m2, 0.001, 0.01)
# and what the four things found by fitting leave open; far below what the two curves differ by.
ALLOWED = {"t5": 0.9, "t15": 0.9, "cold": 0.5, "lost": 2.0, "hot_u": 0.005, "cold_u": 0.009,
           "rh": 0.012, "over": 60.0}  # fmt: skip


TOLD = [
    pytest.param(row, k, {name: value[k] for name, value in told.items() if value[k] is not None},
                 id=f"{row.case}-{curve}")
    for row in ROWS
    for k, curve in enumerate(CURVES)
    if (told := {name: getattr(row, name) for name in NAMES})
    and any(value[k] is not None for value in told.values())
]  # fmt: skip


@pytest.mark.parametrize(("row", "k", "then"), TOLD)
def test_a_case_is_as_it_was_computed_elsewhere(row: Row, k: int, then: dict[str, float]) -> None:
    found = _values(row, CURVES[k])
    off = {name: found[name] - value for name, value in then.items()}
    assert {name: by for name, by in off.items() if abs(by) > ALLOWED[name]} == {}


# --- what the other had otherwise, each by itself ------------------------------------------------


def _off(
    case: str, name: str, stack: Stack | None = None, halves: int = 2, curve: int = 0
) -> float:  # fmt: skip
    row = BY_CASE[case]
    found = _values(row, CURVES[curve], stack, halves)
    return float(found[name] - getattr(row, name)[curve])


@pytest.mark.parametrize("case", ["A", "G", "K", "M"])
def test_its_cold_cover_is_the_outer_half_of_ours(case: str) -> None:
    """A cover in one cell gives its mean, 0.01 and more moister: that is no leak."""
    assert abs(_off(case, "cold_u")) < 0.0025
    assert _off(case, "cold_u", halves=1) > 0.0075


def test_silicone_and_film_touch_as_hard_things() -> None:
    """As paper does (2000), the silicone's stack warms too soon; D, which has none, does not."""
    for case in ("A", "C", "I"):
        soft = _theirs(BY_CASE[case].stack, hard=False)
        assert _off(case, "t5", soft) > 1.0 + abs(_off(case, "t5")) / 2
    assert _values(BY_CASE["D"], "tryding") == _values(
        BY_CASE["D"], "tryding", _theirs(BY_CASE["D"].stack, hard=False)
    )


def test_its_wood_conducts_less() -> None:
    """0.13 as wood of 500 kg/m3 does (``ht``); ours of 700, 0.17: a degree off the cold cover."""
    cases = ("A", "F", "G", "P", "Q")
    lighter = [_off(case, "cold") for case in cases]
    ours = [_off(case, "cold", _theirs(BY_CASE[case].stack, MATERIALS["wood"].conducts))
            for case in cases]  # fmt: skip
    assert abs(np.mean(lighter)) < 0.3
    assert -1.2 < np.mean(ours) < -0.7


def test_between_two_hot_plates_no_metal_lay_below() -> None:
    """With a board of 1.5 mm and aluminium there, as above, both centres come too soon and the
    covers of E2 are alike; 0.159 and 0.164 were told."""
    for case, first in (("E", CARD), ("E2", SIL)):
        other = _theirs(replace(A, below=(first, BOARD, AL)))
        assert abs(_off(case, "t5")) < 0.25
        assert _off(case, "t5", other) > 0.4
    found, alike = _values(BY_CASE["E2"], "tryding"), _values(BY_CASE["E2"], "tryding", other)
    assert 0.003 < found["cold_u"] - found["hot_u"] < 0.006
    assert alike["cold_u"] == pytest.approx(alike["hot_u"], abs=1e-6)


# --- how the centre warms, how it cools, what finer cells change ---------------------------------


def _reached(row: Row, level: float) -> float | None:
    t_s, *_, fold = _run(_theirs(row.stack), row.knobs, row.heat, minutes=60)
    over = np.flatnonzero(fold >= 20.0 + level * 48.0)
    return float(t_s[over[0]]) if len(over) else None


@pytest.mark.parametrize(
    ("case", "level", "then"),
    [("A", 0.5, 260.0), ("E", 0.5, 90.0), ("E", 0.9, 220.0), ("O", 0.5, 100.0)],
)
def test_when_the_centre_is_so_warm(case: str, level: float, then: float) -> None:
    """Told to the ten seconds: within a tenth."""
    assert _reached(BY_CASE[case], level) == pytest.approx(then, abs=max(10.0, 0.1 * then))


def test_on_one_side_the_centre_never_comes_to_nine_tenths() -> None:
    assert _reached(BY_CASE["A"], 0.9) is None


def _cooled(course: Course, below_c: float) -> float:
    """Minutes until the centre is so cool."""
    end = course.heating_ends
    t_s, fold = course.t_s[end:] - course.t_s[end], course.centre_c[end:]
    i = int(np.flatnonzero(fold < below_c)[0])
    return float(np.interp(-below_c, -fold[i - 1 : i + 1], t_s[i - 1 : i + 1])) / 60


@pytest.mark.parametrize(
    ("cooling", "below_c", "minutes"),
    [("in place", 30.0, 41.0), ("in place", 25.0, 69.0),
     ("cold plates", 30.0, 5.0), ("cold plates", 25.0, 10.0)],
)  # fmt: skip
@pytest.mark.parametrize("curve", CURVES)
def test_how_long_the_centre_cools(
    curve: str, cooling: str, below_c: float, minutes: float
) -> None:
    pressing = Pressing(_theirs(A), "above", 68.0, 15.0, cooling)  # type: ignore[arg-type]
    knobs = Knobs(curve, Contacts(hard=HARD))  # type: ignore[arg-type]
    found = _cooled(follow(pressing, knobs), below_c)
    assert found == pytest.approx(minutes, abs=0.5 + 0.025 * minutes)


@pytest.mark.parametrize(
    ("case", "share"),
    [("A", (0.003, 0.003)), ("B", (0.003, 0.003)), ("C", (0.003, 0.003)), ("G", (0.025, 0.004))],
)
@pytest.mark.parametrize("k", [0, 1], ids=CURVES)
def test_finer_cells_change_little(case: str, share: tuple[float, float], k: int) -> None:
    """Then 73, 146, 292 cells: 43.88, 43.97, 43.99 g/m2 and 52.67, 52.72, 52.74 C. Ours about as
    many, every cell (leaf, cover, board) in two and in four; the second halving changes less.

    Begun at 95 % the card's wet film by the moister curve is thinner than a cell: 2 % at each.
    """
    knobs = replace(BY_CASE[case].knobs, curve=CURVES[k])
    stack = _theirs(BY_CASE[case].stack)
    lost, warm = [], []
    for finer in (1, 2, 4):
        *_, grams, fold = _run(stack, knobs, minutes=15, finer=finer)
        lost.append(float(grams[0] - grams[-1]))
        warm.append(float(fold[-1]))
    assert lost[0] == pytest.approx(lost[1], rel=share[k])
    assert abs(lost[2] - lost[1]) < 0.7 * abs(lost[1] - lost[0])
    assert warm == pytest.approx([warm[-1]] * 3, abs=0.05)


# --- the same with what we take as usual ---------------------------------------------------------

# Least and most that ours may lie above theirs: 200 at metal, paper's contact at silicone and film,
# wood of 0.17, a cover in one cell. So the centre is warmer, the film's most, and the cold cover
# reads moister by what its inner half holds.
USUAL = {"t5": (-0.6, 1.8), "t15": (-0.6, 1.4), "cold": (-1.2, 0.7), "lost": (-1.0, 2.0),
         "hot_u": (-0.003, 0.002), "cold_u": (-0.002, 0.02), "rh": (-0.004, 0.007)}  # fmt: skip
FARTHER = {
    ("I", "t5"): (1.8, 2.5, "the film's own contact"),
    ("I", "t15"): (1.4, 2.0, "the film's own contact"),
    ("I", "cold"): (0.7, 1.5, "the film's own contact"),
    ("G", "lost"): (2.0, 4.0, "a warmer stack near saturation"),
}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.case)
def test_with_our_usual_contacts_a_case_is_as_much_warmer_as_they_say(row: Row) -> None:
    for k, curve in enumerate(CURVES):
        knobs = replace(row.knobs, curve=curve)
        course = follow(Pressing(row.stack, row.heat, 68.0, 15.0, "none"), knobs)  # type: ignore[arg-type]
        hour = follow(replace(course.pressing, minutes=60.0), knobs)
        found = answers(course, Rules(hot_c=0.0))
        values = {
            "t5": float(np.interp(300.0, course.t_s, course.centre_c)), "t15": found.centre_c,
            "cold": float(course.temperature_c[-1, -1]), "lost": found.lost_g_m2,
            "hot_u": float(course.u[-1, 0]), "cold_u": float(course.u[-1, -1]),
            "rh": float(hour.rh.max()),
        }  # fmt: skip
        for name, (low, high) in USUAL.items():
            then = getattr(row, name)[k]
            if then is None:
                continue
            if (row.case, name) in FARTHER and k == 0:
                low, high, _ = FARTHER[row.case, name]
            assert low <= values[name] - then <= high, (name, values[name], then)
