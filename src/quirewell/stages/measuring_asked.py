"""What a measurement of a leaf may be told: its parameters, read from text and checked."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from quirewell.science.colour.target_use import TargetUse, target_from_text
from quirewell.science.colour.tone_card import Step, read_card
from quirewell.science.imaging.charuco import Board, read_board
from quirewell.science.imaging.leaf import Panel
from quirewell.science.imaging.pointed import Said
from quirewell.science.imaging.strip import NOMINAL_LENGTH_MM
from quirewell.stages.measuring_said import BadParameter, read_said

# Reading a good steel rule at both ends without a loupe (common practice, no source).
RULE_U_MM = 0.1
PARAMS = (
    "panel", "dpi", "dpi_u_pct", "known_length_mm", "known_length_u_mm", "known_points",
    "strip_length_mm", "strip_length_u_mm", "scanner_u_um", "ground",
    "corners", "ignore", "board", "board_u_pct",
    "scanner_um_per_px_x", "scanner_um_per_px_y", "scanner_scale_u_pct", "scanner_ratio_u_pct",
    "target", "card", "card_by",
)  # fmt: skip
_LIMITS = {
    "dpi": (40.0, 4800.0, "dpi"),
    "dpi_u_pct": (0.0, 20.0, "%"),
    "known_length_mm": (1.0, 2000.0, "mm"),
    "known_length_u_mm": (0.0, 50.0, "mm"),
    "strip_length_mm": (0.9 * NOMINAL_LENGTH_MM, 1.1 * NOMINAL_LENGTH_MM, "mm"),
    "strip_length_u_mm": (0.0, 10.0, "mm"),
    "scanner_u_um": (0.0, 5000.0, "um"),
    "board_u_pct": (0.0, 5.0, "%"),
    "scanner_um_per_px_x": (1.0, 1000.0, "um"),
    "scanner_um_per_px_y": (1.0, 1000.0, "um"),
    "scanner_scale_u_pct": (0.0, 5.0, "%"),
    "scanner_ratio_u_pct": (0.0, 5.0, "%"),
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
    board_u_pct: float | None = None
    scanner_um_per_px_x: float | None = None
    scanner_um_per_px_y: float | None = None
    scanner_scale_u_pct: float | None = None
    scanner_ratio_u_pct: float | None = None
    board: Board | None = None
    target: TargetUse | None = None
    card: tuple[Step, ...] = ()
    card_by_scan: bool = False
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
    return Asked(
        panel=panel,  # type: ignore[arg-type]
        known_points=points,
        said=said,
        board=_board(params.get("board") or ""),
        target=_target(params.get("target") or ""),
        card=_card(params.get("card") or ""),
        card_by_scan=_card_by(params.get("card_by") or ""),
        **numbers,
    )


def _target(text: str) -> TargetUse | None:
    try:
        return target_from_text(text) if text.strip() else None
    except ValueError as error:
        raise BadParameter(str(error)) from None


def _card(text: str) -> tuple[Step, ...]:
    try:
        return read_card(text) if text.strip() else ()
    except ValueError as error:
        raise BadParameter(str(error)) from None


def _card_by(text: str) -> bool:
    if text not in ("", "scan", "instrument"):
        raise BadParameter(f"a tone card is measured by scan or instrument, got {text!r}")
    return text == "scan"


def _board(text: str) -> Board | None:
    try:
        return read_board(text) if text.strip() else None
    except ValueError as error:
        raise BadParameter(str(error)) from None


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
