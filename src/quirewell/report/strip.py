"""The printable bench strip: a scale for every scan, at 1:1 on one page."""

from __future__ import annotations

from datetime import UTC, datetime

from quirewell.report.typeset import typeset
from quirewell.science.imaging.strip import (
    NOMINAL_LENGTH_MM,
    STRIP_HEIGHT_MM,
    STRIP_LENGTH_MM,
    strip_rectangles,
)

TEMPLATE = "strip.typ"
CHECK_BAR_MM = 150
# The page never changes with the day it is printed on.
_AT = datetime(2026, 1, 1, tzinfo=UTC)


def strip_sheet() -> bytes:
    """The bench strip as PDF, drawn from the geometry that measuring looks for.

    Raises:
        ReportError: the typesetter refused.
    """
    parts = [
        {
            "x": f"{part.x_mm:.4f}",
            "y": f"{part.y_mm:.4f}",
            "width": f"{part.width_mm:.4f}",
            "height": f"{part.height_mm:.4f}",
            "grey": str(part.grey),
        }
        for part in strip_rectangles()
    ]
    data = {
        "parts": parts,
        "length": f"{STRIP_LENGTH_MM:g}",
        "height": f"{STRIP_HEIGHT_MM:g}",
        "nominal": f"{NOMINAL_LENGTH_MM:.1f}",
        "bar": str(CHECK_BAR_MM),
    }
    return typeset(TEMPLATE, data, {}, _AT)
