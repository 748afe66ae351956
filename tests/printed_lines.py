"""A printed page measured back from its own vector geometry, with no help from what drew it."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Any

import numpy as np
import pikepdf

MM = 25.4 / 72


@dataclass(frozen=True)
class Stroke:
    """One painted path [mm from the page's upper left corner]: its colour, width, box."""

    rgb: tuple[int, ...]
    width: float
    x0: float
    y0: float
    x1: float
    y1: float
    curved: bool

    @property
    def middle(self) -> tuple[float, float]:
        return (self.x0 + self.x1) / 2, (self.y0 + self.y1) / 2

    @property
    def size(self) -> tuple[float, float]:
        return self.x1 - self.x0, self.y1 - self.y0


@dataclass(frozen=True)
class PrintedPage:
    width: float
    height: float
    strokes: list[Stroke]

    def lines(self, width: float, across: bool | None = None) -> list[Stroke]:
        """Straight lines of a width, level ones or upright ones where asked."""
        return [
            one
            for one in self.strokes
            if not one.curved
            and abs(one.width - width) < 0.005
            and (across is None or (one.size[0] > one.size[1]) == across)
        ]

    def rings(self, width: float) -> list[Stroke]:
        return [one for one in self.strokes if one.curved and abs(one.width - width) < 0.005]


def printed_pages(pdf: bytes) -> list[PrintedPage]:
    with pikepdf.open(io.BytesIO(pdf)) as document:
        return [_page(page) for page in document.pages]


def _page(page: Any) -> PrintedPage:
    assert "/UserUnit" not in page
    x0, y0, x1, y1 = (float(value) for value in page.MediaBox)
    assert (x0, y0) == (0.0, 0.0)
    strokes: list[Stroke] = []
    held: list[tuple[Any, ...]] = []
    to_page, colour, width = np.eye(3), (0, 0, 0), 1.0
    points: list[tuple[float, float]] = []
    curved = False
    for operands, operator in pikepdf.parse_content_stream(page):
        name = str(operator)
        numbers = [float(one) for one in operands] if name in _NUMERIC else []
        if name == "q":
            held.append((to_page, colour, width))
        elif name == "Q":
            to_page, colour, width = held.pop()
        elif name == "cm":
            a, b, c, d, e, f = numbers
            to_page = np.array([[a, b, 0], [c, d, 0], [e, f, 1]]) @ to_page
        elif name == "SCN":
            colour = tuple(round(255 * value) for value in numbers)
        elif name == "w":
            width = numbers[0]
        elif name in ("m", "l"):
            points.append((numbers[0], numbers[1]))
        elif name == "c":
            # Of a circle's quarters the ends suffice: they are its four outermost points.
            curved = True
            points.append((numbers[4], numbers[5]))
        elif name in ("S", "s"):
            at = np.array([[*one, 1.0] for one in points]) @ to_page
            x, y = at[:, 0] * MM, (y1 - at[:, 1]) * MM
            scale = float(np.sqrt(abs(np.linalg.det(to_page[:2, :2]))))
            strokes.append(
                Stroke(colour, width * scale * MM, x.min(), y.min(), x.max(), y.max(), curved)
            )
            points, curved = [], False
        elif name in ("f", "f*", "n", "B", "W", "W*"):
            points, curved = [], False
    return PrintedPage(x1 * MM, y1 * MM, strokes)


_NUMERIC = {"cm", "SCN", "w", "m", "l", "c"}
