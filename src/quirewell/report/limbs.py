"""Where the limbs of the gathering drawing run, and the colours they are drawn in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

LEVELS = 6
Shape = Literal["wide", "narrow", "print"]


@dataclass(frozen=True, slots=True)
class Palette:
    """Colours of the drawing: the page's own properties, each with a plain fallback.

    The bars are paper in any light, so their colours stay the same in the dark; the level is
    told by ``dashes`` as well as by colour.
    """

    ink: str = "var(--ink, #26231f)"
    pencil: str = "var(--pencil, #585147)"
    paper: str = "#f4ebd6"
    metal: str = "var(--staple, #55616b)"
    here: str = "var(--focus, #0b3f8f)"
    levels: tuple[str, ...] = ("#f6ecd2", "#ecd29a", "#dcae66", "#c0803f", "#96532a", "#63301d")
    grain: tuple[str, ...] = ("#26231f", "#26231f", "#26231f", "#26231f", "#fbf3e2", "#fbf3e2")
    dashes: tuple[str, ...] = ("", "1.5 16", "2 8", "7 7", "14 4", "1000 0")


PRINT = Palette(ink="#26231f", pencil="#6a6257", metal="#55616b", here="#1d5160")


@dataclass(frozen=True, slots=True)
class Layout:
    """Geometry of one drawing, in the units of its view box."""

    shape: Shape
    sheets: int
    width: float
    pitch_px: float
    bar_px: float
    nest_px: float
    font_px: float
    sheet_x: float
    pages_x: float
    value_x: float
    fore_x: float
    margin_px: float
    head_px: float = 22.0
    foot_px: float = 34.0
    halves: bool = True

    @property
    def gap_px(self) -> float:
        """Opening between the innermost leaves at the fore-edge."""
        return self.pitch_px * 1.15

    @property
    def half_px(self) -> float:
        """Height of one half at the fore-edge."""
        return self.gap_px / 2 + (self.sheets - 1) * self.pitch_px + self.pitch_px / 2

    @property
    def middle_y(self) -> float:
        """Height of the centrefold."""
        return self.head_px + self.half_px

    @property
    def height(self) -> float:
        """Height of the whole drawing."""
        return self.head_px + 2 * self.half_px + self.foot_px

    @property
    def join_x(self) -> float:
        """Where the leaves begin to bend into the fold."""
        return self.spine_x - self._reach(self.sheets - 1)

    @property
    def spine_x(self) -> float:
        """Outside of the spine."""
        return self.width - self.margin_px

    @property
    def inner_fold_x(self) -> float:
        """The innermost fold."""
        return self.join_x + self._reach(0)

    def _radius(self, rank: int) -> float:
        return 5.0 + rank * self.nest_px + (1.6 if rank == self.sheets - 1 else 0.0)

    def _reach(self, rank: int) -> float:
        return 9.0 + rank * self.nest_px

    def fore_y(self, rank: int, half: str) -> float:
        """Height of a leaf at its fore-edge."""
        off = self.gap_px / 2 + rank * self.pitch_px
        return self.middle_y + (-off if half == "front" else off)

    def _near_y(self, rank: int, half: str) -> float:
        off = self._radius(rank)
        return self.middle_y + (-off if half == "front" else off)

    def curve(self, rank: int, half: str) -> str:
        """Path of a leaf from its fore-edge to the middle of its fold."""
        start = self.fore_x + ((rank * 7) % 5 - 2) * 0.9
        y0, y1 = self.fore_y(rank, half), self._near_y(rank, half)
        sweep = 1 if half == "front" else 0
        return (
            f"M{start:.1f} {y0:.1f}{self._bend(start, y0, self.join_x, y1)}"
            f"A{self._reach(rank):.1f} {self._radius(rank):.1f} 0 0 {sweep} "
            f"{self.join_x + self._reach(rank):.1f} {self.middle_y:.1f}"
        )

    def reach(self, rank: int, half: str) -> str:
        """Outline of the area that belongs to a leaf: its label and half way to its neighbours."""
        y, near = self.fore_y(rank, half), self._near_y(rank, half)
        far, close = self.pitch_px / 2, self.nest_px / 2
        x0, x1 = self.fore_x, self.join_x
        back = self._bend(x1, near + close, x0, y + far)
        return (
            f"M0 {y - far:.1f}H{x0:.1f}{self._bend(x0, y - far, x1, near - close)}"
            f"L{x1:.1f} {near + close:.1f}{back}H0Z"
        )

    def _bend(self, x0: float, y0: float, x1: float, y1: float) -> str:
        # Handles lie at the same two abscissae whichever way the curve is walked.
        low, high = min(x0, x1), max(x0, x1)
        a, b = low + 0.42 * (high - low), low + 0.58 * (high - low)
        first, second = (a, b) if x0 < x1 else (b, a)
        return f"C{first:.1f} {y0:.1f} {second:.1f} {y1:.1f} {x1:.1f} {y1:.1f}"


def layout_for(shape: Shape, sheets: int, valued: bool) -> Layout:
    """The layout of a gathering of ``sheets`` [-] sheets (cover counted).

    Limbs stand 24 to 48 units apart: as far as fits one view, never closer than a finger needs.
    """
    leaves = 2 * sheets
    nest = 8.8 if sheets <= 11 else 6.6
    bar = 5.6 if sheets <= 11 else 4.2
    if shape == "narrow":
        pitch = min(48.0, max(29.0, 640 / leaves))
        value_x = 176.0 if valued else 104.0
        nest = min(nest, 66 / sheets)
        return Layout(
            shape,
            sheets,
            340.0,
            pitch,
            min(bar, nest - 1.4),
            nest,
            14.0,
            12.0,
            50.0,
            value_x,
            value_x + 8,
            12.0,
            halves=False,
        )
    if shape == "print":
        pitch = min(24.0, max(17.0, 360 / leaves))
        value_x = 196.0 if valued else 116.0
        return Layout(
            shape,
            sheets,
            720.0,
            pitch,
            bar,
            min(nest, 0.62 * pitch),
            13.5,
            10.0,
            56.0,
            value_x,
            value_x + 12,
            18.0,
        )
    pitch = min(48.0, max(27.0, 600 / leaves))
    value_x = 236.0 if valued else 142.0
    return Layout(
        shape, sheets, 960.0, pitch, bar, nest, 16.5, 14.0, 68.0, value_x, value_x + 14, 20.0
    )
