"""How surely a sheet lies where its holes lay it, and what is to be said of it.

u of a sheet is its own part, from the normal equations of its holes against the pattern, each with
u^2 + c^2 / 4 (anywhere in a disc of the slack c) on either axis, and of the soft rows. Between two
sheets both parts add in squares, the cover's too. Left out: the pattern's own uncertainty, which
all sheets share; limits that hold a sheet back; paper that is not flat or not rigid; a wrong scale.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from quirewell.science.booklet.holes import Sheet
from quirewell.science.booklet.laid import Placed
from quirewell.science.booklet.lie import Lie, Table, normal_matrix
from quirewell.science.booklet.limits import ARM_MM, PAGE_MM, Rows
from quirewell.science.booklet.rigid import Array

# A variance so large, of a matrix with a unit diagonal, is a motion that nothing but the tiny
# stiffness of the normal matrix holds; holes of one staple come to hundreds.
_UNHELD = 1e6
# A sheet turned more than this was hardly laid head up when it was measured [mrad].
ASKEW_MRAD = 50.0
_UNTIED = (
    "Nothing ties it to the reference: it shares too few holes with the sheets that lie on it."
)


@dataclass(frozen=True, slots=True)
class Doubt:
    """u of shift [mm, mm] and turn [mrad], None where nothing holds the sheet; how much larger its
    holes lie apart than the pattern's (1: the same), with u."""

    u: tuple[float | None, float | None, float | None]
    scale: float | None
    u_scale: float | None


@dataclass(frozen=True, slots=True)
class Evidence:
    """What else is known of a sheet: its ``holes`` that count, its ``doubt``; ``chance``, how often
    one of so many sheets fits as badly; whether another scale explains it; which hole may be the
    wrong one ``instead``; the limit that ``gave`` and by how much [mm]; the scatter of trimmed
    edges assumed [mm]; whether it is the reference."""

    holes: tuple[int, ...]
    doubt: Doubt
    chance: float
    scaled: bool
    instead: int | None
    gave: tuple[str, float] | None
    trim_u_mm: float
    reference: bool


def doubts(table: Table, lie: Lie, reference: int, soft: Rows, raised: float) -> list[Doubt]:
    """The doubt of each sheet; poses told about the pattern's middle."""
    there = table.weight > 0
    shared = there & (there.sum(0) > 1)
    weight = np.where(shared, 1 / (table.u**2 + table.slack**2 / 4), 0.0)
    held = replace(table, slack=np.zeros_like(table.slack), weight=weight)
    whole, blocks = normal_matrix(held, lie, soft)
    unheld = _unheld(whole, len(weight), reference)
    placed = lie.poses.place(table.at)
    out = []
    for i, block in enumerate(blocks):
        if unheld[i] or np.linalg.cond(block) > _UNHELD:
            out.append(Doubt((None, None, None), None, None))
            continue
        dx, dy, turn = np.sqrt(np.diag(np.linalg.inv(block))) * raised
        scale, u_scale = _scale(placed[i], lie.pattern, weight[i])
        u_turn = float(turn) / ARM_MM * 1e3
        out.append(
            Doubt(
                (float(dx), float(dy), u_turn), scale, None if u_scale is None else u_scale * raised
            )
        )
    return out


def _unheld(whole: Array, count: int, reference: int) -> Array:
    """Sheets that can move without any hole or edge noticing."""
    free = np.ones(len(whole), dtype=bool)
    free[3 * reference : 3 * reference + 3] = False
    diagonal = whole.diagonal()
    root = np.where(diagonal > 1e-6, np.sqrt(np.maximum(diagonal, 1e-300)), 1.0)
    variance = np.zeros(len(whole))
    variance[free] = np.linalg.inv((whole / np.outer(root, root))[np.ix_(free, free)]).diagonal()
    return np.asarray(variance[: 3 * count].reshape(count, 3).max(1) > _UNHELD)


def _scale(placed: Array, pattern: Array, weight: Array) -> tuple[float | None, float | None]:
    if (weight > 0).sum() < 2:
        return None, None
    share = (weight / weight.sum())[:, None]
    a, b = placed - (share * placed).sum(0), pattern - (share * pattern).sum(0)
    spread = float((weight[:, None] * b**2).sum())
    if spread <= 0:
        return None, None
    return float((weight[:, None] * a * b).sum()) / spread, spread**-0.5


def flags(sheet: Sheet, placed: Placed, known: Evidence) -> tuple[str, ...]:
    """What is to be said of a sheet, in sentences; nothing where all is well."""
    said = []
    if placed.wrong_hole is not None:
        also = "" if known.instead is None else f" (or it is hole {known.instead}: look at both)"
        said.append(
            f"Hole {placed.wrong_hole} lies {placed.wrong_by_mm:.2f} mm off the others{also}; it "
            "was set aside. Measure it again."
        )
    said += _rank(sheet, known)
    if known.scaled:
        by = 100 * ((known.doubt.scale or 1.0) - 1)
        said.append(
            f"Its holes lie {abs(by):.2f} % {'further apart' if by > 0 else 'closer'} than on the "
            "other sheets: the paper changed its size, or the scale is another. It is not scaled."
        )
    elif known.chance < 0.01 and len(known.holes) == 2:
        said.append(
            "Its two holes do not lie as far apart as elsewhere: one is wrong, and which cannot be "
            "told. Measure both again."
        )
    elif known.chance < 0.01:
        said.append(
            "Its holes do not fit the others, and no single hole explains it: measure them again."
        )
    if abs(placed.turn_mrad) > ASKEW_MRAD:
        said.append(
            f"It is turned by {placed.turn_mrad / 17.4533:.1f} degrees: was it measured head away, "
            "outer side up?"
        )
    if known.gave is not None:
        said.append(_no_room(*known.gave))
    return tuple(said)


def _rank(sheet: Sheet, known: Evidence) -> list[str]:
    """What is to be said where holes do not settle how a sheet lies."""
    shared, u_turn = known.holes, known.doubt.u[2]
    staples = {(number + 1) // 2 for number in shared}
    if u_turn is None and len(shared) > 1:
        return [] if known.reference else [_UNTIED]
    if len(staples) >= 2:
        return []
    what = {0: "No hole that another sheet has too", 1: "One hole only"}.get(
        len(shared), "One staple lost, all holes are the other one's"
    )
    if u_turn is None:
        how = "it stays as it was measured" if not shared else "it lies on it, its turn unknown"
        return [f"{what}: {how}. It cannot be turned by holes; measure its edges."]
    edges = sheet.edges
    arm = PAGE_MM
    if edges is not None:
        arm = max(abs(edges.left_mm or 0.0), abs(edges.right_mm or 0.0)) or PAGE_MM
    unsure = (
        f"turn unsure by {u_turn:.1f} mrad, a corner {arm:.0f} mm out by "
        f"{u_turn * arm / 1e3:.1f} mm"
    )
    if edges is not None and not known.reference:
        return [
            f"{what}: its edges place it, trim scatter {known.trim_u_mm:g} mm assumed; {unsure}."
        ]
    return [f"{what}: it cannot be turned well by holes; {unsure}. Measure its edges."]


def _no_room(kind: str, by_mm: float) -> str:
    if kind == "all":
        return f"It cannot keep its limits: all would have to give by {by_mm:.2f} mm at once."
    return (
        f"It cannot keep all limits: the least that has to give is {kind}, by {by_mm:.2f} mm; it "
        "was let go so far."
    )
