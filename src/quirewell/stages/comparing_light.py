"""How much of a page's raw change of lightness is the light, how much the paper: as findings."""

from __future__ import annotations

from quirewell.record.finding import Finding
from quirewell.record.measured import Term
from quirewell.science.imaging.light_split import LightSplit, Part

RAW, LIGHT, SCANNER = "paper.raw_dL", "light.dL", "scanner.dL"
_SOURCES = ("cie15", "jcgm100")


def light_findings(split: LightSplit | None) -> list[Finding]:
    """``paper.raw_dL``: change of L* of the bare paper as both pictures were taken; ``light.dL``:
    the part of it that the light or exposure made; ``scanner.dL``: the part that the scanner's own
    curve or colours made. What is left is ``paper.dL``."""
    if split is None:
        return []
    out = [
        _finding(
            RAW, split.raw,
            f"L* {split.before_L:.2f} before, {split.after_L:.2f} after, bare paper as scanned",
        )
    ]  # fmt: skip
    if split.light is not None:
        out.append(
            _finding(
                LIGHT, split.light,
                "what the strip's grey steps say that light and exposure did at the paper's tone: "
                "raw change less the change once exposed alike",
            )
        )  # fmt: skip
    if split.scanner is not None:
        out.append(
            _finding(
                SCANNER, split.scanner,
                "what the scanner's own tone curve and colours made of the change, in both "
                "pictures alike: taken out by known greys or a fitted target",
            )
        )  # fmt: skip
    return out


def _finding(quantity: str, part: Part, note: str) -> Finding:
    return Finding(
        "", quantity, "", part.dL, part.u, "1", low90=part.dL - 1.645 * part.u,
        high90=part.dL + 1.645 * part.u, smallest_seen=(1.96 + 1.645) * part.u,
        standing="measured here", sources=_SOURCES,
        terms=tuple(Term(*term) for term in part.terms), note=note,
    )  # fmt: skip
