"""Two pictures of one page, opened, masked to their paper, and laid onto each other.

The comparison, the picture of the difference and the curtain all start here, so that what is
looked at is what was measured.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.match import Mask
from quirewell.science.imaging.register import NoRegistration, Registration, register
from quirewell.science.imaging.strip import NOMINAL_LENGTH_MM, StripFound, find_strip
from quirewell.science.imaging.visible import visible_paper
from quirewell.studio.images import Picture, as_eight_bit, load_picture

_EDGE_MARGIN_MM = 1.5
_ASSUMED_UM_PER_PX = 25400 / 300


@dataclass(frozen=True, slots=True)
class Side:
    """One of the two pictures: grey, where its paper is, its strip, its scale.

    ``dpi`` (x, y) is the resolution stated by the person, else the file's tag;
    ``um_per_px`` (x, y) comes from the strip, else from ``dpi``; None when nothing says it.
    ``angle_deg`` is the turn of the paper's edges, ``box_px`` its width and height.
    """

    picture: Picture
    grey: NDArray[np.uint8]
    paper: Mask
    ground: bool
    strip: StripFound | None
    dpi: tuple[float, float] | None
    um_per_px: tuple[float, float] | None
    angle_deg: float
    box_px: tuple[float, float]

    @property
    def um_guess(self) -> tuple[float, float]:
        """The scale, or that of 300 dpi where nothing says it (for margins, never for results)."""
        return self.um_per_px or (_ASSUMED_UM_PER_PX, _ASSUMED_UM_PER_PX)


@dataclass(frozen=True, slots=True)
class Pair:
    """Both sides and the registration between them, or why there is none."""

    before: Side
    after: Side
    match: Registration | NoRegistration


def open_pair(files: Mapping[str, Path], params: Mapping[str, str]) -> Pair:
    """Open both pictures (roles "before" and "after") and register them on their paper.

    Raises:
        ImageError: when a file is no picture that can be measured.
        ValueError: when a picture is too small to be matched.
    """
    before = open_side(files["before"], params, "before")
    after = open_side(files["after"], params, "after")
    return Pair(before, after, register(before.grey, after.grey, before.paper, after.paper))


def open_side(path: Path, params: Mapping[str, str], role: str) -> Side:
    """Open one picture, find its strip and its paper."""
    picture = load_picture(path)
    rgb = as_eight_bit(picture.pixels)
    grey = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), dtype=np.uint8)
    strip = find_strip(grey)
    stated = params.get(f"dpi_{role}") or params.get("dpi")
    dpi = (float(stated), float(stated)) if stated else picture.resolution_dpi
    scale = _um_per_px(strip, dpi, params)
    margin_px = 1000 * _EDGE_MARGIN_MM / (scale or (_ASSUMED_UM_PER_PX,) * 2)[0]
    hide = [] if strip is None else [strip.box_px]
    paper = visible_paper(rgb, hide, float(np.clip(margin_px, 2, 60)))
    return Side(
        picture, grey, paper.mask, paper.ground, strip, dpi, scale, paper.angle_deg, paper.box_px
    )


def _um_per_px(
    strip: StripFound | None, dpi: tuple[float, float] | None, params: Mapping[str, str]
) -> tuple[float, float] | None:
    if strip is not None:
        share = float(params.get("strip_length_mm") or NOMINAL_LENGTH_MM) / NOMINAL_LENGTH_MM
        return strip.um_per_px_x * share, strip.um_per_px_y * share
    return (25400 / dpi[0], 25400 / dpi[1]) if dpi else None
