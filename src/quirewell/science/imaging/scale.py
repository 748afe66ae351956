"""How large a pixel is, and how well that is known.

A :class:`Scale` holds the two pixel sizes with an uncertainty budget of relative terms, and
what the scanner's glass may add to any length on it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from quirewell.science.evidence.uncertainty import BudgetTerm
from quirewell.science.imaging.charuco import BoardFound
from quirewell.science.imaging.strip import NOMINAL_LENGTH_MM, PRINTER_U_PCT, StripFound

Source = Literal[
    "strip", "board", "known length", "calibrated scanner", "stated dpi", "resolution tag"
]
# One low-cost flatbed was up to 0.24 mm out over a sheet (isprs1996): +-0.24 mm, rectangular.
FLATBED_U_UM = 240.0 / math.sqrt(3)
# A scale in the same picture takes away the even part of that error; a third is taken to stay
# (assumed: the source reached 3 to 7 um with targets on all sides, a strip has one side only).
STAYS = 1.0 / 3.0
SHEET_MM = 260.0
# Tags are rounded and drives drift; from memory, no source.
TAG_U_PCT = 0.5
STATED_DPI_U_PCT = 0.2
POINT_U_PX = 0.5


@dataclass(frozen=True, slots=True)
class Scale:
    """Pixel sizes [um] along x and y.

    ``terms_x``, ``terms_y`` are relative standard uncertainties in per cent; terms of one name
    move both sizes together. ``glass_um`` is the standard uncertainty of a length on the glass
    from its geometry [um]; ``source`` says where the scale comes from.
    """

    um_per_px_x: float
    um_per_px_y: float
    source: Source
    says: str
    terms_x: tuple[BudgetTerm, ...]
    terms_y: tuple[BudgetTerm, ...]
    glass_um: float
    glass_basis: str
    warnings: tuple[str, ...] = ()

    @property
    def um_per_px(self) -> float:
        """Mean pixel size [um]."""
        return math.sqrt(self.um_per_px_x * self.um_per_px_y)

    @property
    def u_pct(self) -> float:
        """Standard uncertainty of the mean pixel size [%]."""
        return math.sqrt(max(_square(self.terms_x), _square(self.terms_y)))


@dataclass(frozen=True, slots=True)
class ScannerKnown:
    """A calibrated scanner at the resolution of the picture (see ``scanner_geometry``).

    ``um_per_px_x``, ``um_per_px_y``: true pixel sizes [um]; ``u`` and ``ratio_u``: relative
    standard uncertainties [-] of their mean and of their ratio.
    """

    um_per_px_x: float
    um_per_px_y: float
    u: float
    ratio_u: float


def _square(terms: tuple[BudgetTerm, ...]) -> float:
    return sum(term.u**2 for term in terms)


def scale_from_strip(
    found: StripFound,
    length_mm: float | None = None,
    length_u_mm: float | None = None,
    scanner_u_um: float | None = None,
    known: ScannerKnown | None = None,
) -> Scale:
    """Scale from the bench strip in the same picture.

    Across the strip the scale is known less well; there it is joined with the knowledge that
    a scanner's two directions agree to ``scanner_u_um`` over a sheet, or with their ratio as
    calibrated.

    Parameters
    ----------
    length_mm, length_u_mm
        measured length of the strip, left edge of the first mark to left edge of the last,
        and its standard uncertainty [mm]; nominal and a printer's 0.3 % unless stated
    scanner_u_um
        standard uncertainty of a length across the sheet from the scanner's geometry [um]
    known
        the scanner's calibration; then ``scanner_u_um`` is what that left, and stays whole
    """
    factor = (NOMINAL_LENGTH_MM if length_mm is None else length_mm) / NOMINAL_LENGTH_MM
    measured = length_mm is not None
    if length_u_mm is None:
        length_u_mm = 0.1 if measured else PRINTER_U_PCT / 100 * NOMINAL_LENGTH_MM
    glass = FLATBED_U_UM if scanner_u_um is None else scanner_u_um
    sizes, spread = _joined(found, *_alike(glass, known))
    length = BudgetTerm(
        "strip length",
        100 * length_u_mm / (factor * NOMINAL_LENGTH_MM),
        basis="measured with a steel rule" if measured else "as printed, not measured",
    )
    terms = []
    for index, name in enumerate("xy"):
        fit = 100 * math.sqrt(spread[index, index])
        terms.append(
            (BudgetTerm("scale", fit, basis=f"strip found in the picture, along {name}"), length)
        )
    says = f"bench strip in the picture ({found.marks} of 6 marks)"
    notes = []
    if not measured:
        notes.append(
            "The strip's length is taken as printed, which may be 0.3 % out. Measure it once "
            "with a steel rule, from the left edge of the first mark to the left edge of the last."
        )
    if found.residual_px > 0.5:
        notes.append(
            f"The strip's marks disagree by {found.residual_px:.2f} pixels: does it lie flat, and "
            "is this a scan and not a photograph?"
        )
    stays, share = (STAYS, "a third of it, the strip takes the rest") if known is None else (
        1.0, "what its calibration left"
    )  # fmt: skip
    return Scale(
        float(sizes[0]) * factor, float(sizes[1]) * factor, "strip", says, terms[0], terms[1],
        stays * glass, _glass_basis(scanner_u_um, share), tuple(notes),
    )  # fmt: skip


def _alike(glass_um: float, known: ScannerKnown | None) -> tuple[float, float]:
    """Logarithm of the pixels' ratio x over y, and its standard uncertainty."""
    if known is None:
        return 0.0, glass_um / (1000.0 * SHEET_MM)
    return math.log(known.um_per_px_x / known.um_per_px_y), known.ratio_u


def _joined(found: StripFound, apart: float, alike: float) -> tuple[np.ndarray, np.ndarray]:
    """Both pixel sizes given that their logarithms differ by ``apart`` +- ``alike``, and
    covariance. A printer may draw the strip 0.3 % larger across than along."""
    logs = np.log([found.um_per_px_x, found.um_per_px_y])
    turn = math.radians(found.turn_deg)
    across = np.array([math.sin(turn) ** 2, math.cos(turn) ** 2])
    printed = (PRINTER_U_PCT / 100) ** 2 * np.outer(across, across)
    spread = np.asarray(found.covariance, dtype=np.float64) + printed
    difference = np.array([1.0, -1.0])
    total = float(difference @ spread @ difference) + alike**2
    gain = spread @ difference / total
    logs = logs - gain * (float(difference @ logs) - apart)
    return np.exp(logs), spread - np.outer(gain, difference @ spread)


def _glass_basis(stated: float | None, share: str) -> str:
    if stated is None:
        return f"uncalibrated flatbed, up to 0.24 mm over a sheet (isprs1996); {share}"
    return f"stated for this scanner: {stated:g} um over a sheet; {share}"


def scale_from_length(
    length_mm: float,
    length_u_mm: float,
    points_px: tuple[float, float, float, float],
    scanner_u_um: float | None = None,
) -> Scale:
    """Scale from two points in the picture whose distance is known.

    Raises
    ------
    ValueError
        when the length is not positive or the points lie less than 20 pixels apart
    """
    x1, y1, x2, y2 = points_px
    apart = math.hypot(x2 - x1, y2 - y1)
    if not length_mm > 0:
        raise ValueError(f"a known length must be above 0 mm, got {length_mm} mm")
    if apart < 20:
        raise ValueError(
            f"the two points lie {apart:.1f} pixels apart; choose points at least 20 pixels apart, "
            "best across the whole picture"
        )
    um = 1000.0 * length_mm / apart
    glass = FLATBED_U_UM if scanner_u_um is None else scanner_u_um
    terms = (
        BudgetTerm("known length", 100 * length_u_mm / length_mm, basis="as stated"),
        BudgetTerm(
            "points", 100 * math.sqrt(2) * POINT_U_PX / apart, basis="half a pixel at each point"
        ),
    )
    says = f"stated length of {length_mm:g} mm between two points"
    basis = _glass_basis(scanner_u_um, "whole")
    return Scale(um, um, "known length", says, terms, terms, glass, basis)


def scale_from_board(
    found: BoardFound, u_pct: float = PRINTER_U_PCT, scanner_u_um: float | None = None
) -> Scale:
    """Scale from a chequered board in the same picture, measured in both directions.

    Parameters
    ----------
    u_pct
        standard uncertainty of the side of a square [%]: a printer's 0.3 unless stated; what
        its maker says for one on glass or film
    scanner_u_um
        standard uncertainty of a length across the sheet from the scanner's geometry [um]
    """
    glass = FLATBED_U_UM if scanner_u_um is None else scanner_u_um
    print_basis = "as printed, not measured" if u_pct >= PRINTER_U_PCT else "as stated"
    printed = BudgetTerm("board", u_pct, basis=print_basis)
    terms = [
        (BudgetTerm("scale", 100 * math.sqrt(found.covariance[i, i]),
                    basis=f"corners of the board along {name}"), printed)
        for i, name in enumerate("xy")
    ]  # fmt: skip
    notes = () if u_pct < PRINTER_U_PCT else (
        "The board's squares are taken as printed, which may be 0.3 % out. A board on glass or "
        "film, or its whole length measured with a steel rule, would narrow every size most.",
    )  # fmt: skip
    return Scale(
        found.um_per_px_x, found.um_per_px_y, "board",
        f"chequered board in the picture ({len(found.ids)} corners)", terms[0], terms[1],
        STAYS * glass, _glass_basis(scanner_u_um, "a third of it, the board takes the rest"), notes,
    )  # fmt: skip


def scale_from_scanner(known: ScannerKnown, scanner_u_um: float | None = None) -> Scale:
    """Scale of a scanner calibrated beforehand, at the resolution it was calibrated at."""
    glass = FLATBED_U_UM if scanner_u_um is None else scanner_u_um
    u_pct = 100 * math.hypot(known.u, known.ratio_u / 2)
    term = (BudgetTerm("scale", u_pct, basis="scanner calibrated at this resolution"),)
    return Scale(
        known.um_per_px_x, known.um_per_px_y, "calibrated scanner",
        "this scanner as calibrated at this resolution", term, term, glass,
        _glass_basis(scanner_u_um, "what its calibration left"),
    )  # fmt: skip


def scale_from_dpi(
    dpi: tuple[float, float],
    u_pct: float | None = None,
    scanner_u_um: float | None = None,
    stated: bool = True,
) -> Scale:
    """Scale from a stated resolution, or (``stated`` False) from the file's tag.

    Raises
    ------
    ValueError
        when the resolution is outside 20 to 10000 dpi
    """
    if not all(20 <= value <= 10_000 for value in dpi):
        raise ValueError(f"a resolution lies between 20 and 10000 dpi, got {dpi[0]:g} x {dpi[1]:g}")
    glass = FLATBED_U_UM if scanner_u_um is None else scanner_u_um
    least = STATED_DPI_U_PCT if stated else TAG_U_PCT
    share = least if u_pct is None else u_pct
    basis = "stated resolution" if stated else "resolution tag, unchecked (from memory)"
    term = (BudgetTerm("scale", share, basis=basis),)
    source: Source = "stated dpi" if stated else "resolution tag"
    notes = () if stated else (
        f"The scale is only the file's resolution tag ({dpi[0]:.5g} dpi), which may be half a "
        "per cent out or more. A bench strip or a steel rule beside the leaf would narrow every "
        "size most.",
    )  # fmt: skip
    says = f"{'stated' if stated else 'tag of the file:'} {dpi[0]:.5g} dpi"
    return Scale(
        25400.0 / dpi[0], 25400.0 / dpi[1], source, says, term, term, glass,
        _glass_basis(scanner_u_um, "whole"), notes,
    )  # fmt: skip
