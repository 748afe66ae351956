"""Invented spectra: papers, a 24-patch chart and cameras, to see colour through and back.

Papers follow Kubelka and Munk with an absorption that falls off exponentially from the blue, as
aged wood pulp does; patches are smooth bands and steps; cameras are sums of Gaussian bands. All
are invented, none is measured.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.observers import power, wavelengths_nm
from quirewell.science.colour.spectra import lab_of_spectrum

Array = NDArray[np.float64]
NM = wavelengths_nm()


def bell(middle: float, width: float) -> Array:
    return np.exp(-0.5 * ((NM - middle) / width) ** 2)


CAMERAS = {
    "narrow": np.stack([bell(600, 32), bell(540, 38), bell(455, 28)], -1),
    "overlapping": np.stack(
        [bell(590, 40) + 0.15 * bell(450, 25), bell(535, 45), bell(460, 35) + 0.1 * bell(540, 30)],
        -1,
    ),
    "three lamps": np.stack([bell(630, 14), bell(525, 20), bell(465, 14)], -1),
}


def seen_by(camera: str, illuminant: str = "D50") -> Array:
    """Response (81, 3) of a camera under a light, white at 1 in each channel."""
    light = np.ones(len(NM)) if camera == "three lamps" else power(illuminant)  # type: ignore
    response = CAMERAS[camera] * light[:, None]
    return response / response.sum(axis=0)


def papers(count: int, seed: int, share: float = 1.0) -> Array:
    """Reflectance (count, 81) of papers from cream to brown; ``share`` of their absorption."""
    rng = np.random.default_rng(seed)
    out = []
    for _ in range(count):
        deep = np.exp(rng.uniform(np.log(0.03), np.log(0.45)))
        tail, base = rng.uniform(55, 100), rng.uniform(0.002, 0.012)
        ks = base + share * deep * np.exp(-(NM - 480.0) / tail)
        out.append(1 + ks - np.sqrt(ks**2 + 2 * ks))
    return np.array(out)


def chart() -> Array:
    """Reflectance (24, 81): eighteen colours and six neutrals."""
    rng = np.random.default_rng(1976)
    colours = []
    for index in range(18):
        high, low = rng.uniform(0.35, 0.85), rng.uniform(0.03, 0.15)
        middle = 400.0 + 17.0 * index
        if index % 3 == 0:
            rise = 1 / (1 + np.exp(-(NM - middle - 60.0) / rng.uniform(10, 25)))
        elif index % 3 == 1:
            rise = bell(middle, rng.uniform(35, 70))
        else:
            rise = 1 - bell(middle, rng.uniform(40, 80))
        colours.append(low + (high - low) * rise)
    slope = 1 + 0.02 * (NM - 560.0) / 200.0
    neutrals = [level * slope for level in (0.88, 0.58, 0.36, 0.19, 0.09, 0.033)]
    return np.clip(np.array(colours + neutrals), 0.0, 1.0)


def lab(reflectance: Array) -> Array:
    return lab_of_spectrum(NM, reflectance)
