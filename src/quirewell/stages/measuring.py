"""Measuring one leaf in one picture: method ``leaf.measure``.

Role "image": the picture. Findings: size, squareness, missing area, paper tone and scale, each
with its budget; the drawing holds the outline in pixels of the upright picture.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from quirewell.record.finding import Finding
from quirewell.record.measured import Term
from quirewell.science.evidence.uncertainty import Budget, BudgetTerm
from quirewell.science.imaging.foreign import find_foreign, foreign_sentences
from quirewell.science.imaging.leaf import Leaf, find_leaf
from quirewell.science.imaging.leaf_tone import LeafTone, leaf_tone
from quirewell.science.imaging.loss import SMALLEST_MM2, Loss, find_loss
from quirewell.science.imaging.quality import quality_warnings
from quirewell.science.imaging.scale import Scale
from quirewell.science.imaging.size import LeafSize, Length, leaf_size
from quirewell.science.imaging.stains import Stains, find_stains
from quirewell.science.imaging.strip import StripFound, find_strip
from quirewell.science.imaging.tears import Tears, find_tears
from quirewell.stages.measuring_asked import Asked, read_params
from quirewell.stages.measuring_damage import stain_findings, tear_findings
from quirewell.stages.measuring_drawing import drawing
from quirewell.stages.measuring_said import check_inside, corrected_sentences
from quirewell.stages.measuring_scale import choose_scale
from quirewell.stages.measuring_tone import step_finding, tone_findings
from quirewell.stages.methods import Outcome, method
from quirewell.studio.images import Picture, load_picture

METHOD = "leaf.measure"
# Where no scale is known windows are set as if the picture's longer side were an A4 sheet's.
_GUESS_MM = 297.0
# Splits and staple holes along a fold show no ground and are not summed (assumed size).
_FOLD_LOSS_U_MM2 = 3.0


@dataclass(frozen=True, slots=True)
class Seen:
    """Everything found in one picture, before it is put into findings."""

    picture: Picture
    strip: StripFound | None
    scale: Scale | None
    px_mm: float
    leaf: Leaf | None
    size: LeafSize | None
    loss: Loss | None
    tone: LeafTone | None
    tears: Tears | None
    stains: Stains | None
    warnings: tuple[str, ...]


@method(METHOD, 2, "exact")
def measure(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Size, squareness, missing area and paper tone of one leaf, with the scale they rest on."""
    asked = read_params(params)
    return outcome_of(look(load_picture(files["image"]), asked), asked)


def look(picture: Picture, asked: Asked, *, stains: bool = True) -> Seen:
    """Find strip, scale, leaf, losses and tone in a picture; ``stains`` are the dearest part."""
    pixels: NDArray[np.uint8 | np.uint16] = picture.pixels
    check_inside(asked.said, pixels.shape[1], pixels.shape[0])
    green = np.ascontiguousarray(pixels[..., 1])
    strip = find_strip(green)
    scale, says = choose_scale(asked, strip, picture.resolution_dpi, green)
    says = [*picture.warnings, *says]
    px_mm = scale.um_per_px / 1000.0 if scale else _GUESS_MM / max(pixels.shape[:2])
    leaf = find_leaf(pixels, px_mm, asked.panel, [strip.box_px] if strip else [], asked.said)
    if leaf is None:
        says.append(
            "No leaf was found: nothing in the picture stands out as paper. Lay it on dark card "
            "with a centimetre showing all round."
        )
        return Seen(picture, strip, scale, px_mm, None, None, None, None, None, None, tuple(says))
    says += leaf.warnings
    says += corrected_sentences(asked.said, leaf)
    loss = find_loss(pixels, leaf, px_mm)
    says += loss.warnings if loss else ()
    says += quality_warnings(pixels, leaf, scale.um_per_px if scale else None, picture.grey)
    says += foreign_sentences(find_foreign(pixels, leaf, px_mm))
    size = leaf_size(leaf, scale) if scale else None
    tone = leaf_tone(pixels, leaf, px_mm, asked.target)
    if tone is None:
        says.append("Too little bare paper was found to measure its tone.")
    tears = find_tears(pixels, leaf, px_mm)
    spots = None
    if stains and tone is not None and not picture.grey:
        correct = asked.target.correct if asked.target is not None else None
        spots = find_stains(pixels, leaf, tone.tiles, px_mm, correct)
    return Seen(picture, strip, scale, px_mm, leaf, size, loss, tone, tears, spots, tuple(says))


def outcome_of(seen: Seen, asked: Asked) -> Outcome:
    """Findings, warnings and drawing of what was seen."""
    findings: list[Finding] = []
    if seen.scale is not None:
        findings += _scale_findings(seen.scale)
    else:
        findings.append(Finding("", "scale.source", "", text="none"))
    if seen.leaf is not None:
        if seen.size is not None and seen.scale is not None:
            findings += _size_findings(seen.leaf, seen.size)
            findings += _area_findings(seen, seen.size, seen.scale)
            findings += tear_findings(seen.tears, seen.scale) if seen.tears else []
        else:
            findings += _pixel_findings(seen.leaf)
        if seen.tone is not None:
            findings += tone_findings(seen.tone, seen.picture, asked.target)
            if asked.card and not seen.picture.grey:
                findings.append(
                    step_finding(
                        seen.tone, seen.picture, asked.target, asked.card, asked.card_by_scan
                    )
                )
    if seen.stains is not None and seen.scale is not None:
        findings += stain_findings(seen.stains)
    shapes = (
        drawing(seen.leaf, seen.strip, seen.loss, seen.tone, seen.tears, seen.stains)
        if seen.leaf
        else {}
    )
    return Outcome(tuple(findings), seen.warnings, shapes)


def _terms(budget: Budget) -> tuple[Term, ...]:
    return tuple(Term(term.name, term.u, term.basis) for term in budget.terms)


def _measured(
    quantity: str, value: float, unit: str, budget: Budget, sources: tuple[str, ...] = (),
    smallest_seen: float | None = None, note: str = "",
) -> Finding:  # fmt: skip
    return Finding(
        "", quantity, "", value=value, u=budget.u, unit=unit, terms=_terms(budget),
        sources=sources, smallest_seen=smallest_seen, note=note,
    )  # fmt: skip


def _scale_findings(scale: Scale) -> list[Finding]:
    size = scale.um_per_px
    larger = max((scale.terms_x, scale.terms_y), key=lambda terms: Budget(terms).u)
    budget = Budget(tuple(BudgetTerm(t.name, size * t.u / 100, t.dof, t.basis) for t in larger))
    return [
        _measured("scale.um_per_px", size, "um", budget),
        Finding("", "scale.source", "", text=scale.source, note=scale.says),
    ]


def _size_findings(leaf: Leaf, size: LeafSize) -> list[Finding]:
    found = [
        _length("leaf.width_mm", size.width, leaf, ("left", "right")),
        _length("leaf.height_mm", size.height, leaf, ("head", "foot")),
    ]
    if size.squareness_deg is not None:
        budget = Budget((BudgetTerm("edges and scanner", size.squareness_u_deg, basis="slopes"),))
        note = "by how much the upper left corner is wider than a right angle"
        found.append(
            _measured("leaf.squareness_deg", size.squareness_deg, "deg", budget, note=note)
        )
    return found


def _length(quantity: str, length: Length, leaf: Leaf, pair: tuple[str, str]) -> Finding:
    if length.at_least:
        missing = [side for side in pair if side not in leaf.edges]
        words = " and ".join(missing)
        return Finding(
            "", quantity, "", unit="mm",
            text=f"at least {length.value_mm:.1f} mm: the {words} "
            f"{'edges are' if len(missing) > 1 else 'edge is'} not in the picture",
        )  # fmt: skip
    note = "from the fore-edge to the fold" if leaf.fold in pair else ""
    return _measured(quantity, length.value_mm, "mm", length.budget, ("isprs1996",), note=note)


def _area_findings(seen: Seen, size: LeafSize, scale: Scale) -> list[Finding]:
    if seen.loss is None or seen.leaf is None:
        return []
    per_px = scale.um_per_px_x * scale.um_per_px_y / 1e6
    terms = [
        BudgetTerm(
            "rim", per_px * seen.loss.u_rim_px, basis="0.06 px along every rim, 0.5 % levels"
        ),
        BudgetTerm("outline", per_px * seen.loss.u_outline_px, basis="place of the fitted lines"),
        BudgetTerm("unseen", SMALLEST_MM2 / 2, basis="pieces too small to tell from roughness"),
    ]
    if seen.loss.u_holes_px:
        holes = per_px * seen.loss.u_holes_px
        terms.append(BudgetTerm("holes", holes, basis="ink may look like a hole"))
    if seen.leaf.fold is not None:
        basis = "splits and staple holes along the fold are not counted"
        terms.append(BudgetTerm("fold", _FOLD_LOSS_U_MM2, basis=basis))
    loss = per_px * seen.loss.area_px
    found = [_measured("leaf.loss_mm2", loss, "mm2", Budget(tuple(terms)), (), SMALLEST_MM2)]
    if not (size.width.at_least or size.height.at_least):
        found.append(_paper_area(size, loss, Budget(tuple(terms))))
    return found


def _paper_area(size: LeafSize, loss: float, missing: Budget) -> Finding:
    width, height = size.width, size.height
    terms = (
        BudgetTerm("width", height.value_mm * width.budget.u, basis="standard uncertainty of it"),
        BudgetTerm("height", width.value_mm * height.budget.u, basis="standard uncertainty of it"),
        BudgetTerm("loss", missing.u, basis="standard uncertainty of it"),
    )
    area = width.value_mm * height.value_mm - loss
    return _measured("leaf.area_mm2", area, "mm2", Budget(terms))


def _pixel_findings(leaf: Leaf) -> list[Finding]:
    """Sizes in pixels, where nothing gives a scale."""
    corners = leaf.corners_px
    found = []
    for name, pair, (a, b, c, d) in (
        ("width", ("left", "right"), (0, 1, 3, 2)),
        ("height", ("head", "foot"), (0, 3, 1, 2)),
    ):
        if any(side not in leaf.edges for side in pair):
            continue
        spans = [np.hypot(*(corners[j] - corners[i])) for i, j in ((a, b), (c, d))]
        u = math.sqrt(sum(edge.u_px**2 for side, edge in leaf.edges.items() if side in pair))
        terms = (BudgetTerm("edge", u, basis="unevenness of the edges about their lines"),)
        found.append(_measured(f"leaf.{name}_px", float(np.mean(spans)), "px", Budget(terms)))
    return found


_CURES = {
    "strip length": "A steel rule: measure the bench strip once, from the left edge of its first "
    "mark to the left edge of its last, and state the length.",
    "known length": "A longer known length, or one measured more closely.",
    "points": "Points farther apart, or a scan at a higher resolution.",
    "scanner": "A calibrated scanner: scan the bench strip in four places, twice along and twice "
    "across the glass, and give the scans to the bench page or to: quirewell scanner calibrate.",
    "edge": "A dark card that shows the edges clearly, and 300 dpi or more.",
    "edge bias": "A scan at a higher resolution.",
    "board": "A board on glass or film, or the whole board measured with a steel rule.",
    "scale": "A bench strip or a steel rule in the same scan.",
}


def narrower(findings: tuple[Finding, ...]) -> str:
    """The one cheap thing that would narrow the leaf's size most; "" when no size was given."""
    sizes = [f for f in findings if f.quantity in ("leaf.width_mm", "leaf.height_mm") and f.terms]
    if not sizes:
        return ""
    worst = max(sizes, key=lambda finding: finding.u or 0.0)
    return _CURES.get(max(worst.terms, key=lambda term: term.u).name, "")
