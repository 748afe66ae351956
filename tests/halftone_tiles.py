"""Tiles of planted halftone, seen from spectra: papers, inks, dots and a camera, all invented.

Spectral Neugebauer with Yule and Nielsen's power at every wavelength, so that the three-channel
model under test is not the one that made the truth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.halftone import Tiles
from spectral_bench import NM, bell, papers, seen_by

Array = NDArray[np.float64]
PLACES, PER_PLACE = 9, 16


def rise(middle: float, width: float) -> Array:
    return 1.0 / (1.0 + np.exp(-(NM - middle) / width))


INKS = {
    "blue": 10 ** -(1.2 * rise(560, 18) + 0.25 * bell(540, 30)),
    "red": 10 ** -(1.15 * (1 - rise(585, 14))),
    "yellow": 10 ** -(0.95 * (1 - rise(500, 12))),
    "black": np.full(len(NM), 10**-1.25),
}


@dataclass(frozen=True)
class Planted:
    """Tiles, what each ink's solids let back, and the true cover before and after (m, k)."""

    tiles: Tiles
    passes: list[tuple[float, float, float]]
    before: Array
    after: Array
    n: float


def planted(
    seed: int, inks: tuple[str, ...], lost: Array | float = 0.0, *, scatter: float = 0.01,
    paper_share: tuple[float, float] = (1.0, 0.55), solids_of: tuple[str, ...] = (),
) -> Planted:  # fmt: skip
    """A halftone in ``inks`` whose cover fell by ``lost`` of itself; its paper was washed.

    ``solids_of`` names the inks whose solids the page has (those printed unless given).
    """
    rng = np.random.default_rng([seed, 71])
    camera = seen_by(("narrow", "overlapping")[seed % 2])
    n = rng.uniform(1.6, 2.2)
    washed = paper_share[0] + (paper_share[1] - paper_share[0]) * rng.uniform(0.4, 1.0)
    paper = [papers(1, seed, share)[0] for share in (paper_share[0], washed)]
    count = PLACES * PER_PLACE
    place = np.repeat(np.arange(PLACES), PER_PLACE)
    cover = rng.uniform(0.12, 0.7, (count, len(inks)))
    less = np.clip(np.asarray(lost) * (1 + 0.15 * rng.standard_normal((PLACES, 1)))[place], -1, 1)
    covers = [cover, np.clip(cover * (1 - less), 0, 1)]
    sent = np.array([INKS[ink] for ink in inks])
    light, surface = [], rng.uniform(0, 0.02)
    for index in range(2):
        mixed = np.prod(
            1 - covers[index][:, :, None] * (1 - sent[None] ** (1 / n)), axis=1
        ) ** n * paper[index]  # fmt: skip
        mixed = mixed + surface * (1 - np.prod(1 - covers[index], axis=1))[:, None]
        light.append(mixed @ camera)
    drift = np.exp(rng.normal(0, 3 * 0.25 / (65 + 16)))
    under = np.exp(scatter * rng.standard_normal((2, PLACES, 1)))[:, place]
    grain = np.exp(0.01 * rng.standard_normal((2, count, 1)))
    tiles = Tiles(
        light[0] * grain[0], light[1] * grain[1] * drift,
        (paper[0] @ camera) * under[0], (paper[1] @ camera) * under[1], place,
    )  # fmt: skip
    passes = [_solid(ink, paper[0], camera, surface, rng) for ink in solids_of or inks]
    return Planted(tiles, passes, covers[0], covers[1], n)


def _solid(
    ink: str, paper: Array, camera: Array, surface: float, rng: np.random.Generator
) -> tuple[float, float, float]:
    seen = ((INKS[ink] * paper + surface) @ camera) / (paper @ camera)
    seen = seen * np.exp(rng.normal(0, 0.01))
    return float(seen[0]), float(seen[1]), float(seen[2])
