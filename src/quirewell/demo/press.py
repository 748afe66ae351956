"""Drawing of ink: type, rules and halftone on a plate of coverage (0 bare, 255 full ink).

Type is set in the built-in faces of Pillow and OpenCV, so that the demo looks the same on
every machine. A plate has ``px_per_mm`` pixels to the millimetre and its origin at the upper
left corner of the page.
"""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

Plate = NDArray[np.uint8]
Tone = NDArray[np.float32]


@lru_cache(maxsize=32)
def _font(size_px: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    return ImageFont.load_default(size_px)


@lru_cache(maxsize=8192)
def _width(word: str, size_px: int) -> float:
    return float(_font(size_px).getlength(word))


class Page:
    """A plate being drawn, addressed in millimetres."""

    def __init__(self, width_mm: float, height_mm: float, px_per_mm: float) -> None:
        self.px_per_mm = px_per_mm
        self.width_mm = width_mm
        self.height_mm = height_mm
        size = (round(width_mm * px_per_mm), round(height_mm * px_per_mm))
        self._image = Image.new("L", size, 0)
        self._draw = ImageDraw.Draw(self._image)

    def plate(self) -> Plate:
        """The coverage drawn so far."""
        return np.asarray(self._image).copy()

    def _px(self, *values: float) -> list[float]:
        return [value * self.px_per_mm for value in values]

    def rule(
        self, x_mm: float, y_mm: float, to_x_mm: float, to_y_mm: float, *, weight_mm: float = 0.25
    ) -> None:
        """A ruled line."""
        weight = max(1, round(weight_mm * self.px_per_mm))
        self._draw.line(self._px(x_mm, y_mm, to_x_mm, to_y_mm), fill=235, width=weight)

    def frame(self, x_mm: float, y_mm: float, w_mm: float, h_mm: float, weight_mm: float) -> None:
        """A ruled box."""
        self._draw.rectangle(
            self._px(x_mm, y_mm, x_mm + w_mm, y_mm + h_mm),
            outline=240,
            width=max(1, round(weight_mm * self.px_per_mm)),
        )

    def text(
        self, words: str, x_mm: float, y_mm: float, size_mm: float, *, anchor: str = "la"
    ) -> None:
        """One line in the light face; ``y_mm`` is its top."""
        font = _font(max(4, round(size_mm * self.px_per_mm)))
        left, top = self._px(x_mm, y_mm)
        self._draw.text((left, top), words, font=font, fill=245, anchor=anchor)

    def column(
        self,
        words: list[str],
        x_mm: float,
        y_mm: float,
        w_mm: float,
        until_mm: float,
        size_mm: float = 2.75,
    ) -> float:
        """Set words as a justified column down to ``until_mm``; returns where it ended [mm]."""
        size = max(4, round(size_mm * self.px_per_mm))
        space, limit = 0.26 * size, w_mm * self.px_per_mm
        leading = size_mm * 1.28
        line: list[str] = []
        used = 2.4 * space
        indent = used
        for word in words:
            length = _width(word, size)
            if line and used + length > limit:
                if y_mm + leading > until_mm:
                    return y_mm
                self._set(line, x_mm, y_mm, size, limit, indent)
                y_mm += leading
                line, used, indent = [], 0.0, 0.0
            line.append(word)
            used += length + space
        if line and y_mm + leading <= until_mm:
            self._set(line, x_mm, y_mm, size, 0.0, indent)
            y_mm += leading
        return y_mm

    def _set(
        self, line: list[str], x_mm: float, y_mm: float, size: int, limit: float, indent: float
    ) -> None:
        font = _font(size)
        x, y = x_mm * self.px_per_mm + indent, y_mm * self.px_per_mm
        total = sum(_width(word, size) for word in line)
        gap = 0.26 * size
        if limit and len(line) > 1:
            gap = (limit - indent - total) / (len(line) - 1)
        for word in line:
            self._draw.text((x, y), word, font=font, fill=240)
            x += _width(word, size) + gap

    def headline(
        self,
        words: str,
        x_mm: float,
        y_mm: float,
        w_mm: float,
        size_mm: float,
        *,
        slanted: bool = False,
        centred: bool = False,
    ) -> float:
        """A bold line fitted into a width; returns the height it took [mm]."""
        face = cv2.FONT_HERSHEY_SCRIPT_COMPLEX if slanted else cv2.FONT_HERSHEY_TRIPLEX
        scale = size_mm * self.px_per_mm / 22.0
        (length, _), _ = cv2.getTextSize(words, face, scale, 1)
        scale *= min(1.0, w_mm * self.px_per_mm / max(length, 1))
        (length, rise), _ = cv2.getTextSize(words, face, scale, 1)
        plate = np.asarray(self._image).copy()
        x = x_mm * self.px_per_mm
        if centred:
            x += 0.5 * (w_mm * self.px_per_mm - length)
        bottom = y_mm * self.px_per_mm + rise
        cv2.putText(plate, words, (round(x), round(bottom)), face, scale, 245, 1, cv2.LINE_AA)
        self._image.paste(Image.fromarray(plate))
        return float(rise / self.px_per_mm)

    def picture(self, tone: Tone, x_mm: float, y_mm: float, *, lines_per_mm: float = 1.7) -> None:
        """A continuous-tone picture (1 white, 0 black) as a halftone of 45 degree dots."""
        dots = halftone(tone, self.px_per_mm, lines_per_mm)
        left, top = self._px(x_mm, y_mm)
        self._image.paste(Image.fromarray(dots), (round(left), round(top)))


def halftone(tone: Tone, px_per_mm: float, lines_per_mm: float) -> Plate:
    """Coverage of a 45 degree screen that prints ``tone`` (1 white, 0 black)."""
    rows, columns = tone.shape
    k = 2 * np.pi * lines_per_mm / px_per_mm / np.sqrt(2.0)
    y = np.arange(rows, dtype=np.float32)[:, None]
    x = np.arange(columns, dtype=np.float32)[None, :]
    spot = 0.5 + 0.25 * (np.cos(k * (x + y)) + np.cos(k * (x - y)))
    softness = 0.9 * px_per_mm / lines_per_mm
    dots = np.clip((1.0 - np.clip(tone, 0.03, 0.97) - (1.0 - spot)) * softness + 0.5, 0, 1)
    return np.asarray(dots * 238, dtype=np.uint8)
