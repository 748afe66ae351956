"""What the edges of the sheets allow: limits on how a sheet may lie, and soft rows that place it.

A row says that a point of a sheet, placed, may not go beyond a line; or that a sheet may not be
turned further. Only sheets with measured edges have rows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy
from numpy.typing import NDArray

from quirewell.science.booklet.holes import Edges, Sheet
from quirewell.science.booklet.rigid import Array, Poses, rotated

# Half a page's width [mm] where no reading edge was measured; turns count as mm at 100 mm.
PAGE_MM = 184.0
ARM_MM = 100.0
_GIVES_FIRST = ("tail", "head", "fold", "reading edges", "turn")
KINDS = ("head", "tail", "fold", "turn", "reading edges")
# A limit that is loosened is loosened by this much more, for turns are taken as straight [mm].
_SPARE_MM = 1e-3


@dataclass(frozen=True, slots=True)
class Limits:
    """How far sheets may stand off the reference sheet: head and tail corners, the fold, reading
    edges beyond it [mm], turn [mrad]; and how far edges of sheets trimmed in one cut scatter
    (``trim_u_mm``) and the middle between reading edges strays from the fold (``middle_u_mm``).

    All are assumed (common practice, no source), except the turn, which is the reference's.
    """

    head_tail_mm: float = 0.25
    fold_mm: float = 0.5
    beyond_mm: float = 0.5
    turn_mrad: float = 2.0
    trim_u_mm: float = 0.3
    middle_u_mm: float = 0.5

    def __post_init__(self) -> None:
        for name, value, most in (
            ("head and tail", self.head_tail_mm, 20.0), ("fold", self.fold_mm, 20.0),
            ("reading edges", self.beyond_mm, 20.0), ("turn", self.turn_mrad, 20.0),
        ):  # fmt: skip
            if not 0 <= value <= most:
                raise ValueError(f"the limit for {name} lies from 0 to {most:g}, got {value:g}")
        for name, value in (("trim", self.trim_u_mm), ("middle", self.middle_u_mm)):
            if not 0.001 <= value <= 20:
                raise ValueError(f"{name} scatters by 0.001 to 20 mm, got {value:g}")


@dataclass(frozen=True, slots=True)
class Rows:
    """``m`` rows: the sheet of each, the point (m, 2), along which direction (m, 2), how the turn
    counts (m,) [mm for a radian], the bound (m,) or target, the weight (m,) and the kind (m,)."""

    sheet: NDArray[np.intp]
    point: Array
    along: Array
    turn: Array
    bound: Array
    weight: Array
    kind: NDArray[np.intp]

    def values(self, poses: Poses) -> Array:
        """Where each row stands, to be held against its bound."""
        placed = poses.place(self.point, self.sheet)
        return np.asarray((self.along * placed).sum(1) + self.turn * poses.turn[self.sheet])

    def slopes(self, poses: Poses) -> Array:
        """How each row changes (m, 3) as its sheet shifts [mm] and turns [mm at the arm]."""
        arm = poses.place(self.point, self.sheet) - poses.centre
        by_turn = self.along[:, 1] * arm[:, 0] - self.along[:, 0] * arm[:, 1] + self.turn
        return np.column_stack([self.along, by_turn / ARM_MM])

    def only(self, chosen: NDArray[np.bool_]) -> Rows:
        """The rows chosen."""
        return Rows(
            self.sheet[chosen], self.point[chosen], self.along[chosen], self.turn[chosen],
            self.bound[chosen], self.weight[chosen], self.kind[chosen],
        )  # fmt: skip


def reference_edges(sheets: Sequence[Sheet], reference: int, poses: Poses) -> Edges:
    """The edges others are held against: the reference sheet's; where it lost its head or its
    tail, the middle one of all sheets as their holes place them."""
    own = sheets[reference].edges or Edges()
    ends: dict[str, float | None] = {"head_mm": own.head_mm, "tail_mm": own.tail_mm}
    for name, held in ends.items():
        ys = [
            float(poses.place(np.array([[0.0, y]]), np.array([i]))[0, 1])
            for i, sheet in enumerate(sheets)
            if sheet.edges is not None and (y := getattr(sheet.edges, name)) is not None
        ]
        ends[name] = held if held is not None or not ys else float(np.median(ys))
    head, tail = ends["head_mm"], ends["tail_mm"]
    if head is not None and tail is not None and head >= tail:
        return own  # sheets measured in frames that have nothing in common
    return replace(own, head_mm=head, tail_mm=tail)


def corners(edges: Edges) -> list[tuple[str, float, float]]:
    """Corners of head and tail that were measured (kind, x, y); at the fold where no reading edge
    was."""
    xs = [x for x in (edges.left_mm, edges.right_mm) if x is not None] or [0.0]
    ends = (("head", edges.head_mm), ("tail", edges.tail_mm))
    return [(kind, x, y) for kind, y in ends if y is not None for x in xs]


def limit_rows(sheets: Sequence[Sheet], reference: int, held: Edges, limits: Limits) -> Rows:
    """Every limit of every sheet with edges, the reference sheet's left out."""
    rows: list[tuple[int, float, float, float, float, float, float, float, str]] = []
    for i, sheet in enumerate(sheets):
        if sheet.edges is None or i == reference:
            continue
        edges = sheet.edges
        for kind, x, y in corners(edges):
            target = held.head_mm if kind == "head" else held.tail_mm
            if target is not None:
                rows.append((i, x, y, 0, 1, 0, target + limits.head_tail_mm, 1, kind))
                rows.append((i, x, y, 0, -1, 0, limits.head_tail_mm - target, 1, kind))
        head, tail = _ends(sheet)
        for y in (head, tail):
            rows.append((i, 0, y, 1, 0, 0, limits.fold_mm, 1, "fold"))
            rows.append((i, 0, y, -1, 0, 0, limits.fold_mm, 1, "fold"))
            if edges.right_mm is not None and held.right_mm is not None:
                most = held.right_mm + limits.beyond_mm
                rows.append((i, edges.right_mm, y, 1, 0, 0, most, 1, "reading edges"))
            if edges.left_mm is not None and held.left_mm is not None:
                most = limits.beyond_mm - held.left_mm
                rows.append((i, edges.left_mm, y, -1, 0, 0, most, 1, "reading edges"))
        arm = max(abs(x) for x in (edges.left_mm or PAGE_MM, edges.right_mm or PAGE_MM))
        for sign in (1.0, -1.0):
            rows.append((i, 0, 0, 0, 0, sign * arm, limits.turn_mrad * arm / 1e3, 1, "turn"))
    return _rows(rows)


def _ends(sheet: Sheet) -> tuple[float, float]:
    """y of both ends of a sheet's fold: its edges, else the head's 0 and its lowest hole."""
    edges = sheet.edges or Edges()
    low = max((one.y_mm for one in sheet.holes if one.y_mm is not None), default=0.0)
    return edges.head_mm or 0.0, low if edges.tail_mm is None else edges.tail_mm


def soft_rows(
    sheets: Sequence[Sheet], reference: int, held: Edges, limits: Limits, loose: Sequence[int]
) -> Rows:
    """What edges tell beside the holes. The middle between both reading edges lies on the fold:
    all halves were cut in one stroke after stitching, so that creep, W - kappa t j on either side,
    falls out of their middle. And for sheets that holes cannot turn (``loose``) their head and
    tail corners, which lie level with the reference sheet's but for the trim."""
    rows: list[tuple[int, float, float, float, float, float, float, float, str]] = []
    for i, sheet in enumerate(sheets):
        if sheet.edges is None or i == reference:
            continue
        edges = sheet.edges
        if edges.left_mm is not None and edges.right_mm is not None:
            middle, (head, tail) = (edges.left_mm + edges.right_mm) / 2, _ends(sheet)
            weight = 1 / limits.middle_u_mm**2
            rows.append((i, middle, (head + tail) / 2, 1, 0, 0, 0, weight, "reading edges"))
        for kind, x, y in corners(edges) if i in loose else ():
            target = held.head_mm if kind == "head" else held.tail_mm
            if target is not None:
                rows.append((i, x, y, 0, 1, 0, target, 1 / limits.trim_u_mm**2, kind))
    return _rows(rows)


def _rows(rows: list[tuple[int, float, float, float, float, float, float, float, str]]) -> Rows:
    table = np.array([row[:8] for row in rows], dtype=np.float64).reshape(-1, 8)
    return Rows(
        table[:, 0].astype(np.intp), table[:, 1:3], table[:, 3:5], table[:, 5], table[:, 6],
        table[:, 7], np.array([KINDS.index(row[8]) for row in rows], dtype=np.intp),
    )  # fmt: skip


def off_edges(
    sheet: Sheet, held: Edges, turn: float, shift: Array, centre: Array
) -> tuple[float | None, float | None]:
    """How far a placed sheet's worst head or tail corner lies off the reference sheet's edges, and
    its worst reading edge beyond the reference sheet's [mm]; None where nothing was measured."""
    edges = sheet.edges or Edges()
    seen: list[tuple[float, float, int, float, float]] = []
    for kind, x, y in corners(edges):
        target = held.head_mm if kind == "head" else held.tail_mm
        if target is not None:
            seen.append((x, y, 1, 0.0, target))
    for y in _ends(sheet):
        if edges.right_mm is not None and held.right_mm is not None:
            seen.append((edges.right_mm, y, 0, 1.0, held.right_mm))
        if edges.left_mm is not None and held.left_mm is not None:
            seen.append((edges.left_mm, y, 0, -1.0, held.left_mm))
    if not seen:
        return None, None
    table = np.array(seen)
    placed = rotated(table[:, :2] - centre, np.asarray(turn)) + shift + centre
    level = table[:, 2] == 1
    off = np.abs(placed[level, 1] - table[level, 4])
    beyond = table[~level, 3] * (placed[~level, 0] - table[~level, 4])
    return (
        float(off.max()) if off.size else None,
        float(beyond.max(initial=0.0)) if beyond.size else None,
    )


def loosened(rows: Rows, poses: Poses) -> tuple[Rows, dict[int, tuple[str, float]]]:
    """The rows such that every sheet can keep its own, and for each sheet that cannot: which kind
    of limit has to give, the one that has to give least, and by how much [mm] ("all" where no
    single one is enough). Turns are taken as straight about no turn."""
    flat = Poses(np.zeros_like(poses.turn), np.zeros_like(poses.shift), poses.centre)
    slopes, room = rows.slopes(flat), rows.bound - rows.values(flat)
    bound, gave = rows.bound.copy(), {}
    for i in np.unique(rows.sheet):
        mine = np.flatnonzero(rows.sheet == i)
        if _unturned(slopes[mine], room[mine]) or (
            _gives(slopes[mine], room[mine], np.ones(len(mine), bool)) <= 1e-9
        ):
            continue
        kind, by = "all", np.inf
        # Of two that give the same the earlier one: the head stays flush, the tail gives.
        for one in _GIVES_FIRST:
            chosen = rows.kind[mine] == KINDS.index(one)
            needed = _gives(slopes[mine], room[mine], chosen) if chosen.any() else np.inf
            if needed < by - 1e-6:
                kind, by = one, needed
        giving = mine if kind == "all" else mine[rows.kind[mine] == KINDS.index(kind)]
        if kind == "all":
            by = _gives(slopes[mine], room[mine], np.ones(len(mine), bool))
        bound[giving] += by + _SPARE_MM
        gave[int(i)] = kind, float(by)
    return replace(rows, bound=bound), gave


def _unturned(slopes: Array, room: Array) -> bool:
    """Whether a sheet can keep its limits without a turn: then there is room along x and y."""

    def least(chosen: NDArray[np.bool_]) -> float:
        return float(room[chosen].min(initial=np.inf))

    return all(least(slopes[:, axis] > 0.5) + least(slopes[:, axis] < -0.5) >= 0 for axis in (0, 1))


def _gives(slopes: Array, room: Array, giving: NDArray[np.bool_]) -> float:
    """By how much the rows chosen must give, all alike, so that all rows can be kept [mm];
    infinite where that does not help."""
    table = np.column_stack([slopes, -giving.astype(np.float64)])
    found = scipy.optimize.linprog(
        [0, 0, 0, 1], A_ub=table, b_ub=room, bounds=[(None, None)] * 3 + [(0, None)]
    )  # fmt: skip
    return float(found.x[3]) if found.status == 0 else np.inf
