"""Sheets laid on one another by their staple holes: a constrained Procrustes problem.

Every sheet is turned and shifted, never scaled or mirrored [gower2004], so that its holes lie on
one common pattern; within the slack of a hole round its wire nothing counts. Where edges were
measured they limit how a sheet may lie. The reference, the cover, stays as it is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from quirewell.science.booklet.doubt import Doubt, Evidence, doubts, flags
from quirewell.science.booklet.holes import Edges, HoleAt, Sheet
from quirewell.science.booklet.laid import Alignment, Placed
from quirewell.science.booklet.lie import Lie, Table, first_lie, settle
from quirewell.science.booklet.limits import (
    KINDS,
    Limits,
    Rows,
    limit_rows,
    loosened,
    off_edges,
    reference_edges,
    soft_rows,
)
from quirewell.science.booklet.rigid import Array, Poses, rotated
from quirewell.science.booklet.wrong_hole import Misfit, Suspect, look

__all__ = ["ASSUMED_U_MM", "Alignment", "Placed", "align"]
# u of a hole of which none is known, the least that is believed, slack of a torn one of unknown
# size [mm]; a torn hole is so many times less sure (common practice, no source).
ASSUMED_U_MM = 0.1
LEAST_U_MM = 0.001
TORN_SLACK_MM = 0.5
TORN_TIMES = 3.0
ALL = "all"
_TIGHT_MM = 1e-6
_ROUGH = 1e-6
# A hole held at the end of its slack lies a trifle beyond it.
_SEEN_MM = 0.005


@dataclass(frozen=True, slots=True)
class _Solved:
    """Sheets as they were laid: ``full`` the table of all holes, ``table`` without the wrong ones;
    ``edges`` the others are held against; by sheet its wrong hole, the limit that gave, what limits
    cost."""

    sheets: tuple[Sheet, ...]
    numbers: tuple[int, ...]
    full: Table
    table: Table
    lie: Lie
    reference: int
    edges: Edges
    limits: Limits
    misfit: Misfit
    wrong: dict[int, Suspect]
    gave: dict[int, tuple[str, float]]
    costs: dict[int, dict[str, float]]


def align(sheets: Sequence[Sheet], wire_mm: float = 0.5, limits: Limits | None = None) -> Alignment:
    """Lay sheets, the outermost first, on one pattern of holes.

    Parameters
    ----------
    wire_mm : float
        The staple's wire: a hole ``size_mm`` wide has the slack (size - wire) / 2 round it.
    limits : Limits
        What edges allow; counts only for sheets with measured edges.

    Raises
    ------
    ValueError
        For fewer than two sheets, a name given twice, no holes at all, a wire that is none.
    """
    held = tuple(sheets)
    _check(held, wire_mm)
    numbers = tuple(
        sorted({int(one.number) for sheet in held for one in sheet.holes if _there(one)})
    )
    if not numbers:
        raise ValueError("no sheet has a hole that can be used; measure or mark some first")
    full = _table(held, numbers, wire_mm)
    reference = _reference(held)
    table, lie, misfit, wrong = _without_wrong(full, reference)
    loose = [i for i in range(len(held)) if len(_staples(table, numbers, i)) < 2]
    edges = reference_edges(held, reference, lie.poses)
    limits = limits or Limits()
    soft = soft_rows(held, reference, edges, limits, loose)
    rows = limit_rows(held, reference, edges, limits)
    gave: dict[int, tuple[str, float]] = {}
    if len(rows.sheet):
        rows, gave = loosened(rows, lie.poses)
        lie = settle(table, _within(lie, rows), reference, soft, rows)
    costs = _costs(table, lie, soft, rows)
    lie = Lie(lie.poses.about(lie.pattern.mean(0)), lie.pattern)
    solved = _Solved(
        held, numbers, full, table, lie, reference, edges, limits, misfit, wrong, gave, costs
    )
    return _told(solved, doubts(table, lie, reference, soft, misfit.raised))


def _check(sheets: tuple[Sheet, ...], wire_mm: float) -> None:
    if len(sheets) < 2:
        raise ValueError(
            f"{len(sheets)} sheet has nothing to be laid on; give the holes of two sheets or more"
        )
    names = [sheet.name for sheet in sheets]
    if len(set(names)) != len(names):
        raise ValueError(f"every sheet is given once, got {', '.join(names)}")
    if not 0 <= wire_mm <= 2:
        raise ValueError(f"a staple's wire is 0 to 2 mm thick, got {wire_mm:g}")


def _there(hole: HoleAt) -> bool:
    return hole.state != "missing" and hole.x_mm is not None and hole.y_mm is not None


def _reference(sheets: tuple[Sheet, ...]) -> int:
    """The cover where two of its staples left holes, else the outermost sheet with two; else the
    one with most holes."""
    staples = [len({one.staple for one in sheet.holes if _there(one)}) for sheet in sheets]
    for i, sheet in enumerate(sheets):
        if sheet.name == "c" and staples[i] >= 2:
            return i
    for i, many in enumerate(staples):
        if many >= 2:
            return i
    return int(np.argmax([sum(map(_there, sheet.holes)) for sheet in sheets]))


def _table(sheets: tuple[Sheet, ...], numbers: tuple[int, ...], wire_mm: float) -> Table:
    shape = len(sheets), len(numbers)
    at, u, slack, weight = np.zeros((*shape, 2)), np.ones(shape), np.zeros(shape), np.zeros(shape)
    torn = np.zeros(shape, dtype=bool)
    for i, sheet in enumerate(sheets):
        for one in sheet.holes:
            if not _there(one) or one.number not in numbers:
                continue
            j = numbers.index(one.number)
            at[i, j] = one.x_mm, one.y_mm
            u[i, j] = max(one.u_mm or ASSUMED_U_MM, LEAST_U_MM)
            slack[i, j] = max(0.0, ((one.size_mm or 0.0) - wire_mm) / 2)
            torn[i, j] = one.state == "torn"
            if torn[i, j]:
                u[i, j] *= TORN_TIMES
                slack[i, j] = max(slack[i, j], TORN_SLACK_MM)
            weight[i, j] = 1 / u[i, j] ** 2
    return Table(at, u, slack, weight, torn)


def _nothing() -> Rows:
    none = np.zeros(0)
    whole = np.zeros(0, dtype=np.intp)
    return Rows(whole, np.zeros((0, 2)), np.zeros((0, 2)), none, none, none, whole)


def _without_wrong(table: Table, reference: int) -> tuple[Table, Lie, Misfit, dict[int, Suspect]]:
    """All laid by their holes alone, one wrong hole of a sheet after another set aside."""
    wrong: dict[int, Suspect] = {}
    lie = settle(table, first_lie(table, reference), reference, _nothing())
    while True:
        misfit, suspect = look(table, lie)
        if suspect is None or suspect.sheet in wrong:
            return table, lie, misfit, wrong
        wrong[suspect.sheet] = suspect
        weight = table.weight.copy()
        weight[suspect.sheet, suspect.place] = 0.0
        table = replace(table, weight=weight)
        lie = settle(table, lie, reference, _nothing())


def _shared(table: Table) -> NDArray[np.bool_]:
    """Which holes count: on this sheet and on another."""
    there = table.weight > 0
    return np.asarray(there & (there.sum(0) > 1))


def _staples(table: Table, numbers: tuple[int, ...], sheet: int) -> set[int]:
    return {(numbers[j] + 1) // 2 for j in np.flatnonzero(_shared(table)[sheet])}


def _within(lie: Lie, rows: Rows) -> Lie:
    """A start with no sheet turned that breaks a limit, so that its turn may be taken as
    straight."""
    turn = lie.poses.turn.copy()
    turn[rows.sheet[rows.values(lie.poses) > rows.bound]] = 0.0
    return Lie(Poses(turn, lie.poses.shift, lie.poses.centre), lie.pattern)


def _costs(table: Table, lie: Lie, soft: Rows, rows: Rows) -> dict[int, dict[str, float]]:
    """What each limit that holds a sheet back costs it, and all of them, the pattern left where it
    is: limits that say the same cost nothing one by one."""
    tight = rows.values(lie.poses) > rows.bound - _TIGHT_MM
    if not tight.any():
        return {}
    was = _rms_by_sheet(table, lie)
    kinds = {int(i): np.unique(rows.kind[tight & (rows.sheet == i)]) for i in rows.sheet[tight]}
    freed = settle(table, lie, -1, soft, moves=False, settled=_ROUGH)
    gain = np.maximum(0.0, was - _rms_by_sheet(table, freed))
    # A single limit costs all there is; of several each is left out by itself.
    out = {i: {KINDS[k]: float(gain[i]) for k in held} for i, held in kinds.items()}
    several = [i for i, held in kinds.items() if len(held) > 1]
    for k in sorted({int(k) for i in several for k in kinds[i]}):
        freed = settle(table, lie, -1, soft, rows.only(rows.kind != k), False, _ROUGH)
        gain_of_one = np.maximum(0.0, was - _rms_by_sheet(table, freed))
        for i in several:
            if k in kinds[i]:
                out[i] |= {KINDS[k]: float(gain_of_one[i]), ALL: float(gain[i])}
    return out


def _rms_by_sheet(table: Table, lie: Lie) -> Array:
    """Root mean square of what its holes lie beyond their slack (n,) [mm]."""
    away = np.linalg.norm(lie.poses.place(table.at) - lie.pattern, axis=-1)
    beyond = np.where(_shared(table), np.maximum(0.0, away - table.slack), 0.0)
    return np.asarray(np.sqrt((beyond**2).sum(1) / np.maximum(1, _shared(table).sum(1))))


def _told(solved: _Solved, unsure: list[Doubt]) -> Alignment:
    table, lie, sheets = solved.table, solved.lie, solved.sheets
    off = lie.poses.place(table.at) - lie.pattern
    away = np.linalg.norm(off, axis=-1)
    shared = _shared(table)
    # A torn hole says how far it was torn, not how well sheets lie.
    distances = away[shared & ~table.torn]
    known = shared & (table.slack > 0)
    return Alignment(
        solved.numbers, lie.pattern,
        (float(lie.poses.centre[0]), float(lie.poses.centre[1])), sheets[solved.reference].name,
        tuple(_placed(solved, i, off[i], doubt) for i, doubt in enumerate(unsure)),
        math.sqrt(float((distances**2).mean())) if distances.size else 0.0,
        float(distances.max(initial=0.0)), int((known & (away > table.slack + _SEEN_MM)).sum()),
        tuple(sheets[i].name for i in sorted(solved.gave)), solved.misfit.raised,
        _warnings(solved),
    )  # fmt: skip


def _placed(solved: _Solved, i: int, off: Array, doubt: Doubt) -> Placed:
    """One sheet told: ``off`` where its holes lie beside their places (k, 2)."""
    sheet, poses, numbers = solved.sheets[i], solved.lie.poses, solved.numbers
    shared = _shared(solved.table)[i]
    # A hole set aside is told, with how far off it is, and counts in no sum.
    seen = shared | ((solved.full.weight[i] > 0) & (solved.table.weight[i] == 0))
    places = {number: j for j, number in enumerate(numbers) if seen[j]}
    at = [places.get(one.number) for one in sheet.holes]
    away, slack = np.linalg.norm(off, axis=-1), solved.table.slack[i]
    turn, shift = float(poses.turn[i]), rotated(poses.shift[i], -poses.turn[i])
    excess, beyond = off_edges(sheet, solved.edges, turn, poses.shift[i], poses.centre)
    suspect = solved.wrong.get(i)
    placed = Placed(
        sheet.name, float(shift[0]), float(shift[1]), 1e3 * turn, *doubt.u,
        holes=tuple(one.number for one in sheet.holes),
        off_mm=tuple(None if j is None else (float(off[j, 0]), float(off[j, 1])) for j in at),
        residual_mm=tuple(None if j is None else float(away[j]) for j in at),
        slack_used=tuple(
            None if j is None or slack[j] == 0 else float(away[j] / slack[j]) for j in at
        ),
        edge_excess_mm=excess,
        beyond_cover_mm=beyond,
        costs=solved.costs.get(i, {}),
        wrong_hole=None if suspect is None else numbers[suspect.place],
        wrong_by_mm=None if suspect is None else float(away[suspect.place]),
        scale=doubt.scale,
        u_scale=doubt.u_scale,
        infeasible=solved.gave[i][0] if i in solved.gave else "",
    )  # fmt: skip
    also = None if suspect is None or suspect.instead is None else numbers[suspect.instead]
    evidence = Evidence(
        tuple(numbers[j] for j in np.flatnonzero(shared)), doubt,
        float(solved.misfit.p[i]) * len(solved.sheets), bool(solved.misfit.scaled[i]), also,
        solved.gave.get(i), solved.limits.trim_u_mm, i == solved.reference,
    )  # fmt: skip
    return replace(placed, flags=flags(sheet, placed, evidence))


def _warnings(solved: _Solved) -> tuple[str, ...]:
    sheets, raised = solved.sheets, solved.misfit.raised
    reference = sheets[solved.reference].name
    out = []
    if reference != "c":
        out.append(
            f"The cover is not there or has too few holes: {reference} stays where it is instead."
        )
    if raised > 1:
        out.append(
            f"Holes scatter {raised:.1f} times as much as their u say; all u were raised by that."
        )
    if solved.wrong and len(sheets) == 2:
        out.append(
            "Two sheets alone cannot tell on which of them a hole is wrong: measure both again."
        )
    unknown = sum(_there(one) and not one.u_mm for sheet in sheets for one in sheet.holes)
    if unknown:
        out.append(
            f"{unknown} {'hole has' if unknown == 1 else 'holes have'} no u: {ASSUMED_U_MM:g} mm "
            "is assumed."
        )
    if not any(sheet.edges for sheet in sheets):
        out.append("No edges were given: nothing limits a sheet but its holes.")
    return tuple(out)
