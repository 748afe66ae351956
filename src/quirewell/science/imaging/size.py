"""Width, height and squareness of a leaf from its edges and a scale."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from quirewell.science.evidence.uncertainty import Budget, BudgetTerm
from quirewell.science.imaging.edges import EDGE_BIAS_LIGHT_PX, EDGE_BIAS_PX, Edge, Line
from quirewell.science.imaging.leaf import Leaf
from quirewell.science.imaging.scale import Scale


@dataclass(frozen=True, slots=True)
class Length:
    """A length [mm] with its budget; ``at_least`` when an edge is not in the picture."""

    value_mm: float
    budget: Budget
    at_least: bool = False


@dataclass(frozen=True, slots=True)
class LeafSize:
    """Size of a leaf.

    Width is the distance at mid-height of the lines fitted to the left and right edges (the
    fold counts as one), height likewise at mid-width. ``squareness_deg`` is by how much the
    upper left corner is wider than a right angle [deg], None unless all four edges are seen.
    """

    width: Length
    height: Length
    squareness_deg: float | None
    squareness_u_deg: float


def leaf_size(leaf: Leaf, scale: Scale) -> LeafSize:
    """Measure a leaf (see :class:`LeafSize`)."""
    x, y = leaf.corners_px.mean(axis=0)
    width = _length(leaf, scale, ("left", "right"), float(y))
    height = _length(leaf, scale, ("head", "foot"), float(x))
    square, u = _squareness(leaf, scale)
    return LeafSize(width, height, square, u)


def _gap_mm(low: Line, high: Line, at_px: float, scale: Scale) -> float:
    along, across = scale.um_per_px_x / 1000.0, scale.um_per_px_y / 1000.0
    if not low.level:
        along, across = across, along
    slope = 0.5 * (low.slope + high.slope) * across / along
    return float(across * (high.at(at_px) - low.at(at_px)) / math.hypot(1.0, slope))


def _length(leaf: Leaf, scale: Scale, pair: tuple[str, str], at_px: float) -> Length:
    low, high = (leaf.limits[side] for side in pair)  # type: ignore[index]
    value = _gap_mm(low, high, at_px, scale)
    upright = pair[0] == "left"
    px_mm = (scale.um_per_px_x if upright else scale.um_per_px_y) / 1000.0
    edges = [leaf.edges.get(side) for side in pair]  # type: ignore[call-overload]
    hand = [leaf.edges[side] for side in leaf.pointed if side in pair]
    rough = math.sqrt(sum(e.u_px**2 for e in edges if e is not None and e not in hand))
    bias = EDGE_BIAS_LIGHT_PX if leaf.on_light_ground else EDGE_BIAS_PX
    terms = [
        BudgetTerm("edge", px_mm * rough, basis="unevenness of the edges about their lines"),
        BudgetTerm("edge bias", px_mm * 2 * bias, basis="half-way point against true edge"),
    ]
    if hand:
        pointed = px_mm * math.sqrt(sum(edge.u_px**2 for edge in hand))
        terms.append(BudgetTerm("pointed", pointed, basis="corners given by hand"))
    relative = scale.terms_x if upright else scale.terms_y
    terms += [BudgetTerm(t.name, value * t.u / 100, t.dof, t.basis) for t in relative]
    terms.append(BudgetTerm("scanner", scale.glass_um / 1000.0, basis=scale.glass_basis))
    return Length(value, Budget(tuple(terms)), any(edge is None for edge in edges))


def _squareness(leaf: Leaf, scale: Scale) -> tuple[float | None, float]:
    if leaf.missing:
        return None, 0.0
    ratio = scale.um_per_px_y / scale.um_per_px_x
    level = 0.5 * sum(leaf.edges[side].line.slope for side in ("head", "foot")) * ratio
    upright = 0.5 * sum(leaf.edges[side].line.slope for side in ("left", "right")) / ratio
    spans = np.ptp(leaf.corners_px, axis=0)
    u = math.sqrt(sum(_slope_u(edge, spans) ** 2 for edge in leaf.edges.values())) / 2
    glass = scale.glass_um * math.sqrt(2) / (scale.um_per_px * float(spans.min()))
    angle = math.degrees(math.atan(level) + math.atan(upright))
    return angle, math.degrees(math.hypot(u, glass))


def _slope_u(edge: Edge, spans: np.ndarray) -> float:
    """Standard uncertainty of a slope [-]: that of the middle times sqrt(12) over the length."""
    length = float(spans[0 if edge.line.level else 1])
    return math.sqrt(12) * edge.u_px / length
