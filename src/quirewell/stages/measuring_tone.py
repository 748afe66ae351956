"""Findings on the tone of a leaf's paper."""

from __future__ import annotations

import math

import numpy as np

from quirewell.record.finding import Finding
from quirewell.record.measured import Term
from quirewell.science.colour.spaces import linear_from_lab
from quirewell.science.colour.yellowness import yellowness_of_light
from quirewell.science.imaging.leaf_tone import LeafTone
from quirewell.studio.images import Picture

# How far a scanner's colours may be out when no colour target lies in the picture: assumed,
# from memory of imaging guidelines, whose middle class allows a mean difference of 4 to 5.
SCANNER_U_LAB = (2.0, 1.5, 2.0)
_NO_PROFILE = 1.5
_NAMES = ("L", "a", "b")
_SOURCES = ("cie15", "iec61966")
# Where print covers most of a leaf only its tanned margins speak for it: how far those may lie
# from the rest (assumed), times the share unseen, squared.
UNSEEN_LAB = (3.0, 1.0, 3.0)
# Tiles next to one another are alike: about so many count as one.
_ALIKE = 25.0


def tone_findings(tone: LeafTone, picture: Picture) -> list[Finding]:
    """L*, a*, b* (median, centre, margin), margin against centre, and yellowness."""
    summary = tone.summary
    scanner = _scanner_u(picture)
    names = _NAMES[:1] if picture.grey else _NAMES
    found = []
    unseen = (1.0 - min(1.0, summary.tiles / max(1, tone.on_leaf))) ** 2
    places = (("", summary.median), ("centre_", summary.centre), ("margin_", summary.margin))
    for place, values in places:
        if values is None:
            continue
        for index, name in enumerate(names):
            found.append(
                _tone(f"tone.{place}{name}", values[index], summary.scatter[index],
                      summary.tiles, scanner[index], picture,
                      0.0 if place else unseen * UNSEEN_LAB[index])
            )  # fmt: skip
    if picture.grey:
        return found
    found.append(_yellowness(tone, scanner, picture))
    if summary.margin is not None and summary.centre is not None:
        u = summary.scatter[2] * math.sqrt(2 * _ALIKE / max(summary.tiles, 1))
        terms = (
            Term("scatter", u, "scatter of the tiles"),
            Term("scanner", 0.1 * scanner[2], "a tenth of its colour error: both in one picture"),
        )
        found.append(
            _finding("tone.margin_db", summary.margin[2] - summary.centre[2], terms, _SOURCES)
        )
    return found


def _scanner_u(picture: Picture) -> tuple[float, float, float]:
    factor = 1.0 if picture.profile else _NO_PROFILE
    values = [factor * u for u in SCANNER_U_LAB]
    return values[0], values[1], values[2]


def _basis(picture: Picture) -> str:
    profile = f"profile {picture.profile!r}" if picture.profile else "no colour profile"
    return f"no colour target in the picture, {profile}: assumed"


def _tone(
    quantity: str, value: float, scatter: float, tiles: int, scanner: float, picture: Picture,
    unseen: float,
) -> Finding:  # fmt: skip
    terms = (
        Term("scatter", scatter * math.sqrt(_ALIKE / max(tiles, 1)), f"{tiles} bare tiles of 2 mm"),
        Term("scanner", scanner, _basis(picture)),
        Term("unseen", unseen, "paper under print, which may be less tanned"),
    )
    return _finding(quantity, value, terms, _SOURCES)


def _yellowness(tone: LeafTone, scanner: tuple[float, float, float], picture: Picture) -> Finding:
    lab = np.array(tone.summary.median)
    steps = np.eye(3)
    slopes = [
        float(yellowness_of_light(linear_from_lab(lab + 0.5 * step))
              - yellowness_of_light(linear_from_lab(lab - 0.5 * step)))
        for step in steps
    ]  # fmt: skip
    terms = tuple(
        Term(f"scanner {name}", abs(slope) * u, _basis(picture))
        for name, slope, u in zip(_NAMES, slopes, scanner, strict=True)
    )
    return _finding("tone.yellowness", tone.yellowness, terms, ("astme313", *_SOURCES))


def _finding(
    quantity: str, value: float, terms: tuple[Term, ...], sources: tuple[str, ...]
) -> Finding:
    u = math.sqrt(sum(term.u**2 for term in terms))
    return Finding("", quantity, "", value=value, u=u, terms=terms, sources=sources)
