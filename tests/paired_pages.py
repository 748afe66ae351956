"""Small printed pages with a planted change, drawn at three times their size and averaged down.

Own generator, so that the registration tests do not depend on the demo. A page is words on
textured paper; a shot maps page coordinates to picture coordinates by a 2 x 3 affine.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

SUPER = 3
PAPER = 200.0


def blank_paper(
    rng: np.random.Generator, shape: tuple[int, int], texture: float = 4.0
) -> NDArray[np.float32]:
    """Paper with cloudy texture of three sizes, ``texture`` grey levels strong."""
    high = shape[0] * SUPER, shape[1] * SUPER
    out = np.full(high, PAPER, dtype=np.float32)
    if texture:
        for size_px, strength in ((1.0, texture), (3.0, texture), (12.0, 0.75 * texture)):
            cloud = cv2.GaussianBlur(
                rng.normal(0, 1, high).astype(np.float32), (0, 0), size_px * SUPER / 2
            )
            out += strength * cloud / cloud.std()
    return out


def printed_page(
    rng: np.random.Generator, shape: tuple[int, int], texture: float = 4.0
) -> NDArray[np.float32]:
    """A page of invented words on textured paper, at three times ``shape``."""
    height, width = shape[0] * SUPER, shape[1] * SUPER
    ink = np.zeros((height, width), dtype=np.uint8)
    font, size = cv2.FONT_HERSHEY_COMPLEX, 0.22 * SUPER
    for y in range(14 * SUPER, height - 20 * SUPER, 10 * SUPER):
        x = 14 * SUPER
        while True:
            word = "".join(rng.choice(list("aceimnorstuvdlbp"), rng.integers(2, 9)))
            wide = cv2.getTextSize(word, font, size, 1)[0][0]
            if x + wide > width - 14 * SUPER:
                break
            cv2.putText(ink, word, (x, y + 8 * SUPER), font, size, 255, 2, cv2.LINE_AA)
            x += wide + 4 * SUPER
    return blank_paper(rng, shape, texture) - 0.6 * ink.astype(np.float32)


def tint_page(shape: tuple[int, int], pitch_px: float) -> NDArray[np.float32]:
    """An even halftone tint at 45 degrees: the same dot everywhere, nothing unique."""
    y, x = np.mgrid[: shape[0] * SUPER, : shape[1] * SUPER] / SUPER
    turn = 2 * math.pi / (pitch_px * math.sqrt(2))
    dots = np.cos((x + y) * turn) + np.cos((x - y) * turn)
    return np.where(dots > 0.3, 80.0, PAPER).astype(np.float32)


def shoot(
    rng: np.random.Generator,
    page: NDArray[np.float32],
    affine: NDArray[np.float64] | None = None,
    *,
    noise: float = 2.0,
    gain: float = 1.0,
    lift: float = 0.0,
) -> NDArray[np.uint8]:
    """Scan a page: blur, place it by ``affine``, average down, light, add noise, round.

    The blur comes first: interpolating sharp edges would shift them by hundredths of a pixel,
    which is more than the errors looked for.
    """
    height, width = page.shape[0] // SUPER, page.shape[1] // SUPER
    placed = cv2.GaussianBlur(page, (0, 0), 0.45 * SUPER)
    if affine is not None:
        half = (SUPER - 1) / 2
        up = np.array([[SUPER, 0, half], [0, SUPER, half], [0, 0, 1.0]])
        whole = up @ np.vstack([affine, [0, 0, 1.0]]) @ np.linalg.inv(up)
        # Splines in full precision: cv2 rounds positions to 1/32 px.
        back = np.linalg.inv(whole)
        swapped = back[:2, :2][::-1, ::-1]
        placed = ndimage.affine_transform(
            placed, swapped, back[:2, 2][::-1], order=3, mode="constant", cval=PAPER
        )
    small = cv2.resize(placed, (width, height), interpolation=cv2.INTER_AREA) * gain + lift
    small = small + rng.normal(0, noise, small.shape)
    return np.clip(np.round(small), 0, 255).astype(np.uint8)


@dataclass(frozen=True)
class Planted:
    """What was done to the page: strains [-], rotation [deg], and the whole affine."""

    exx: float
    eyy: float
    rotation_deg: float
    affine: NDArray[np.float64]


def plant(
    shape: tuple[int, int],
    exx: float,
    eyy: float,
    shear: float = 0.0,
    rotation_deg: float = 0.0,
    shift: tuple[float, float] = (0.0, 0.0),
) -> Planted:
    """Stretch about the middle, then turn, then shift [px]."""
    angle = math.radians(rotation_deg)
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    linear = turn @ np.array([[1 + exx, shear], [shear, 1 + eyy]])
    middle = np.array([shape[1] / 2, shape[0] / 2])
    move = middle - linear @ middle + np.asarray(shift)
    return Planted(exx, eyy, rotation_deg, np.column_stack([linear, move]))


def random_plant(rng: np.random.Generator, shape: tuple[int, int]) -> Planted:
    """A change such as washing and laying anew would make."""
    exx, eyy = rng.normal(0, 3e-3, 2)
    dx, dy = rng.normal(0, 4.0, 2)
    return plant(shape, exx, eyy, rng.normal(0, 3e-4), rng.normal(0, 0.5), (dx, dy))
