"""Height from slopes: the surface whose slopes fit the normals best, by Poisson's equation.

The divergence of the slopes is inverted with the cosine transform, which holds the edges free
(``frankot1988`` for the idea in the Fourier domain; the cosine form from memory).
"""

from __future__ import annotations

import numpy as np
import scipy
from numpy.typing import NDArray

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

_STEEPEST = 5.0
_DETREND_STEP = 7


def slopes_of(normals: Array) -> tuple[Array, Array]:
    """Slopes dz/dx to the right and dz/dy to the FOOT (downwards) [-]; 0 where no normal is."""
    known = np.isfinite(normals[..., 2])
    nz = np.where(known, np.maximum(normals[..., 2], 1.0 / _STEEPEST), 1.0)
    right = np.where(known, -normals[..., 0] / nz, 0.0)
    down = np.where(known, normals[..., 1] / nz, 0.0)
    return right, down


def height_mm(normals: Array, px_mm: float, plane: bool = True) -> Array:
    """Height (height, width) [mm] of normals (height, width, 3), its mean at zero.

    ``px_mm`` is the size of a pixel [mm]. With ``plane`` the best plane is taken off: how the
    sheet lay under the lens is no relief. Where no normal is known the surface is level.

    Raises:
        ValueError: when the array holds no normals, or the scale is no length.
    """
    if normals.ndim != 3 or normals.shape[2] != 3 or min(normals.shape[:2]) < 2:
        raise ValueError(f"normals are height x width x 3, got {normals.shape}")
    if not (np.isfinite(px_mm) and px_mm > 0):
        raise ValueError(f"the size of a pixel must be a length in mm, got {px_mm}")
    right, down = slopes_of(normals)
    across = 0.5 * (right[:, 1:] + right[:, :-1])
    along = 0.5 * (down[1:] + down[:-1])
    source: Array = np.zeros_like(right)
    source[:, :-1] += across
    source[:, 1:] -= across
    source[:-1] += along
    source[1:] -= along
    rows, columns = source.shape
    bend = (2 - 2 * np.cos(np.pi * np.arange(rows) / rows))[:, None] + (
        2 - 2 * np.cos(np.pi * np.arange(columns) / columns)
    )[None, :]
    bend[0, 0] = 1.0
    spread = scipy.fft.dctn(source, norm="ortho") / -bend
    spread[0, 0] = 0.0
    surface = np.asarray(scipy.fft.idctn(spread, norm="ortho") * px_mm)
    known = np.isfinite(normals[..., 2])
    return without_plane(surface, known) if plane else surface


def without_plane(surface: Array, known: Mask) -> Array:
    """The surface less its best plane over ``known`` pixels."""
    y, x = np.mgrid[: surface.shape[0], : surface.shape[1]].astype(np.float64)
    at = np.flatnonzero(known)[::_DETREND_STEP]
    if at.size < 3:
        return surface
    design = np.column_stack([x.flat[at], y.flat[at], np.ones(at.size)])
    plane = np.linalg.lstsq(design, surface.flat[at], rcond=None)[0]
    return np.asarray(surface - plane[0] * x - plane[1] * y - plane[2])
