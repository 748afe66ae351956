"""Staple holes along the fold of a sheet, from one picture of it.

Holes are seen by what lies behind the sheet: the bright field of a light box (transmitted light),
a dark card, or the white lid of a scanner. A picture in which the ground cannot be told from ink
gives no hole rather than a guess.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.fold_strip import FoldStrip, fold_strip
from quirewell.science.imaging.hole_candidates import Rejected, find_candidates, in_long_openings
from quirewell.science.imaging.hole_pattern import Settled, settle, settle_expected
from quirewell.science.imaging.hole_shape import Shape
from quirewell.science.imaging.leaf import Panel
from quirewell.science.imaging.pointed import Said
from quirewell.science.imaging.sheet_frame import SheetFrame, clipped, find_frame

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8 | np.uint16]
LightSaid = Literal["", "transmitted", "dark", "light"]
State = Literal["clean", "torn", "rusted", "plugged", "missing"]
LIGHTS: tuple[LightSaid, ...] = ("transmitted", "dark", "light")

BAND_MM = 4.0
# Off the fold by more than this it is no staple's (assumed: sheets were jogged before stitching).
OFF_FOLD_MM = 1.5


@dataclass(frozen=True, slots=True)
class FoundHole:
    """One staple hole in the sheet's frame [mm].

    ``u_mm`` is the standard uncertainty of its place on either axis relative to the other holes
    of the sheet, ``u_x_mm`` and ``u_y_mm`` with the fold's and the head edge's own; ``size_mm``
    the diameter of a disc of its area; ``px`` its place in the upright picture. A missing hole
    has no place; ``expected_y_mm`` says where it should be, where that is known.
    """

    number: int
    state: State
    x_mm: float | None = None
    y_mm: float | None = None
    u_mm: float | None = None
    u_x_mm: float | None = None
    u_y_mm: float | None = None
    size_mm: float | None = None
    px: tuple[float, float] | None = None
    expected_y_mm: float | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class HolesFound:
    """Holes from the head, what was rejected, the light they were seen by, and the frame (None
    where no sheet or no fold was found). ``band_px`` are the corners of what was searched."""

    holes: tuple[FoundHole, ...]
    rejected: tuple[Rejected, ...]
    light: LightSaid
    frame: SheetFrame | None
    band_px: tuple[tuple[float, float], ...]
    warnings: tuple[str, ...]


def find_holes(
    pixels: NDArray[np.uint8 | np.uint16],
    px_mm: tuple[float, float],
    *,
    panel: Panel = "whole",
    side: Literal["outer", "inner"] = "outer",
    light: LightSaid = "",
    expected: Sequence[float] = (),
    count: int = 0,
    said: Said | None = None,
    hidden: Sequence[Array] = (),
) -> HolesFound:
    """Find the staple holes near the fold of a sheet.

    Parameters
    ----------
    pixels
        picture (H, W, 3) or (H, W) of 8 or 16 bits in sRGB encoding, upright, head up
    px_mm
        size of a pixel along x and along y [mm]
    panel
        "left" or "right" for a picture of that half of an opened wrap with the fold in it
    side
        the side seen; the inner one is mirrored, so that x is always of the outer side
    light
        how holes show: "transmitted" (a light box below), "dark" or "light" (what lies behind);
        empty: told from the picture
    expected
        places of the holes from the head [mm], where a pattern is known
    count
        how many holes there should be (two to a staple), where that is known
    said
        what a person corrected: corners, polygons painted out
    hidden
        polygons [px] of things that lie beside the sheet, such as the bench strip

    Raises
    ------
    ValueError
        a picture of another kind, a size of pixels that is none
    """
    picture, grey = _checked(pixels, px_mm)
    said = said or Said()
    if not said.ground and light:
        said = replace(said, ground="dark" if light == "dark" else "light")
    below = light == "transmitted"
    frame = find_frame(picture, px_mm, panel, side == "inner", said, list(hidden), below)
    if frame is None and not said.ground and grey:
        # Without colours a lighter ground is told from paper only where one looks for it.
        bright = replace(said, ground="light")
        frame = find_frame(picture, px_mm, panel, side == "inner", bright, list(hidden), below)
    if frame is None:
        return _nothing(
            light, None,
            "No sheet with a fold was found: nothing in the picture stands out as paper, or no "
            "fold runs from its head to its foot. Say which half of the wrap it shows, or place "
            "the corners.",
        )  # fmt: skip
    strip = fold_strip(picture, frame, [*hidden, *said.ignore])
    if strip is None:
        return _nothing(light, frame, "Too little of the fold is in the picture to look for holes.")
    seen = _ground(frame, strip, light)
    if seen is None:
        return _nothing(
            light, frame,
            "No ground shows round the sheet, so nobody knows what a hole looks like in this "
            "picture. Say the light: transmitted, dark or light.",
        )  # fmt: skip
    ground, kind, says = seen
    dark = kind == "dark"
    limit = OFF_FOLD_MM + (2.0 * frame.fold_u_mm if frame.fold_seen else BAND_MM - OFF_FOLD_MM)
    shapes, rejected = find_candidates(strip, ground, dark, grey, limit)
    if expected:
        shapes += in_long_openings(strip, ground, dark, grey, expected, shapes, limit)
        settled = settle_expected(shapes, sorted(expected))
    else:
        settled = settle(shapes, count, frame.height_mm)
    return _told(settled, rejected, kind, frame, (*frame.warnings, *says), grey, count)


def _checked(pixels: Pixels, px_mm: tuple[float, float]) -> tuple[Pixels, bool]:
    if pixels.dtype not in (np.uint8, np.uint16) or pixels.ndim not in (2, 3):
        raise ValueError(
            f"a picture has 8 or 16 bits and one or three colours, got {pixels.dtype} "
            f"{pixels.shape}"
        )
    if not all(0.001 <= size <= 2.0 for size in px_mm):
        raise ValueError(f"a pixel is 0.001 to 2 mm wide, got {px_mm[0]:g} x {px_mm[1]:g} mm")
    if pixels.ndim == 2:
        return np.repeat(pixels[..., None], 3, axis=2), True
    if pixels.shape[2] != 3:
        raise ValueError(f"a picture has one or three colours, got {pixels.shape[2]}")
    thin = pixels[::17, ::17]
    grey = bool((thin == thin[..., :1]).all())
    return pixels, grey


def _nothing(light: LightSaid, frame: SheetFrame | None, why: str) -> HolesFound:
    says = (frame.warnings if frame else ()) + (why,)
    return HolesFound((), (), light, frame, _band(frame) if frame else (), says)


def _band(frame: SheetFrame) -> tuple[tuple[float, float], ...]:
    corners = (
        (-BAND_MM, 0.0), (BAND_MM, 0.0), (BAND_MM, frame.height_mm), (-BAND_MM, frame.height_mm)
    )  # fmt: skip
    return tuple(frame.to_px(x, y) for x, y in corners)


def _ground(
    frame: SheetFrame, strip: FoldStrip, light: LightSaid
) -> tuple[Array, LightSaid, tuple[str, ...]] | None:
    """Light of the ground (3,), the kind of light, and what to know; None when nobody can tell."""
    region = frame.region
    column = frame.to_px(0.0, 0.5 * frame.height_mm)[0] / frame.factor
    near = region.ground.copy()
    wide = 25.0 * abs(frame.right[0]) / frame.factor
    near[:, : max(0, int(column - wide))] = False
    near[:, int(column + wide) :] = False
    mask = near if near.sum() >= 40 else region.ground
    paper = np.median(strip.paper.reshape(-1, 3)[::97], axis=0)
    usual = {"dark": 0.015, "light": 0.85, "transmitted": 1.0}
    if mask.sum() < 12:
        if not light:
            return None
        says = "No ground shows round the sheet; holes are looked for by the light that was said."
        return np.full(3, usual[light]), light, (says,)
    seen = np.median(region.light[mask], axis=0).astype(np.float64)
    darker = bool(seen.mean() < paper.mean())
    found: LightSaid = "dark" if darker else "light"
    if not darker and clipped(region):
        found = "transmitted"
    if not light or (light == "dark") == darker:
        return seen, light or found, ()
    says = f"The light was said to be {light}; the ground beside the sheet looks otherwise."
    return np.full(3, usual[light]), light, (says,)


def _told(
    settled: Settled, rejected: list[Rejected], light: LightSaid, frame: SheetFrame,
    says: tuple[str, ...], grey: bool, count: int,
) -> HolesFound:  # fmt: skip
    """Holes numbered from the head, in the frame of the outer side."""
    sign = frame.sign
    over = [Rejected(s.x_mm, s.y_mm, s.size_mm, why) for s, why in settled.left_over]
    holes = []
    if any(leg.shape is not None for leg in settled.legs):
        for number, leg in enumerate(settled.legs, 1):
            holes.append(_hole(number, leg.shape, leg.y_mm, frame))
    elif count or settled.legs:
        says += (
            "None of the holes expected was found. Look whether this is the fold, and whether the "
            "ground shows through; a picture on a light box shows holes best.",
        )
    says += settled.warnings
    if grey and holes:
        says += (
            "The picture has no colours, so rust cannot be told from dirt"
            + (", nor a printed dot from a hole." if light == "dark" else "."),
        )
    told = tuple(
        replace(one, x_mm=sign * one.x_mm)
        for one in sorted(rejected + over, key=lambda one: one.y_mm)
    )
    return HolesFound(tuple(holes), told, light, frame, _band(frame), says)


def _hole(number: int, shape: Shape | None, y_mm: float | None, frame: SheetFrame) -> FoundHole:
    if shape is None:
        note = "" if y_mm is None else f"nothing there, about {y_mm:.0f} mm from the head"
        return FoundHole(number, "missing", expected_y_mm=y_mm, note=note)
    state: State = "clean"
    note = ""
    if shape.kind == "spot":
        state, note = "plugged", "no ground seen through it; the middle of its rust or dirt"
    elif shape.torn:
        state = "torn"
        note = (
            f"{shape.long_mm:.1f} mm long; placed where the largest circle fits "
            f"({shape.inner_mm:.2f} mm across)"
        )
    elif shape.rusted:
        state = "rusted"
        note = f"the paper beside it lets back {100 * shape.beside:.0f} % of bare paper"
    x = frame.sign * shape.x_mm
    turned = frame.turn_u * (shape.y_mm - 0.5 * frame.height_mm)
    return FoundHole(
        number, state, x, shape.y_mm, shape.u_mm,
        math.hypot(shape.u_mm, frame.fold_u_mm, turned), math.hypot(shape.u_mm, frame.head_u_mm),
        shape.size_mm, frame.to_px(x, shape.y_mm), shape.y_mm, note,
    )  # fmt: skip
