"""What a person corrected before a leaf is measured again: corners, painted-out parts, ground.

Text as it stands in a run's parameters, in pixels of the upright picture: ``corners``
"x,y x,y x,y x,y" clockwise from the upper left, "-" for a corner that may stay as found;
``ignore`` polygons "x,y x,y x,y; x,y ..."; ``ground`` "dark" or "light".
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.leaf import Leaf
from quirewell.science.imaging.pointed import Said

MOST_POLYGONS = 40
MOST_POINTS = 2000
_OUTSIDE_PX = 200.0


class BadParameter(ValueError):
    """A parameter that cannot be used; a sentence."""


def read_said(params: Mapping[str, str]) -> Said:
    """Corrections from text parameters.

    Raises
    ------
    BadParameter
        when a corner, polygon or ground cannot be understood
    """
    ground = params.get("ground") or ""
    if ground not in ("", "dark", "light"):
        raise BadParameter(f"ground must be dark or light, got {ground!r}")
    corners = _corners(params.get("corners") or "")
    return Said(corners, _polygons(params.get("ignore") or ""), ground)  # type: ignore[arg-type]


def _corners(text: str) -> tuple[tuple[float, float] | None, ...]:
    tokens = text.split()
    if not tokens:
        return (None, None, None, None)
    if len(tokens) != 4:
        raise BadParameter(
            "corners are four points x,y clockwise from the upper left, with spaces between, and - "
            f"for one that may stay as found, got {len(tokens)}: {text!r}"
        )
    corners = tuple(None if token == "-" else _point(token, "corners") for token in tokens)
    if None not in corners and not _turns_right(np.array(corners, dtype=np.float64)):
        raise BadParameter(
            "corners must run clockwise from the upper left and make a four-sided shape without "
            f"dents, got {text!r}"
        )
    return corners


def _turns_right(ring: NDArray[np.float64]) -> bool:
    """Whether a ring runs clockwise (y down), convex, its first corner upper left."""
    sides = np.roll(ring, -1, axis=0) - ring
    after = np.roll(sides, -1, axis=0)
    turns = sides[:, 0] * after[:, 1] - sides[:, 1] * after[:, 0]
    level = sides[0, 0] > abs(sides[0, 1]) and sides[1, 1] > abs(sides[1, 0])
    return bool((turns > 1.0).all() and level)


def _polygons(text: str) -> tuple[NDArray[np.float64], ...]:
    parts = [part for part in text.split(";") if part.strip()]
    if len(parts) > MOST_POLYGONS:
        raise BadParameter(f"ignore takes at most {MOST_POLYGONS} polygons, got {len(parts)}")
    out = []
    for part in parts:
        points = [_point(token, "ignore") for token in part.split()]
        if not 3 <= len(points) <= MOST_POINTS:
            raise BadParameter(
                f"a polygon of ignore has 3 to {MOST_POINTS} points x,y with spaces between, "
                f"got {len(points)}: {part.strip()[:60]!r}"
            )
        out.append(np.array(points, dtype=np.float64))
    return tuple(out)


def _point(token: str, name: str) -> tuple[float, float]:
    try:
        x, y = (float(part) for part in token.split(","))
    except ValueError:
        x = y = math.nan
    if not (math.isfinite(x) and math.isfinite(y)):
        raise BadParameter(f"a point of {name} is two pixel numbers x,y, got {token!r}")
    return x, y


def check_inside(said: Said, width_px: int, height_px: int) -> None:
    """Refuse corrections that lie off the picture.

    Raises
    ------
    BadParameter
        when a corner lies more than 200 px outside, or no part of a polygon is inside
    """
    for corner in said.corners:
        if corner is None:
            continue
        off = max(-corner[0], corner[0] - width_px, -corner[1], corner[1] - height_px)
        if off > _OUTSIDE_PX:
            raise BadParameter(
                f"the corner {corner[0]:g},{corner[1]:g} lies outside the picture of "
                f"{width_px} x {height_px} pixels; corners are pixels from its upper left"
            )
    for polygon in said.ignore:
        (x0, y0), (x1, y1) = polygon.min(axis=0), polygon.max(axis=0)
        if x1 < 0 or y1 < 0 or x0 > width_px or y0 > height_px:
            raise BadParameter(
                f"a polygon of ignore lies wholly outside the picture of {width_px} x {height_px} "
                "pixels; its points are pixels from the upper left"
            )


def corrected_sentences(said: Said, leaf: Leaf) -> list[str]:
    """What was corrected by hand, and where a correction and the picture disagree."""
    says = []
    given = sum(corner is not None for corner in said.corners)
    if given:
        says.append(
            f"{given} of the 4 corners {'was' if given == 1 else 'were'} placed by hand; sizes "
            "rest on how well."
        )
    if said.ignore:
        says.append(
            f"{len(said.ignore)} part{'s' * (len(said.ignore) > 1)} of the picture "
            f"{'were' if len(said.ignore) > 1 else 'was'} painted out and not looked at."
        )
    if said.ground and (said.ground == "light") != leaf.on_light_ground:
        says.append(f"The ground was said to be {said.ground}, and looks otherwise.")
    return says
