"""What laying sheets on one another leaves: how each lies, and how well all do."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from quirewell.science.booklet.rigid import Array, rotated


@dataclass(frozen=True, slots=True)
class Placed:
    """How one sheet comes to lie.

    ``dx_mm``, ``dy_mm``: the shift of the sheet's hole centre, the point that comes to lie on the
    middle of the pattern; about it the sheet is turned by ``turn_mrad``, clockwise as seen. Their u
    are the sheet's own part; None where nothing holds the sheet. ``holes``, ``off_mm`` (where each
    lies beside its place, x and y), ``residual_mm`` (how far; None: no such hole, or on no other
    sheet) and ``slack_used`` (the same by its slack; None: none known) go together.
    ``edge_excess_mm``: how far its worst head or tail corner lies off the reference's edges,
    ``beyond_cover_mm`` its worst reading edge beyond the reference's (None: none measured).
    ``costs``: by how much the rms of its holes beyond their slack falls when that limit is left
    out, "all" where several hold it [mm]. ``scale``: its holes' spread by the pattern's, a
    diagnosis only. ``infeasible``: the limit that had to give.
    """

    name: str
    dx_mm: float
    dy_mm: float
    turn_mrad: float
    u_dx_mm: float | None
    u_dy_mm: float | None
    u_turn_mrad: float | None
    holes: tuple[int, ...]
    off_mm: tuple[tuple[float, float] | None, ...]
    residual_mm: tuple[float | None, ...]
    slack_used: tuple[float | None, ...]
    edge_excess_mm: float | None = None
    beyond_cover_mm: float | None = None
    costs: dict[str, float] = field(default_factory=dict)
    flags: tuple[str, ...] = ()
    wrong_hole: int | None = None
    wrong_by_mm: float | None = None
    scale: float | None = None
    u_scale: float | None = None
    infeasible: str = ""


@dataclass(frozen=True, slots=True)
class Alignment:
    """All sheets laid: the ``pattern`` (k, 2) of the holes ``numbers`` in the frame of the
    ``reference`` sheet [mm], its middle ``centre_mm``; ``rms_mm`` and ``max_mm`` of the distances
    of holes, torn ones left out, from their places in the plane; ``outside_slack`` holes lie beyond
    a known slack; ``infeasible`` sheets cannot keep all limits; all u were ``raised`` by this
    much."""

    numbers: tuple[int, ...]
    pattern: Array
    centre_mm: tuple[float, float]
    reference: str
    sheets: tuple[Placed, ...]
    rms_mm: float
    max_mm: float
    outside_slack: int
    infeasible: tuple[str, ...]
    raised: float
    warnings: tuple[str, ...]

    def place(self, sheet: Placed, points: Array) -> Array:
        """Points (m, 2) of a sheet's own frame where they come to lie [mm]."""
        centre = np.array(self.centre_mm)
        own = centre - [sheet.dx_mm, sheet.dy_mm]
        return np.asarray(rotated(points - own, np.asarray(sheet.turn_mrad / 1e3)) + centre)
