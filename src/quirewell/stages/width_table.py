"""Flat widths of all sheets as a table of text (CSV), and depths of leaves at a fore-edge.

Columns of widths: ``wrap`` (c, or w01 and so on from the outside), ``width_mm``, ``u_mm`` (0 or
empty: not known), ``height_mm``, and the two halves, ``left_mm`` and ``right_mm`` from the fold as
the sheet lies outer side up, head away (a minus sign is dropped, since a table of holes writes the
left edge so). Where both halves are given the width may be empty. Of depths: ``leaf`` (1 = front,
cover left out), ``depth_mm`` back from a straight edge.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass

from quirewell.science.booklet.creep import RULE_U_MM, Width
from quirewell.science.booklet.fore_edge import Halves, halves_of_width
from quirewell.stages.plain_table import TableError, millimetres, read_rows

COLUMNS = ("wrap", "width_mm", "u_mm", "height_mm", "left_mm", "right_mm")
STEP_COLUMNS = ("leaf", "depth_mm")
_WRAP = re.compile(r"(?:w|wrap)?\s*0*([1-9]\d?)")


@dataclass(frozen=True, slots=True)
class Flat:
    """A sheet as measured flat [mm]; ``name`` is c or w01.. ; None where it was not measured."""

    name: str
    width_mm: float
    u_mm: float | None = None
    height_mm: float | None = None
    left_mm: float | None = None
    right_mm: float | None = None

    @property
    def wrap(self) -> int:
        """Place from the outside, 1 = outermost; the cover 0."""
        return 0 if self.name == "c" else int(self.name[1:])

    @property
    def halved(self) -> bool:
        """Whether both halves were measured."""
        return self.left_mm is not None and self.right_mm is not None


def read_widths(text: str) -> list[Flat]:
    """Sheets from a table, the cover first, then wraps from the outside.

    Raises:
        TableError: in a sentence with the number of the line.

    >>> read_widths("wrap,width_mm,u_mm\\nw1,368.2,0.2")
    [Flat(name='w01', width_mm=368.2, u_mm=0.2, height_mm=None, left_mm=None, right_mm=None)]
    """
    found: dict[str, Flat] = {}
    for line, row in read_rows(text, COLUMNS, ("wrap",), "a table of widths"):
        one = _flat(row, line)
        if one.name in found:
            raise TableError(f"line {line}: {one.name} is there twice; give each sheet one row")
        found[one.name] = one
    return [found[name] for name in sorted(found)]


def _flat(row: dict[str, str], line: int) -> Flat:
    name = row["wrap"].lower()
    match = _WRAP.fullmatch(name)
    if name in ("c", "cover"):
        sheet = "c"
    elif match is not None:
        sheet = f"w{int(match[1]):02d}"
    else:
        raise TableError(
            f"line {line}: {row['wrap'][:40]!r} names no sheet; write c (cover) or w03 (wrap 3 "
            "from the outside)"
        )
    width = millimetres(row, "width_mm", line, 20, 2000)
    u = millimetres(row, "u_mm", line, 0, 20) or None
    height = millimetres(row, "height_mm", line, 20, 2000)
    halves = [millimetres(row, side, line, -1000, 1000) for side in ("left_mm", "right_mm")]
    left, right = (None if one is None else abs(one) for one in halves)
    if width is None:
        if left is None or right is None:
            raise TableError(f"line {line}: {sheet} needs width_mm, or both left_mm and right_mm")
        width = round(left + right, 6)
    elif left is not None and right is not None:
        most = 3 * math.sqrt(2) * (u or RULE_U_MM) + 0.5
        if abs(left + right - width) > most:
            raise TableError(
                f"line {line}: the halves of {sheet} add up to {left + right:g} mm, its width is "
                f"{width:g} mm; more apart than {most:.1f} mm is no reading's doubt: measure again"
            )
    return Flat(sheet, width, u, height, left, right)


def widths(sheets: Iterable[Flat]) -> list[Width]:
    """The wraps for a fit of creep; the cover is of another paper and left out."""
    return [
        Width(one.wrap, one.width_mm, one.u_mm, one.height_mm)
        for one in sheets
        if one.name != "c"
    ]  # fmt: skip


def halves(sheets: Iterable[Flat]) -> list[Halves]:
    """Halves from the fold: as measured, or half a width each with the fold's place unsure."""
    out = []
    for one in sheets:
        u = one.u_mm or RULE_U_MM
        if one.left_mm is not None and one.right_mm is not None:
            out.append(Halves(one.name, one.wrap, one.right_mm, one.left_mm, u))
        else:
            out.append(halves_of_width(one.name, one.wrap, one.width_mm, u))
    return out


def read_steps(text: str) -> list[tuple[int, float]]:
    """Leaves and how far each lies back at the fore-edge [mm].

    Raises:
        TableError: in a sentence with the number of the line.
    """
    out = []
    for line, row in read_rows(text, STEP_COLUMNS, STEP_COLUMNS, "a table of a fore-edge"):
        leaf, depth = row["leaf"], millimetres(row, "depth_mm", line, -50, 50)
        if not (leaf.isascii() and leaf.isdigit() and 1 <= int(leaf[:4]) <= 200):
            raise TableError(f"line {line}: leaves count from 1 (front) to 200, got {leaf[:40]!r}")
        if depth is None:
            raise TableError(f"line {line}: say how far leaf {leaf} lies back, or leave it out")
        out.append((int(leaf), depth))
    return out
