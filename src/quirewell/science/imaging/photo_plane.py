"""A photograph of a flat sheet made as flat as a scan, by the sheet's own four edges.

A camera that leans draws a rectangle as a four-sided figure, and a lens bends straight lines. The
bend is fitted so that the edges become straight, and the figure is then drawn out to a rectangle.
Two things are taken for granted: a trimmed sheet is a rectangle, and its edges are straight; how
far they may not be is in the uncertainty.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
import scipy
from numpy.typing import NDArray

from quirewell.science.imaging.edges import SIDES, Edge, Line, Side, meet
from quirewell.science.imaging.leaf import FOLD_SIDE, Leaf, Panel, find_leaf
from quirewell.science.imaging.pointed import Said
from quirewell.science.imaging.region import find_region
from quirewell.science.imaging.sheet_frame import find_frame

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8 | np.uint16]
# Height of a sheet where none is given: it only sets how far is looked (assumed).
USUAL_HEIGHT_MM = 260.0
# A telephone corrects its lens itself; half a per cent may be left at the corner (assumed).
BEND_U = 0.005
# A trimmed edge bows by a tenth of a millimetre, and opposite edges differ by a quarter (assumed).
BOW_U_MM, SQUARE_U_MM = 0.1, 0.25
# Focal length over the longer side of the picture: a telephone's main camera sees as a lens of
# 26 mm does on film 36 mm wide, give or take a quarter (assumed); width against height rests on it.
FOCAL, FOCAL_U = 26.0 / 36.0, 0.25
_MARGIN_MM = 12.0
_MOST_PX = 24_000_000
_STEP_PX = 16
# A bow counts as so many readings of the bend, however many places of the edge were seen.
_WORTH = 2.0
_CORNERS: tuple[tuple[Side, Side], ...] = (
    ("head", "left"), ("head", "right"), ("foot", "right"), ("foot", "left"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Flattened:
    """The picture made flat, ``pixels`` (H, W, 3), and the way between it and the photograph.

    ``to_flat`` (3, 3) takes places of the photograph, its bend taken out, to the flat picture.
    The sheet is ``height_px`` high there; a pixel is as high as it is wide within the share
    ``ratio_u``. ``bend`` is the share by which the lens moves a place half the diagonal away from
    the middle (``centre_px``, ``half_px``), ``lean_deg`` how far the camera leaned, as an assumed
    focal length tells. ``sides`` holds places of the photograph along each edge.
    """

    pixels: Pixels
    to_flat: Array
    centre_px: Array
    half_px: float
    bend: float
    bend_u: float
    lean_deg: float
    height_px: float
    ratio_u: float
    sides: Mapping[Side, Array]

    def flat(self, points_px: Array) -> Array:
        """Places (n, 2) of the photograph in the flat picture."""
        return _through(self.to_flat, self._straight(points_px, self.bend))

    def photo(self, points_px: Array) -> Array:
        """Places (n, 2) of the flat picture in the photograph."""
        straight = _through(_inverse(self.to_flat), points_px)
        return _bent(straight, self.centre_px, self.half_px, self.bend)

    def unsure(self, points_px: Array, px_mm: float) -> dict[str, Array]:
        """What is unsure of places (n, 2) of the flat picture across and down [mm], by the lens
        and by the sheet's own shape, where head and foot edge are found in the flat picture."""
        there, target = self.photo(points_px), _through(self.to_flat, self._corners(self.bend))
        pull = SQUARE_U_MM / px_mm / 4.0
        skewed = target + np.array([[pull, 0.0], [-pull, 0.0], [pull, 0.0], [-pull, 0.0]])
        cases = {
            "lens": (self.bend + self.bend_u, target), "shape of the sheet": (self.bend, skewed)
        }  # fmt: skip
        low, high = target[:, 1].min(), target[:, 1].max()
        across = float(points_px[:, 0].mean()) if len(points_px) else 0.0
        ends = np.array([[across, low], [across, high]])
        part = ((points_px[:, 1] - low) / (high - low))[:, None]
        out = {}
        for name, (bend, corners) in cases.items():
            other = _homography(self._corners(bend), corners)
            moved = _through(other, self._straight(there, bend)) - points_px
            head, foot = _through(other, self._straight(self.photo(ends), bend)) - ends
            out[name] = px_mm * np.abs(moved - (1.0 - part) * head - part * foot)
        return out

    def _corners(self, bend: float) -> Array:
        return _corners({side: self._straight(at, bend) for side, at in self.sides.items()})

    def _straight(self, points_px: Array, bend: float) -> Array:
        return _straight(points_px, self.centre_px, self.half_px, bend)


def flatten(
    pixels: Pixels,
    *,
    panel: Panel = "whole",
    height_mm: float | None = None,
    said: Said | None = None,
) -> Flattened | None:
    """Make a photograph flat; None where the sheet or one of its edges is not seen.

    Parameters
    ----------
    pixels
        photograph (H, W, 3) in sRGB encoding, upright, not cropped
    panel
        "left" or "right" for that half of an opened wrap with the fold in it
    height_mm
        height of the sheet, where it is known
    said
        what a person corrected: corners, polygons painted out, the kind of ground
    """
    said = said or Said()
    height_mm = height_mm or USUAL_HEIGHT_MM
    region = find_region(pixels, None, said.ground, said.ignore)
    rows = np.flatnonzero(region.leaf.any(axis=1))
    if rows.size < 10:
        return None
    px_mm = height_mm / (float(rows[-1] + 1 - rows[0]) * region.factor)
    leaf = find_leaf(pixels, px_mm, "whole", None, said)
    fold = FOLD_SIDE.get(panel)
    if leaf is None or any(side not in leaf.edges for side in SIDES if side != fold):
        return None
    sides = {side: _along(leaf, side) for side in SIDES if side in leaf.edges and side != fold}
    view = _View(pixels, BOW_U_MM / px_mm)
    if fold is not None:
        seen = _fold(view, sides, fold, panel, height_mm)
        if seen is None:
            return None
        sides[fold] = seen
    bend, bend_u = view.bend(sides)
    return _flat(view, sides, bend, bend_u, height_mm)


class _View:
    """The photograph as its camera sees it: middle, half diagonal, assumed focal length [px]."""

    def __init__(self, pixels: Pixels, bow_px: float) -> None:
        self.pixels, self.bow_px = pixels, bow_px
        height, width = pixels.shape[:2]
        self.centre, self.half = (
            np.array([width / 2, height / 2]),
            0.5 * float(np.hypot(width, height)),
        )
        self.focal = FOCAL * max(width, height)

    def straight(self, points: Array, bend: float) -> Array:
        return _straight(points, self.centre, self.half, bend)

    def bend(self, sides: Mapping[Side, Array]) -> tuple[float, float]:
        return _bend(sides, self.centre, self.half, self.bow_px)


def _flat(
    view: _View, sides: Mapping[Side, Array], bend: float, bend_u: float, height_mm: float
) -> Flattened:
    corners = _corners({side: view.straight(at, bend) for side, at in sides.items()})
    usual, lean = _ratio(corners - view.centre, view.focal)
    longer, shorter = (
        _ratio(corners - view.centre, view.focal * part)[0] for part in (1 + FOCAL_U, 1 - FOCAL_U)
    )
    ends = np.linalg.norm(corners[[3, 2]] - corners[[0, 1]], axis=1)
    tall = min(float(ends.mean()), float(np.sqrt(_MOST_PX / (1.3 * max(usual, 0.1)))))
    rim, wide = _MARGIN_MM * tall / height_mm, usual * tall
    target = np.array([[0, 0], [wide, 0], [wide, tall], [0, tall]]) + rim
    to_flat = _homography(corners, target)
    size = round(wide + 2 * rim), round(tall + 2 * rim)
    return Flattened(
        _drawn(view.pixels, to_flat, view.centre, view.half, bend, size), to_flat, view.centre,
        view.half, bend, bend_u, lean, tall, abs(longer - shorter) / 2 / usual, sides,
    )  # fmt: skip


def _fold(
    view: _View, sides: Mapping[Side, Array], fold: Side, panel: Panel, height_mm: float
) -> Array | None:
    """Both ends of the fold (2, 2) in a photograph of half a wrap; None where none is seen.

    Lines across the sheet meet in one point of a leaning camera, lines down it in another, square
    to the first as seen from the assumed focal length: so the picture is made flat as far as its
    rim, and the fold, upright there, is looked for.
    """
    scale = np.array([view.focal, view.focal, 1.0])
    lines = {side: _line(at - view.centre) * scale for side, at in sides.items()}
    outer: Side = "left" if fold == "right" else "right"
    down = np.cross(lines[outer], np.cross(lines["head"], lines["foot"]))
    width = view.pixels.shape[1]
    rim = np.array([(width if fold == "right" else 0.0) - view.centre[0], 0.0, 1.0]) / scale
    rim[2] = 1.0
    inner = np.cross(down, rim)
    levels: tuple[Side, Side] = ("head", "foot")
    ends = [np.cross(inner, lines[level]) * scale for level in levels]
    drawn = {**sides, fold: np.array([end[:2] / end[2] for end in ends]) + view.centre}
    first = _flat(view, drawn, 0.0, BEND_U, height_mm)
    px_mm = height_mm / first.height_px
    shown: tuple[Panel, ...] = (panel, "whole")
    for part in shown:
        frame = find_frame(first.pixels, (px_mm, px_mm), part, below=True)
        if frame is not None and frame.fold_seen:
            ends_px = [frame.to_px(0.0, 0.0), frame.to_px(0.0, frame.height_mm)]
            return first.photo(np.array(ends_px))
    return None


def _line(points: Array) -> Array:
    """The line through the places of an edge, as its three homogeneous numbers."""
    side: Side = "head" if np.ptp(points[:, 0]) > np.ptp(points[:, 1]) else "left"
    line = _fitted(points, side)[0]
    level = np.array([line.slope, -1.0, line.offset])
    return level if line.level else level[[1, 0, 2]]


def _along(leaf: Leaf, side: Side) -> Array:
    """Places along one edge (n, 2) [px]: those it was seen at, else its corners."""
    edge: Edge = leaf.edges[side]
    if edge.course is None or side in leaf.pointed:
        ends = [at for at, pair in enumerate(_CORNERS) if side in pair]
        return np.asarray(leaf.corners_px[ends], np.float64)
    along = np.array(edge.course.along)
    across = edge.line.at(along) + np.array(edge.course.departure)
    return np.column_stack([along, across] if edge.line.level else [across, along])


def _straight(points: Array, centre: Array, half: float, bend: float) -> Array:
    away = (points - centre) / half
    return np.asarray(centre + (points - centre) * (1.0 + bend * (away**2).sum(axis=1))[:, None])


def _bent(straight: Array, centre: Array, half: float, bend: float) -> Array:
    points = straight
    for _ in range(8):
        far = (((points - centre) / half) ** 2).sum(axis=1)[:, None]
        points = centre + (straight - centre) / (1.0 + bend * far)
    return np.asarray(points)


def _fitted(points: Array, side: Side) -> tuple[Line, Array]:
    """The line through the places of an edge that most agree on, and how far each lies off it."""
    level = side in ("head", "foot")
    along, across = (points if level else points[:, ::-1]).T
    keep = np.ones(along.size, bool)
    slope, offset, miss = 0.0, 0.0, across
    for _ in range(5):
        slope, offset = (float(v) for v in np.polyfit(along[keep], across[keep], 1))
        miss = across - offset - slope * along
        rough = 1.4826 * float(np.median(np.abs(miss - np.median(miss))))
        near = np.abs(miss) <= max(3.5 * rough, 0.5)
        if near.sum() < 3 or np.array_equal(near, keep):
            break
        keep = near
    return Line(side, offset, slope), miss


def _bend(
    sides: Mapping[Side, Array], centre: Array, half: float, bow_px: float
) -> tuple[float, float]:
    """The bend that makes the edges straight, and its standard uncertainty."""
    seen = {side: at for side, at in sides.items() if len(at) > 4}

    # Counted from one, so that the steps of the search are shares of what is usual.
    def miss(usual: Array) -> Array:
        parts = [_soft(usual - 1.0)]
        for side, at in seen.items():
            off = _fitted(_straight(at, centre, half, BEND_U * (float(usual[0]) - 1.0)), side)[1]
            parts.append(_soft(off / bow_px) * np.sqrt(_WORTH / len(at)))
        return np.concatenate(parts)

    found = scipy.optimize.least_squares(miss, [1.0], diff_step=0.02, bounds=(-19.0, 21.0))
    return BEND_U * (float(found.x[0]) - 1.0), BEND_U / float(np.sqrt((found.jac**2).sum()))


def _soft(miss: Array) -> Array:
    """A residual that counts by its root where it is large: a chip is no bow."""
    return np.asarray(np.sign(miss) * np.sqrt(2.0 * (np.sqrt(1.0 + miss**2) - 1.0)))


def _corners(sides: Mapping[Side, Array]) -> Array:
    lines = {side: _fitted(at, side)[0] for side, at in sides.items()}
    return np.array([meet(lines[level], lines[upright]) for level, upright in _CORNERS])


def _ratio(corners: Array, focal: float) -> tuple[float, float]:
    """Width over height of the rectangle that a camera sees so, and how far it leans [deg]."""
    square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    seen = _homography(square, corners) / np.array([[focal], [focal], [1.0]])
    across, down = seen[:, 0], seen[:, 1]
    out = np.cross(across, down)
    lean = np.degrees(np.arccos(min(1.0, abs(out[2]) / np.linalg.norm(out))))
    return float(np.linalg.norm(across) / np.linalg.norm(down)), float(lean)


def _homography(points: Array, target: Array) -> Array:
    """The 3 x 3 map that takes four points to four others."""
    return np.asarray(
        cv2.getPerspectiveTransform(points.astype(np.float32), target.astype(np.float32)),
        np.float64,
    )


def _inverse(matrix: Array) -> Array:
    return np.asarray(np.linalg.inv(matrix), np.float64)


def _through(matrix: Array, points: Array) -> Array:
    out = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return np.asarray(out[:, :2] / out[:, 2:])


def _drawn(
    pixels: Pixels, to_flat: Array, centre: Array, half: float, bend: float, size: tuple[int, int]
) -> Pixels:
    """The photograph drawn flat, ``size`` (width, height) [px]."""
    # The way back is smooth: worked out every few pixels, drawn out between.
    back, step = _inverse(to_flat), _STEP_PX
    x, y = ((np.arange(-1, side // step + 2) + 0.5) * step for side in size)
    nodes = np.stack(np.meshgrid(x, y), axis=-1)
    there = _bent(_through(back, nodes.reshape(-1, 2)), centre, half, bend) - 0.5
    there = there.reshape(nodes.shape).astype(np.float32)
    wide = cv2.resize(there, None, fx=step, fy=step, interpolation=cv2.INTER_LINEAR)
    x_at, y_at = cv2.split(wide[step : step + size[1], step : step + size[0]])
    out = cv2.remap(pixels, x_at, y_at, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(out, pixels.dtype)
