"""Two pictures of one page, opened, masked to their paper, and laid onto each other.

The comparison, the picture of the difference and the curtain all start here, so that what is
looked at is what was measured.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.record.shapes import read_shapes
from quirewell.science.colour.exposure import ExposedPair, expose_pair, greys_from_text
from quirewell.science.colour.maps import ciede2000_map, lab_map
from quirewell.science.colour.spaces import lab_from_linear, light_of, linear_from_lab
from quirewell.science.colour.target_use import TargetUse
from quirewell.science.imaging.difference import difference_picture, warp_after_to_before
from quirewell.science.imaging.match import Mask
from quirewell.science.imaging.paper_change import LightChange, light_change
from quirewell.science.imaging.register import NoRegistration, Registration, register
from quirewell.science.imaging.strip import NOMINAL_LENGTH_MM, StripFound, find_strip
from quirewell.science.imaging.strip_greys import read_greys
from quirewell.science.imaging.visible import visible_paper
from quirewell.studio.images import Picture, as_eight_bit, load_picture

_EDGE_MARGIN_MM = 1.0
_ASSUMED_UM_PER_PX = 25400 / 300
_BLUR_MM = 0.35
_Pixels = NDArray[np.uint8 | np.uint16]


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
    """Both sides and the registration between them, or why there is none.

    ``exposed`` holds both scans against the strip's known greys, where these are known and seen.
    """

    before: Side
    after: Side
    match: Registration | NoRegistration
    exposed: ExposedPair | None = None


def open_pair(files: Mapping[str, Path], params: Mapping[str, str]) -> Pair:
    """Open both pictures (roles "before" and "after") and register them on their paper.

    Raises:
        ImageError: when a file is no picture that can be measured.
        ValueError: when a picture is too small to be matched, or the known greys cannot be read.
    """
    before = open_side(files["before"], params, "before")
    after = open_side(files["after"], params, "after")
    match = register(before.grey, after.grey, before.paper, after.paper)
    return Pair(before, after, match, exposed_pair(before, after, params.get("greys", "")))


def exposed_pair(before: Side, after: Side, greys: str) -> ExposedPair | None:
    """Both scans against the strip's known greys; None where these are not given or not seen."""
    if before.strip is None or after.strip is None:
        return None
    sides = (before.picture.pixels, before.strip), (after.picture.pixels, after.strip)
    return exposed_by(sides, greys)


def exposed_by(
    sides: tuple[tuple[_Pixels, StripFound], tuple[_Pixels, StripFound]], greys: str
) -> ExposedPair | None:
    """Both scans against the strip's known greys, ``greys`` as the parameter has them; ``sides``:
    picture (H, W, 3) and strip, before then after. None where too little of them is seen."""
    if not greys:
        return None
    known = greys_from_text(greys)
    read = [read_greys(pixels, strip) for pixels, strip in sides]
    if read[0] is None or read[1] is None:
        return None
    return expose_pair(read[0].srgb, read[1].srgb, known)


def open_side(path: Path, params: Mapping[str, str], role: str) -> Side:
    """Open one picture, find its strip and its paper (without what was painted out by hand)."""
    picture = load_picture(path)
    rgb = as_eight_bit(picture.pixels)
    grey = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), dtype=np.uint8)
    strip = find_strip(grey)
    stated = params.get(f"dpi_{role}") or params.get("dpi")
    dpi = (float(stated), float(stated)) if stated else picture.resolution_dpi
    scale = _um_per_px(strip, dpi, params)
    margin_px = 1000 * _EDGE_MARGIN_MM / (scale or (_ASSUMED_UM_PER_PX,) * 2)[0]
    hide = [] if strip is None else [strip.box_px]
    hide += [np.array(shape) for shape in read_shapes(params.get(f"ignore_{role}", ""))]
    paper = visible_paper(picture.pixels, hide, float(np.clip(margin_px, 2, 60)))
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


@dataclass(frozen=True, slots=True)
class LaidPair:
    """Both pictures on one grid, ``shrink`` times smaller than the before picture.

    ``seen`` is true where both show paper (away from edges, strip and ground).
    """

    before: NDArray[Any]
    after: NDArray[Any]
    seen: Mask
    shrink: float


def lay_pair(pair: Pair, longest_px: int) -> LaidPair:
    """Lay the after picture on the before picture, at most ``longest_px`` on the longer side.

    Raises:
        ValueError: when the two could not be registered, with the reason.
    """
    match = pair.match
    if isinstance(match, NoRegistration):
        raise ValueError(match.says)
    pixels = pair.before.picture.pixels
    shape = pixels.shape[:2]
    shrink = max(1.0, max(shape) / longest_px)
    laid = warp_after_to_before(pair.after.picture.pixels, match, shape, shrink, pair.after.paper)
    size = (laid.seen.shape[1], laid.seen.shape[0])
    before = pixels
    if shrink > 1.0:
        small = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA)
        before = np.asarray(small, dtype=pixels.dtype)
    inner = cv2.resize(pair.before.paper.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
    return LaidPair(before, laid.pixels, laid.seen & (inner > 0), shrink)


def to_known_greys(pair: Pair, target: TargetUse | None) -> bool:
    """Whether both scans are brought to the strip's known greys; else the after scan is brought
    to the before scan, whose exposure a fitted target has in it."""
    return pair.exposed is not None and pair.exposed.known.absolute and target is None


def relight(lab: NDArray[np.float64], light: LightChange) -> NDArray[np.float64]:
    """CIELAB of the after picture had it been lit as the before picture was."""
    linear = (linear_from_lab(lab) - light.offset) / light.gain
    return lab_from_linear(np.where(np.isnan(linear), np.nan, np.maximum(linear, 0.0)))


def lit_alike(
    pair: Pair, light: LightChange | None, before: NDArray[np.float32],
    after: NDArray[np.float32], target: TargetUse | None,
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:  # fmt: skip
    """Linear light of both pictures as if exposed alike (see ``pair_tones``)."""
    if pair.exposed is not None:
        whole = to_known_greys(pair, target)
        one, two = (
            pair.exposed.light(role, lit, whole).astype(np.float32)
            for role, lit in (("before", before), ("after", after))
        )
        return one, two
    if light is None or not light.differs:
        return before, after
    lit = (after - np.float32(light.offset)) / np.float32(light.gain)
    return before, np.asarray(np.maximum(lit, 0), dtype=np.float32)


def light_between(pair: Pair) -> LightChange | None:
    """How the strip's grey steps came out in both; None unless it lies in both."""
    if pair.before.strip is None or pair.after.strip is None:
        return None
    return light_change(pair.before.strip.greys, pair.after.strip.greys)


def profiled(pair: Pair) -> bool:
    return bool(pair.before.picture.profile and pair.after.picture.profile)


def difference_of(pair: Pair, longest_px: int = 1400) -> tuple[NDArray[np.float32], Mask]:
    """The CIEDE2000 difference of the two pictures, and where both show paper.

    Both are blurred by a third of a millimetre first, so that letters a hair apart do not
    light up as if their ink had changed.

    Raises:
        ValueError: when the two could not be registered, with the reason.
    """
    laid = lay_pair(pair, longest_px)
    um = float(np.mean(pair.before.um_guess)) * laid.shrink
    sigma = max(0.5, 1000 * _BLUR_MM / um)
    lights = [
        np.asarray(cv2.GaussianBlur(light_of(picture), (0, 0), sigma), dtype=np.float32)
        for picture in (laid.before, laid.after)
    ]
    lit = lit_alike(pair, light_between(pair), lights[0], lights[1], None)
    one, two = (lab_map(np.asarray(part)) for part in lit)
    return ciede2000_map(one, two), laid.seen


def picture_of_difference(pair: Pair, longest_px: int = 1400) -> NDArray[np.uint8]:
    """The same as a picture with its legend (RGB).

    Raises:
        ValueError: when the two could not be registered, with the reason.
    """
    return difference_picture(*difference_of(pair, longest_px))


def write_png(target: Path, rgb: NDArray[np.uint8]) -> None:
    """Write RGB pixels as PNG, whole or not at all.

    Raises:
        OSError: when the file cannot be written.
    """
    done, data = cv2.imencode(".png", np.ascontiguousarray(rgb[..., ::-1]))
    if not done:
        raise OSError(f"{target.name} could not be written as PNG")
    partial = target.with_name(f".{target.name}.part")
    try:
        partial.write_bytes(data.tobytes())
        partial.replace(target)
    finally:
        partial.unlink(missing_ok=True)
