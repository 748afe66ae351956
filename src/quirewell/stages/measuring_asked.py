"""What a measurement of a leaf may be told: its parameters, read from text and checked."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from quirewell.science.imaging.leaf import Panel
from quirewell.science.imaging.pointed import Said
from quirewell.science.imaging.scale import (
    Scale,
    scale_from_dpi,
    scale_from_length,
    scale_from_strip,
)
from quirewell.science.imaging.strip import NOMINAL_LENGTH_MM, StripFound
from quirewell.stages.measuring_said import BadParameter, read_said

# Reading a good steel rule at both ends without a loupe (common practice, no source).
RULE_U_MM = 0.1
PARAMS = (
    "panel", "dpi", "dpi_u_pct", "known_length_mm", "known_length_u_mm", "known_points",
    "strip_length_mm", "strip_length_u_mm", "scanner_u_um", "ground",
    "corners", "ignore",
)  # fmt: skip
_LIMITS = {
    "dpi": (40.0, 4800.0, "dpi"),
    "dpi_u_pct": (0.0, 20.0, "%"),
    "known_length_mm": (1.0, 2000.0, "mm"),
    "known_length_u_mm": (0.0, 50.0, "mm"),
    "strip_length_mm": (0.9 * NOMINAL_LENGTH_MM, 1.1 * NOMINAL_LENGTH_MM, "mm"),
    "strip_length_u_mm": (0.0, 10.0, "mm"),
    "scanner_u_um": (0.0, 5000.0, "um"),
}


@dataclass(frozen=True, slots=True)
class Asked:
    """The parameters of ``leaf.measure``; None where nothing was said."""

    panel: Panel = "whole"
    dpi: float | None = None
    dpi_u_pct: float | None = None
    known_length_mm: float | None = None
    known_length_u_mm: float | None = None
    known_points: tuple[float, float, float, float] | None = None
    strip_length_mm: float | None = None
    strip_length_u_mm: float | None = None
    scanner_u_um: float | None = None
    said: Said = field(default_factory=Said)


def read_params(params: Mapping[str, str]) -> Asked:
    """Read text parameters; empty ones count as not given.

    Raises
    ------
    BadParameter
        an unknown name, a value that is not allowed, or a length without its points
    """
    unknown = sorted(set(params) - set(PARAMS))
    if unknown:
        raise BadParameter(
            f"leaf.measure knows no parameter {unknown[0]!r}; it knows {', '.join(PARAMS)}"
        )
    panel = params.get("panel") or "whole"
    if panel not in ("whole", "left", "right"):
        raise BadParameter(f"panel must be whole, left or right, got {panel!r}")
    said = read_said(params)
    numbers = {name: _number(params, name) for name in _LIMITS}
    points = _points(params.get("known_points") or "")
    if (numbers["known_length_mm"] is None) != (points is None):
        raise BadParameter(
            "a known length needs both its length in mm and the two points it runs between "
            "(known_length_mm and known_points); give both or neither"
        )
    return Asked(panel=panel, known_points=points, said=said, **numbers)  # type: ignore[arg-type]


def _number(params: Mapping[str, str], name: str) -> float | None:
    text = (params.get(name) or "").strip()
    if not text:
        return None
    low, high, unit = _LIMITS[name]
    try:
        value = float(text)
    except ValueError:
        raise BadParameter(f"{name} must be a number in {unit}, got {text!r}") from None
    if not (math.isfinite(value) and low <= value <= high):
        raise BadParameter(f"{name} must be between {low:g} and {high:g} {unit}, got {text}")
    return value


def _points(text: str) -> tuple[float, float, float, float] | None:
    if not text.strip():
        return None
    try:
        values = [float(part) for part in text.replace(" ", ",").split(",") if part]
    except ValueError:
        values = []
    if len(values) != 4 or not all(math.isfinite(value) for value in values):
        raise BadParameter(f"points are four pixel numbers x1,y1,x2,y2, got {text!r}")
    return values[0], values[1], values[2], values[3]


def choose_scale(
    asked: Asked, strip: StripFound | None, tag_dpi: tuple[float, float] | None
) -> tuple[Scale | None, list[str]]:
    """The best scale there is, in the order strip, known length, stated dpi, tag; and warnings.

    Raises
    ------
    BadParameter
        when the points of a known length lie too close together
    """
    found: list[Scale] = []
    if strip is not None:
        found.append(
            scale_from_strip(
                strip, asked.strip_length_mm, asked.strip_length_u_mm, asked.scanner_u_um
            )
        )
    if asked.known_length_mm is not None and asked.known_points is not None:
        u_mm = RULE_U_MM if asked.known_length_u_mm is None else asked.known_length_u_mm
        try:
            found.append(
                scale_from_length(
                    asked.known_length_mm, u_mm, asked.known_points, asked.scanner_u_um
                )
            )
        except ValueError as error:
            raise BadParameter(str(error)) from None
    if asked.dpi is not None:
        found.append(scale_from_dpi((asked.dpi, asked.dpi), asked.dpi_u_pct, asked.scanner_u_um))
    if tag_dpi is not None:
        found.append(scale_from_dpi(tag_dpi, None, asked.scanner_u_um, stated=False))
    if not found:
        return None, [
            "Nothing says how large a pixel is, so sizes are in pixels only. Lay the bench strip "
            "beside the leaf, or state a known length or the resolution."
        ]
    return found[0], [*found[0].warnings, *_quarrels(found)]


def _quarrels(found: list[Scale]) -> list[str]:
    best = found[0]
    says = []
    for other in found[1:]:
        apart = 100.0 * (other.um_per_px / best.um_per_px - 1.0)
        allowed = max(3.0 * math.hypot(best.u_pct, other.u_pct), 0.3)
        if abs(apart) > allowed:
            says.append(
                f"The scales disagree: the {other.source} is {apart:+.2f} % off the {best.source}, "
                f"which is used."
            )
    return says
