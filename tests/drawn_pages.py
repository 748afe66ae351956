"""A studio with one measured page, and a state by hand, for tests of damage drawn on pages."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import tifffile

from quirewell.record.finding import Finding, Input, Run
from quirewell.record.nouns import Capture, Gathering, Item, ItemState

PAGE = "w01.outer.left"


def capture(id: str = "cap-1", **more: Any) -> Capture:
    """A scan of the outer left page of wrap 1."""
    values = {"moment": "before", "place": "w01.outer", "panel": "left"} | more
    return Capture(id, "ab" * 32, f"{id}.tif", "image/tiff", 1000, 1400, 9, **values)


def run(of: Capture, outline: str, edges: str, *, um: float | None = 200.0, **more: Any) -> Run:
    """A measurement of a picture: ``width``, ``height`` [mm] and drawing as given."""
    found = []
    if um is not None:
        found.append(Finding("r.0", "scale.um_per_px", PAGE, um, um * 5e-4, "um"))
    for name in ("width", "height"):
        if name in more:
            found.append(Finding(f"r.{name}", f"leaf.{name}_mm", PAGE, more.pop(name), 0.1, "mm"))
    drawing = {"outline": outline, "edges": edges} | more.pop("drawing", {})
    return Run(
        f"run-{of.id}", "leaf.measure", 2, "exact", PAGE, (Input("image", of.id, of.sha256),), {},
        (*found, *more.pop("findings", ())), drawing=drawing, **more,
    )  # fmt: skip


def state(*captures: Capture, runs: tuple[Run, ...] = (), **more: Any) -> ItemState:
    """The Annual in two wraps with its page size as described, unless stated otherwise."""
    gathering = more.pop("gathering", Gathering(2, height_mm=265.0, width_mm=195.0))
    return ItemState(
        "annual", 7, Item("Copperbeck Garden Annual"), gathering,
        captures={one.id: one for one in captures}, runs={one.id: one for one in runs}, **more,
    )  # fmt: skip


def write(path: Path, pixels: np.ndarray, dpi: float) -> Path:
    """Pixels as a TIFF that says its resolution."""
    tifffile.imwrite(path, pixels, photometric="rgb", resolution=(dpi, dpi), resolutionunit=2)
    return path
