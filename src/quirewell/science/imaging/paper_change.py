"""How the colour of bare paper changed, over the same places before and after.

"The paper" of a printed leaf can be the clear margins alone, or the paper between the lines
too, and margins are browner and change more. The answer given lies midway between the two.

Terms, each in CIELAB units: ``places`` (how far the two answers lie apart, and how unevenly
the paper changed, block by block),
``scanner`` (how well one scanner repeats a tone: L 0.25, a 0.15, b 0.2, from memory),
``colours`` (a share of the change itself: 4 % with a fitted colour target, more without; computed
on simulated cameras) and ``light`` (what a change of light or exposure between the pictures may
do: a share of what the strip's greys took out, or an assumed amount where no strip shows it).
A change of exposure that moves a grey step by more than 3 in L* is not corrected away: no colour
verdict is given then.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.difference import ciede2000
from quirewell.science.colour.spaces import lab_from_srgb, linear_from_srgb

Array = NDArray[np.float64]

SCANNER_REPEAT_LAB = (0.25, 0.15, 0.2)
COLOUR_SHARE = 0.05
UNSEEN_LAB = (1.5, 0.5, 2.0)
_UNPROFILED_SHARE = 0.10
TARGET_SHARE = 0.04
# Of a correction by the strip's greys so much may be wrong: a scanner that changes its exposure
# changes its tone curve with it (assumed).
LIGHT_SHARE = 0.15
# Without the strip in both pictures nothing shows a change of light (assumed size).
UNSEEN_LIGHT_LAB = (0.5, 0.15, 0.25)
WITHHELD_L = 3.0
_BLOCKS = 6
_LEAST_TILES = 5
_DRAWS = 4000
_LIT_DIFFERENTLY_L = 0.6


@dataclass(frozen=True, slots=True)
class PaperChange:
    """Median tone of bare paper before and after (CIELAB D50) and their difference.

    ``u_lab`` are the standard uncertainties of the differences of L, a and b;
    ``terms`` the parts of ``u_de00`` [CIEDE2000]; ``smallest_de00`` the smallest true
    difference that would have been called one in 95 of 100 cases.
    """

    before: tuple[float, float, float]
    after: tuple[float, float, float]
    change: tuple[float, float, float]
    u_lab: tuple[float, float, float]
    de00: float
    u_de00: float
    smallest_de00: float
    terms: tuple[tuple[str, float, str], ...]
    tiles: int


def unseen_u(tiles: int, on_leaf: int) -> Array:
    """What covered paper may have done otherwise [L, a, b]: grows with the share unseen, squared.

    Where print covers a page only its margins speak, and tanned margins change by one or two
    units more than the middle (assumed).
    """
    share = 1.0 - min(1.0, tiles / max(1, on_leaf))
    return share**2 * np.asarray(UNSEEN_LAB)


def paper_change(
    before: Array,
    after: Array,
    clear: NDArray[np.bool_],
    profiled: bool = True,
    on_leaf: int | None = None,
    light_u_lab: Array | None = None,
    share: float | None = None,
    tone_u_L: float = 0.0,
) -> PaperChange | None:
    """Compare tones of paper tile by tile, (rows, columns, 3) CIELAB, nan where not bare.

    ``clear`` is true on tiles well away from all print; ``on_leaf`` counts the leaf's tiles,
    bare or not (all are taken as seen unless given). ``light_u_lab`` is what a change of light
    may have done, ``share`` the share of the change that the colours may have wrong (by
    ``profiled`` unless given), ``tone_u_L`` what a tone curve set by the strip's known greys
    leaves open. None when fewer than 5 tiles are bare in both pictures.
    """
    middle = middle_tones(before, after, clear)
    if middle is None:
        return None
    first, second, uneven, tiles = middle.first, middle.second, middle.u_places, middle.tiles
    change = second - first
    if share is None:
        share = COLOUR_SHARE if profiled else _UNPROFILED_SHARE
    parts = {
        "places": uneven,
        "scanner": np.asarray(SCANNER_REPEAT_LAB),
        "colours": np.hypot(share * np.abs(change), [tone_u_L, 0.0, 0.0]),
        "light": np.zeros(3) if light_u_lab is None else np.abs(light_u_lab),
        "unseen": unseen_u(tiles, tiles if on_leaf is None else on_leaf),
    }
    u_lab = np.sqrt(sum(part**2 for part in parts.values()))
    de00 = float(ciede2000(first, second))
    terms = tuple((name, _spread(first, second, parts[name], de00), _BASIS[name]) for name in parts)
    return PaperChange(
        _triple(first), _triple(second), _triple(change), _triple(u_lab), de00,
        _spread(first, second, u_lab, de00), _smallest(first, u_lab), terms, tiles,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class MiddleTones:
    """The paper's tone before and after (CIELAB): midway between the medians of all bare tiles and
    of those clear of print. ``u_places``: how far the two changes lie apart, and how unevenly the
    paper changed, block by block; ``tiles`` were bare in both."""

    first: Array
    second: Array
    u_places: Array
    tiles: int


def middle_tones(before: Array, after: Array, clear: NDArray[np.bool_]) -> MiddleTones | None:
    """The paper's tones over the same tiles; None when fewer than 5 are bare in both."""
    both = np.isfinite(before[..., 0]) & np.isfinite(after[..., 0])
    tiles = int(both.sum())
    if tiles < _LEAST_TILES:
        return None
    strict = both & clear
    strict = strict if int(strict.sum()) >= _LEAST_TILES else both
    ends = np.array(
        [[np.median(lab[m], axis=0) for lab in (before, after)] for m in (both, strict)]
    )
    first, second = ends.mean(axis=0)
    apart = np.diff(ends[:, 1] - ends[:, 0], axis=0)[0] / np.sqrt(12)
    return MiddleTones(first, second, np.hypot(_uneven(after - before, both), apart), tiles)


_BASIS = {
    "places": "which paper counts, and how unevenly it changed",
    "unseen": "paper under print, which may have changed otherwise than the bare paper",
    "scanner": "how well a scanner repeats a tone, from memory",
    "colours": "share of the change that the scanner's colours may get wrong",
    "light": "change of light between the pictures: what is left of it once corrected, or unseen",
}


def _uneven(change: Array, both: NDArray[np.bool_]) -> Array:
    """Standard error of the change, counting blocks of tiles, not tiles."""
    rows, columns = both.shape
    values = []
    for row in np.array_split(np.arange(rows), min(_BLOCKS, rows)):
        for column in np.array_split(np.arange(columns), min(_BLOCKS, columns)):
            here = both[np.ix_(row, column)]
            if here.sum() >= 3:
                values.append(np.median(change[np.ix_(row, column)][here], axis=0))
    if len(values) < 3:
        return np.full(3, 1.0)
    return np.asarray(np.std(values, axis=0, ddof=1) / np.sqrt(len(values)))


def _spread(first: Array, second: Array, u_lab: Array, de00: float) -> float:
    """Root mean square move of the difference when both tones err by ``u_lab`` together."""
    draws = np.random.default_rng(2005).normal(0.0, 1.0, (_DRAWS, 3)) * u_lab
    return float(np.sqrt(np.mean((ciede2000(first, second + draws) - de00) ** 2)))


def _smallest(first: Array, u_lab: Array) -> float:
    """Above what no change gives in 95 of 100 cases, by as much again as a miss needs."""
    draws = np.random.default_rng(2006).normal(0.0, 1.0, (_DRAWS, 3)) * u_lab
    nothing = np.quantile(ciede2000(first, first + draws), 0.95)
    return float(nothing + 1.645 * _spread(first, first, u_lab, 0.0) / np.sqrt(2))


def _triple(values: Array) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])


@dataclass(frozen=True, slots=True)
class LightChange:
    """How the same grey steps came out in two pictures.

    ``steps_L`` is the largest change of L* of a step; ``gain`` and ``offset`` carry linear
    light before onto after; ``differs`` says whether the pictures were lit differently, and
    ``withheld`` whether by so much that no colour verdict can be given.
    """

    steps_L: float
    gain: float
    offset: float
    differs: bool

    @property
    def withheld(self) -> bool:
        """Whether the light changed by more than can honestly be taken out again."""
        return self.steps_L > WITHHELD_L


def light_change(
    before: tuple[float | None, ...], after: tuple[float | None, ...], top: float = 255.0
) -> LightChange | None:
    """Compare the strip's grey steps (sRGB values, 0 to ``top``); None with fewer than three."""
    pairs = [
        (b / top, a / top)
        for b, a in zip(before, after, strict=True)
        if b is not None and a is not None
    ]
    if len(pairs) < 3:
        return None
    one, two = (np.array(side) for side in zip(*pairs, strict=True))
    light = [lab_from_srgb(np.repeat(side[:, None], 3, axis=1))[:, 0] for side in (one, two)]
    worst = float(np.max(np.abs(light[1] - light[0])))
    x, y = linear_from_srgb(one), linear_from_srgb(two)
    design = np.column_stack([x, np.ones_like(x)])
    weight = 1.0 / (x + 0.05)
    gain, offset = np.linalg.lstsq(design * weight[:, None], y * weight, rcond=None)[0]
    return LightChange(worst, float(gain), float(offset), worst > _LIT_DIFFERENTLY_L)
