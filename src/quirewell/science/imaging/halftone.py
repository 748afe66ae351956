"""Print too fine for its colour, taken apart: how much of the paper each ink covers.

The average light of a small tile is a mixture of paper and inks (Neugebauer), with the light that
spreads in the paper between the dots allowed for by a power (Yule and Nielsen, ``yule1951``):

    R ** (1/n) = sum over all overprints of share * light ** (1/n)

With shares as by chance (Demichel) and transparent inks that sum is a product, and the paper
leaves it:

    (R / paper) ** (1/n) = product over inks of (1 - a + a * t ** (1/n))

a is the cover of an ink [0..1] and t the light its solids let back, both before treatment. So a
change of paper alone changes no a. n is near 1 for type and 1.6 to 2.2 for screens; it is not
known, and how much the answer moves with it is one of the terms. Valid for one ink or two inks in
a tile, each with solids on the same page: three channels leave one over as a check.

Terms, in the share of paper covered: ``places`` (how unevenly cover changed), ``gain`` (n),
``paper`` (the paper under the print), ``scanner`` (how well it repeats a tone, from memory),
``surface`` (light from the ink itself), ``channels`` (three stand for all of light) and
``solids`` (how well the solids' colour is known).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.spaces import lab_from_linear
from quirewell.science.evidence.detectable import decision_factor, smallest_detectable
from quirewell.science.imaging.inks import PAPER_SHARE, SURFACE_LIGHT
from quirewell.science.imaging.paper_change import SCANNER_REPEAT_LAB

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Passes = tuple[float, float, float]

SCREENS = (1.6, 2.2)
ALL_PRINT = (1.0, 2.2)
MOST_TILES = 4000
_LEAST_TILES = 20
_LEAST_COVER = 0.03
_FITS_LAB = 2.0
_WELL_TOLD = 0.8
_ROUNDS = 12
_FEW_PLACES = 0.02
_SOLID_U = 0.03
_BLUE_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class Tiles:
    """Mean light of tiles (m, 3) before and after, the bare paper's under them, and which place
    of 10 mm each lies in (m,)."""

    before: Array
    after: Array
    paper_before: Array
    paper_after: Array
    place: Index


@dataclass(frozen=True, slots=True)
class Cover:
    """Cover of one ink (by ``index``) over the tiles it was told in, as shares [0..1].

    ``used`` is true on those tiles. ``change`` is after less before, ``u`` its standard
    uncertainty; ``limit`` what no change gives in 95 of 100 looks at all inks, ``smallest`` the
    smallest true change called in 95 of 100 cases.
    """

    index: int
    before: float
    change: float
    u: float
    limit: float
    smallest: float
    terms: tuple[tuple[str, float, str], ...]
    used: NDArray[np.bool_]
    places: int

    @property
    def changed(self) -> bool:
        """Whether the change is more than no change gives."""
        return abs(self.change) > self.limit


@dataclass(frozen=True, slots=True)
class Unmixed:
    """What was told: ``covers`` by ink, and the share [0..1] of tiles taken apart."""

    covers: tuple[Cover, ...]
    told: float


_BASIS = {
    "places": "how unevenly the cover changed from place to place",
    "gain": "light that spreads in the paper between the dots (n is not known)",
    "paper": "how unevenly the paper under and round it changed",
    "scanner": "how well a scanner repeats a tone, from memory",
    "surface": "light from the ink's own surface, which no change of paper reaches, from memory",
    "channels": "what three channels miss of the paper's change, computed",
    "solids": "how well the solids' colour is known (3 %, assumed)",
}


def unmix(
    tiles: Tiles,
    passes: Sequence[Passes],
    paper_scatter: float,
    n_range: tuple[float, float] = ALL_PRINT,
    looks_beside: int = 0,
) -> Unmixed:
    """Take tiles of fine print apart into the inks whose solids are known.

    Parameters
    ----------
    tiles
        at most about :data:`MOST_TILES`
    passes
        share of the paper's light that the solids of each ink let back, before treatment
    paper_scatter
        standard deviation [-] of the paper's change over places, in light's logarithm
    n_range
        lowest and highest n thought possible
    looks_beside
        what else is judged on the same page: the 5 % of false alarms are shared with it
    """
    count = len(tiles.before)
    if count == 0 or not passes:
        return Unmixed((), 0.0)
    light = np.clip(np.array(passes, dtype=np.float64), 2e-3, 1.0)
    middle = sum(n_range) / 2
    chosen = _choose(tiles, light, middle)
    covers = []
    for index in range(len(light)):
        sets = [inks for inks in chosen if index in inks]
        used = sum(int(chosen[inks].sum()) for inks in sets)
        if used >= _LEAST_TILES:
            covers.append(
                _cover(index, [(inks, chosen[inks]) for inks in sets], tiles, light, paper_scatter,
                       n_range)
            )  # fmt: skip
    looks = len(covers) + looks_beside
    told = sum(int(mask.sum()) for mask in chosen.values()) / count
    return Unmixed(tuple(_judged(entry, looks) for entry in covers), told)


Ink = tuple[int, ...]


def _choose(tiles: Tiles, light: Array, n: float) -> dict[Ink, NDArray[np.bool_]]:
    """Tiles that one set of inks explains and no other set as small does, by set."""
    ratio = tiles.before / np.maximum(tiles.paper_before, 1e-4)
    usual = np.median(tiles.paper_before, axis=0)
    seen = lab_from_linear(np.clip(ratio, 0, 1.5) * usual)
    inked = np.linalg.norm(seen - lab_from_linear(usual), axis=1) > 2 * _FITS_LAB
    open_ = inked.copy()
    told = ~inked
    out: dict[Ink, NDArray[np.bool_]] = {}
    for size in (1, 2):
        sets = list(combinations(range(len(light)), size))
        if not sets:
            break
        misses = np.full((len(sets), len(ratio)), np.inf)
        for row, inks in enumerate(sets):
            cover = _fit(ratio, light[list(inks)], n)
            back = lab_from_linear(_ratio(cover, light[list(inks)], n) * usual)
            misses[row] = np.linalg.norm(back - seen, axis=1)
            misses[row][(cover < _LEAST_COVER).any(axis=1)] = np.inf
        best = misses.argmin(axis=0)
        fits = misses <= _FITS_LAB
        sole = open_ & (fits.sum(axis=0) == 1)
        for row, inks in enumerate(sets):
            out[inks] = sole & (best == row)
        told |= sole
        open_ &= ~fits.any(axis=0)
    whole = _well_told(told, inked, tiles.place)
    return {inks: mask & whole for inks, mask in out.items()}


def _well_told(
    told: NDArray[np.bool_], inked: NDArray[np.bool_], place: Index
) -> NDArray[np.bool_]:
    """Tiles of places where most inked tiles were told: elsewhere an ink without solids, or three
    inks on each other, speak through tiles that one or two happen to explain."""
    _, group = np.unique(place, return_inverse=True)
    share = np.bincount(group, told & inked) / np.maximum(np.bincount(group, inked), 1)
    return np.asarray(share[group] >= _WELL_TOLD)


def _ratio(cover: Array, light: Array, n: float) -> Array:
    """R / paper (m, 3) of covers (m, k) of inks that let back ``light`` (k, 3)."""
    gaps = 1.0 - light ** (1.0 / n)
    root = np.prod(1.0 - cover[:, :, None] * gaps[None], axis=1)
    return np.asarray(np.maximum(root, 0.0) ** n)


def _fit(ratio: Array, light: Array, n: float, start: Array | None = None) -> Array:
    """Covers (m, k) by least squares on the n-th roots, kept within 0 and 1."""
    root = np.clip(ratio, 1e-4, 1.5) ** (1.0 / n)
    gaps = 1.0 - light ** (1.0 / n)
    cover = np.full((len(ratio), len(light)), 0.3) if start is None else start
    for _ in range(_ROUNDS):
        factors = 1.0 - cover[:, :, None] * gaps[None]
        value = factors.prod(axis=1)
        slope = -gaps[None] * value[:, None, :] / np.maximum(factors, 1e-3)
        normal = np.einsum("mkc,mlc->mkl", slope, slope) + 1e-9 * np.eye(len(light))
        right = np.einsum("mkc,mc->mk", slope, root - value)
        step = np.linalg.solve(normal, right[..., None])[..., 0]
        cover = np.clip(cover + np.clip(step, -0.5, 0.5), -0.2, 1.2)
    return np.asarray(cover)


Used = list[tuple[Ink, NDArray[np.bool_]]]


def _changes(
    index: int, used: Used, tiles: Tiles, light: Array, n: float
) -> tuple[Array, Array, Index]:
    """Cover before and its change, tile by tile, and the tiles' places."""
    before, after, place = [], [], []
    for inks, mask in used:
        column, primaries = inks.index(index), light[list(inks)]
        ratios = (
            tiles.before[mask] / np.maximum(tiles.paper_before[mask], 1e-4),
            tiles.after[mask] / np.maximum(tiles.paper_after[mask], 1e-4),
        )
        one, two = (_fit(ratio, primaries, n)[:, column] for ratio in ratios)
        before.append(one)
        after.append(two)
        place.append(tiles.place[mask])
    first = np.concatenate(before)
    return first, np.concatenate(after) - first, np.concatenate(place)


def _cover(
    index: int, used: Used, tiles: Tiles, light: Array, scatter: float,
    n_range: tuple[float, float],
) -> Cover:  # fmt: skip
    n = sum(n_range) / 2

    def mean(altered: Tiles = tiles, primaries: Array = light, at: float = n) -> float:
        return float(_changes(index, used, altered, primaries, at)[1].mean())

    first, change, place = _changes(index, used, tiles, light, n)
    middle = float(change.mean())
    places, uneven = _place_error(change, place)
    parts = {
        "places": uneven,
        "gain": abs(mean(at=n_range[1]) - mean(at=n_range[0])) / math.sqrt(12),
        **{
            name: math.sqrt(sum((mean(one) - middle) ** 2 for one in altered))
            for name, altered in _doubts(tiles, scatter / math.sqrt(places)).items()
        },
        "solids": abs(mean(primaries=np.clip(light * (1 + _SOLID_U), 2e-3, 1.0)) - middle),
    }
    u = math.sqrt(sum(part**2 for part in parts.values()))
    terms = tuple((name, parts[name], _BASIS[name]) for name in _BASIS)
    told = np.logical_or.reduce([mask for _, mask in used])
    return Cover(index, float(first.mean()), middle, u, 0.0, 0.0, terms, told, places)


def _place_error(change: Array, place: Index) -> tuple[int, float]:
    """How many places there are, and the standard error of the mean over them."""
    _, group = np.unique(place, return_inverse=True)
    counts = np.bincount(group)
    means = np.bincount(group, change) / counts
    weight = counts / counts.sum()
    effective = 1.0 / float((weight**2).sum())
    if effective < 2.5:
        return len(counts), _FEW_PLACES
    variance = float(weight @ (means - weight @ means) ** 2) * effective / (effective - 1.0)
    return len(counts), math.sqrt(variance / effective)


def _doubts(tiles: Tiles, paper: float) -> dict[str, list[Tiles]]:
    """The after picture as it would be by each doubt, one standard uncertainty large."""
    all_channels = tiles.after * (1.0 + paper)
    one_by_one = [tiles.after * (1.0 + paper * _BLUE_SHARE * np.eye(3)[c]) for c in range(3)]
    lightness = lab_from_linear(np.maximum(tiles.after, 0.0))[:, :1]
    toned = tiles.after * (1.0 + 3.0 * SCANNER_REPEAT_LAB[0] / (lightness + 16.0))
    ratio = np.clip(tiles.before / np.maximum(tiles.paper_before, 1e-4), 0.0, 1.0)
    kept = tiles.paper_after / np.maximum(tiles.paper_before, 1e-4)
    shone = tiles.after + SURFACE_LIGHT * (1.0 - ratio) * (1.0 - kept)
    missed = [
        tiles.after * np.exp(PAPER_SHARE * np.log(np.maximum(kept, 1e-3)) * (1 - ratio) * pick)
        for pick in np.eye(3)
    ]
    doubts = {
        "paper": [all_channels, *one_by_one],
        "scanner": [toned],
        "surface": [shone],
        "channels": missed,
    }
    return {
        name: [replace(tiles, after=np.asarray(one)) for one in altered]
        for name, altered in doubts.items()
    }


def _judged(entry: Cover, looks: int) -> Cover:
    """With the largest change that no change gives, 5 % of false alarms shared by all looks."""
    k = decision_factor(0.05, max(1, looks))
    return replace(entry, limit=k * entry.u, smallest=smallest_detectable(entry.u, k))
