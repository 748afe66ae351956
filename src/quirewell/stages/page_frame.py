"""Where a point of a picture lies on the page, in millimetres, and back.

The frame of a page: origin in its upper left corner as it lies flat, head up; x to the right
along the head edge, y down. It comes from the standing measurement of the picture (outline,
scale, size); where that lacks a scale, from the page's known size; where nothing was measured,
from the corners a person gave, or else it is taken that the page fills the picture.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quirewell.record.finding import Finding, Run
from quirewell.record.nouns import Capture, Gathering, ItemState
from quirewell.record.shapes import Point, read_corners, read_points
from quirewell.stages.correcting import correction_of
from quirewell.stages.examine import latest_measure, panel_of, um_per_px

Array = NDArray[np.float64]
# A page as measured with a steel rule, and how far a fold runs from a sheet's middle (assumed).
SIZE_U_MM = 1.0
FOLD_U_MM = 1.0
# Where no budget says it: how far a fitted corner may be off (assumed).
_CORNER_U_MM = 0.5
# A page taken to fill its picture: how far its rim may be from the picture's, as a share of the
# page (assumed; nobody looked).
_FILLED_SHARE = 0.05
_SCALE_TERMS = ("edge", "edge bias", "pointed", "scanner", "fold")
RULE = "Lay the bench strip or a steel rule beside the page in the next scan"


@dataclass(frozen=True, slots=True)
class PageFrame:
    """Pixels of one picture to millimetres of one page.

    ``to_mm`` are nine numbers in rows (a straight map over g x + h y + i). A point's standard
    uncertainty grows from ``corner_u_mm`` at the origin by ``share_u`` of the way from it.
    ``known`` is how the frame was had: "measured", "size" (from the page's size) or "filled".
    """

    page: str
    capture: str
    to_mm: tuple[float, ...]
    width_mm: float | None
    height_mm: float | None
    corner_u_mm: float
    share_u: float
    known: str

    def mm(self, points: Sequence[Point]) -> tuple[Point, ...]:
        """Points of the picture [px] on the page [mm]."""
        return _through(np.array(self.to_mm).reshape(3, 3), points)

    def px(self, points: Sequence[Point]) -> tuple[Point, ...]:
        """Points of the page [mm] in the picture [px]."""
        return _through(np.linalg.inv(np.array(self.to_mm).reshape(3, 3)), points)

    def u_mm(self, points: Sequence[Point]) -> float:
        """Standard uncertainty of where the frame puts points [mm], at the farthest of them."""
        far = max(math.hypot(x, y) for x, y in points)
        return math.hypot(self.corner_u_mm, self.share_u * far)


@dataclass(frozen=True, slots=True)
class Framed:
    """The frame of a picture, or none; and in words why it is wide or missing, with the cure."""

    frame: PageFrame | None
    says: str = ""


def page_size(gathering: Gathering | None) -> tuple[float | None, float | None]:
    """Width and height of a page as described [mm]; None for what nobody said."""
    return (gathering.width_mm, gathering.height_mm) if gathering else (None, None)


def framed(state: ItemState, page: str, capture: Capture) -> Framed:
    """The frame of ``page`` ("w03.outer.left") in one of its pictures."""
    run = latest_measure(state, capture)
    outline = read_points(run.drawing.get("outline", "")) if run else ()
    size = page_size(state.gathering)
    if run is None or len(outline) != 4:
        return _unmeasured(state, page, capture, size)
    return _measured(page, capture, run, outline, size)


def _measured(
    page: str, capture: Capture, run: Run, outline: tuple[Point, ...],
    size: tuple[float | None, float | None],
) -> Framed:  # fmt: skip
    corners = np.array(outline)
    seen = run.drawing.get("edges", "").split()
    found = {entry.quantity: entry for entry in run.findings}
    whole = panel_of(capture) == "whole"
    scales = _scales(run, corners, seen, size, whole)
    if scales is None:
        return Framed(
            None,
            "Nothing says how large a pixel of this picture is, nor how large the page is. "
            f"{RULE}, or read the page's height and width with a rule and note them with the item.",
        )
    along, across, share, known = scales
    right, down = _axes(corners, seen)
    wide, high = (float(np.ptp(corners @ way)) for way in (right, down))
    width = _value(found.get("leaf.width_mm")) or _both(seen, ("left", "right"), wide * along)
    height = _value(found.get("leaf.height_mm")) or _both(seen, ("head", "foot"), high * across)
    corner_u = _corner_u(found)
    half = page.rpartition(".")[2]
    x0, u_x = _start(seen, ("left", "right"), corners[[0, 3]] @ right, corners[[1, 2]] @ right,
                     size[0] and (2 * size[0] if whole else size[0]), along)  # fmt: skip
    y0, u_y = _start(
        seen, ("head", "foot"), corners[[0, 1]] @ down, corners[[3, 2]] @ down, size[1], across
    )
    if x0 is None or y0 is None:
        return Framed(
            None,
            "The page's outer edges are not in this picture, so nothing says where its corner "
            "lies. Scan it with a centimetre of dark card showing, or give the corners by hand.",
        )
    if whole:
        if width is None:
            return Framed(None, "The sheet is not seen from edge to edge, so nothing says where "
                          "its halves part. Scan each half, the fold in the picture.")  # fmt: skip
        if size[0] is not None and width < 1.5 * size[0]:
            return Framed(None, "This picture shows one page of the two, and nothing says which. "
                          "Assign it to its half on the intake page.")  # fmt: skip
        width /= 2
        if half == "right":
            x0 += width / along
            u_x = math.hypot(u_x, FOLD_U_MM)
    elif width is not None and size[0] is not None and width > 1.5 * size[0]:
        return Framed(None, "The measured leaf is twice as wide as a page; the fold was not found. "
                      "Correct the measurement, then draw.")  # fmt: skip
    to_mm = (
        along * right[0], along * right[1], -along * x0,
        across * down[0], across * down[1], -across * y0, 0.0, 0.0, 1.0,
    )  # fmt: skip
    frame = PageFrame(
        page, capture.id, tuple(float(one) for one in to_mm), width or size[0], height or size[1],
        math.hypot(corner_u, u_x, u_y), share, known,
    )  # fmt: skip
    if known == "measured":
        return Framed(frame)
    return Framed(
        frame,
        "Nothing in this picture says how large it is: points are placed by the page's size as "
        f"noted, {_sizes(size)}, to about {2 * frame.u_mm([(size[0] or 0, size[1] or 0)]):.0f} mm "
        f"at the lower right. {RULE} for tenths of a millimetre.",
    )


def _scales(
    run: Run, corners: Array, seen: list[str], size: tuple[float | None, float | None], whole: bool
) -> tuple[float, float, float, str] | None:
    """Millimetres a pixel along and across, their standard uncertainty as a share, and how they
    were had; None when nothing says."""
    plain = um_per_px(run)
    right, down = _axes(corners, seen)
    wide = float(np.mean((corners[[1, 2]] - corners[[0, 3]]) @ right))
    high = float(np.mean((corners[[3, 2]] - corners[[0, 1]]) @ down))
    found = {entry.quantity: entry for entry in run.findings}
    if plain is not None:
        width, height = (_value(found.get(f"leaf.{one}_mm")) for one in ("width", "height"))
        along = width / wide if width else plain / 1000
        across = height / high if height else plain / 1000
        u = found["scale.um_per_px"].u
        return along, across, (u or 0.0) / plain, "measured"
    width = None if size[0] is None else (2 * size[0] if whole else size[0])
    by_width = width / wide if width and {"left", "right"} <= set(seen) else None
    by_height = size[1] / high if size[1] and {"head", "foot"} <= set(seen) else None
    one = by_width or by_height
    if one is None:
        return None
    least = min(length for length in (width, size[1]) if length)
    return by_width or one, by_height or one, SIZE_U_MM / least, "size"


def _axes(corners: Array, seen: list[str]) -> tuple[Array, Array]:
    """Unit vectors of the page in the picture: along the head edge (the foot where that is not
    seen), and down square to it."""
    edge = corners[1] - corners[0] if "head" in seen or "foot" not in seen else (
        corners[2] - corners[3]
    )  # fmt: skip
    right = edge / np.linalg.norm(edge)
    return right, np.array([-right[1], right[0]])


def _start(
    seen: list[str], sides: tuple[str, str], near: Array, far: Array, size: float | None, mm: float
) -> tuple[float | None, float]:
    """Where the page begins along one axis [px], and what the way adds to its doubt [mm]."""
    if sides[0] in seen:
        return float(near[0]), 0.0
    if sides[1] in seen and size is not None:
        return float(far[0]) - size / mm, SIZE_U_MM
    return None, 0.0


def _corner_u(found: dict[str, Finding]) -> float:
    """How far the corner may be off [mm]: half of what edges and glass do to width and height."""
    parts = []
    for name in ("leaf.width_mm", "leaf.height_mm"):
        terms = found[name].terms if name in found else ()
        parts += [term.u**2 / 2 for term in terms if term.name in _SCALE_TERMS]
    return math.sqrt(sum(parts)) if parts else _CORNER_U_MM


def _unmeasured(
    state: ItemState, page: str, capture: Capture, size: tuple[float | None, float | None]
) -> Framed:
    width, height = size
    kind = "A photograph is not measured" if capture.view != "scan" else (
        "This picture is not measured yet, or no leaf was found in it"
    )  # fmt: skip
    cure = (
        "A scan with the bench strip beside the page places damage to tenths of a millimetre."
        if capture.view != "scan"
        else "Measure it, with the bench strip or a steel rule beside the page."
    )
    if width is None or height is None:
        return Framed(
            None,
            f"{kind}, and the page's size is not known. {cure} Until then note places read off "
            "with a steel rule from the page's upper left corner, or none.",
        )
    across = 2 if panel_of(capture) == "whole" and page.count(".") == 2 else 1
    if capture.place == page:
        across = 1
    held = correction_of(state, capture.id)
    given = [one for one in read_corners(held.corners) if one] if held else []
    px = given if len(given) == 4 else _rim(capture)
    share = SIZE_U_MM / min(size_ for size_ in (width, height)) if len(given) == 4 else (
        _FILLED_SHARE
    )  # fmt: skip
    corner = _CORNER_U_MM if len(given) == 4 else _FILLED_SHARE * max(width, height) / 2
    left = width if across == 2 and page.endswith("right") else 0.0
    there = [(-left, 0.0), (across * width - left, 0.0), (across * width - left, height),
             (-left, height)]  # fmt: skip
    frame = PageFrame(
        page, capture.id, _four(px, there), width, height, corner, share,
        "size" if len(given) == 4 else "filled",
    )  # fmt: skip
    taken = "by the corners given" if len(given) == 4 else "as if the page filled the picture"
    return Framed(
        frame,
        f"{kind}: points are placed {taken}, {_sizes(size)}, to about "
        f"{2 * frame.u_mm([(width, height)]):.0f} mm. {cure}",
    )


def _rim(capture: Capture) -> list[Point]:
    wide, high = float(capture.width_px), float(capture.height_px)
    return [(0.0, 0.0), (wide, 0.0), (wide, high), (0.0, high)]


def _four(px: Sequence[Point], mm: Sequence[Point]) -> tuple[float, ...]:
    """The straight map that takes four points of the picture to four of the page."""
    rows, values = [], []
    for (x, y), (u, v) in zip(px, mm, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        values += [u, v]
    return (*np.linalg.solve(np.array(rows, float), np.array(values, float)).tolist(), 1.0)


def _through(matrix: Array, points: Sequence[Point]) -> tuple[Point, ...]:
    if not points:
        return ()
    out = np.column_stack([np.array(points, float), np.ones(len(points))]) @ matrix.T
    return tuple((float(x / w), float(y / w)) for x, y, w in out)


def _both(seen: list[str], pair: tuple[str, str], length: float) -> float | None:
    return length if set(pair) <= set(seen) else None


def _value(finding: Finding | None) -> float | None:
    return finding.value if finding is not None else None


def _sizes(size: tuple[float | None, float | None]) -> str:
    return " by ".join(f"{one:g} mm" for one in size if one)
