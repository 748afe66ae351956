"""Relief of a sheet from raking light: method ``relief.measure`` (more instruments).

One picture a lamp, camera and sheet unmoved; a flat white sheet shot under each lamp too gives
height and cockle. From two lamps only a picture of slope is had.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.record.finding import Finding
from quirewell.record.measured import Term
from quirewell.record.shapes import write_points
from quirewell.science.colour.spaces import light_of, srgb_from_linear
from quirewell.science.imaging.crease_paths import crease_paths
from quirewell.science.imaging.glossy import FoundSphere, find_sphere, lamp_seen
from quirewell.science.imaging.lambert import check_stack, scaled_normals
from quirewell.science.imaging.lamps import (
    Lamp,
    check_lights,
    lamp_from_sphere,
    vectors,
)
from quirewell.science.imaging.relief import (
    Relief,
    divided_by_flat,
    measure_relief,
    slope_picture,
)
from quirewell.stages.asking import number_text
from quirewell.stages.lamp_text import read_lamps
from quirewell.stages.methods import Outcome, method
from quirewell.stages.relief_grid import LONGEST_PX, laid_on, reduced
from quirewell.studio.images import load_picture

Array = NDArray[np.float64]
Light = NDArray[np.float32]

METHOD = "relief.measure"
# What changes numbers, and last the moment the sheet was lit at, which only says so.
PARAMS = ("lamps", "dpi", "lamp_u_deg", "grid_um_per_px", "moment")
_LUMA = np.array([0.2126729, 0.7151522, 0.0721750], dtype=np.float32)
_LAMP_U_DEG = 2.0
_LOW_DEG = 15.0
_DARK_SHARE = 0.03
_LEAST_CREASE_MM = 5.0
_MOST_CREASES = 60
_SOURCES = ("woodham1980",)

KEEP_COOL = (
    "Keep the lamps cool and the light brief: brittle paper dries and cockles in a minute beside "
    "a warm lamp. Lift no sheet to make its relief clearer."
)
TWO_LAMPS = (
    "Two lamps give a picture of slope only: no angle and no height. Four lamps or more all "
    "round the sheet, at 20 to 30 degrees, would."
)
NO_FLAT = (
    "Without a flat white sheet shot under each lamp, lamps near the sheet make millimetres of bow "
    "that are not there: height and cockle are withheld. Shoot a flat white sheet under each lamp "
    "without moving camera or lamps."
)


@dataclass(frozen=True, slots=True)
class LampsHad:
    """Lamps, one for each picture; where the sphere was found in the pictures, that sphere, and
    the standard uncertainty of the directions read from it [degrees]."""

    lamps: tuple[Lamp, ...]
    u_deg: float | None = None
    sphere: FoundSphere | None = None


@dataclass(frozen=True, slots=True)
class Solved:
    """What was had from the pictures: lamps used, relief (None from two lamps), normals, how
    light the sheet is, the picture of slope (two lamps), scale, sentences of warning, and
    whether all lies on the grid of another picture, and the lamps as they were had."""

    lamps: tuple[Lamp, ...]
    relief: Relief | None
    normals: Array | None
    albedo: Light | None
    slope: Array | None
    px_mm: float
    warnings: tuple[str, ...]
    on_grid: bool = False
    had: LampsHad | None = None


@method(METHOD, 2, "seeded")
def measure(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Creases, slope, and with flat sheets the cockle of a sheet lit from several sides."""
    unknown = sorted(set(params) - set(PARAMS))
    if unknown:
        raise ValueError(
            f"{METHOD} knows no parameter {unknown[0]!r}; it knows {', '.join(PARAMS)}"
        )
    solved = solve(files, params)
    found = tuple(relief_findings(solved, _lamp_u(params, solved.had)))
    return Outcome(found, solved.warnings, _drawing(solved))


def _drawing(solved: Solved) -> dict[str, str]:
    """What a page needs to show the relief: size, scale, range of height, whether on a grid, and
    the course of each crease [px of the relief]."""
    shown = solved.slope if solved.slope is not None else solved.albedo
    assert shown is not None
    out = {
        "size_px": f"{shown.shape[1]} {shown.shape[0]}",
        "px_mm": f"{solved.px_mm:.6g}",
        "layers": "shaded",
        "on_grid": "yes" if solved.on_grid else "no",
    }
    if solved.relief is not None:
        paths = crease_paths(solved.relief.creases, _LEAST_CREASE_MM / solved.px_mm)
        drawn = (write_points(tuple((x, y) for x, y in path)) for path in paths[:_MOST_CREASES])
        out["creases"] = "; ".join(drawn)
    if solved.relief is not None and solved.relief.height is not None:
        low, high = height_range_um(solved)
        out |= {"layers": "height shaded", "height_um": f"{low:.1f} {high:.1f}"}
    return out


def height_range_um(solved: Solved) -> tuple[float, float]:
    """The 1st and the 99th hundredth of the height where it is known [um]."""
    assert solved.relief is not None and solved.relief.height is not None
    known = solved.relief.height[known_part(solved)]
    low, high = np.quantile(known, [0.01, 0.99])
    return 1000 * float(low), 1000 * float(high)


def known_part(solved: Solved) -> NDArray[np.bool_]:
    """Where a normal was found."""
    assert solved.normals is not None
    return np.isfinite(solved.normals[..., 2])


def solve(files: Mapping[str, Path], params: Mapping[str, str]) -> Solved:
    """Work out the relief of pictures with roles ``picture01``.., ``flat01``.. and ``grid``.

    Raises:
        ImageError: when a file is no picture.
        ValueError: pictures, lamps and flat sheets that do not fit, in a sentence.
    """
    stack, flats, lamps, px_mm, had = _stacked(files, params)
    warnings = [KEEP_COOL]
    if len(lamps) == 2:
        return Solved(
            lamps, None, None, None, slope_picture(stack[0], stack[1]), px_mm,
            (*warnings, TWO_LAMPS), "grid" in files, had,
        )  # fmt: skip
    lights = check_lights(vectors(lamps))
    if flats is not None:
        stack = divided_by_flat(stack, flats, lights)
    else:
        warnings.append(NO_FLAT)
    if min(lamp.elevation_deg for lamp in lamps) < _LOW_DEG:
        warnings.append(
            "A lamp stands lower than 15 degrees: the lee of creases lies in shadow. 20 to 30 "
            "degrees, and eight lamps, see more."
        )
    normals, albedo = scaled_normals(stack, lights, _lit(stack))
    relief = measure_relief(normals, px_mm, flats is not None)
    return Solved(
        lamps, relief, normals, albedo, None, px_mm, tuple(warnings), "grid" in files, had
    )


def _stacked(
    files: Mapping[str, Path], params: Mapping[str, str]
) -> tuple[Light, Light | None, tuple[Lamp, ...], float, LampsHad]:
    """Pictures and flat sheets, reduced and on the grid if there is one; lamps as the grid sees
    them; size of a pixel [mm]; lamps as they were had."""
    roles = [
        sorted(role for role in files if role.startswith(kind)) for kind in ("picture", "flat")
    ]
    pictures, tag = _open([files[role] for role in roles[0]])
    had = lamps_of(params.get("lamps", ""), pictures)
    lamps = had.lamps
    stack, shrink = _reduced(pictures)
    flats = _reduced(_open([files[role] for role in roles[1]])[0])[0] if roles[1] else None
    per_inch = _dpi(params, tag)
    px_mm = None if per_inch is None else 25.4 / per_inch * shrink
    if "grid" in files:
        grid, grid_shrink = reduced(_open([files["grid"]])[0][0])
        laid = laid_on(grid, stack, flats, lamps)
        stack, flats, lamps = laid.stack, laid.flats, laid.lamps
        own = None if px_mm is None else px_mm * laid.ratio
        px_mm = _grid_mm(params, grid_shrink) or own
    if px_mm is None:
        raise ValueError("no picture says its resolution: state the dpi, or no length can be given")
    return stack, flats, lamps, px_mm, had


def _dpi(params: Mapping[str, str], tag: float | None) -> float | None:
    """Resolution of the pictures [1/inch]: as stated, else as the first one's tag says it."""
    stated = params.get("dpi") or ""
    return _number(stated, "dpi", 50, 4800) if stated else tag


def _grid_mm(params: Mapping[str, str], shrink: float) -> float | None:
    """Size of a pixel of the reduced grid [mm], where the grid's own scale was measured."""
    text = params.get("grid_um_per_px") or ""
    return _number(text, "grid_um_per_px", 1, 1000) / 1000 * shrink if text else None


def lamps_of(text: str, pictures: Sequence[Light]) -> LampsHad:
    """Lamps as typed, or read from the sphere in each picture, one for each picture.

    Raises:
        ValueError: too few pictures, another number of lamps than pictures, or no sphere.
    """
    if len(pictures) < 2:
        raise ValueError(
            f"relief needs two pictures or more, each lit from another side, got {len(pictures)}"
        )
    said = read_lamps(text)
    if said.find:
        return _found_lamps(pictures)
    if said.sphere is not None:
        sphere = said.sphere
        return LampsHad(tuple(lamp_from_sphere(picture, sphere) for picture in pictures))
    if len(said.lamps) != len(pictures):
        raise ValueError(
            f"{len(pictures)} pictures and {len(said.lamps)} lamps: the lights file names one lamp "
            "for each picture, in the same order"
        )
    if len(said.lamps) == 2 and _apart_deg(*said.lamps) < 90:
        raise ValueError("two lamps must stand on opposite sides of the sheet for a slope picture")
    return LampsHad(said.lamps)


def _found_lamps(pictures: Sequence[Light]) -> LampsHad:
    """Lamps read from the glossy sphere that is found in the pictures."""
    check_stack(pictures)
    found = find_sphere(pictures)
    seen = [lamp_seen(picture, found) for picture in pictures]
    return LampsHad(tuple(one.lamp for one in seen), max(one.u_deg for one in seen), found)


def _apart_deg(one: Lamp, two: Lamp) -> float:
    turn = abs(one.azimuth_deg - two.azimuth_deg) % 360
    return min(turn, 360 - turn)


def _open(paths: Sequence[Path]) -> tuple[list[Light], float | None]:
    """Pictures as linear grey light, and the first one's resolution [1/inch]."""
    out, dpi = [], None
    for path in paths:
        picture = load_picture(path)
        out.append(np.asarray(light_of(picture.pixels) @ _LUMA, dtype=np.float32))
        if dpi is None and picture.resolution_dpi:
            dpi = float(picture.resolution_dpi[0])
    return out, dpi


def _number(text: str, name: str, low: float, high: float) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not low <= value <= high:
        raise ValueError(f"{name} must be a number from {low:g} to {high:g}, got {text!r}")
    return value


def _lamp_u(params: Mapping[str, str], had: LampsHad | None) -> float:
    """How sure the lamps' angles are [degrees]: as stated, as the sphere found says, or 2."""
    text = params.get("lamp_u_deg") or ""
    if text:
        return _number(text, "lamp_u_deg", 0.05, 20)
    return had.u_deg if had is not None and had.u_deg is not None else _LAMP_U_DEG


def _reduced(pictures: Sequence[Light]) -> tuple[Light, float]:
    """All pictures as one array, at most 2000 px on the longer side, and by how much smaller."""
    stack = check_stack(pictures)
    if max(stack.shape[1:]) <= LONGEST_PX:
        return stack, 1.0
    small = [reduced(picture) for picture in stack]
    return check_stack([part for part, _ in small]), small[0][1]


def _lit(stack: Light) -> NDArray[np.bool_]:
    """Where enough light came back from any lamp: not the dark ground, not black ink's depth."""
    mean = stack.mean(axis=0)
    top = float(np.quantile(mean[::7, ::7], 0.95))
    if top <= 0:
        raise ValueError("all pictures are dark: was the lamp on, the lens cap off?")
    return np.asarray(mean > _DARK_SHARE * top)


def relief_findings(solved: Solved, lamp_u_deg: float) -> list[Finding]:
    """Crease length, tilt and cockle, each with its uncertainty."""
    relief, had = solved.relief, _lamp_findings(solved.had)
    if relief is None:
        return [*had, Finding("", "relief.verdict", "", text=TWO_LAMPS)]
    lowest = math.radians(min(lamp.elevation_deg for lamp in solved.lamps))
    share = math.radians(lamp_u_deg) / (math.sin(lowest) * math.cos(lowest))
    basis = f"lamps known to {lamp_u_deg:g} degrees, the lowest at {math.degrees(lowest):.0f}"
    crease_u = math.hypot(0.03 * relief.crease_mm, 2.5)
    tilt_u = share * relief.slope_deg
    out = [
        *had,
        Finding(
            "", "relief.crease_mm", "", relief.crease_mm, crease_u, "mm", sources=_SOURCES,
            low90=max(0.0, relief.crease_mm - 1.645 * crease_u),
            high90=relief.crease_mm + 1.645 * crease_u, smallest_seen=5.0,
            note="length of creases of 5 mm or more, ridges and valleys of curvature",
        ),
    ]  # fmt: skip
    if relief.cockle_um is None:
        out.append(Finding("", "relief.verdict", "", text=NO_FLAT))
        return out
    terms = (
        Term("lamps", share * relief.cockle_um, basis),
        Term("pictures", 2.0, "noise and print, measured on drawn sheets"),
    )
    u = math.hypot(*(term.u for term in terms))
    out += [
        Finding(
            "", "relief.slope_rms_deg", "", relief.slope_deg, tilt_u, "deg", sources=_SOURCES,
            terms=(Term("lamps", tilt_u, basis),), note="root mean square tilt of the surface",
        ),
        Finding(
            "", "relief.cockle_rms_um", "", relief.cockle_um, u, "um", sources=_SOURCES,
            low90=max(0.0, relief.cockle_um - 1.645 * u), high90=relief.cockle_um + 1.645 * u,
            terms=terms, smallest_seen=8.0,
            note="root mean square height in the band of 5 to 80 mm",
        ),
    ]  # fmt: skip
    words = (
        f"cockle of {relief.cockle_um:.0f} µm root mean square and {relief.crease_mm:.0f} mm of "
        "crease"
    )
    return [*out, Finding("", "relief.verdict", "", text=words)]


def _lamp_findings(had: LampsHad | None) -> list[Finding]:
    """Where the lamps stood by the sphere found, in words; nothing when they were typed."""
    if had is None or had.sphere is None or had.u_deg is None:
        return []
    ball = had.sphere.sphere
    middle, radius = (number_text(value, u) for value, u in (
        (ball.x_px, had.sphere.u_middle_px), (ball.radius_px, had.sphere.u_radius_px)))  # fmt: skip
    lamps = "; ".join(f"{lamp.azimuth_deg:.0f}, {lamp.elevation_deg:.0f}" for lamp in had.lamps)
    says = (
        f"lamps read from the sphere found at {middle} px across and "
        f"{number_text(ball.y_px, had.sphere.u_middle_px)} px down, radius {radius} px: azimuth "
        f"and elevation {lamps} degrees, each ± {2 * had.u_deg:.1f}"
    )
    return [Finding("", "relief.lamps", "", text=says)]


def pictures_of(solved: Solved) -> dict[str, NDArray[np.uint8]]:
    """Pictures to look at, by name: slope, creases, height (where it is not withheld), albedo.

    Height runs from its 1st to its 99th hundredth, dark low and light high.
    """
    if solved.slope is not None:
        return {"slope": _rgb(solved.slope)}
    assert solved.relief is not None and solved.normals is not None and solved.albedo is not None
    filled = np.where(np.isfinite(solved.normals), solved.normals, 0.0)
    tilt = np.clip(0.5 + 2.0 * (0.7 * filled[..., 0] - 0.7 * filled[..., 1]), 0, 1)
    out = {"slope": _rgb(tilt)}
    lines = cv2.dilate(solved.relief.creases.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    drawn = _rgb(tilt)
    drawn[lines] = (176, 30, 30)
    out["creases"] = drawn
    if solved.relief.height is not None:
        low, high = np.quantile(solved.relief.height, [0.01, 0.99])
        out["height"] = _rgb((solved.relief.height - low) / max(high - low, 1e-9))
    top = max(float(np.quantile(solved.albedo, 0.99)), 1e-9)
    out["albedo"] = _rgb(srgb_from_linear(np.clip(solved.albedo / top, 0, 1)))
    return out


def _rgb(values: Array) -> NDArray[np.uint8]:
    grey = np.round(np.clip(values, 0, 1) * 255).astype(np.uint8)
    return np.repeat(grey[..., None], 3, axis=2)
