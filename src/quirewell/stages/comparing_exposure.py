"""How each of two scans was exposed against the strip's known greys, as findings."""

from __future__ import annotations

import math

from quirewell.record.finding import Finding
from quirewell.record.measured import Term
from quirewell.science.colour.target_use import TargetUse
from quirewell.stages.pair_pictures import Pair, to_known_greys

_SOURCES = ("cie15", "jcgm100")


def exposure_findings(pair: Pair, target: TargetUse | None) -> list[Finding]:
    """``exposure.before_dL`` and ``exposure.after_dL``: the strip's grey steps in each scan, read
    less known, mean L*; nothing where they are not known or not seen in both."""
    held = pair.exposed
    if held is None:
        return []
    known = held.known
    if to_known_greys(pair, target):
        use = "both scans are brought to the known greys before colours are compared"
    else:
        use = "the after scan is brought to the exposure of the before scan"
    out = []
    for role, one in (("before", held.before), ("after", held.after)):
        steps = sum(math.isfinite(value) for value in one.off_L)
        parts = (known.u_L / math.sqrt(steps), held.own_u_L / math.sqrt(steps))
        out.append(
            Finding(
                "", f"exposure.{role}_dL", "", one.shift_L, math.hypot(*parts), "1",
                standing="measured here", sources=_SOURCES,
                terms=(
                    Term("known", parts[0], "the greys' own uncertainty"),
                    Term("read", parts[1], "how the steps scatter once the curve is taken out"),
                ),
                note=f"mean L* of {steps} grey steps, read less known "
                f"({'by an instrument' if known.absolute else 'from an earlier scan'}); gain "
                f"{one.gain:.3f}, offset {one.offset:+.4f}, power {one.power:.3f} of light; {use}",
            )
        )  # fmt: skip
    return out
