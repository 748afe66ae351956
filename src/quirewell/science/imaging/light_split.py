"""How much of what a page seems lighter by is the light, and how much is the paper.

Two pictures differ in L* by their raw change. Bare paper and the strip's grey steps lay under the
same lamp: what the steps say the exposure did at the paper's own tone is the light's part, what a
scanner's own tone curve or colours do to both pictures alike is the scanner's, the rest is the
paper's. All are differences of the same medians, so raw = light + scanner + paper.

Terms of the light's part: ``strip`` (what the steps leave open of what was taken out), ``unseen``
(steps that moved too little to be taken out) and ``scanner`` (how well one scanner repeats a tone
from strip to page, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.paper_change import SCANNER_REPEAT_LAB, MiddleTones, middle_tones

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the raw change of L*: its size, its standard uncertainty, and the terms of that."""

    dL: float
    u: float
    terms: tuple[tuple[str, float, str], ...]


@dataclass(frozen=True, slots=True)
class LightSplit:
    """The raw change of the paper's L* between two pictures, from ``before_L`` to ``after_L`` as
    read, and its parts. ``light`` is None where nothing tells it; ``scanner`` where the scanner's
    own curve was not taken out."""

    before_L: float
    after_L: float
    raw: Part
    light: Part | None = None
    scanner: Part | None = None


def raw_change(before: Array, after: Array, clear: NDArray[np.bool_]) -> LightSplit | None:
    """The raw change alone, of tones (rows, columns, 3) CIELAB as read; None where too little
    bare paper is seen."""
    middle = middle_tones(before, after, clear)
    if middle is None:
        return None
    return LightSplit(float(middle.first[0]), float(middle.second[0]), _raw(middle))


def split_light(
    read: tuple[Array, Array],
    relit: Array,
    told: tuple[Array, Array] | None,
    clear: NDArray[np.bool_],
    strip_u_L: float,
    unseen_L: float = 0.0,
) -> LightSplit | None:
    """Split the raw change of L*; None where too little bare paper is seen.

    Parameters
    ----------
    read
        tones of the bare paper before and after as read (rows, columns, 3) CIELAB, nan elsewhere
    relit
        the tones after as if exposed as the before picture was
    told
        tones before and after with the scanner's own curve or colours taken out; None where they
        are left in
    clear
        tiles well away from all print
    strip_u_L
        standard uncertainty of what was taken out
    unseen_L
        largest move of a grey step that was left in, because it was too small to be taken out
    """
    raw, lit = (middle_tones(read[0], second, clear) for second in (read[1], relit))
    if raw is None or lit is None:
        return None
    changes = [float(one.second[0] - one.first[0]) for one in (raw, lit)]
    parts = [
        ("strip", strip_u_L, "what the grey steps leave open of what was taken out"),
        ("unseen", unseen_L / math.sqrt(3), "grey steps that moved too little to be taken out"),
        _REPEAT,
    ]
    terms = tuple(part for part in parts if part[1] > 0)
    light = Part(changes[0] - changes[1], math.hypot(*(part[1] for part in terms)), terms)
    scanner = None
    own_taken = None if told is None else middle_tones(*told, clear)
    if own_taken is not None:
        own = changes[1] - float(own_taken.second[0] - own_taken.first[0])
        share = (("colours", abs(own) * _CURVE_SHARE, "share of it that may be wrong (assumed)"),)
        scanner = Part(own, share[0][1], share)
    return LightSplit(float(raw.first[0]), float(raw.second[0]), _raw(raw), light, scanner)


_REPEAT = ("scanner", SCANNER_REPEAT_LAB[0], "how well a scanner repeats a tone, from memory")
# Of what a scanner's own curve does to a change so much may be wrong (assumed).
_CURVE_SHARE = 0.15


def _raw(middle: MiddleTones) -> Part:
    uneven = float(middle.u_places[0])
    places = ("places", uneven, "which paper counts, and how unevenly it changed")
    u = math.hypot(uneven, _REPEAT[1])
    return Part(float(middle.second[0] - middle.first[0]), u, (places, _REPEAT))
