"""Did an ink run into the paper round it? A ring outside its solids, before and after.

The ring reaches from 0.3 mm (and two pixels) to 1.5 mm from any ink. Its change is compared with
that of bare paper farther off; an ink that ran leaves its own colour there, so only a change
towards the ink's colour counts.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.ink_ground import PaperUnder
from quirewell.science.imaging.ink_names import density
from quirewell.science.imaging.inks import (
    InkChange,
    ink_change,
    ink_places,
)
from quirewell.science.imaging.match import Mask

Light = NDArray[np.float32]
RING_MM = (0.3, 1.5)
FAR_MM = 2.5
_LEAST_PLACES = 3
_TOWARDS = 0.6


@dataclass(frozen=True, slots=True)
class Bleed:
    """The ring round one ink: its ``change`` against paper farther off; ``towards`` [-1..1] how
    far that change points to the ink's own colour; ``bled`` whether it is one."""

    change: InkChange
    towards: float
    bled: bool


def from_ink_mm(ink: Mask, um_per_px: float) -> Light:
    """Distance of every pixel from the nearest ink [mm]."""
    far = np.minimum(cv2.distanceTransform((~ink).astype(np.uint8), cv2.DIST_L2, 5), 1e6)
    return np.asarray(far * um_per_px / 1000, dtype=np.float32)


def bleed(
    before: Light,
    after: Light,
    solid: Mask,
    near_mm: Light,
    far: PaperUnder,
    seen: Mask,
    passes: tuple[float, float, float],
    um_per_px: float,
    looks: int,
    scatter: float,
) -> Bleed | None:
    """The ring round an ink's ``solid``; None where too little bare paper lies round it.

    ``near_mm`` is each pixel's distance from any ink [mm]; ``far`` the paper carried from
    places 2.5 mm and more from any ink; ``passes`` the light the ink lets back.
    """
    least = max(RING_MM[0], 2 * um_per_px / 1000)
    reach = RING_MM[1] + 2 * um_per_px / 1000 + 0.2
    ring = seen & (near_mm >= least) & (near_mm <= RING_MM[1])
    ring &= from_ink_mm(solid, um_per_px) <= reach
    places = ink_places(before, after, ring, far, um_per_px)
    if places is None or len(places.area_mm2) < _LEAST_PLACES:
        return None
    change = ink_change(places, looks, scatter, True, 0.5)
    kept = places.ink_before * places.paper_after / np.maximum(places.paper_before, 1e-4)
    gained = np.median(density(places.ink_after / np.maximum(kept, 1e-4)), axis=0)
    own = density(passes)
    size = float(np.linalg.norm(gained) * np.linalg.norm(own))
    towards = float(gained @ own) / size if size > 0 else 0.0
    return Bleed(change, towards, change.changed and towards > _TOWARDS)
