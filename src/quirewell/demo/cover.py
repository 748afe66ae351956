"""The Annual's cover, printed in four solid inks: yellow, red, blue, black."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.demo.press import Page, halftone
from quirewell.demo.tone import smooth_noise
from quirewell.demo.words import HEADLINES

Plate = NDArray[np.uint8]
INKS = ("yellow", "red", "blue", "black")
PASSES = {
    "yellow": (0.93, 0.68, 0.10),
    "red": (0.60, 0.060, 0.050),
    "blue": (0.055, 0.15, 0.40),
    "black": (0.060, 0.058, 0.060),
}


class _Press:
    """Four plates of one sheet side, addressed in millimetres from an origin on the sheet."""

    def __init__(self, width_mm: float, height_mm: float, px_per_mm: float) -> None:
        size = (round(height_mm * px_per_mm), round(width_mm * px_per_mm))
        self.plates: dict[str, Plate] = {ink: np.zeros(size, np.uint8) for ink in INKS}
        self.px_per_mm = px_per_mm
        self.x_mm = 0.0

    def _points(self, points: list[tuple[float, float]]) -> NDArray[np.int32]:
        return np.array(
            [
                [round((x + self.x_mm) * self.px_per_mm), round(y * self.px_per_mm)]
                for x, y in points
            ],
            np.int32,
        )

    def area(self, inks: str, points: list[tuple[float, float]], share: int = 250) -> None:
        for ink in inks.split():
            cv2.fillPoly(self.plates[ink], [self._points(points)], share, cv2.LINE_AA)

    def box(self, inks: str, x: float, y: float, w: float, h: float, share: int = 250) -> None:
        self.area(inks, [(x, y), (x + w, y), (x + w, y + h), (x, y + h)], share)

    def disc(
        self,
        inks: str,
        x: float,
        y: float,
        rx: float,
        ry: float,
        turn: float = 0.0,
        share: int = 250,
    ) -> None:
        middle = self._points([(x, y)])[0]
        axes = (max(1, round(rx * self.px_per_mm)), max(1, round(ry * self.px_per_mm)))
        for ink in inks.split():
            cv2.ellipse(
                self.plates[ink],
                (int(middle[0]), int(middle[1])),
                axes,
                turn,
                0,
                360,
                share,
                -1,
                cv2.LINE_AA,
            )

    def line(self, inks: str, points: list[tuple[float, float]], weight: float = 0.5) -> None:
        for ink in inks.split():
            cv2.polylines(
                self.plates[ink],
                [self._points(points)],
                False,
                250,
                max(1, round(weight * self.px_per_mm)),
                cv2.LINE_AA,
            )

    def words(
        self,
        ink: str,
        text: str,
        x: float,
        y: float,
        w: float,
        size: float,
        *,
        out: bool = False,
        slanted: bool = False,
    ) -> None:
        """A centred bold line; ``out`` leaves it bare in the ink instead of printing it."""
        rows, columns = self.plates[ink].shape
        page = Page(columns / self.px_per_mm, rows / self.px_per_mm, self.px_per_mm)
        page.headline(text, x + self.x_mm, y, w, size, slanted=slanted, centred=True)
        drawn = page.plate()[:rows, :columns]
        plate = self.plates[ink][: drawn.shape[0], : drawn.shape[1]]
        if out:
            plate[:] = np.minimum(plate, 255 - np.minimum(255, drawn.astype(np.uint16) * 26 // 25))
        else:
            plate[:] = np.maximum(plate, drawn)

    def tint(self, ink: str, x: float, y: float, tone: NDArray[np.float32]) -> None:
        dots = np.where(tone < 0.93, halftone(tone, self.px_per_mm, 1.7), 0).astype(np.uint8)
        left, top = self._points([(x, y)])[0]
        plate = self.plates[ink][top : top + dots.shape[0], left : left + dots.shape[1]]
        plate[:] = np.maximum(plate, dots[: plate.shape[0], : plate.shape[1]])


def cover_plates(
    side: str, seed: int, half_mm: float, height_mm: float, px_per_mm: float
) -> dict[str, Plate]:
    """Plates of one side of the whole cover by ink; the back is the left half of its outer side."""
    rng = np.random.default_rng([seed, 900, side == "outer"])
    press = _Press(2 * half_mm, height_mm, px_per_mm)
    if side == "outer":
        _back(press, half_mm)
        press.x_mm = half_mm
        _front(press, rng, half_mm)
    else:
        _inside_front(press, half_mm)
        press.x_mm = half_mm
        _inside_back(press, half_mm)
    return press.plates


def _front(press: _Press, rng: np.random.Generator, half_mm: float) -> None:
    left, width = 11.0, half_mm - 22.0
    press.box("red", left, 11, width, 47)
    press.words("red", "COPPERBECK", left + 5, 17, width - 10, 19.0, out=True)
    press.words("red", "GARDEN ANNUAL", left + 5, 40, width - 10, 12.0, out=True)
    top, foot = 62.0, 226.0
    _sky(press, rng, left, top, width, foot - top)
    press.disc("blue", left + 0.74 * width, top + 36, 21, 21, share=0)
    press.disc("yellow", left + 0.74 * width, top + 36, 21, 21)
    for ray in range(20):
        angle = 2 * np.pi * ray / 20
        x, y = left + 0.74 * width, top + 36
        press.line(
            "yellow",
            [(x + r * np.cos(angle), y + r * np.sin(angle)) for r in (24.0, 31.0)],
            1.6,
        )
    _land(press, rng, left, top, width, foot)
    for x, y, size in (
        (24.0, 174.0, 1.0),
        (52.0, 184.0, 1.1),
        (82.0, 177.0, 1.05),
        (108.0, 186.0, 1.1),
        (134.0, 179.0, 1.0),
        (159.0, 187.0, 1.05),
    ):
        _tulip(press, left + x, y, size)
    press.line(
        "black",
        [(left, top), (left + width, top), (left + width, foot), (left, foot), (left, top)],
        1.0,
    )
    press.box("blue", left, 231, width, 19)
    press.words("blue", "1936", left + 6, 235.5, 0.3 * width, 11.0, out=True)
    press.words("blue", "NINEPENCE", left + 0.55 * width, 237, 0.42 * width, 8.0, out=True)


def _sky(press: _Press, rng: np.random.Generator, x: float, y: float, w: float, h: float) -> None:
    rows, columns = round(h * press.px_per_mm), round(w * press.px_per_mm)
    fall = np.linspace(0.45, 1.9, rows, dtype=np.float32)[:, None]
    cloud = 0.3 * np.maximum(0, smooth_noise(rng, rows, columns, columns / 4))
    press.tint("blue", x, y, np.asarray(np.clip(fall + cloud, 0, 1), dtype=np.float32))


def _land(
    press: _Press, rng: np.random.Generator, left: float, top: float, width: float, foot: float
) -> None:
    for level, inks, share in ((0.46, "yellow", 250), (0.56, "yellow blue", 250)):
        ridge = smooth_noise(rng, 1, 60, 18.0)[0]
        xs = np.linspace(left, left + width, 60)
        line = top + (foot - top) * level + 5.0 * ridge
        shape = [(float(x), float(y)) for x, y in zip(xs, line, strict=True)]
        closed = [*shape, (left + width, foot), (left, foot)]
        press.area("blue", closed, 0)
        press.area(inks, closed, share)
        press.line("black", shape, 0.5)
    beds = [(left, foot), (left, top + 118), (left + width, top + 108), (left + width, foot)]
    for ink in ("yellow", "blue"):
        press.area(ink, beds, 0)
    for furrow in range(9):
        y = top + 122.0 + 5.2 * furrow
        press.line("black", [(left + 1, y), (left + width - 1, y - 8.0)], 0.35)
    _glasshouse(press, left + 14, top + 52)


def _glasshouse(press: _Press, x: float, y: float) -> None:
    shape = [(x, y + 16), (x + 30, y), (x + 60, y + 16), (x + 60, y + 40), (x, y + 40)]
    for ink in ("yellow", "blue"):
        press.area(ink, shape, 0)
    press.line("black", [*shape, shape[0]], 0.9)
    press.line("black", [(x, y + 16), (x + 60, y + 16)], 0.6)
    for step in range(1, 8):
        at = x + 7.5 * step
        press.line(
            "black", [(at, y + 16 - max(0.0, 16 - abs(at - x - 30) * 0.53)), (at, y + 40)], 0.4
        )
    press.box("red", x + 25, y + 24, 11, 16)


def _tulip(press: _Press, x: float, y: float, size: float) -> None:
    stem = 34.0 * size
    press.line("yellow blue", [(x, y), (x - 1, y + stem)], 1.6 * size)
    for turn, shift in ((62.0, -5.0), (118.0, 5.0)):
        press.disc("yellow blue", x + shift * size, y + 0.7 * stem, 12 * size, 2.6 * size, turn)
    for shift, turn in ((-4.6, 100.0), (4.6, 80.0), (0.0, 90.0)):
        petal = (x + shift * size, y - 7 * size, 10.5 * size, 4.6 * size, turn)
        press.disc("yellow blue", *petal, share=0)
        press.disc("red", *petal)
    press.line("black", [(x - 2.4 * size, y + 2 * size), (x - 1.2 * size, y - 13 * size)], 0.5)
    press.line("black", [(x + 2.4 * size, y + 2 * size), (x + 1.2 * size, y - 13 * size)], 0.5)


def _back(press: _Press, half_mm: float) -> None:
    left, width = 12.0, half_mm - 24.0
    press.box("blue", left, 12, width, 34)
    press.disc("yellow", half_mm / 2, 130, 62, 62)
    press.words("blue", "DUNNOCK SEED HOUSE", left + 6, 22, width - 12, 13.0, out=True)
    press.words(
        "black", "Tested peas and beans, post free", left + 6, 54, width - 12, 8.0, slanted=True
    )
    for x, y, r in ((0.3, 118, 27.0), (0.68, 110, 24.0), (0.5, 158, 30.0)):
        at = left + x * width
        press.disc("red", at, y, r, 0.92 * r)
        press.disc("red", at - 0.35 * r, y - 0.4 * r, 0.16 * r, 0.1 * r, -30, share=0)
        for turn in (10.0, 60.0, 120.0, 170.0):
            press.disc("blue", at, y - 0.86 * r, 0.42 * r, 0.09 * r, turn)
        press.line("black", [(at, y - 0.9 * r), (at + 2, y - 1.2 * r)], 1.2)
    press.words("red", "LARKMOOR SCARLET", left + 8, 200, width - 16, 13.0)
    press.words(
        "black",
        "a packet for fourpence at every ironmonger",
        left + 10,
        222,
        width - 20,
        5.0,
        slanted=True,
    )
    press.words("black", "Mill Lane, Larkmoor", left + 10, 236, width - 20, 6.0)


def _inside_front(press: _Press, half_mm: float) -> None:
    left, width = 13.0, half_mm - 28.0
    press.words("black", "IN THIS ANNUAL", left, 22, width, 10.0)
    for row, line in enumerate(HEADLINES[:18]):
        press.words("black", f"{line} . . . {2 * row + 1}", left, 48 + 10.5 * row, width, 4.2)
    press.line("black", [(left, 38), (left + width, 38)], 0.8)


def _inside_back(press: _Press, half_mm: float) -> None:
    left, width = 15.0, half_mm - 28.0
    press.line(
        "black",
        [(left, 20), (left + width, 20), (left + width, 245), (left, 245), (left, 20)],
        1.2,
    )
    press.words("black", "THE WITHY WORKS", left + 6, 34, width - 12, 14.0)
    for row, line in enumerate(("Baskets", "Barrows", "Pea-sticks", "Hurdles", "Trugs", "Creels")):
        press.words("black", line, left + 6, 74 + 22.0 * row, width - 12, 9.0, slanted=True)
    press.words("black", "Otterbridge, by the weir", left + 6, 222, width - 12, 7.0)
