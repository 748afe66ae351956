"""Calibrating a scanner from repeat scans: method ``scanner.calibrate``.

Roles "scan1", "scan2", ..: three scans or more of the bench strip, of a chequered board or of
a steel rule, laid differently each time. Findings: scale errors along and across the glass,
repeatability, geometry, and what is left of them for a length across a sheet. They hold for
this scanner at this resolution.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from quirewell.record.finding import Finding
from quirewell.record.measured import Term
from quirewell.science.imaging.charuco import Board, find_board, read_board
from quirewell.science.imaging.scanner_geometry import (
    SHEET_MM,
    Placement,
    ScannerGeometry,
    scanner_geometry,
)
from quirewell.science.imaging.strip import NOMINAL_LENGTH_MM, PRINTER_U_PCT, find_strip
from quirewell.stages.methods import Outcome, method
from quirewell.studio.images import load_picture, read_header

METHOD = "scanner.calibrate"
PARAMS = (
    "artefact", "dpi", "strip_length_mm", "strip_length_u_mm", "board", "board_u_pct",
    "rule_length_mm", "rule_length_u_mm", "rule_points",
)  # fmt: skip
LEAST_SCANS = 3
# How far a home printer lays a dot from its place; a photographic film (both from memory).
PRINTED_POINT_U_UM = 20.0
FILM_POINT_U_UM = 3.0
FILM_BELOW_PCT = 0.05
RULE_U_MM = 0.1
RULE_POINT_PX = 0.5
# Above this [-] a scale was not really measured.
_UNSEEN = 1e-3


@dataclass(frozen=True, slots=True)
class Artefact:
    """What was scanned: its kind, the relative u of its length, and the u of its points [um]."""

    kind: str
    length_u: float
    point_u_um: float
    stretch: float = 1.0
    board: Board | None = None
    rule_mm: float = 0.0
    rule_points: tuple[tuple[float, float, float, float], ...] = ()

    @property
    def printed(self) -> bool:
        """Whether a printer made it, whose two directions may differ by as much as its scale."""
        return self.point_u_um >= PRINTED_POINT_U_UM


@method(METHOD, 1, "exact")
def calibrate(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Scale errors, repeatability and geometry of a scanner from repeat scans of one thing."""
    unknown = sorted(set(params) - set(PARAMS))
    if unknown:
        raise ValueError(
            f"{METHOD} knows no parameter {unknown[0]!r}; it knows {', '.join(PARAMS)}"
        )
    scans = sorted(files, key=lambda role: (len(role), role))
    if len(scans) < LEAST_SCANS:
        raise ValueError(
            f"a scanner is calibrated from {LEAST_SCANS} scans or more, got {len(scans)}; four are "
            "best: along the glass at both sides, and across it at both ends"
        )
    artefact = read_artefact(params, len(scans))
    name, dpi = _one_scanner([files[role] for role in scans], _number(params, "dpi"))
    placements, sizes = [], []
    for index, role in enumerate(scans):
        placement, size = _seen(files[role], artefact, index)
        placements.append(placement)
        sizes.append(size)
    um = (25400.0 / dpi[0], 25400.0 / dpi[1])
    width, height = max(size[0] for size in sizes), max(size[1] for size in sizes)
    found = scanner_geometry(
        placements, um, (width, height), artefact.length_u, artefact.point_u_um,
        PRINTER_U_PCT / 100 if artefact.printed else 0.0,
        RULE_POINT_PX if artefact.kind == "rule" else 0.02,
    )  # fmt: skip
    findings = (Finding("", "scanner.name", "", text=name), *_findings(found, dpi, um, artefact))
    return Outcome(findings, tuple(_warnings(found, sizes, artefact)), _drawing(found))


def read_artefact(params: Mapping[str, str], scans: int) -> Artefact:
    """What was scanned, from the text parameters.

    Raises:
        ValueError: in a sentence.
    """
    kind = params.get("artefact") or ("board" if params.get("board") else "strip")
    if kind == "strip":
        length, u = _number(params, "strip_length_mm"), _number(params, "strip_length_u_mm")
        if length is None:
            return Artefact("strip", PRINTER_U_PCT / 100, PRINTED_POINT_U_UM)
        if not 0.9 * NOMINAL_LENGTH_MM <= length <= 1.1 * NOMINAL_LENGTH_MM:
            raise ValueError(f"strip_length_mm lies between 144 and 176 mm, got {length:g} mm")
        share = (RULE_U_MM if u is None else u) / length
        return Artefact("strip", share, PRINTED_POINT_U_UM, length / NOMINAL_LENGTH_MM)
    if kind == "board":
        u_pct = _number(params, "board_u_pct")
        u_pct = PRINTER_U_PCT if u_pct is None else u_pct
        film = u_pct < FILM_BELOW_PCT
        point = FILM_POINT_U_UM if film else PRINTED_POINT_U_UM
        board = read_board(params.get("board") or "7x10 20 mm")
        return Artefact("board", u_pct / 100, point, board=board)
    if kind == "rule":
        return _rule(params, scans)
    raise ValueError(f"artefact is strip, board or rule, got {kind!r}")


def _rule(params: Mapping[str, str], scans: int) -> Artefact:
    length, u = _number(params, "rule_length_mm"), _number(params, "rule_length_u_mm")
    points = []
    for text in (params.get("rule_points") or "").split(";"):
        parts = [float(part) for part in text.replace(",", " ").split()] if text.strip() else []
        if len(parts) == 4:
            points.append((parts[0], parts[1], parts[2], parts[3]))
    if length is None or not 20 <= length <= 1000 or len(points) != scans:
        raise ValueError(
            "a rule needs rule_length_mm (20 to 1000) and rule_points, the pixels x1,y1,x2,y2 of "
            f"two of its lines for each of the {scans} scans, with ; between the scans"
        )
    share = (RULE_U_MM if u is None else u) / length
    return Artefact("rule", share, 0.0, rule_mm=length, rule_points=tuple(points))


def _number(params: Mapping[str, str], name: str) -> float | None:
    text = (params.get(name) or "").strip()
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and value >= 0):
        raise ValueError(f"{name} must be a number, got {text!r}")
    return value


def _one_scanner(paths: list[Path], dpi: float | None) -> tuple[str, tuple[float, float]]:
    """The scanner that all scans name ("" for none) and the resolution they share."""
    headers = [read_header(path) for path in paths]
    names = {header.scanner for header in headers}
    if len(names) > 1:
        said = ", ".join(sorted(name or "none" for name in names))
        raise ValueError(f"the scans come from several scanners ({said}); take one at a time")
    if dpi is not None:
        if not 50 <= dpi <= 4800:
            raise ValueError(f"dpi lies between 50 and 4800, got {dpi:g}")
        return names.pop(), (dpi, dpi)
    stated = [header.resolution_dpi for header in headers]
    known = [one for one in stated if one is not None]
    if len(known) < len(stated):
        raise ValueError(
            "a scan does not say its resolution; a calibration holds for one resolution only. "
            "State the dpi, or scan to a TIFF"
        )
    if np.ptp(np.array(known), axis=0).max() > 0.5:
        raise ValueError(
            f"the scans state several resolutions ({min(known)[0]:g} to {max(known)[0]:g} dpi); "
            "scan all at one"
        )
    return names.pop(), known[0]


def _seen(path: Path, artefact: Artefact, index: int) -> tuple[Placement, tuple[int, int]]:
    """The artefact's points in one scan, and the size of the picture."""
    pixels = load_picture(path).pixels
    size = (int(pixels.shape[1]), int(pixels.shape[0]))
    if artefact.kind == "rule":
        x1, y1, x2, y2 = artefact.rule_points[index]
        ends = np.array([[0.0, 0.0], [artefact.rule_mm, 0.0]])
        return Placement(np.arange(2), ends, np.array([[x1, y1], [x2, y2]])), size
    grey = np.ascontiguousarray(pixels[..., 1])
    if artefact.board is not None:
        board = find_board(grey, artefact.board)
        if board is None:
            raise ValueError(f"the board was not found in {path.name}; are its squares as stated?")
        return Placement(board.ids, board.points_mm, board.points_px), size
    strip = find_strip(grey)
    if strip is None or strip.points is None:
        raise ValueError(
            f"the bench strip was not found in {path.name}; lay it flat, face down, all six marks "
            "on the glass, and scan in grey or colour"
        )
    points = strip.points
    return Placement(points.ids, artefact.stretch * points.points_mm, points.points_px), size


def _findings(
    found: ScannerGeometry, dpi: tuple[float, float], um: tuple[float, float], artefact: Artefact
) -> list[Finding]:
    u_x, u_y = np.sqrt(np.diag(found.covariance))
    both = np.array([0.5, 0.5])
    apart = np.array([-1.0, 1.0])
    u_mean, u_ratio = (math.sqrt(float(one @ found.covariance @ one)) for one in (both, apart))
    mean, ratio = (found.scale_x + found.scale_y) / 2, found.scale_y - found.scale_x
    steady = "true length over the one by the stated resolution, less one"
    sources = ("isprs1996",)
    said = [
        Finding("", "scanner.dpi", "", dpi[0], 0.0, "dpi",
                note="as the files state it: a setting, not measured; what it truly is, the two "
                "scales say"),
        _scale("scanner.scale_x_pct", found.scale_x, float(u_x), artefact, steady),
        _scale("scanner.scale_y_pct", found.scale_y, float(u_y), artefact, steady),
        _scale("scanner.scale_mean_pct", mean, u_mean, artefact, "mean of both directions"),
        Finding("", "scanner.scale_ratio_pct", "", 100 * ratio, 100 * u_ratio, "%",
                note="scale down the picture less scale across it"),
        Finding("", "scanner.um_per_px_x", "", um[0] * (1 + found.scale_x), um[0] * float(u_x),
                "um"),
        Finding("", "scanner.um_per_px_y", "", um[1] * (1 + found.scale_y), um[1] * float(u_y),
                "um"),
        Finding("", "scanner.squareness_deg", "", math.degrees(found.squareness_rad),
                math.degrees(found.u_squareness_rad), "deg",
                note="how far its two directions are from a right angle"),
        Finding("", "scanner.repeatability_um", "", 1000 * SHEET_MM[1] * found.repeat,
                1000 * SHEET_MM[1] * found.u_repeat, "um", sources=sources,
                note="standard deviation from scan to scan of a length of 260 mm"),
        Finding("", "scanner.geometry_rms_um", "", found.geometry_rms_um, found.u_geometry_rms_um,
                "um", sources=sources,
                note="uneven error of a place on the glass, root mean square of each direction"),
        Finding("", "scanner.length_u_um", "", found.length_u_um, found.u_length_u_um, "um",
                sources=sources,
                note="standard uncertainty of a length across a sheet once the scale is taken from "
                "this calibration: geometry and repeatability"),
        Finding("", "scanner.scans", "", float(found.scans), 0.0, "1",
                note=f"counted: exact; {found.points} points, read to {found.noise_px:.2f} px"),
    ]  # fmt: skip
    return said


def _scale(name: str, value: float, u: float, artefact: Artefact, note: str) -> Finding:
    words = {"strip": "length of the strip", "board": "side of the squares",
             "rule": "length of the rule"}  # fmt: skip
    length = min(artefact.length_u, u)
    rest = math.sqrt(max(0.0, u**2 - length**2))
    terms = (
        Term("length", 100 * length, words[artefact.kind]),
        Term("scans", 100 * rest, "places, repeatability and geometry of the scans"),
    )
    return Finding("", name, "", 100 * value, 100 * u, "%", terms=terms, note=note)


def _warnings(
    found: ScannerGeometry, sizes: list[tuple[int, int]], artefact: Artefact
) -> list[str]:
    out = []
    if len(set(sizes)) > 1:
        out.append(
            "The scans differ in size, so they do not all show the whole glass: the geometry is "
            "that of the cut-outs. Scan the whole glass each time."
        )
    for index, words in ((0, "across the picture"), (1, "down the picture")):
        rest = found.covariance[index, index] - artefact.length_u**2
        if rest > _UNSEEN**2:
            out.append(
                f"The scale {words} was hardly measured: lay the {artefact.kind} once along and "
                "once across the glass."
            )
    if artefact.length_u >= PRINTER_U_PCT / 100:
        out.append(
            f"The {artefact.kind}'s length is taken as printed, which may be 0.3 % out, and so is "
            "the scale. A steel rule laid on it once would narrow it most."
        )
    return out


def _drawing(found: ScannerGeometry) -> dict[str, str]:
    """The geometry map: places on the glass [mm from its middle] and mean errors there [um]."""
    places = found.field_mm.reshape(-1, 2)
    errors = found.field_um.reshape(-1, 2)
    return {
        "glass_mm": " ".join(f"{x:.1f},{y:.1f}" for x, y in places),
        "error_um": " ".join(f"{x:.1f},{y:.1f}" for x, y in errors),
        "scan_scales_pct": " ".join(f"{100 * x:.4f},{100 * y:.4f}" for x, y in found.scan_scales),
    }
