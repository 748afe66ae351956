"""Plates to show: title, before and after, a scale bar in millimetres and a quiet caption.

One template for both shapes, set by the typesetter at 1 px a point, written as JPEG.
"""

from __future__ import annotations

import io
import json
import re
import tempfile
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
import typst
from PIL import Image

from quirewell.exchange.share_pictures import Made
from quirewell.report.plates import jpeg
from quirewell.report.typeset import ReportError, held

TEMPLATE = "share_plate.typ"
BARS_MM = (5, 10, 20, 50, 100)
MOST_CAPTION = 440
_LABEL_ROOM = 44.0


@dataclass(frozen=True, slots=True)
class Shape:
    """A plate's shape; lengths in points, which are pixels."""

    name: str
    width: int
    height: int
    edge: float
    head: float
    foot: float
    gap: float
    title_size: float
    label: float
    small: float
    stacked: bool

    @property
    def room(self) -> float:
        """Height left for the pictures."""
        return self.height - self.edge - self.head - self.foot - self.edge / 2


WIDE = Shape("wide", 1920, 1080, 56, 92, 132, 72, 40, 26, 20, False)
TALL = Shape("tall", 1080, 1920, 56, 120, 236, 40, 42, 28, 22, True)
SHAPES = (WIDE, TALL)


def plate(made: Made, title: str, year: str, shape: Shape) -> bytes:
    """A plate as JPEG; the same input gives the same bytes.

    Raises:
        ReportError: the typesetter refused.
    """
    with tempfile.TemporaryDirectory(prefix="quirewell-plate-") as folder:
        root = Path(folder)
        source = resources.files("quirewell.exchange").joinpath("templates", TEMPLATE)
        (root / TEMPLATE).write_bytes(source.read_bytes())
        sides = [_side(moment, path, made, shape, root) for moment, path in made.files]
        data = {
            "width": shape.width, "height": shape.height, "edge": shape.edge, "head": shape.head,
            "foot": shape.foot, "room": shape.room, "gap": shape.gap, "stacked": shape.stacked,
            "title_size": shape.title_size, "label": shape.label, "small": shape.small,
            "title": held(title), "year": held(year), "name": held(made.shot.name),
            "caption": held(_short(made.shot.caption)), "sides": sides,
        }  # fmt: skip
        try:
            png = typst.compile(
                root / TEMPLATE, root=root, format="png", ppi=72, ignore_system_fonts=True,
                font_paths=[], sys_inputs={"data": json.dumps(data, sort_keys=True)},
            )  # fmt: skip
        except typst.TypstError as error:
            raise ReportError(f"a plate could not be set: {error.message}") from error
    assert isinstance(png, bytes)
    with Image.open(io.BytesIO(png)) as image:
        return jpeg(np.asarray(image.convert("RGB"), np.uint8), 88)


def _side(moment: str, path: Path, made: Made, shape: Shape, root: Path) -> dict[str, Any]:
    name = f"{moment}.jpg"
    (root / name).write_bytes(path.read_bytes())
    with Image.open(path) as image:
        width_px, height_px = image.size
    count = len(made.files)
    wide, tall = shape.width - 2 * shape.edge, shape.room
    if shape.stacked:
        tall = (tall - (count - 1) * shape.gap) / count
    else:
        wide = (wide - (count - 1) * shape.gap) / count
    shrink = min(wide / width_px, (tall - _LABEL_ROOM) / height_px)
    bar_mm, bar_pt = _bar(made.mm_per_px, shrink, width_px * shrink)
    return {
        "file": name, "word": moment, "width_pt": width_px * shrink,
        "height_pt": height_px * shrink, "bar_pt": bar_pt,
        "bar_says": f"{bar_mm} mm" if bar_mm else "",
    }  # fmt: skip


def _bar(mm_per_px: float | None, shrink: float, width_pt: float) -> tuple[int, float]:
    """Length of the scale bar [mm] and as shown [pt]; nothing where no scale is known."""
    if not mm_per_px:
        return 0, 0.0
    pt_per_mm = shrink / mm_per_px
    fitting = [mm for mm in BARS_MM if mm * pt_per_mm <= 0.3 * width_pt]
    return (fitting[-1], fitting[-1] * pt_per_mm) if fitting else (0, 0.0)


def _short(caption: str) -> str:
    """Whole sentences of a caption, as many as a plate has room for.

    >>> _short("One. Two.")
    'One. Two.'
    """
    out = ""
    for sentence in re.split(r"(?<=[.!?]) (?=\S)", caption):
        if out and len(out) + len(sentence) > MOST_CAPTION:
            break
        out = f"{out} {sentence}".strip()
    return out if len(out) <= MOST_CAPTION else out[: MOST_CAPTION - 1].rstrip() + "…"
