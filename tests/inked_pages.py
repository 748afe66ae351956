"""Small inked pages before and after, with a planted change: plain arrays on one grid.

Own generator, so that tests of inks do not depend on the demo. Light is linear; an ink is
transparent and lets back a share of the paper's light.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

Light = NDArray[np.float32]
UM_PER_PX = 127.0
SHAPE = (620, 520)
PASSES = {
    "red": (0.60, 0.060, 0.050),
    "yellow": (0.93, 0.68, 0.10),
    "blue": (0.055, 0.15, 0.40),
    "black": (0.060, 0.058, 0.060),
}
PAPER_BEFORE = (0.62, 0.50, 0.34)
PAPER_AFTER = (0.70, 0.61, 0.46)


@dataclass(frozen=True)
class InkedPage:
    """Linear light before and after, where the leaf is, and each ink's plate (0..1)."""

    before: Light
    after: Light
    seen: NDArray[np.bool_]
    plates: dict[str, Light] = field(default_factory=dict)


def plates() -> dict[str, Light]:
    """Solids of four inks, green where yellow and blue overlap, type and a halftone tint."""
    drawn = {ink: np.zeros(SHAPE, np.uint8) for ink in PASSES}
    cv2.rectangle(drawn["red"], (50, 40), (470, 150), 255, -1)
    cv2.putText(drawn["red"], "ANNUAL", (90, 115), cv2.FONT_HERSHEY_TRIPLEX, 2.2, 0, 6)
    cv2.circle(drawn["yellow"], (150, 250), 80, 255, -1, cv2.LINE_AA)
    cv2.rectangle(drawn["blue"], (190, 200), (330, 300), 255, -1)
    cv2.rectangle(drawn["black"], (380, 200), (470, 300), 255, -1)
    for row in range(8):
        cv2.putText(
            drawn["black"], "seed and soil in due season", (50, 390 + 18 * row),
            cv2.FONT_HERSHEY_SIMPLEX, 0.45, 255, 1, cv2.LINE_AA,
        )  # fmt: skip
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    dots = ((np.cos((x + y) * 1.1) + np.cos((x - y) * 1.1)) > 0.6) * np.uint8(255)
    drawn["blue"][380:520, 330:480] = dots[380:520, 330:480]
    return {
        ink: cv2.GaussianBlur(plate.astype(np.float32) / 255, (0, 0), 0.6)
        for ink, plate in drawn.items()
    }


def inked_page(
    seed: int = 1,
    *,
    after: dict[str, tuple[float, float, float]] | None = None,
    paper_after: tuple[float, float, float] = PAPER_AFTER,
    bleed_of: str = "",
    bleed: float = 0.0,
    noise: float = 0.004,
    only: tuple[str, ...] = tuple(PASSES),
    fine_left: dict[str, float] | None = None,
) -> InkedPage:
    """One page before and after.

    ``after`` replaces what an ink lets back; ``bleed`` is the share of the ink ``bleed_of``
    that ran up to about a millimetre into the paper round it; ``fine_left`` the share of an ink
    that type and halftone (below row 320) kept.
    """
    rng = np.random.default_rng([seed, 17])
    inks = {ink: plate for ink, plate in plates().items() if ink in only}
    texture = 1.0 + 0.02 * _cloud(rng, 6.0) + 0.02 * _cloud(rng, 1.5)
    fall = 1.0 - 0.12 * np.exp(-np.arange(SHAPE[1]) / 60.0)[None, :]
    moments = []
    for moment, paper in (("before", PAPER_BEFORE), ("after", paper_after)):
        uneven = 1.0 + (0.01 * _cloud(rng, 60.0) if moment == "after" else 0.0)
        light = np.array(paper, np.float32) * (texture * fall * uneven)[..., None]
        for ink, whole in inks.items():
            plate = whole
            if moment == "after" and fine_left and ink in fine_left:
                plate = whole.copy()
                plate[320:] *= fine_left[ink]
            passes = PASSES[ink] if moment == "before" else (after or {}).get(ink, PASSES[ink])
            light = light * (1.0 - plate[..., None] * (1.0 - np.array(passes, np.float32)))
            if moment == "after" and ink == bleed_of:
                halo = np.maximum(cv2.GaussianBlur(plate, (0, 0), 6.0) * 2 - plate, 0).clip(0, 1)
                halo = halo * (1 - plate) * bleed
                light = light * (1.0 - halo[..., None] * (1.0 - np.array(passes, np.float32)))
        light = light + noise * np.sqrt(light) * rng.standard_normal(light.shape)
        moments.append(np.clip(light, 0, 1).astype(np.float32))
    seen = np.zeros(SHAPE, dtype=bool)
    seen[8:-8, 8:-8] = True
    return InkedPage(moments[0], moments[1], seen, inks)


def _cloud(rng: np.random.Generator, size_px: float) -> Light:
    cloud = cv2.GaussianBlur(rng.standard_normal(SHAPE).astype(np.float32), (0, 0), size_px)
    return np.asarray(cloud / cloud.std(), dtype=np.float32)


def inked(page: InkedPage) -> NDArray[np.bool_]:
    """Where at least half a pixel is covered by any ink."""
    bare = np.prod([1.0 - plate for plate in page.plates.values()], axis=0)
    return np.asarray(bare < 0.5)
