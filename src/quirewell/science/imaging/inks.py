"""Did an ink change? Each ink's solids before and after, with the paper's own change taken out.

Model: light passes a printed film twice and comes back from the paper under it, so a solid
changes in proportion to its paper, channel by channel (a transparent ink). What comes back from
the ink's own surface does not: up to two hundredths of white (``surface`` term, from memory) and
for a covering ink more, which is why the change as seen stands beside the ink's own change. The
paper under a solid is carried from the bare paper round it.

Terms, in CIELAB: ``places`` (how unevenly the ink changed from place to place), ``paper`` (how
unevenly the paper did), ``surface``, ``scanner`` (how well a scanner repeats a tone, from
memory) and ``colours`` (a share of the change that an uncharacterised scanner gets wrong).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.difference import ciede2000
from quirewell.science.colour.spaces import lab_from_linear
from quirewell.science.colour.target_use import TargetUse
from quirewell.science.imaging.ink_ground import PaperUnder
from quirewell.science.imaging.ink_names import density
from quirewell.science.imaging.match import Mask
from quirewell.science.imaging.paper_change import SCANNER_REPEAT_LAB

Light = NDArray[np.float32]
Array = NDArray[np.float64]
Lab = tuple[float, float, float]
Colours = Callable[[NDArray[np.floating]], Array]

PLACE_MM = 10.0
SURFACE_LIGHT = 0.02 / np.sqrt(12)
_LEAST_PLACE_MM2 = 0.5
_FEW_PLACES_LAB = 1.0
_COLOURS_SHARE = (0.05, 0.10)
# Three channels stand for the whole of light: an unchanged ink then misses 15 % (median) of what
# its paper's change does to it, with a target or without (invented inks, simulated cameras).
PAPER_SHARE = 0.15
# With a fitted target own changes came within 8 to 14 % (rms, simulated cameras under white light).
_TARGET_SHARE = 0.12
# A strong ink lies up to five times as far from its true colour as a paper (the same cameras).
TARGET_INKS = 4.0
_DRAWS = 4000

_BASIS = {
    "places": "how unevenly the ink changed from place to place",
    "paper": "how unevenly the paper under and round it changed",
    "surface": "light from the ink's own surface, which no change of paper reaches, from memory",
    "scanner": "how well a scanner repeats a tone, from memory",
    "colours": "share of the change that an uncharacterised scanner may get wrong",
}
_BASIS_TARGET = {**_BASIS, "colours": "share of the change that a fitted target may get wrong"}


@dataclass(frozen=True, slots=True)
class Places:
    """Mean light of one ink and of the paper under it, place by place (n, 3), with ``area_mm2``.

    A place is a square of 10 mm, so that neighbours share little of the paper's unevenness.
    """

    ink_before: Array
    ink_after: Array
    paper_before: Array
    paper_after: Array
    area_mm2: Array


@dataclass(frozen=True, slots=True)
class InkChange:
    """One ink's change.

    ``before`` and ``after`` are what is seen (CIELAB D50), ``kept`` what would be seen after
    had the ink kept its colour on the changed paper; ``de00`` lies between ``kept`` and
    ``after`` and is the ink's own, ``seen_de00`` between ``before`` and ``after``,
    ``paper_de00`` between ``before`` and ``kept``. ``u_lab`` are the standard uncertainties
    of ``after`` minus ``kept``; ``limit_de00`` is what no change gives in 95 of 100 cases;
    ``smallest_de00`` the smallest true change called in 95 of 100 cases.
    ``strength_pct`` is the change of its density along its own hue [%], ``rest_de00`` what of
    ``de00`` that does not explain; ``lift`` the factor [-] on the ink's light (per channel).
    ``u_seen`` are the standard uncertainties of ``before`` and ``after``: with a fitted target
    its own error is in them, else they are as this scanner sees colours and it is not.
    """

    before: Lab
    after: Lab
    kept: Lab
    de00: float
    u_de00: float
    seen_de00: float
    paper_de00: float
    u_lab: Lab
    limit_de00: float
    smallest_de00: float
    strength_pct: float
    rest_de00: float
    lift: Lab
    u_seen: Lab
    terms: tuple[tuple[str, float, str], ...]
    places: int
    area_mm2: float

    @property
    def changed(self) -> bool:
        """Whether the difference is more than no change gives in 95 of 100 cases."""
        return self.de00 > self.limit_de00


def ink_places(
    before: Light, after: Light, mask: Mask, under: PaperUnder, um_per_px: float
) -> Places | None:
    """Means over the pixels of ``mask`` in each square of 10 mm; None where there are none."""
    rows, columns = np.nonzero(mask)
    if rows.size == 0:
        return None
    side = max(1.0, 1000 * PLACE_MM / um_per_px)
    wide = int(mask.shape[1] / side) + 1
    key = (rows / side).astype(np.intp) * wide + (columns / side).astype(np.intp)
    _, group, count = np.unique(key, return_inverse=True, return_counts=True)
    area = count.astype(np.float64) * (um_per_px / 1000) ** 2
    keep = area >= min(_LEAST_PLACE_MM2, float(area.max()))
    paper = under.at(rows, columns)
    means = [
        _means(values, group, count)[keep]
        for values in (before[rows, columns], after[rows, columns], *paper)
    ]
    return Places(means[0], means[1], means[2], means[3], area[keep])


def _means(values: Light, group: NDArray[np.intp], count: NDArray[np.intp]) -> Array:
    sums = [np.bincount(group, values[:, c].astype(np.float64), len(count)) for c in range(3)]
    return np.asarray(np.column_stack(sums) / count[:, None])


def kept_light(ink_before: Array, paper_before: Array, paper_after: Array) -> Array:
    """Light of an unchanged transparent ink on paper that changed (linear, per channel)."""
    return np.asarray(ink_before * paper_after / np.maximum(paper_before, 1e-4))


def ink_change(
    places: Places,
    looks: int,
    paper_scatter: float,
    profiled: bool,
    scanner: float = 1.0,
    lift: Lab = (1.0, 1.0, 1.0),
    target: TargetUse | None = None,
) -> InkChange:
    """The change of one ink over its places.

    Parameters
    ----------
    looks
        how many inks are judged together (the 5 % of false alarms are shared among them)
    paper_scatter
        standard deviation [-] of the paper's change over places of 10 mm, in light's logarithm
    profiled
        whether both pictures carry a colour profile
    scanner
        factor on how well the scanner repeats a tone
    lift
        factor on the light expected, where another ink that changed lies on this one
    target
        a target fitted for the scanner: colours are as it has them
    """
    lab_of = _colours(target)
    weight = np.sqrt(places.area_mm2)
    weight = weight / weight.sum()
    kept = kept_light(places.ink_before, places.paper_before, places.paper_after) * lift
    before, after, same = (
        weight @ lab_of(np.maximum(light, 0))
        for light in (places.ink_before, places.ink_after, kept)
    )
    parts = _parts(places, kept, weight, paper_scatter, lab_of)
    share = _COLOURS_SHARE[0] if profiled else _COLOURS_SHARE[1]
    share = share if target is None else _TARGET_SHARE
    basis = _BASIS if target is None else _BASIS_TARGET
    parts["scanner"] = scanner * np.asarray(SCANNER_REPEAT_LAB)
    parts["colours"] = share * np.abs(after - same) + max(share, PAPER_SHARE) * np.abs(
        same - before
    )
    u_seen = np.hypot(parts["scanner"], _uneven(places.ink_before, weight, lab_of))
    if target is not None:
        u_seen = np.hypot(u_seen, TARGET_INKS * np.asarray(target.u_lab))
    u_lab = np.sqrt(sum(part**2 for part in parts.values()))
    de00 = float(ciede2000(same, after))
    limit, smallest = detection(same, u_lab, looks)
    strength, rest = _strength(places, kept, weight, lab_of)
    own_lift = np.exp(weight @ np.log(np.maximum(places.ink_after, 1e-4) / np.maximum(kept, 1e-4)))
    return InkChange(
        _triple(before), _triple(after), _triple(same), de00,
        spread(same, after, u_lab, de00), float(ciede2000(before, after)),
        float(ciede2000(before, same)), _triple(u_lab), limit, smallest,
        strength, rest, _triple(own_lift),
        _triple(u_seen),
        tuple((name, spread(same, after, parts[name], de00), basis[name]) for name in basis),
        len(weight), float(places.area_mm2.sum()),
    )  # fmt: skip


def _colours(target: TargetUse | None) -> Colours:
    """What carries linear light to CIELAB: a fitted target, else the picture's own sRGB."""
    if target is None:
        return lab_from_linear
    fitted = target
    return lambda light: fitted.predict(np.maximum(light, 0.0))


def _uneven(light: Array, weight: Array, lab_of: Colours) -> Array:
    """Standard error [CIELAB] of the mean colour of places."""
    lab = lab_of(np.maximum(light, 0))
    return _standard_error(lab, weight)


def _standard_error(lab: Array, weight: Array) -> Array:
    effective = 1.0 / float((weight**2).sum())
    if effective < 2.5:
        return np.full(3, _FEW_PLACES_LAB)
    variance = weight @ (lab - weight @ lab) ** 2 * effective / (effective - 1.0)
    return np.asarray(np.sqrt(variance / effective))


def _parts(
    places: Places, kept: Array, weight: Array, paper_scatter: float, lab_of: Colours
) -> dict[str, Array]:
    own = lab_of(np.maximum(places.ink_after, 0)) - lab_of(np.maximum(kept, 0))
    effective = 1.0 / float((weight**2).sum())
    uneven = _standard_error(own, weight)
    mean = weight @ kept
    moved = lab_of(mean * (1.0 + paper_scatter / np.sqrt(min(effective, 4.0))))
    ratio = weight @ (places.paper_after / np.maximum(places.paper_before, 1e-4))
    shone = lab_of(np.maximum(mean + SURFACE_LIGHT * (1.0 - ratio), 0))
    plain = lab_of(mean)
    return {
        "places": uneven,
        "paper": np.abs(moved - plain),
        "surface": np.abs(shone - plain),
    }


def _strength(places: Places, kept: Array, weight: Array, lab_of: Colours) -> tuple[float, float]:
    """Change of density along the ink's own colour [%] (negative where ink was lost), and the
    difference [CIEDE2000] that is left when that much is allowed for."""
    paper = np.maximum(places.paper_after, 1e-4)
    full, now = (np.asarray(weight @ density(light / paper)) for light in (kept, places.ink_after))
    share = float(now @ full) / max(float(full @ full), 1e-9)
    ground = weight @ paper
    along, found = (lab_of(ground * 10.0**-part) for part in (full * share, now))
    return 100.0 * (share - 1.0), float(ciede2000(along, found))


def spread(first: Array, second: Array, u_lab: Array, de00: float) -> float:
    """Root mean square move of the difference when ``second`` errs by ``u_lab``."""
    draws = np.random.default_rng(2005).normal(0.0, 1.0, (_DRAWS, 3)) * u_lab
    return float(np.sqrt(np.mean((ciede2000(first, second + draws) - de00) ** 2)))


def detection(first: Array, u_lab: Array, looks: int) -> tuple[float, float]:
    """Largest difference that no change gives in 95 of 100 looks at all inks together, and the
    smallest true difference that would be called in 95 of 100 cases."""
    draws = np.random.default_rng(2006).normal(0.0, 1.0, (_DRAWS, 3)) * u_lab
    nothing = ciede2000(first, first + draws)
    limit = float(np.quantile(nothing, 1.0 - 0.05 / max(1, looks)))
    return limit, limit + 1.645 * float(np.sqrt(np.mean(nothing**2))) / np.sqrt(2)


def paper_scatter(under: PaperUnder, seen: Mask) -> float:
    """Standard deviation [-] of the paper's change (logarithm of light) from place to place."""
    ratio = np.log(np.maximum(under.after, 1e-4) / np.maximum(under.before, 1e-4)).mean(axis=2)
    step = max(1, round(PLACE_MM / 0.5))
    rows = (np.arange(0, ratio.shape[0], step) * under.cell_px).astype(int)
    columns = (np.arange(0, ratio.shape[1], step) * under.cell_px).astype(int)
    rows, columns = np.minimum(rows, seen.shape[0] - 1), np.minimum(columns, seen.shape[1] - 1)
    on = seen[np.ix_(rows, columns)]
    coarse = ratio[::step, ::step][on]
    if coarse.size < 9:
        return 0.02
    # Neighbouring places differ by what carrying paper over one place may miss.
    across = np.diff(np.where(on, ratio[::step, ::step], np.nan), axis=1)
    across = across[np.isfinite(across)]
    return float(1.4826 * np.median(np.abs(across)) / np.sqrt(2)) if across.size else 0.02


def _triple(values: Sequence[float] | Array) -> Lab:
    return float(values[0]), float(values[1]), float(values[2])
