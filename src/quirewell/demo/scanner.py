"""An invented flatbed: a sheet with its ink on the glass, and the picture that comes out.

Light is added up in linear sRGB, as a sensor does: edges are mixed by exact coverage, the lens
blurs, and only then is the picture encoded and noise added. A pixel ``(column, row)`` covers
the glass from ``column * um_per_px`` to ``(column + 1) * um_per_px``; its middle lies half a
pixel further.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.demo.coverage import coverage
from quirewell.demo.outline import Movement, Outline, Points
from quirewell.demo.tone import ToneField, decode, encode, smooth_noise

Image = NDArray[np.uint8]
Float = NDArray[np.float32]
Ground = Literal["dark", "white", "uneven"]


@dataclass(frozen=True, slots=True)
class Glass:
    """The scanner: size of the picture, its true scale, what lies behind, and its faults."""

    width_mm: float
    height_mm: float
    um_per_px_x: float
    um_per_px_y: float
    ground: Ground = "dark"
    noise: float = 1.1
    blur_px: float = 0.45

    @property
    def size_px(self) -> tuple[int, int]:
        """(height, width) of the picture [px]."""
        return (
            round(self.height_mm * 1000.0 / self.um_per_px_y),
            round(self.width_mm * 1000.0 / self.um_per_px_x),
        )


@dataclass(frozen=True, slots=True)
class Pose:
    """Where the sheet lies: sheet point ``pin_mm`` on glass point ``at_mm``, turned clockwise."""

    pin_mm: tuple[float, float]
    at_mm: tuple[float, float]
    skew_deg: float = 0.0

    def on_glass(self, points: Points) -> Points:
        """Sheet points (N, 2) [mm] as glass points [mm]."""
        angle = np.radians(self.skew_deg)
        x, y = points[:, 0] - self.pin_mm[0], points[:, 1] - self.pin_mm[1]
        return np.column_stack(
            [
                self.at_mm[0] + x * np.cos(angle) - y * np.sin(angle),
                self.at_mm[1] + x * np.sin(angle) + y * np.cos(angle),
            ]
        )


@dataclass(frozen=True, slots=True)
class Ink:
    """One ink on the sheet: a plate of coverage and the light it lets back (linear R, G, B)."""

    plate: Image
    px_per_mm: float
    passes: tuple[float, float, float] = (0.075, 0.07, 0.07)
    origin_mm: tuple[float, float] = (0.0, 0.0)
    gain: float = 1.3
    mottle: float = 0.1


@dataclass(frozen=True, slots=True)
class Face:
    """One side of a sheet as it is scanned. The outline has already moved; ink, tone and grain
    are given on the untreated sheet and move with it."""

    outline: Outline
    tone: ToneField
    inks: tuple[Ink, ...]
    movement: Movement = field(default_factory=Movement)
    through: Ink | None = None
    grain_seed: int = 0
    grain: float = 0.045
    fold_mm: float | None = None


def to_px(glass: Glass, points_mm: Points) -> Points:
    """Glass points [mm] as picture points [px]."""
    return points_mm * [1000.0 / glass.um_per_px_x, 1000.0 / glass.um_per_px_y]


def scan(face: Face, pose: Pose, glass: Glass, seed: int, *, laid: tuple[Laid, ...] = ()) -> Image:
    """The scan of a face, with whatever else was ``laid`` on the glass."""
    rng = np.random.default_rng([seed, 3])
    alpha, light = lit(face, pose, glass)
    picture = _ground(glass, rng) * _shadow(alpha, glass)[..., None]
    picture += alpha[..., None] * (light - picture)
    for thing in laid:
        lay(picture, thing, glass)
    values = encode(_float(cv2.GaussianBlur(picture, (0, 0), glass.blur_px))) * np.float32(255.0)
    values += glass.noise * rng.standard_normal(values.shape, dtype=np.float32)
    return np.asarray(np.clip(values + 0.5, 0, 255), dtype=np.uint8)


def lit(face: Face, pose: Pose, glass: Glass) -> tuple[Float, Float]:
    """Coverage by the sheet and the light (linear sRGB) it lets back, evenly lit."""
    polygons = [to_px(glass, pose.on_glass(p)) for p in face.outline.polygons()]
    alpha = coverage(polygons, *glass.size_px)
    x, y = _sheet_points(face.movement, pose, glass)
    return alpha, _paper(face, x, y, glass.um_per_px_x / 1000.0)


def _float(values: NDArray[Any]) -> Float:
    return np.asarray(values, dtype=np.float32)


def _sheet_points(movement: Movement, pose: Pose, glass: Glass) -> tuple[Float, Float]:
    """Untreated sheet coordinates [mm] of every pixel's middle."""
    height, width = glass.size_px
    u = (np.arange(width) + 0.5) * glass.um_per_px_x / 1000.0 - pose.at_mm[0]
    v = (np.arange(height) + 0.5) * glass.um_per_px_y / 1000.0 - pose.at_mm[1]
    angle = np.radians(pose.skew_deg)
    c, s = np.cos(angle), np.sin(angle)
    sx, sy = 1.0 + movement.stretch_x, 1.0 + movement.stretch_y
    x = (((pose.pin_mm[0] + c * u) / sx)[None, :] + (s * v / sx)[:, None]).astype(np.float32)
    y = ((-s * u / sy)[None, :] + ((pose.pin_mm[1] + c * v) / sy)[:, None]).astype(np.float32)
    if movement.warp_x_mm or movement.warp_y_mm:
        step = 8
        rows, columns = -(-height // step), -(-width // step)
        at_u = (np.arange(columns) + 0.5) * step * glass.um_per_px_x / 1000.0 - pose.at_mm[0]
        at_v = (np.arange(rows) + 0.5) * step * glass.um_per_px_y / 1000.0 - pose.at_mm[1]
        px = ((pose.pin_mm[0] + c * at_u)[None, :] + (s * at_v)[:, None]) / sx
        py = ((-s * at_u)[None, :] + (pose.pin_mm[1] + c * at_v)[:, None]) / sy
        wave_x, wave_y = movement.waves(px, py)
        wave_x, wave_y = movement.waves(px - wave_x / sx, py - wave_y / sy)
        size = (columns * step, rows * step)
        x -= cv2.resize((wave_x / sx).astype(np.float32), size)[:height, :width]
        y -= cv2.resize((wave_y / sy).astype(np.float32), size)[:height, :width]
    return x, y


def _paper(face: Face, x: Float, y: Float, px_mm: float) -> Float:
    """Light from the sheet (linear sRGB) at untreated sheet points."""
    tone = face.tone
    light: NDArray[Any] = cv2.remap(
        tone.linear(),
        (x - tone.origin_mm[0]) / tone.cell_mm,
        (y - tone.origin_mm[1]) / tone.cell_mm,
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    shade = 1.0 + face.grain * _grain(face.grain_seed, x, y, px_mm)
    if face.fold_mm is not None:
        d = np.abs(x - face.fold_mm)
        shade *= 1.0 - 0.2 * np.exp(-((d / 0.3) ** 2)) + 0.05 * np.exp(-(((d - 0.9) / 0.6) ** 2))
    if face.through is not None:
        shade *= 1.0 - 0.07 * _sample(face.through, x, y, px_mm, spread_mm=0.35)
    light = light * shade[..., None]
    patchy = np.clip(_grain(face.grain_seed + 1, x, y, px_mm), 0.0, 3.0)
    for ink in face.inks:
        share = _sample(ink, x, y, px_mm) * (1.0 - ink.mottle * patchy)
        light = light * (1.0 - share[..., None] * (1.0 - np.array(ink.passes, np.float32)))
    return np.asarray(light, dtype=np.float32)


def _sample(ink: Ink, x: Float, y: Float, px_mm: float, spread_mm: float = 0.0) -> Float:
    """Coverage [0..1] of an ink at sheet points, averaged over about one pixel of the picture."""
    sigma = np.hypot(0.42 * px_mm, spread_mm) * ink.px_per_mm
    plate = cv2.GaussianBlur(ink.plate, (0, 0), float(max(sigma, 0.3)))
    found = cv2.remap(
        plate,
        (x - ink.origin_mm[0]) * ink.px_per_mm - 0.5,
        (y - ink.origin_mm[1]) * ink.px_per_mm - 0.5,
        cv2.INTER_LINEAR,
    )
    spread = np.asarray(found, dtype=np.float32) / np.float32(255.0)
    return _float(np.minimum(np.float32(1.0), spread * np.float32(ink.gain)))


_GRAIN_PX_PER_MM = 12.0


def _grain(seed: int, x: Float, y: Float, px_mm: float) -> Float:
    """Texture of wood pulp, standard deviation about 1, at sheet points."""
    tile = _grain_tile(seed % 3)
    shift = np.random.default_rng([seed, 11]).uniform(0, 85, 2)
    sigma = 0.35 * px_mm * _GRAIN_PX_PER_MM
    tile = _float(cv2.GaussianBlur(tile, (0, 0), sigma)) if sigma > 0.3 else tile
    return np.asarray(
        cv2.remap(
            tile,
            (x + np.float32(shift[0])) * _GRAIN_PX_PER_MM,
            (y + np.float32(shift[1])) * _GRAIN_PX_PER_MM,
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_WRAP,
        )
    )


@lru_cache(maxsize=3)
def _grain_tile(seed: int) -> Float:
    """A tile (it repeats) of clouds, felt marks and fibres."""
    rng = np.random.default_rng([seed, 19])
    size = 1024
    white = 1.3 * rng.standard_normal((size, size), dtype=np.float32)
    tile: NDArray[Any] = cv2.GaussianBlur(white, (0, 0), 0.8)
    for cells, weight in ((3.0, 0.5), (8.0, 0.5), (22.0, 0.4), (60.0, 0.3)):
        layer = rng.standard_normal((size, size), dtype=np.float32)
        around = np.tile(layer, (3, 3))[size - 200 : 2 * size + 200, size - 200 : 2 * size + 200]
        wide = cv2.GaussianBlur(around, (0, 0), cells)[200:-200, 200:-200]
        tile = tile + weight * wide / float(wide.std())
    fibres = np.zeros((size, size), np.float32)
    for _ in range(2600):
        x, y = rng.uniform(0, size, 2)
        angle, length = rng.uniform(0, np.pi), rng.uniform(6, 34)
        bend = (x + length * np.cos(angle), y + length * np.sin(angle))
        weight = float(rng.choice([-2.4, -1.4, 1.6, 2.2]) * rng.random())
        cv2.line(
            fibres, (round(x), round(y)), (round(bend[0]), round(bend[1])), weight, 1, cv2.LINE_AA
        )
    tile = tile + 1.1 * cv2.GaussianBlur(fibres, (0, 0), 0.7)
    tile = tile - float(tile.mean())
    return np.asarray(tile / float(tile.std()), dtype=np.float32)


def _ground(glass: Glass, rng: np.random.Generator) -> Float:
    """What lies behind the sheet: a dark card, the white lid, or an uneven cloth."""
    height, width = glass.size_px
    cloud = smooth_noise(rng, height, width, max(height, width) / 5)
    fine = smooth_noise(rng, height, width, 3.0)
    if glass.ground == "white":
        level = 240.0 + 2.0 * cloud + 0.5 * fine
        tint = (1.0, 0.998, 0.985)
    elif glass.ground == "uneven":
        slope = np.linspace(24.0, 96.0, width, dtype=np.float32)[None, :]
        level = slope + 14.0 * cloud + 3.0 * fine
        tint = (1.0, 0.97, 0.94)
    else:
        level = 40.0 + 2.0 * cloud + 1.2 * fine
        tint = (1.0, 1.0, 1.02)
    linear = decode(np.clip(level, 0, 255) / 255.0).astype(np.float32)
    return np.asarray(linear[..., None] * np.array(tint, np.float32), dtype=np.float32)


def _shadow(alpha: Float, glass: Glass) -> Float:
    """The soft shadow of the sheet on what lies behind it."""
    px_per_mm = 1000.0 / glass.um_per_px_x
    depth = 0.3 if glass.ground == "white" else 0.5
    small = cv2.resize(alpha, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    soft = cv2.GaussianBlur(small, (0, 0), max(0.3, 1.1 * px_per_mm * 0.25))
    soft = cv2.resize(soft, (alpha.shape[1], alpha.shape[0]), interpolation=cv2.INTER_LINEAR)
    move = np.array([[1, 0, 0.5 * px_per_mm], [0, 1, 0.9 * px_per_mm]], np.float32)
    moved = cv2.warpAffine(
        soft, move, (alpha.shape[1], alpha.shape[0]), borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(1.0 - depth * moved, dtype=np.float32)


@dataclass(frozen=True, slots=True)
class Laid:
    """A flat grey thing beside the sheet: linear light at ``px_per_mm``, size and pose [mm]."""

    light: Float
    px_per_mm: float
    size_mm: tuple[float, float]
    pose: Pose
    marks_mm: Mapping[str, tuple[float, float]] = field(default_factory=dict)


def lay(picture: Float, thing: Laid, glass: Glass) -> None:
    """Put a flat thing into a picture of linear light."""
    w, h = thing.size_mm
    corners = np.array([[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]])
    box = to_px(glass, thing.pose.on_glass(corners))
    height, width = glass.size_px
    top, bottom = max(0, int(box[:, 1].min()) - 4), min(height, int(box[:, 1].max()) + 5)
    alpha = coverage([box - [0.0, top]], bottom - top, width)
    still = Movement()
    row = Pose(
        thing.pose.pin_mm,
        (thing.pose.at_mm[0], thing.pose.at_mm[1] - top * glass.um_per_px_y / 1000.0),
        thing.pose.skew_deg,
    )
    part = Glass(
        width * glass.um_per_px_x / 1000.0,
        (bottom - top) * glass.um_per_px_y / 1000.0,
        glass.um_per_px_x,
        glass.um_per_px_y,
    )
    x, y = _sheet_points(still, row, part)
    sigma = 0.42 * glass.um_per_px_x / 1000.0 * thing.px_per_mm
    found = cv2.remap(
        cv2.GaussianBlur(thing.light, (0, 0), sigma),
        x * thing.px_per_mm - 0.5,
        y * thing.px_per_mm - 0.5,
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    target = picture[top:bottom]
    target += alpha[..., None] * (found[..., None] - target)
