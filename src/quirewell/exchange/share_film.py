"""A short film of the wipe from "before" to "after" and back: WebM (VP8), or GIF.

One edge moves slowly over a still picture; no part of it brightens and darkens in turn, so nothing
flashes. Run as a module it makes one film in a process of its own, whose remarks are caught:
``python -m quirewell.exchange.share_film BEFORE AFTER OUT WIDTH HEIGHT``.
"""

from __future__ import annotations

import math
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

SECONDS, FPS, GIF_FPS = 6.0, 24, 12
SHAPES = {"wide": (1280, 720), "tall": (720, 1280)}
GIF_SHAPES = {"wide": (640, 360), "tall": (360, 640)}
PAPER, PENCIL, INK = (251, 249, 244), (88, 81, 71), (38, 35, 31)
WORDS = ("before", "after")
_STILL_S = 0.8  # how long each end stands still
_COLOURS = 128
Pixels = NDArray[np.uint8]


class NoFilm(RuntimeError):
    """No film could be made; the message says why and what to do."""


def shares(seconds: float, fps: int) -> list[float]:
    """By frame: how much of the picture shows "after", 0 to 1 and back to 0, slow at both ends.

    >>> way = shares(6.0, 24)
    >>> len(way), way[0], round(max(way), 3), way[-1]
    (144, 0.0, 1.0, 0.0)
    """
    count = round(seconds * fps)
    move_s = (seconds - 2 * _STILL_S) / 2
    out = []
    for frame in range(count):
        at = frame / fps
        gone = (at - _STILL_S / 2) / move_s
        back = (seconds - _STILL_S / 2 - at - 1 / fps) / move_s
        way = min(max(min(gone, back), 0.0), 1.0)
        out.append((1 - math.cos(math.pi * way)) / 2)
    return out


class Scene:
    """Both pictures on one sheet of paper of ``size`` (width, height) [px]."""

    def __init__(self, before: Pixels, after: Pixels, size: tuple[int, int]) -> None:
        if before.shape != after.shape:
            raise NoFilm("the two pictures are not the same size, so there is nothing to wipe")
        width, height = size
        edge = round(min(size) * 0.05)
        word = round(min(size) * 0.055)
        room = (width - 2 * edge, height - 2 * edge - 2 * word)
        tall, wide = before.shape[:2]
        shrink = min(room[0] / wide, room[1] / tall)
        self._shown = max(2, round(wide * shrink)), max(2, round(tall * shrink))
        self._at = (width - self._shown[0]) // 2, edge
        self._sheets = tuple(
            self._sheet(one, size, words, word)
            for one, words in zip((before, after), WORDS, strict=True)
        )

    def _sheet(self, picture: Pixels, size: tuple[int, int], words: str, word: int) -> Pixels:
        """One picture with its word below: "before" on the right, "after" on the left, so that
        the edge wipes the words too."""
        sheet = np.empty((size[1], size[0], 3), np.uint8)
        sheet[:] = PAPER
        small = cv2.resize(picture, self._shown, interpolation=cv2.INTER_AREA)
        left, top = self._at
        bottom = top + self._shown[1]
        sheet[top:bottom, left : left + self._shown[0]] = small
        drawn = Image.fromarray(sheet)
        font = ImageFont.load_default(round(word * 0.8))
        x, anchor = (left, "la") if words == WORDS[1] else (left + self._shown[0], "ra")
        ImageDraw.Draw(drawn).text((x, bottom + word * 0.35), words, PENCIL, font, anchor=anchor)
        return np.asarray(drawn, np.uint8)

    def frame(self, share: float) -> Pixels:
        """The frame in which ``share`` of the picture, from the left, shows "after"."""
        before, after = self._sheets
        out = before.copy()
        left, top = self._at
        edge = left + round(share * self._shown[0])
        out[:, left:edge] = after[:, left:edge]
        bottom = top + self._shown[1]
        if left < edge < left + self._shown[0]:
            out[top:bottom, edge - 1 : edge + 1] = INK
        return out


def frames(before: Pixels, after: Pixels, size: tuple[int, int], fps: int) -> Iterator[Pixels]:
    """The frames of the film, one at a time."""
    scene = Scene(before, after, size)
    for share in shares(SECONDS, fps):
        yield scene.frame(share)


def write_webm(before: Pixels, after: Pixels, out: Path, size: tuple[int, int]) -> None:
    """Write the film as WebM.

    Raises:
        NoFilm: OpenCV was built without VP8.
    """
    writer = cv2.VideoWriter(str(out), cv2.VideoWriter.fourcc(*"VP80"), FPS, size)
    if not writer.isOpened():
        raise NoFilm("this machine's OpenCV cannot write WebM; ask for the GIF")
    try:
        for frame in frames(before, after, size, FPS):
            writer.write(cv2.cvtColor(frame, cv2.COLOR_RGB2BGR))
    finally:
        writer.release()


def write_gif(before: Pixels, after: Pixels, out: Path, size: tuple[int, int]) -> None:
    """Write the film as GIF that goes round for ever; both ends of it are the same picture."""
    scene = Scene(before, after, size)
    both = np.hstack([scene.frame(0.0), scene.frame(1.0)])
    palette = Image.fromarray(both).quantize(_COLOURS)

    def made() -> Iterator[Image.Image]:
        for share in shares(SECONDS, GIF_FPS):
            frame = Image.fromarray(scene.frame(share))
            yield frame.quantize(palette=palette, dither=Image.Dither.NONE)

    rest = made()
    first = next(rest)
    first.save(
        out, "GIF", save_all=True, append_images=rest, duration=round(1000 / GIF_FPS), loop=0,
        optimize=False,
    )  # fmt: skip


def film(before: Path, after: Path, out: Path, size: tuple[int, int]) -> None:
    """Make a film in a process of its own: its kind is told by the ending of ``out``.

    Raises:
        NoFilm: it could not be made.
    """
    asked = [str(before), str(after), str(out), *(str(side) for side in size)]
    done = subprocess.run(
        [sys.executable, "-m", __name__ if __name__ != "__main__" else __spec__.name, *asked],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    if done.returncode or not out.is_file() or out.stat().st_size == 0:
        says = done.stderr.strip().splitlines()[-1:] or ["it said nothing"]
        raise NoFilm(f"the film could not be made: {says[0]}")


def _picture(path: str) -> Pixels:
    with Image.open(path) as image:
        return np.asarray(image.convert("RGB"), np.uint8)


def _main(arguments: list[str]) -> None:
    before, after, out, width, height = arguments
    write = write_gif if out.endswith(".gif") else write_webm
    try:
        write(_picture(before), _picture(after), Path(out), (int(width), int(height)))
    except NoFilm as error:
        sys.exit(str(error))


if __name__ == "__main__":
    _main(sys.argv[1:])
