"""A photograph of a sheet over a light box, made flat before holes are looked for in it.

Where the sheet and its four edges are not seen it stays as it is, with the wider band of a camera
that nobody could check.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.record.measured import Term
from quirewell.science.imaging.photo_plane import Flattened, flatten
from quirewell.science.imaging.pointed import Said
from quirewell.science.imaging.region import GroundSaid
from quirewell.science.imaging.scale import Scale, scale_from_length
from quirewell.science.imaging.staple_holes import FoundHole, HolesFound, LightSaid
from quirewell.stages.measuring_asked import Asked

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8 | np.uint16]
# Taken by hand and not made flat: the phone leans by about two degrees at half a metre, so that
# lengths along the fold change by up to a hundredth; a lens bends lines (assumed).
PHOTO_Y_SHARE, PHOTO_U_MM = 0.005, 0.15
# Beyond this lean depth of focus and shadows spoil it (assumed).
_MOST_LEAN_DEG = 20.0
HEIGHT_U_MM = 0.25
HOW = (
    "Photograph it from straight above with the whole sheet in the picture and a finger's width of "
    "bright ground on every side, and read its height with a steel rule."
)


@dataclass(frozen=True, slots=True)
class Laid:
    """A picture to look in: its pixels, what was asked of it in its own pixels, how it was made
    flat (None: it was not), and what to know."""

    pixels: Pixels
    asked: Asked
    flat: Flattened | None
    says: tuple[str, ...] = ()

    def in_picture(self, found: HolesFound) -> HolesFound:
        """What was found, with its places in the picture as it was taken."""
        if self.flat is None:
            return found
        flat = self.flat

        def back(points: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
            if not points:
                return ()
            return tuple((float(x), float(y)) for x, y in flat.photo(np.array(points)))

        holes = tuple(
            one if one.px is None else replace(one, px=back((one.px,))[0]) for one in found.holes
        )
        return replace(found, holes=holes, band_px=back(found.band_px))

    def matrix(self, found: HolesFound) -> Array | None:
        """Pixels of the picture as it was taken to the sheet's frame near the fold: (2, 3), or
        (3, 3) where it was made flat (a lens bends no straight map: the best one)."""
        if found.frame is None:
            return None
        straight = found.frame.matrix()
        if self.flat is None:
            return straight
        tall = found.frame.height_mm
        grid = np.array([(x, y) for y in np.linspace(0, tall, 20) for x in (-4.0, 0.0, 4.0)])
        there = np.array([found.frame.to_px(x, y) for x, y in grid])
        fitted, _ = cv2.findHomography(self.flat.photo(there), grid)
        return np.asarray(fitted / fitted[2, 2], np.float64)


def lay_flat(pixels: Pixels, asked: Asked, height_mm: float | None, light: LightSaid) -> Laid:
    """A photograph made flat, its corrections and lengths carried along."""
    ground: GroundSaid = asked.said.ground or ("dark" if light == "dark" else "")
    said = replace(asked.said, ground=ground)
    made = flatten(pixels, panel=asked.panel, height_mm=height_mm, said=said)
    if made is None and not ground:
        said = replace(said, ground="light")
        made = flatten(pixels, panel=asked.panel, height_mm=height_mm, said=said)
    if made is None:
        return Laid(pixels, asked, None, (
            "A photograph in which not all edges of the sheet are seen cannot be made flat: y is "
            "unsure by half a per cent of the way from the middle of the sheet. " + HOW,
        ))  # fmt: skip
    points = asked.known_points
    if points is not None:
        x1, y1, x2, y2 = made.flat(np.array(points).reshape(2, 2)).ravel()
        points = float(x1), float(y1), float(x2), float(y2)
    inside = Said(ignore=tuple(made.flat(part) for part in asked.said.ignore), ground=ground)
    says = [
        f"A photograph, made flat by the sheet's own edges: the camera leaned by about "
        f"{made.lean_deg:.0f} degrees. It is taken that the sheet is a rectangle; what it may be "
        "off is in the band. A scan is surer."
    ]
    if made.lean_deg > _MOST_LEAN_DEG:
        says.append("That is much: parts of it are out of focus and holes look narrower. " + HOW)
    inner = replace(asked, dpi=None, known_points=points, said=inside)
    return Laid(made.pixels, inner, made, tuple(says))


def scale_of_height(flat: Flattened, height_mm: float, u_mm: float) -> Scale:
    """Scale of a flat picture by the sheet's own height."""
    made = scale_from_length(height_mm, u_mm, (0.0, 0.0, 0.0, flat.height_px), 0.0)
    return replace(made, says=f"the sheet's height, {height_mm:g} mm by a steel rule")


def camera_terms(
    laid: Laid, hole: FoundHole, found: HolesFound, px_mm: float, by_height: bool
) -> tuple[tuple[Term, ...], tuple[Term, ...]]:
    """What the camera adds to the budgets of x and y of a hole whose place is in the flat
    picture."""
    frame = found.frame
    if frame is None or hole.y_mm is None or hole.px is None:
        return (), ()
    if laid.flat is None:
        away = abs(hole.y_mm - 0.5 * frame.height_mm)
        lean = math.hypot(PHOTO_U_MM, PHOTO_Y_SHARE * away)
        return (
            (Term("camera", PHOTO_U_MM, "a lens bends straight lines (assumed)"),),
            (Term("camera", lean, "a camera that leans two degrees (assumed)"),),
        )
    across, down = [], []
    bases = {
        "lens": f"how well the edges tell the lens's bend, {100 * laid.flat.bend_u:.2f} % at the "
        "corner",
        "shape of the sheet": "opposite edges may differ by a quarter of a millimetre (assumed)",
    }
    for name, away_mm in laid.flat.unsure(np.array([hole.px]), px_mm).items():
        across.append(Term(name, float(away_mm[0, 0]), bases[name]))
        down.append(Term(name, float(away_mm[0, 1]), bases[name]))
    if not by_height:
        basis = "width against height rests on a focal length nobody gave (assumed)"
        down.append(Term("lean", laid.flat.ratio_u * hole.y_mm, basis))
    return tuple(across), tuple(down)
