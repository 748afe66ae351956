"""Staple holes of a sheet in one picture: method ``holes.find``.

Role "image": the picture, scanned or photographed, of a whole sheet or of that half of an opened
wrap that holds the fold. Findings: place, size and state of each hole in the sheet's own frame,
the table row of each (``holes.rows``), and what was taken for none.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal

import numpy as np

from quirewell.record.finding import Finding, Run
from quirewell.record.measured import Term
from quirewell.record.shapes import write_points
from quirewell.science.booklet.holes import HoleAt, Sheet
from quirewell.science.imaging.scale import Scale
from quirewell.science.imaging.staple_holes import (
    LIGHTS,
    FoundHole,
    HolesFound,
    LightSaid,
    find_holes,
)
from quirewell.science.imaging.strip import StripFound, find_strip
from quirewell.stages.flat_photo import (
    HEIGHT_U_MM,
    HOW,
    Laid,
    camera_terms,
    lay_flat,
    scale_of_height,
)
from quirewell.stages.hole_table import MOST_HOLES, read_holes, write_holes
from quirewell.stages.measuring_asked import PARAMS as SCALE_PARAMS
from quirewell.stages.measuring_asked import Asked, read_params
from quirewell.stages.measuring_said import BadParameter, check_inside
from quirewell.stages.measuring_scale import choose_scale
from quirewell.stages.methods import Outcome, method
from quirewell.studio.images import load_picture

METHOD = "holes.find"
PARAMS = ("side", "light", "expected", "count", "camera", "height_mm", "height_u_mm", "wrap")
_ALSO = tuple(name for name in SCALE_PARAMS if name not in ("target", "card", "card_by"))
_SHEET_OF_NO_NAME = "w01"


@method(METHOD, 2, "exact")
def find(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Staple holes near the fold of a sheet: place, size and state of each, and what is none."""
    asked = _Asked(params)
    picture = load_picture(files["image"])
    pixels: np.ndarray[Any, Any] = picture.pixels
    check_inside(asked.scale.said, pixels.shape[1], pixels.shape[0])
    laid = Laid(pixels, asked.scale, None)
    if asked.photo:
        laid = lay_flat(pixels, asked.scale, asked.height_mm, asked.light)
    green = np.ascontiguousarray(laid.pixels[..., 1])
    strip = find_strip(green)
    scale, says = _scale(asked, laid, strip, picture.resolution_dpi, green)
    # What a file says of its resolution is said for scans; a photograph has none.
    told = [one for one in picture.warnings if not asked.photo or "resolution" not in one]
    says = [*told, *laid.says, *says]
    if scale is None:
        return Outcome((Finding("", "scale.source", "", text="none"),), tuple(says))
    found = find_holes(
        laid.pixels, (scale.um_per_px_x / 1000.0, scale.um_per_px_y / 1000.0),
        panel=asked.scale.panel, side=asked.side, light=asked.light, expected=asked.expected,
        count=asked.count, said=laid.asked.said, hidden=(strip.box_px,) if strip else (),
    )  # fmt: skip
    says += found.warnings
    if asked.wrap == "" and found.holes:
        says.append(f"No sheet was named; the rows of the table say {_SHEET_OF_NO_NAME}.")
    return Outcome(tuple(_findings(found, scale, asked, laid)), tuple(says), _drawing(found, laid))


def _scale(
    asked: _Asked, laid: Laid, strip: StripFound | None, tag_dpi: tuple[float, float] | None,
    green: np.ndarray[Any, Any],
) -> tuple[Scale | None, list[str]]:  # fmt: skip
    """The scale of the picture looked in; a photograph's own tag says nothing."""
    if laid.flat is not None and asked.height_mm is not None:
        return scale_of_height(laid.flat, asked.height_mm, asked.height_u_mm), []
    scale, says = choose_scale(laid.asked, strip, None if asked.photo else tag_dpi, green)
    if asked.photo and scale is None:
        says = ["Nothing says how large the sheet is in this photograph. " + HOW]
    return scale, says


class _Asked:
    """Parameters of the method, checked."""

    def __init__(self, params: Mapping[str, str]) -> None:
        unknown = sorted(set(params) - {*PARAMS, *_ALSO})
        if unknown:
            raise BadParameter(
                f"holes.find knows no parameter {unknown[0]!r}; it knows "
                f"{', '.join((*PARAMS, *_ALSO))}"
            )
        self.scale: Asked = read_params({k: v for k, v in params.items() if k in _ALSO})
        side, light = params.get("side") or "outer", params.get("light") or ""
        if side not in ("outer", "inner"):
            raise BadParameter(f"side must be outer or inner, got {side!r}")
        if light not in ("", *LIGHTS):
            raise BadParameter(f"light must be transmitted, dark or light, got {light!r}")
        self.side: Literal["outer", "inner"] = "inner" if side == "inner" else "outer"
        self.light: LightSaid = next((one for one in LIGHTS if one == light), "")
        self.expected = _expected(params.get("expected") or "")
        self.count = _count(params.get("count") or "")
        camera = params.get("camera") or ""
        if camera not in ("", "scan", "photo"):
            raise BadParameter(f"camera must be scan or photo, got {camera!r}")
        self.photo = camera == "photo"
        self.height_mm = _length(params, "height_mm", (40.0, 600.0))
        self.height_u_mm = _length(params, "height_u_mm", (0.0, 5.0)) or HEIGHT_U_MM
        if self.height_mm is not None and not self.photo:
            raise BadParameter(
                "height_mm gives a photograph its scale; a scan has its own (say camera=photo)"
            )
        self.wrap = _wrap(params.get("wrap") or "")


def _length(params: Mapping[str, str], name: str, limits: tuple[float, float]) -> float | None:
    text = (params.get(name) or "").strip()
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not limits[0] <= value <= limits[1]:
        raise BadParameter(f"{name} lies between {limits[0]:g} and {limits[1]:g} mm, got {text!r}")
    return value


def _expected(text: str) -> tuple[float, ...]:
    words = text.replace(";", " ").split()
    try:
        places = tuple(float(word) for word in words)
    except ValueError:
        places = (math.nan,)
    if len(places) > MOST_HOLES or not all(0.0 < y < 1000.0 for y in places):
        raise BadParameter(
            f"expected holds up to {MOST_HOLES} places in mm from the head, with spaces between, "
            f"as in 60 73 187 200; got {text!r}"
        )
    return places


def _count(text: str) -> int:
    if not text:
        return 0
    if not (text.isascii() and text.isdigit() and int(text[:6]) <= MOST_HOLES):
        raise BadParameter(f"count is how many holes there should be, 0 to {MOST_HOLES}: {text!r}")
    return int(text)


def _wrap(text: str) -> str:
    if not text:
        return ""
    try:
        return read_holes(f"wrap,hole,x_mm,y_mm\n{text.splitlines()[0]},1,0,1\n")[0].name
    except ValueError:
        raise BadParameter(
            f"a sheet is c (cover) or w03 (wrap 3 from the outside), got {text!r}"
        ) from None


def _findings(found: HolesFound, scale: Scale, asked: _Asked, laid: Laid) -> list[Finding]:
    out = [
        Finding("", "scale.source", "", text=scale.source, note=scale.says),
        Finding("", "holes.light", "", text=found.light or "unknown"),
    ]
    rows = []
    shown = laid.in_picture(found).holes
    for hole, seen in zip(found.holes, shown, strict=True):
        name = f"hole.{hole.number}"
        out.append(Finding("", f"{name}.state", "", text=hole.state, note=hole.note))
        own = hole.u_mm
        if hole.x_mm is not None and hole.y_mm is not None and own is not None:
            camera = _camera(hole, found, scale, asked, laid)
            x_terms, y_terms = _terms(hole, found, scale, camera)
            out.append(_measured(f"{name}.x_mm", hole.x_mm, x_terms))
            out.append(_measured(f"{name}.y_mm", hole.y_mm, y_terms))
            size = (Term("rim", max(own, 0.02), "as unsure as its place, 0.02 mm or more"),)
            out.append(_measured(f"{name}.size_mm", hole.size_mm or 0.0, size))
            if seen.px is not None:
                out.append(Finding("", f"{name}.px", "", text=write_points((seen.px,))))
            # The table keeps what scatters from hole to hole: the camera's share does.
            own = math.hypot(own, *(term.u for term in camera[1]))
        rows.append(
            HoleAt(hole.number, hole.x_mm, hole.y_mm, own, hole.size_mm, hole.state)
        )  # fmt: skip
    text = write_holes([Sheet(asked.wrap or _SHEET_OF_NO_NAME, tuple(rows))]) if rows else ""
    out.append(Finding("", "holes.rows", "", text=text))
    aside = "; ".join(
        f"x {one.x_mm:+.1f} y {one.y_mm:.1f} mm, {one.size_mm:.2f} mm: {one.why}"
        for one in found.rejected
    )
    out.append(Finding("", "holes.set_aside", "", text=aside))
    return out


Terms = tuple[tuple[Term, ...], tuple[Term, ...]]


def _camera(
    hole: FoundHole, found: HolesFound, scale: Scale, asked: _Asked, laid: Laid
) -> Terms:  # fmt: skip
    if not asked.photo:
        return (), ()
    by_height = asked.height_mm is not None
    return camera_terms(laid, hole, found, scale.um_per_px_y / 1000.0, by_height)


def _terms(hole: FoundHole, found: HolesFound, scale: Scale, camera: Terms) -> Terms:
    """Budgets of x and y: the hole's own place, the frame, the scale, the camera."""
    frame = found.frame
    if frame is None or hole.x_mm is None or hole.y_mm is None or hole.u_mm is None:
        return (), ()
    own = Term("hole", hole.u_mm, "contrast, pixel and shape of the hole")
    turned = abs(frame.turn_u * (hole.y_mm - 0.5 * frame.height_mm))
    x = [own, Term("fold", math.hypot(frame.fold_u_mm, turned), "the fold is a groove, not a line")]
    y = [own, Term("head edge", frame.head_u_mm, "unevenness of the edge, and light at it")]
    relative = math.sqrt(sum(term.u**2 for term in scale.terms_y)) / 100.0
    y.append(Term("scale", relative * hole.y_mm, scale.says))
    if camera[1]:
        return (*x, *camera[0]), (*y, *camera[1])
    glass = scale.glass_um / 1000.0 * math.sqrt(min(1.0, hole.y_mm / frame.height_mm))
    y.append(Term("scanner", glass, scale.glass_basis))
    return tuple(x), tuple(y)


def _measured(quantity: str, value: float, terms: tuple[Term, ...]) -> Finding:
    u = math.sqrt(sum(term.u**2 for term in terms))
    return Finding("", quantity, "", value=value, u=u, unit="mm", terms=terms)


def _drawing(found: HolesFound, laid: Laid) -> dict[str, str]:
    """``frame``: six numbers a b c d e f, pixels to the sheet's frame (x = a px + b py + c, y = d
    px + e py + f), or eight a b c d e f g h of a photograph (both over g px + h py + 1);
    ``band``: corners of what was searched; ``holes``: middles, in order."""
    matrix = laid.matrix(found)
    if matrix is None:
        return {}
    shown = laid.in_picture(found)
    numbers = matrix.ravel() if matrix.shape[0] == 2 else matrix.ravel()[:8]
    out = {
        "frame": " ".join(f"{value:.12g}" for value in numbers),
        "band": write_points(shown.band_px),
    }
    places = tuple(hole.px for hole in shown.holes if hole.px is not None)
    return out | ({"holes": write_points(places)} if places else {})


def as_json(run: Run) -> dict[str, Any]:
    """What a search found, as plain data for a script."""
    by_name = {finding.quantity: finding for finding in run.findings}

    def value(name: str) -> float | None:
        return by_name[name].value if name in by_name else None

    def u(name: str) -> float | None:
        return by_name[name].u if name in by_name else None

    def text(name: str) -> str:
        return by_name[name].text if name in by_name else ""

    table = read_holes(text("holes.rows")) if text("holes.rows") else []
    holes = []
    for one in table[0].holes if table else ():
        name = f"hole.{one.number}"
        place = text(f"{name}.px")
        holes.append(
            {
                "number": one.number,
                "x_mm": value(f"{name}.x_mm"),
                "y_mm": value(f"{name}.y_mm"),
                "u_mm": one.u_mm,
                "u_x_mm": u(f"{name}.x_mm"),
                "u_y_mm": u(f"{name}.y_mm"),
                "size_mm": value(f"{name}.size_mm"),
                "state": one.state,
                "px": [float(part) for part in place.split(",")] if place else None,
                "note": by_name[f"{name}.state"].note,
            }
        )
    return {
        "holes": holes,
        "light": text("holes.light"),
        "scale": by_name["scale.source"].note or by_name["scale.source"].text,
        "set_aside": [part for part in text("holes.set_aside").split("; ") if part],
        "warnings": list(run.warnings),
    }
