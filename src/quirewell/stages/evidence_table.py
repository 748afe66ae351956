"""What the evidence of an item is given for: each quantity with where it is measured or read.

``preset`` is the margin offered before measuring. Half a millimetre is the step an eye sees where
two leaves lie on one another, one step that of a tone card (both common practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True, slots=True)
class Evidence:
    """A quantity: name, unit and the noun of its units; ``reading`` typed, ``pair`` and ``leaf``
    findings of ``pair.compare`` and ``leaf.measure``; ``pct`` an older margin in per cent of it;
    ``steps`` for ranks of a card; ``tool`` the one cheap thing that narrows it most."""

    key: str
    name: str
    unit: str
    units: str
    reading: str
    pair: str = ""
    leaf: str = ""
    pct: str = ""
    preset: Decimal | None = None
    steps: bool = False
    tool: str = ""


_RULE = "a steel rule with half millimetres, every leaf read twice on two evenings"
_ROWS = (
    Evidence("size.width_mm", "Width of the leaves", "mm", "leaves", "width", "change.width_pct",
             "leaf.width_mm", "change.width_pct", Decimal("0.5"), tool=_RULE),
    Evidence("size.height_mm", "Height of the leaves", "mm", "leaves", "height",
             "change.height_pct", "leaf.height_mm", "change.height_pct", Decimal("0.5"),
             tool=_RULE),
    Evidence("paper.lightness", "Lightness of the paper, L*", "1", "leaves", "lightness",
             "paper.dL", tool="a grey card with known steps in every scan"),
    Evidence("paper.ph", "pH of the paper", "pH", "places", "pH",
             tool="a second strip beside each first one, at both moments"),
    Evidence("paper.mass_g", "Mass", "g", "places", "mass",
             tool="each wrap weighed twice, in the same hour of a dry and a damp day"),
    Evidence("paper.thickness_mm", "Thickness", "mm", "places", "thickness",
             tool="ten places a leaf with a micrometer that reads hundredths"),
    Evidence("tone.step", "Tone of the paper, steps of the card", "step", "leaves", "tone_step",
             leaf="tone.step", preset=Decimal(1), steps=True,
             tool="the tone card read by a second pair of eyes"),
)  # fmt: skip
EVIDENCE: Mapping[str, Evidence] = {row.key: row for row in _ROWS}
