"""What is wrong with a scan, as sentences: clipped, blurred, coarse."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.leaf import Leaf

Pixels = NDArray[np.uint8 | np.uint16]
# Common practice, no source: 300 dpi for print; below 200 fine print and edges suffer.
COARSE_UM = 130.0
SOFT_PX = 1.5
CLIPPED_SHARE = 0.02


def quality_warnings(
    pixels: Pixels, leaf: Leaf | None, um_per_px: float | None, grey: bool
) -> list[str]:
    """Sentences on clipping, sharpness and resolution; none when all is well."""
    says = []
    share = clipped_share(pixels, leaf)
    if share > CLIPPED_SHARE:
        says.append(
            f"{100 * share:.0f} % of the leaf is burnt out (a colour channel at its end): its tone "
            "is lighter than could be measured. Scan darker, with all automatic corrections off."
        )
    if leaf is not None and leaf.blur_px is not None and leaf.blur_px > SOFT_PX:
        says.append(
            f"The edges of the leaf are soft ({leaf.blur_px:.1f} pixels): is it flat on the glass, "
            "was it enlarged afterwards?"
        )
    if um_per_px is not None and um_per_px > COARSE_UM:
        says.append(
            f"The resolution is low ({25400 / um_per_px:.0f} dpi): sizes hold, small losses and "
            "print do not. 300 dpi is the usual choice."
        )
    if leaf is not None and grey:
        says.append("A grey scan has no a*, b* or yellowness; scan in colour to measure tone.")
    return says


def clipped_share(pixels: Pixels, leaf: Leaf | None) -> float:
    """Share of the leaf's pixels [-] with a channel at its upper end, on every fourth pixel."""
    part = pixels[::4, ::4]
    burnt = (part == np.iinfo(pixels.dtype).max).any(axis=2)
    if leaf is None:
        return float(burnt.mean())
    paper, factor = leaf.region.leaf, leaf.region.factor
    rows = np.minimum((np.arange(part.shape[0]) * 4 / factor).astype(int), paper.shape[0] - 1)
    columns = np.minimum((np.arange(part.shape[1]) * 4 / factor).astype(int), paper.shape[1] - 1)
    on_leaf = paper[np.ix_(rows, columns)]
    return float(burnt[on_leaf].mean()) if on_leaf.any() else 0.0
