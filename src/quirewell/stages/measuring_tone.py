"""Findings on the tone of a leaf's paper."""

from __future__ import annotations

import math

import numpy as np

from quirewell.record.finding import Finding
from quirewell.record.measured import Term
from quirewell.science.colour.spaces import linear_from_lab
from quirewell.science.colour.target_use import TargetUse
from quirewell.science.colour.tone_card import Step, on_card
from quirewell.science.colour.tone_profile import Decay
from quirewell.science.colour.yellowness import yellowness_of_light
from quirewell.science.imaging.leaf_tone import LeafTone
from quirewell.stages.asking import number_text
from quirewell.studio.images import Picture

# How far a scanner's colours may be out when no colour target lies in the picture: assumed,
# from memory of imaging guidelines, whose middle class allows a mean difference of 4 to 5.
SCANNER_U_LAB = (2.0, 1.5, 2.0)
_NO_PROFILE = 1.5
_NAMES = ("L", "a", "b")
_SOURCES = ("cie15", "iec61966")
# How wrong the tone of paper may be that was carried over from the bare paper around it, times
# its share (on planted pages the median came within 0.3 in L*, 0.1 in a*, 0.2 in b*, one standard
# deviation, with a quarter of it carried over).
UNSEEN_LAB = (1.2, 0.4, 0.7)
# Scanned coarser than about 130 dpi the dots and letters of dense print melt into the paper and
# veil it (the middle of dense planted pages read up to 1.8 in L* low at 100 dpi).
VEIL_LAB = (1.0, 0.2, 0.5)
_FINE_SIDE_PX = 10
# With a colour target: how well a scanner or camera repeats a tone from picture to picture
# (from memory).
REPEAT_LAB = (0.25, 0.15, 0.2)
# Tiles next to one another are alike: about so many count as one.
_ALIKE = 25.0


def tone_findings(
    tone: LeafTone, picture: Picture, target: TargetUse | None = None
) -> list[Finding]:
    """L*, a*, b* (median, centre, margin), margin against centre, decay, and yellowness."""
    summary = tone.summary
    scanner = _scanner_u(picture, target)
    basis = _basis(picture, target)
    coarse = tone.tiles.side_px < _FINE_SIDE_PX
    names = _NAMES[:1] if picture.grey else _NAMES
    found = []
    places = (("", summary.median), ("centre_", summary.centre), ("margin_", summary.margin))
    for place, values in places:
        if values is None:
            continue
        for index, name in enumerate(names):
            found.append(
                _tone(f"tone.{place}{name}", values[index], summary.scatter[index],
                      summary.tiles, scanner[index], basis,
                      0.0 if place else tone.hidden * UNSEEN_LAB[index],
                      VEIL_LAB[index] if coarse and place != "margin_" else 0.0)
            )  # fmt: skip
    if tone.decay is not None:
        found.append(_decay(tone.decay))
    if picture.grey:
        return found
    found.append(_yellowness(tone, scanner, basis))
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


def _scanner_u(picture: Picture, target: TargetUse | None) -> tuple[float, float, float]:
    if target is not None:
        both = [math.hypot(u, r) for u, r in zip(target.u_lab, REPEAT_LAB, strict=True)]
        return both[0], both[1], both[2]
    factor = 1.0 if picture.profile else _NO_PROFILE
    values = [factor * u for u in SCANNER_U_LAB]
    return values[0], values[1], values[2]


def _basis(picture: Picture, target: TargetUse | None) -> str:
    if target is not None:
        return "fitted colour target, its left-out patches; repeatability from memory"
    profile = f"profile {picture.profile!r}" if picture.profile else "no colour profile"
    return f"no colour target in the picture, {profile}: assumed"


def _tone(
    quantity: str, value: float, scatter: float, tiles: int, scanner: float, basis: str,
    unseen: float, veil: float,
) -> Finding:  # fmt: skip
    terms = (
        Term("scatter", scatter * math.sqrt(_ALIKE / max(tiles, 1)), f"{tiles} bare tiles of 2 mm"),
        Term("scanner", scanner, basis),
        Term(
            "unseen", unseen, "paper under print: its tone is carried over from the paper around it"
        ),
        Term("veil", veil, "print too fine for the resolution darkens the paper between"),
    )
    return _finding(quantity, value, terms, _SOURCES)


def step_finding(
    tone: LeafTone, picture: Picture, target: TargetUse | None, card: tuple[Step, ...],
    card_by_scan: bool,
) -> Finding:  # fmt: skip
    """The step of the owner's tone card, with the probability of each.

    Where the card was measured on the same scanner its colour errors are those of the leaf, and
    only what does not repeat counts.
    """
    summary = tone.summary
    scanner = REPEAT_LAB if card_by_scan else _scanner_u(picture, target)
    u = [
        math.hypot(
            scanner[index],
            summary.scatter[index] * math.sqrt(_ALIKE / max(summary.tiles, 1)),
            tone.hidden * UNSEEN_LAB[index],
            VEIL_LAB[index] if tone.tiles.side_px < _FINE_SIDE_PX else 0.0,
        )
        for index in range(3)
    ]
    found = on_card(summary.median, (u[0], u[1], u[2]), card)
    step = card[found.step]
    probability = "; ".join(
        f"{entry.name} {share:.3f}" for entry, share in zip(card, found.probability, strict=True)
    )
    words = f"step {step.name} of {len(card)}" if not found.off else "off the card"
    return Finding("", "tone.step", "", text=f"{words} ({found.says})", note=probability)


def _decay(decay: Decay) -> Finding:
    """How far from the outer edges the browning reaches; words where there is none to speak of."""
    name = "tone.profile.decay_mm"
    if not decay.found:
        return Finding(
            "", name, "", unit="mm",
            text="no fall of the tone towards the edges stands out: "
            f"{number_text(decay.fall_L, decay.u_fall_L)} in L*",
        )  # fmt: skip
    terms = (Term("fit", decay.u_decay_mm, f"scatter of {decay.tiles} bare tiles of 2 mm"),)
    return Finding(
        "", name, "", decay.decay_mm, decay.u_decay_mm, "mm", terms=terms,
        note="L* rises from the outer edges to the middle by "
        f"{number_text(decay.fall_L, decay.u_fall_L)} as 1 - exp(-distance / decay)",
    )  # fmt: skip


def _yellowness(tone: LeafTone, scanner: tuple[float, float, float], basis: str) -> Finding:
    lab = np.array(tone.summary.median)
    steps = np.eye(3)
    slopes = [
        float(yellowness_of_light(linear_from_lab(lab + 0.5 * step))
              - yellowness_of_light(linear_from_lab(lab - 0.5 * step)))
        for step in steps
    ]  # fmt: skip
    terms = tuple(
        Term(f"scanner {name}", abs(slope) * u, basis)
        for name, slope, u in zip(_NAMES, slopes, scanner, strict=True)
    )
    return _finding("tone.yellowness", tone.yellowness, terms, ("astme313", *_SOURCES))


def _finding(
    quantity: str, value: float, terms: tuple[Term, ...], sources: tuple[str, ...]
) -> Finding:
    u = math.sqrt(sum(term.u**2 for term in terms))
    return Finding("", quantity, "", value=value, u=u, terms=terms, sources=sources)
