"""What a camera held by hand adds to an angle read from a photograph of the head.

A pinhole camera that leans by ``t`` about an axis turns a line at right angles to the way it leans
by ``tan t`` times the line's distance from the middle of the picture over the focal length: so a
fore-edge in the middle of the picture is turned by nothing, one at its rim by half a degree for
each degree. Nothing in the picture of one block tells that lean; it is assumed. A lean along the
block also makes its long sides run together, by ``tan t`` times the thickness over the focal
length; that is seen, though a block that gapes looks the same.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

# A camera held by hand, levelled by eye [degrees], and its focal length by the longer side of an
# uncropped picture (both assumed).
LEAN_DEG, FOCAL = 2.0, 0.75
# Lens, and the shear of a lean that goes askew [degrees] (assumed).
LENS_U_DEG = 0.5
_TOLD_WEDGE_DEG, _TOLD_LEAN_DEG, _TOLD_BEND_DEG = 1.0, 0.5, 2.0


@dataclass(frozen=True, slots=True)
class Camera:
    """``u_deg`` [degrees] of the roll by the camera and by an end that is not one straight line;
    ``says``: what makes it wider than usual, and what to do."""

    u_deg: float
    says: tuple[str, ...]


def camera_doubt(
    *, end_off_px: float, axis_off_px: float, longer_px: float, thick_px: float, wedge_deg: float,
    bend_deg: float,
) -> Camera:  # fmt: skip
    """What the camera adds.

    Parameters
    ----------
    end_off_px, axis_off_px
        distance of the fore-edge's line and of the block's middle line from the middle of the
        picture [px]
    longer_px, thick_px
        the picture's longer side and the block's thickness [px]
    wedge_deg
        between both long sides [degrees]
    bend_deg
        between the upper and lower half of the fore-edge, 0 where it is within its noise [degrees]

    >>> round(camera_doubt(end_off_px=0, axis_off_px=0, longer_px=3000, thick_px=60, wedge_deg=0,
    ...     bend_deg=0).u_deg, 2)
    0.5
    """
    focal = FOCAL * longer_px
    lean = LEAN_DEG * math.hypot(end_off_px, axis_off_px) / focal
    together = wedge_deg * max(0.5, axis_off_px / thick_px)
    # Either half, or anything between them, may be the block's own end (a rectangle).
    bent = bend_deg / math.sqrt(12)
    says = []
    if together > _TOLD_WEDGE_DEG / 2:
        says.append(
            f"The long sides run together by {wedge_deg:.1f} degrees: the camera leaned, or the "
            f"block gapes; that alone makes the roll unsure by {together:.1f} degrees (u). Lay a "
            "light weight on it and hold the camera squarely over the head."
        )
    if lean > _TOLD_LEAN_DEG:
        says.append(
            f"The fore-edge does not lie in the middle of the picture: a camera that leans "
            f"{LEAN_DEG:g} degrees (assumed) turns it by {lean:.1f} degrees there. Put the "
            "fore-edge in the middle, and do not crop the picture."
        )
    if bend_deg > _TOLD_BEND_DEG:
        says.append(
            f"The fore-edge is not one straight line: its upper and lower half differ by "
            f"{bend_deg:.0f} degrees, which makes the roll unsure by {bent:.1f} degrees (u). "
            "Either it is rounded, or the head was not square to the camera and a cover's face is "
            "in the picture too: look at the lines drawn over it."
        )
    return Camera(math.hypot(LENS_U_DEG, lean, together, bent), tuple(says))
