"""Surface normals from several lights: Lambert's law, solved pixel by pixel.

A matt surface sends back light in proportion to the cosine between its normal and the lamp
(``woodham1980``): with k lights a pixel's values are I = L b, b its normal times how light it
is. From six lights on, where one value is off by more than noise, the darkest 30 % and the
brightest 20 % of a pixel's values are left out, because they lie in a shadow or in a shine.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from quirewell.science.compiled import compiled, in_bands
from quirewell.science.imaging.lamps import check_lights

Light = NDArray[np.float32]
Mask = NDArray[np.bool_]
Array = NDArray[np.float64]

TRIM_FROM = 6
_DARKEST = 0.30
_BRIGHTEST = 0.20
# Values that a plain fit meets within a few hundredths hold no shadow and no shine; ranking
# them would only drop noise, and pull slopes to level by some 5 % (measured).
_AGREE = 0.06
_FLOOR = 0.01


def normals(images: NDArray[np.generic], lights: Array, mask: Mask) -> NDArray[np.float64]:
    """Unit normals (height, width, 3) from pictures lit one light at a time.

    Parameters
    ----------
    images
        (k, height, width), linear light in any unit, the same exposure for all
    lights
        (k, 3) directions to the lamps; x right, y to the head, z to the viewer (or any other
        right-handed frame, in which the normals then come out). Lengths do not count
    mask
        (height, width), true where a normal is wanted

    Returns
    -------
    normals
        nan outside the mask and where no light at all came back

    Raises
    ------
    ValueError
        images, lights and mask that do not fit each other; too few lights, one light twice,
        lights nearly in one plane; pictures that are all dark
    """
    return scaled_normals(images, lights, mask)[0]


def scaled_normals(
    images: NDArray[np.generic], lights: Array, mask: Mask
) -> tuple[NDArray[np.float64], Light]:
    """The normals, and how light each pixel is (its albedo, in the unit of the images)."""
    stack = check_stack(images)
    unit = check_lights(lights)
    if len(stack) != len(unit):
        raise ValueError(f"{len(stack)} pictures and {len(unit)} lights: there must be one each")
    if mask.shape != stack.shape[1:]:
        raise ValueError(f"the mask has shape {mask.shape} and the pictures {stack.shape[1:]}")
    if not mask.any():
        raise ValueError("the mask names no pixel of the sheet")
    top = float(np.nanmax(np.where(mask, stack.max(axis=0), 0)))
    if not top > 0:
        raise ValueError("all pictures are dark: was the lamp on, the lens cap off?")
    out = np.full((*mask.shape, 3), np.nan)
    albedo = np.zeros(mask.shape, dtype=np.float32)
    low, high = dropped(len(unit))
    level = float(np.median(stack[:, mask]))
    plain = np.asarray(mask, dtype=np.bool_)
    in_bands(
        lambda first, last: _solve(
            stack, unit, plain, low, high, _FLOOR * level, out, albedo, first, last
        ),
        mask.shape[0],
    )
    return out, albedo


def dropped(lights: int) -> tuple[int, int]:
    """How many of a pixel's darkest and brightest values are left out."""
    if lights < TRIM_FROM:
        return 0, 0
    return int(_DARKEST * lights), int(_BRIGHTEST * lights)


def check_stack(images: NDArray[np.generic] | Sequence[NDArray[np.generic]]) -> Light:
    """Pictures as one array (k, height, width) of linear light.

    Raises:
        ValueError: pictures of differing sizes, or values that are no light.
    """
    if not isinstance(images, np.ndarray):
        shapes = {np.asarray(image).shape for image in images}
        if len(shapes) > 1:
            raise ValueError(
                "all pictures must have one size, taken without moving camera or sheet; got "
                + " and ".join(" x ".join(map(str, shape)) for shape in sorted(shapes)[:3])
            )
    stack = np.ascontiguousarray(images, dtype=np.float32)
    if stack.ndim != 3 or min(stack.shape) < 1:
        raise ValueError(f"pictures are k x height x width in grey, got {stack.shape}")
    if not np.isfinite(stack).all() or float(stack.min()) < 0:
        raise ValueError("pictures hold linear light: finite numbers, none below zero")
    return stack


@compiled
def _fit(values: Array, lights: Array, keep: Mask, x: Array) -> bool:
    """Least squares over the kept lights; False where they lie in one line."""
    a0, a1, a2, a3, a4, a5 = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    b0, b1, b2 = 0.0, 0.0, 0.0
    for k in range(values.size):
        if keep[k]:
            lx, ly, lz, value = lights[k, 0], lights[k, 1], lights[k, 2], values[k]
            a0 += lx * lx
            a1 += lx * ly
            a2 += lx * lz
            a3 += ly * ly
            a4 += ly * lz
            a5 += lz * lz
            b0 += lx * value
            b1 += ly * value
            b2 += lz * value
    c0 = a3 * a5 - a4 * a4
    c1 = a2 * a4 - a1 * a5
    c2 = a1 * a4 - a2 * a3
    det = a0 * c0 + a1 * c1 + a2 * c2
    trace = (a0 + a3 + a5) / 3.0
    if det <= 1e-4 * trace * trace * trace:
        return False
    x[0] = (c0 * b0 + c1 * b1 + c2 * b2) / det
    x[1] = (c1 * b0 + (a0 * a5 - a2 * a2) * b1 + (a1 * a2 - a0 * a4) * b2) / det
    x[2] = (c2 * b0 + (a1 * a2 - a0 * a4) * b1 + (a0 * a3 - a1 * a1) * b2) / det
    return True


@compiled
def _worst(values: Array, lights: Array, x: Array) -> float:
    """Largest distance of a value from what the fit says."""
    worst = 0.0
    for k in range(values.size):
        told = lights[k, 0] * x[0] + lights[k, 1] * x[1] + lights[k, 2] * x[2]
        worst = max(worst, abs(values[k] - told))
    return worst


@compiled
def _solve(
    stack: Light,
    lights: Array,
    mask: Mask,
    low: int,
    high: int,
    floor: float,
    out: NDArray[np.float64],
    albedo: Light,
    first: int,
    last: int,
) -> None:
    count = stack.shape[0]
    values = np.empty(count)
    keep = np.ones(count, dtype=np.bool_)
    x = np.empty(3)
    y = np.empty(3)
    for row in range(first, last):
        for column in range(stack.shape[2]):
            if not mask[row, column]:
                continue
            for k in range(count):
                values[k] = stack[k, row, column]
            keep[:] = True
            if not _fit(values, lights, keep, x):
                continue
            size = np.sqrt(x[0] * x[0] + x[1] * x[1] + x[2] * x[2])
            if low + high > 0 and _worst(values, lights, x) > _AGREE * size + floor:
                order = np.argsort(values)
                for place in range(count):
                    keep[order[place]] = low <= place < count - high
                if _fit(values, lights, keep, y):
                    x[:] = y
            size = np.sqrt(x[0] * x[0] + x[1] * x[1] + x[2] * x[2])
            if size <= 0.0:
                continue
            albedo[row, column] = size
            for axis in range(3):
                out[row, column, axis] = x[axis] / size
