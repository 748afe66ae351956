"""Which of the scales a picture offers is used, and whether the others agree with it."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.charuco import find_board
from quirewell.science.imaging.scale import (
    Scale,
    ScannerKnown,
    scale_from_board,
    scale_from_dpi,
    scale_from_length,
    scale_from_scanner,
    scale_from_strip,
)
from quirewell.science.imaging.strip import PRINTER_U_PCT, StripFound
from quirewell.stages.measuring_asked import RULE_U_MM, Asked
from quirewell.stages.measuring_said import BadParameter

# A calibrated scanner goes before the strip when it is this much surer.
_SURER = 0.7


def choose_scale(
    asked: Asked,
    strip: StripFound | None,
    tag_dpi: tuple[float, float] | None,
    grey: NDArray[np.uint8 | np.uint16] | None = None,
) -> tuple[Scale | None, list[str]]:
    """The best scale there is, and warnings: strip, board, known length, calibrated scanner,
    stated dpi, tag, in this order; a calibrated scanner goes first where it is surer.

    ``grey`` is looked through for the board when one is asked for.

    Raises
    ------
    BadParameter
        when the points of a known length lie too close together
    """
    found: list[Scale] = []
    says: list[str] = []
    known = scanner_known(asked)
    if strip is not None:
        length, u = asked.strip_length_mm, asked.strip_length_u_mm
        found.append(scale_from_strip(strip, length, u, asked.scanner_u_um, known))
    if asked.board is not None and grey is not None:
        board = find_board(grey, asked.board)
        if board is None:
            says.append(
                "The chequered board was not found in the picture: fewer than 12 of its corners "
                "are seen, or its squares are others than stated."
            )
        else:
            u_pct = PRINTER_U_PCT if asked.board_u_pct is None else asked.board_u_pct
            found.append(scale_from_board(board, u_pct, asked.scanner_u_um))
    found += _length(asked)
    if known is not None:
        scanner = scale_from_scanner(known, asked.scanner_u_um)
        surer = bool(found) and scanner.u_pct < _SURER * found[0].u_pct
        found.insert(0 if surer else len(found), scanner)
    if asked.dpi is not None:
        found.append(scale_from_dpi((asked.dpi, asked.dpi), asked.dpi_u_pct, asked.scanner_u_um))
    if tag_dpi is not None:
        found.append(scale_from_dpi(tag_dpi, None, asked.scanner_u_um, stated=False))
    if not found:
        return None, [
            *says,
            "Nothing says how large a pixel is, so sizes are in pixels only. Lay the bench strip "
            "beside the leaf, or state a known length or the resolution.",
        ]
    return found[0], [*says, *found[0].warnings, *_quarrels(found)]


def scanner_known(asked: Asked) -> ScannerKnown | None:
    """The scanner's calibration as stated; None unless all of it is."""
    parts = (
        asked.scanner_um_per_px_x, asked.scanner_um_per_px_y,
        asked.scanner_scale_u_pct, asked.scanner_ratio_u_pct,
    )  # fmt: skip
    x, y, u, ratio = parts
    if x is None or y is None or u is None or ratio is None:
        return None
    return ScannerKnown(x, y, u / 100, ratio / 100)


def _length(asked: Asked) -> list[Scale]:
    if asked.known_length_mm is None or asked.known_points is None:
        return []
    u_mm = RULE_U_MM if asked.known_length_u_mm is None else asked.known_length_u_mm
    try:
        return [
            scale_from_length(asked.known_length_mm, u_mm, asked.known_points, asked.scanner_u_um)
        ]
    except ValueError as error:
        raise BadParameter(str(error)) from None


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
