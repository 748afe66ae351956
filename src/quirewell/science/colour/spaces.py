"""sRGB, linear light, XYZ and CIELAB.

sRGB coding and primaries after ``iec61966``, CIELAB and the Bradford adaptation to D50 after
``cie15``. CIELAB here is always D50, as in every print standard.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

WHITE_D50 = np.array([0.9642956, 1.0, 0.8251046])
SRGB_TO_XYZ_D65 = np.array(
    [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ]
)
WHITE_D65 = SRGB_TO_XYZ_D65.sum(axis=1)
_BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)


def bradford(source: Array, target: Array) -> Array:
    """Matrix (3, 3) that adapts XYZ seen under the white ``source`` to the white ``target``."""
    gains = (_BRADFORD @ target) / (_BRADFORD @ source)
    return np.asarray(np.linalg.inv(_BRADFORD) @ np.diag(gains) @ _BRADFORD)


SRGB_TO_XYZ_D50 = bradford(WHITE_D65, WHITE_D50) @ SRGB_TO_XYZ_D65
_EPSILON = 216.0 / 24389.0
_KAPPA = 24389.0 / 27.0


def linear_from_srgb(encoded: NDArray[np.floating] | float) -> Array:
    """Linear light [0..1] of sRGB-encoded values [0..1] (``iec61966``)."""
    v = np.asarray(encoded, dtype=np.float64)
    return np.where(v <= 0.04045, v / 12.92, ((np.maximum(v, 0.04045) + 0.055) / 1.055) ** 2.4)


def srgb_from_linear(light: NDArray[np.floating] | float) -> Array:
    """sRGB-encoded values [0..1] of linear light [0..1] (``iec61966``)."""
    v = np.asarray(light, dtype=np.float64)
    return np.where(
        v <= 0.0031308, 12.92 * v, 1.055 * np.maximum(v, 0.0031308) ** (1 / 2.4) - 0.055
    )


@lru_cache(maxsize=2)
def linear_table(bits: int) -> NDArray[np.float32]:
    """Linear light [0..1] of every value of an 8- or 16-bit sample.

    Raises
    ------
    ValueError
        for any other number of bits
    """
    if bits not in (8, 16):
        raise ValueError(f"samples have 8 or 16 bits, got {bits}")
    steps = np.arange(1 << bits) / ((1 << bits) - 1)
    return linear_from_srgb(steps).astype(np.float32)


def light_of(pixels: NDArray[np.uint8 | np.uint16]) -> NDArray[np.float32]:
    """Linear light [0..1] of pixels of 8 or 16 bits, by table."""
    return linear_table(8 * pixels.dtype.itemsize)[pixels]


def lab_from_xyz(xyz: NDArray[np.floating], white: Array = WHITE_D50) -> Array:
    """CIELAB of XYZ values (..., 3) relative to ``white`` (``cie15``).

    >>> [round(float(x), 6) for x in abs(lab_from_xyz(WHITE_D50))]
    [100.0, 0.0, 0.0]
    """
    ratio = np.asarray(xyz, dtype=np.float64) / white
    f = np.where(ratio > _EPSILON, np.cbrt(ratio), (_KAPPA * ratio + 16.0) / 116.0)
    return np.stack(
        [
            116.0 * f[..., 1] - 16.0,
            500.0 * (f[..., 0] - f[..., 1]),
            200.0 * (f[..., 1] - f[..., 2]),
        ],
        axis=-1,
    )


def xyz_from_lab(lab: NDArray[np.floating], white: Array = WHITE_D50) -> Array:
    """XYZ of CIELAB values (..., 3) relative to ``white`` (``cie15``)."""
    values = np.asarray(lab, dtype=np.float64)
    fy = (values[..., 0] + 16.0) / 116.0
    f = np.stack([fy + values[..., 1] / 500.0, fy, fy - values[..., 2] / 200.0], axis=-1)
    cubed = f**3
    return np.where(cubed > _EPSILON, cubed, (116.0 * f - 16.0) / _KAPPA) * white


def lab_from_linear(light: NDArray[np.floating]) -> Array:
    """CIELAB D50 of linear sRGB light (..., 3)."""
    return lab_from_xyz(np.asarray(light, dtype=np.float64) @ SRGB_TO_XYZ_D50.T)


def lab_from_srgb(encoded: NDArray[np.floating]) -> Array:
    """CIELAB D50 of sRGB-encoded values [0..1] (..., 3)."""
    return lab_from_linear(linear_from_srgb(encoded))


def linear_from_lab(lab: NDArray[np.floating]) -> Array:
    """Linear sRGB light (..., 3) of CIELAB D50; not cut to 0..1."""
    return np.asarray(xyz_from_lab(lab) @ np.linalg.inv(SRGB_TO_XYZ_D50).T)
