"""Planted tone: CIELAB D50 to linear sRGB, and the tone of an aged sheet over its area.

D50 matrix and white: sRGB primaries adapted to D50 by Bradford, as in every sRGB profile
(source ``iec61966`` for sRGB, ``cie15`` for CIELAB).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float32]
Lab = tuple[float, float, float]

WHITE_D50 = np.array([0.9642956, 1.0, 0.8251046])
SRGB_TO_XYZ_D50 = np.array(
    [
        [0.4360747, 0.3850649, 0.1430804],
        [0.2225045, 0.7168786, 0.0606169],
        [0.0139322, 0.0971045, 0.7141733],
    ]
)
_XYZ_TO_SRGB = np.linalg.inv(SRGB_TO_XYZ_D50)
_DELTA = 6.0 / 29.0


def linear_from_lab(lab: NDArray[np.floating] | Lab) -> NDArray[np.float64]:
    """Linear sRGB [0..1] of CIELAB D50 values (..., 3); out-of-gamut values are cut to 0..1."""
    values = np.asarray(lab, dtype=np.float64)
    fy = (values[..., 0] + 16.0) / 116.0
    f = np.stack([fy + values[..., 1] / 500.0, fy, fy - values[..., 2] / 200.0], axis=-1)
    xyz = np.where(f > _DELTA, f**3, 3 * _DELTA**2 * (f - 4.0 / 29.0)) * WHITE_D50
    return np.asarray(np.clip(xyz @ _XYZ_TO_SRGB.T, 0.0, 1.0))


def lab_from_linear(rgb: NDArray[np.floating]) -> NDArray[np.float64]:
    """CIELAB D50 of linear sRGB [0..1] values (..., 3)."""
    ratio = np.asarray(rgb, dtype=np.float64) @ SRGB_TO_XYZ_D50.T / WHITE_D50
    f = np.where(ratio > _DELTA**3, np.cbrt(ratio), ratio / (3 * _DELTA**2) + 4.0 / 29.0)
    return np.stack(
        [
            116.0 * f[..., 1] - 16.0,
            500.0 * (f[..., 0] - f[..., 1]),
            200.0 * (f[..., 1] - f[..., 2]),
        ],
        axis=-1,
    )


def encode(linear: Array) -> Array:
    """sRGB-encoded [0..1] values of linear ones, by a table of 4096 steps."""
    scaled = np.clip(linear, 0.0, 1.0) * 4095.0
    low = scaled.astype(np.uint16)
    table = _table()
    start = table[low]
    return np.asarray(start + (scaled - low) * (table[low + 1] - start), dtype=np.float32)


def decode(encoded: NDArray[np.floating] | float) -> NDArray[np.float64]:
    """Linear [0..1] values of sRGB-encoded ones (source ``iec61966``)."""
    v = np.asarray(encoded, dtype=np.float64)
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


@lru_cache(maxsize=1)
def _table() -> Array:
    x = np.arange(4097) / 4095.0
    v = np.where(x <= 0.0031308, 12.92 * x, 1.055 * x ** (1 / 2.4) - 0.055)
    return v.astype(np.float32)


@dataclass(frozen=True, slots=True)
class Ageing:
    """How brown a sheet is: CIELAB D50 of its middle, and what edges and water add to it."""

    centre: Lab
    edge: Lab
    decay_mm: float = 11.0
    mottle: float = 0.6
    tideline: float = 0.0
    tideline_mm: float = 22.0
    rust: float = 0.0


@dataclass(frozen=True, slots=True)
class ToneField:
    """Tone over a sheet: CIELAB D50 on a grid of ``cell_mm`` that starts at ``origin_mm``."""

    lab: Array
    origin_mm: tuple[float, float]
    cell_mm: float

    def linear(self) -> Array:
        """The field in linear sRGB."""
        return linear_from_lab(self.lab).astype(np.float32)

    def at(self, x_mm: float, y_mm: float) -> Lab:
        """CIELAB D50 of the cell that holds a point."""
        column = round((x_mm - self.origin_mm[0]) / self.cell_mm)
        row = round((y_mm - self.origin_mm[1]) / self.cell_mm)
        value = self.lab[row, column]
        return float(value[0]), float(value[1]), float(value[2])


def smooth_noise(
    rng: np.random.Generator, rows: int, columns: int, cells: float
) -> NDArray[np.float32]:
    """Noise of standard deviation about 1 whose hills are about ``cells`` grid cells wide."""
    small = (max(4, int(rows / cells) + 3), max(4, int(columns / cells) + 3))
    coarse = rng.standard_normal(small, dtype=np.float32)
    return np.asarray(
        cv2.resize(coarse, (columns, rows), interpolation=cv2.INTER_CUBIC) * 1.25, dtype=np.float32
    )


def tone_field(
    ageing: Ageing,
    width_mm: float,
    height_mm: float,
    seed: int,
    *,
    tanned: tuple[str, ...] = ("left", "right", "head", "foot"),
    holes_mm: tuple[tuple[float, float], ...] = (),
    cell_mm: float = 0.5,
) -> ToneField:
    """Tone of an aged sheet of a nominal size [mm]; the same seed gives the same stains.

    ``tanned`` names the edges that air and light have reached; ``holes_mm`` the staple holes
    around which rust has spread.
    """
    rng = np.random.default_rng([seed, 77])
    pad = 6.0
    x = np.arange(-pad, width_mm + pad, cell_mm, dtype=np.float32)
    y = np.arange(-pad, height_mm + pad, cell_mm, dtype=np.float32)
    rows, columns = len(y), len(x)
    reach = np.exp(0.22 * smooth_noise(rng, rows, columns, 55.0))
    browning = _browning(x, y, width_mm, height_mm, ageing.decay_mm, tanned, reach)
    mottle = smooth_noise(rng, rows, columns, 40.0) + 0.6 * smooth_noise(rng, rows, columns, 9.0)
    base = np.empty((rows, columns, 3), np.float32)
    for channel in range(3):
        base[..., channel] = ageing.centre[channel] + browning * (
            ageing.edge[channel] - ageing.centre[channel]
        )
    stain = _tideline(rng, x, y, height_mm, ageing.tideline_mm) * ageing.tideline
    rust = _rust(rng, x, y, holes_mm) * ageing.rust
    base[..., 0] += ageing.mottle * mottle - 9.0 * stain - 26.0 * rust
    base[..., 1] += -0.15 * ageing.mottle * mottle + 2.6 * stain + 14.0 * rust
    base[..., 2] += -0.35 * ageing.mottle * mottle + 5.0 * stain + 14.0 * rust
    return ToneField(base, (-pad, -pad), cell_mm)


def _browning(
    x: Array,
    y: Array,
    width_mm: float,
    height_mm: float,
    decay_mm: float,
    tanned: tuple[str, ...],
    reach: Array,
) -> Array:
    out = np.zeros_like(reach)
    for edge in tanned:
        if edge in ("left", "right"):
            d = (x if edge == "left" else width_mm - x)[None, :]
        else:
            d = (y if edge == "head" else height_mm - y)[:, None]
        share = np.exp(-np.maximum(d, 0.0) / (decay_mm * reach))
        out = out + share - out * share
    return np.asarray(out, dtype=np.float32)


def _tideline(
    rng: np.random.Generator, x: Array, y: Array, height_mm: float, up_mm: float
) -> Array:
    """A dried water edge near the foot: a sharp dark rim, a faint veil below it."""
    line = up_mm + 5.0 * smooth_noise(rng, 1, len(x), 70.0)[0]
    line = line + 1.3 * smooth_noise(rng, 1, len(x), 14.0)[0]
    above = (height_mm - y)[:, None] - line[None, :]
    rim = np.where(above > 0, np.exp(-((above / 0.7) ** 2)), np.exp(np.minimum(above, 0.0) / 2.6))
    veil = 0.22 / (1.0 + np.exp(np.clip(above / 1.2, -30, 30)))
    return np.asarray(rim * 0.9 + veil, dtype=np.float32)


def _rust(
    rng: np.random.Generator, x: Array, y: Array, holes_mm: tuple[tuple[float, float], ...]
) -> Array:
    out = np.zeros((len(y), len(x)), np.float32)
    for hx, hy in holes_mm:
        rx, ry = 1.5 + rng.random(), 2.2 + 1.5 * rng.random()
        out += np.exp(-(((x - hx) / rx) ** 2)[None, :] - (((y - hy) / ry) ** 2)[:, None])
    return out
