"""What a surveyed scan's paper tone rests on: a colour target, the strip's greys, the scanner's
profile, or nothing.

A strip beside the leaf shows how this very scan was exposed: the paper's lightness is brought to
its six grey steps, as they were read by an instrument, or else as they are drawn. The drawn ones
are the same for every scan of a collection, so that scans compare well even where nobody knows
how dark the printer made them.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from quirewell.record.finding import Finding
from quirewell.science.colour.exposure import Exposure, KnownGreys, exposure_of
from quirewell.science.colour.spaces import lab_from_srgb
from quirewell.science.imaging.strip import GREYS
from quirewell.science.imaging.strip_greys import StripGreysRead, read_greys
from quirewell.stages.measuring import Seen
from quirewell.stages.measuring_tone import REPEAT_LAB, tone_findings

Row = dict[str, Any]
TARGET, STRIP, PROFILE, RAW = "target", "strip", "profile", "raw"
# How far the greys of a strip from a home printer may be from those drawn, in L* (from memory).
PRINTED_U_L = 4.0
# How well a scan without a profile repeats from picture to picture, in L*: such a scanner may
# choose its exposure anew each time (assumed).
RAW_REPEAT_L = 1.0
# Steps that lie farther than this from any exposure are not the strip's own greys (assumed).
_UNLIKE_L = 8.0
# With the drawn greys every scan is brought to the same six numbers; so closely they are met.
_FIT_U_L = 0.5
_LEAST_OWN_L = 0.1
UNLIKE = (
    "The strip's grey steps are not as light as its own should be (shaded, covered or printed "
    "over), so the tone is not brought to them."
)
COLUMNS = ("tone_basis", "tone_greys_L", "tone_greys_L_u", "greys_off_L", "tone_L_within_u",
           "tone_unseen_pct")  # fmt: skip


def drawn_greys() -> KnownGreys:
    """The strip's greys as drawn.

    >>> [round(value) for value in drawn_greys().steps_L]
    [20, 35, 50, 65, 80, 92]
    """
    values = np.repeat(np.array(GREYS, np.float64)[:, None], 3, axis=1) / 255.0
    return KnownGreys(tuple(float(x) for x in lab_from_srgb(values)[:, 0]), _FIT_U_L, False)


def tone_columns(seen: Seen, *, target: bool, greys: KnownGreys | None) -> tuple[Row, list[str]]:
    """The columns on what the tone rests on, and warnings.

    ``tone_L_within_u`` is what is unsure of a lightness compared within one scanner's own scale
    (with a strip: of ``tone_greys_L``, else of ``tone_L``).
    """
    row: Row = dict.fromkeys(COLUMNS)
    if seen.tone is None:
        return row, []
    own = {term.name: term.u for term in _lightness(seen).terms if term.name != "scanner"}
    paper_u = math.hypot(*own.values())
    row["tone_unseen_pct"] = 100.0 * seen.tone.hidden
    row["tone_basis"] = TARGET if target else PROFILE if seen.picture.profile else RAW
    repeat = RAW_REPEAT_L if row["tone_basis"] == RAW else REPEAT_LAB[0]
    row["tone_L_within_u"] = math.hypot(paper_u, repeat)
    read = read_greys(seen.picture.pixels, seen.strip) if seen.strip and not target else None
    exposure = None if read is None else exposure_of(read.srgb, greys or drawn_greys())
    if read is None or exposure is None:
        return row, []
    if float(np.nanmax(np.abs(exposure.left_L))) > _UNLIKE_L:
        return row, [UNLIKE]
    known_u = greys.u_L if greys else PRINTED_U_L
    return row | _on_greys(seen.tone.summary.median[0], paper_u, exposure, read, known_u), []


def _on_greys(
    lightness: float, paper_u: float, exposure: Exposure, read: StripGreysRead, known_u: float
) -> Row:
    """Lightness as the greys have it; what all scans with this strip share is left out of
    ``tone_L_within_u``."""
    steps_u = max(_LEAST_OWN_L, float(np.nanmedian(read.u_L)))
    paper = paper_u * exposure.steepness(lightness)
    within = math.hypot(paper, REPEAT_LAB[0], exposure.u_true_L(lightness, steps_u))
    return {
        "tone_basis": STRIP,
        "tone_greys_L": exposure.true_L(lightness),
        "tone_greys_L_u": math.hypot(within, known_u),
        "greys_off_L": exposure.shift_L,
        "tone_L_within_u": within,
    }


def _lightness(seen: Seen) -> Finding:
    assert seen.tone is not None
    return next(f for f in tone_findings(seen.tone, seen.picture) if f.quantity == "tone.L")
