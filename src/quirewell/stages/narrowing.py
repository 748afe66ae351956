"""Which cheap tool or habit would narrow the largest term of an uncertainty, where one is known.

All of it is common practice without a source, but for the arithmetic: a term that is the largest
is the one worth narrowing, since terms add as squares (``jcgm100`` 5.1.2).
"""

from __future__ import annotations

from quirewell.record.finding import Finding

# What a term's name and ground say, and the cheapest thing that would make it smaller.
_HELPS = (
    (("uncalibrated flatbed",), "Calibrate the flatbed once with the bench strip, on the page of "
     "the bench: the scanner's own scale is then known and not assumed."),
    (("no colour target",), "Lay a strip with measured grey steps or a colour target beside the "
     "leaf once: the scanner's tones are then known and not assumed."),
    (("how well a scanner repeats a tone",), "Scan one leaf three times without touching it: how "
     "well this scanner repeats a tone is then read and not taken from memory."),
    (("strip length",), "Read the bench strip again with the steel rule, each end by itself, and "
     "take the mean."),
    (("humidity",), "A hygrometer beside the scanner, read at every scan: paper grows and shrinks "
     "with the humidity of the room."),
    (("veil:",), "Scan at a higher resolution: bare paper then shows between the print."),
    (("scale: strip", "scale: bench strip"), "Lay the strip flat and whole in the picture, along "
     "the leaf: more of its marks are then found."),
    (("hole:",), "Scan the fold at a higher resolution."),
    (("pickup",), "Weigh one wrap before and after its bath on a kitchen scale."),
    (("read with strips", "strip of"), "A flat electrode set on two buffers reads the pH of a "
     "surface closer than strips do."),
)  # fmt: skip


def narrows(finding: Finding) -> str:
    """What would narrow the largest term of ``finding``; empty where nothing cheap is known."""
    if not finding.terms:
        return ""
    top = max(finding.terms, key=lambda term: term.u)
    words = f"{top.name}: {top.basis}".lower()
    return next((says for needles, says in _HELPS if any(n in words for n in needles)), "")
