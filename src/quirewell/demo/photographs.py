"""Phone photographs of the whole Annual on the bench, before and after treatment.

They are plausible pictures to look at and to try intake on; nothing is measured from them, so
nothing but their names is in the truth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image as Pillow

from quirewell.demo.bench_strip import lay_strip
from quirewell.demo.coverage import coverage
from quirewell.demo.outline import Outline
from quirewell.demo.publication import STAPLES_MM, WRAPS, SheetPlan, sheet_plan
from quirewell.demo.scanner import Face, Float, Glass, Pose, lay, lit, to_px
from quirewell.demo.scans import DrawnSheet, half_outline
from quirewell.demo.tone import encode, linear_from_lab, smooth_noise

VIEWS = (
    "item-front-before",
    "item-back-before",
    "item-spine-before",
    "item-head-before",
    "item-lamp-left-before",
    "item-gloss-before",
    "item-front-after",
    "item-spine-after",
    "item-lamp-left-after",
)
TURNED = "item-front-before"
PHOTO_PX = (1600, 1200)
_UM = 265.0


@dataclass(frozen=True, slots=True)
class Lamp:
    """Direction the light comes from (x right, y down, z up) and how it mixes with the room's."""

    towards: tuple[float, float, float]
    share: float
    gloss: float = 0.0


LAMPS = {
    "front": Lamp((-0.25, -0.45, 0.86), 0.55),
    "back": Lamp((-0.25, -0.45, 0.86), 0.55),
    "lamp-left": Lamp((-0.97, -0.06, 0.22), 0.95),
    "lamp-top": Lamp((0.05, -0.97, 0.22), 0.95),
    "gloss": Lamp((0.1, -0.75, 0.65), 0.7, 0.5),
}


def write_photographs(
    folder: Path, dpi: int, seed: int, views: Sequence[str] = VIEWS
) -> tuple[str, ...]:
    """Write views as JPEG; one lies on its side with an EXIF orientation that says so."""
    drawn = DrawnSheet(sheet_plan("c", seed), min(dpi, 100), seed)
    names = []
    for name in views:
        view, moment = name.removeprefix("item-").rsplit("-", 1)
        rng = np.random.default_rng([seed, 700, VIEWS.index(name)])
        if view == "spine":
            light = _spine(drawn, moment, rng)
        elif view == "head":
            light = _head(drawn.plan, moment, rng)
        else:
            light = _lying(drawn, view, moment, rng)
        _write(folder / f"{name}.jpg", light, rng, turned=name == TURNED)
        names.append(f"{name}.jpg")
    return tuple(names)


def _write(path: Path, light: Float, rng: np.random.Generator, *, turned: bool) -> None:
    height, width = light.shape[:2]
    y, x = np.mgrid[-1 : 1 : height * 1j, -1 : 1 : width * 1j].astype(np.float32)
    falloff = 1.0 - 0.13 * (x * x + y * y)
    seen = cv2.GaussianBlur(light * falloff[..., None], (0, 0), 0.8)
    values = 255.0 * encode(np.asarray(seen, dtype=np.float32))
    values += 1.8 * rng.standard_normal(values.shape, dtype=np.float32)
    pixels = np.clip(values + 0.5, 0, 255).astype(np.uint8)
    picture = Pillow.fromarray(np.ascontiguousarray(np.rot90(pixels)) if turned else pixels)
    exif = Pillow.Exif()
    exif[274] = 6 if turned else 1
    picture.save(path, "JPEG", quality=88, subsampling=2, exif=exif)


def _wood(rows: int, columns: int, px_per_mm: float, rng: np.random.Generator) -> Float:
    """A bench top: long grain, planks, a little wear."""
    grain = cv2.resize(
        rng.standard_normal((rows, max(4, columns // 90)), dtype=np.float32),
        (columns, rows),
        interpolation=cv2.INTER_CUBIC,
    )
    grain = cv2.GaussianBlur(grain, (0, 0), sigmaX=6.0, sigmaY=0.9)
    broad = smooth_noise(rng, rows, columns, 60 * px_per_mm)
    level = 1.0 + 0.16 * grain + 0.13 * broad
    plank = np.abs((np.arange(rows) / px_per_mm / 86.0 + 0.37) % 1.0 - 0.5)
    level *= (1.0 - 0.55 * np.exp(-(((0.5 - plank) * 86.0 / 0.7) ** 2)))[:, None]
    return np.asarray(
        level[..., None] * np.array([0.235, 0.155, 0.095], np.float32), dtype=np.float32
    )


def _lying(drawn: DrawnSheet, view: str, moment: str, rng: np.random.Generator) -> Float:
    """The closed Annual seen from above, a little askew, under one lamp."""
    plan = drawn.plan
    glass = Glass(290.0, 370.0, _UM, _UM)
    rows, columns = glass.size_px
    turn = float(rng.uniform(-1.6, 1.6))
    panel = "left" if view == "back" else "right"
    face = drawn.face("outer", moment)
    y = np.linspace(0.0, plan.height_mm, 300)
    fold = face.movement.forward(np.column_stack([np.full(300, plan.half_mm), y]))
    face = replace(face, outline=half_outline(face.outline, panel, fold))
    pin = (plan.half_mm * (0.5 if panel == "left" else 1.5), plan.height_mm / 2)
    pose = Pose(pin, (145.0, 160.0), turn)
    scene = _wood(rows, columns, 1000.0 / _UM, rng)
    _block(scene, face.outline, pose, glass, moment, panel, plan, rng)
    alpha, light = lit(face, pose, glass)
    scene *= _cast(alpha, LAMPS[view], moment)[..., None]
    shade, shine = _relief(plan, pose, glass, moment, panel, LAMPS[view], rng)
    light = light * shade[..., None] + shine[..., None]
    scene += alpha[..., None] * (light - scene)
    _staples_at_edge(scene, pose, glass, plan, moment)
    lay(scene, lay_strip((52.0, 322.0), float(rng.uniform(-1, 1)), 100), glass)
    return _through_lens(scene, rng)


def _block(
    scene: Float,
    outline: Outline,
    pose: Pose,
    glass: Glass,
    moment: str,
    panel: str,
    plan: SheetPlan,
    rng: np.random.Generator,
) -> None:
    """The leaves under the cover: a rolled spine lets their fore-edges step out."""
    outward = 1.0 if panel == "right" else -1.0
    step = 0.42 if moment == "before" else 0.05
    for leaf in range(2 * WRAPS, -1, -3):
        shift = outward * (step * leaf - (2.0 if moment == "after" else 1.6))
        move = np.array([shift, 0.12 * rng.standard_normal()])
        points = [polygon + move for polygon in outline.polygons()]
        alpha = coverage([to_px(glass, pose.on_glass(part)) for part in points], *glass.size_px)
        tone = linear_from_lab(getattr(plan, moment).edge) * (0.72 + 0.25 * rng.random())
        soft = cv2.GaussianBlur(alpha, (0, 0), 1.6)
        scene *= (1.0 - 0.25 * np.asarray(soft))[..., None]
        scene += alpha[..., None] * (tone.astype(np.float32) - scene)


def _cast(alpha: Float, lamp: Lamp, moment: str) -> Float:
    """Shadow of the block on the bench."""
    thick_mm = 7.0 if moment == "before" else 4.5
    reach = min(5.0, np.hypot(*lamp.towards[:2]) / lamp.towards[2])
    px = thick_mm * 1000.0 / _UM * reach * 0.5
    length = max(1e-6, float(np.hypot(*lamp.towards[:2])))
    move = np.array(
        [[1, 0, -px * lamp.towards[0] / length], [0, 1, -px * lamp.towards[1] / length]], np.float32
    )
    moved = cv2.warpAffine(alpha, move, (alpha.shape[1], alpha.shape[0]))
    soft = cv2.GaussianBlur(np.maximum(moved, alpha), (0, 0), 5.0 + px / 6.0)
    return np.asarray(1.0 - 0.62 * soft, dtype=np.float32)


def _relief(
    plan: SheetPlan,
    pose: Pose,
    glass: Glass,
    moment: str,
    panel: str,
    lamp: Lamp,
    rng: np.random.Generator,
) -> tuple[Float, Float]:
    """Shading and shine of the cover: a rolled spine, cockle, a bent corner, creases."""
    rows, columns = glass.size_px
    mm = _UM / 1000.0
    angle = np.radians(pose.skew_deg)
    v, u = np.mgrid[0:rows, 0:columns].astype(np.float32)
    du, dv = (u + 0.5) * mm - pose.at_mm[0], (v + 0.5) * mm - pose.at_mm[1]
    x = np.cos(angle) * du + np.sin(angle) * dv + plan.half_mm / 2
    y = -np.sin(angle) * du + np.cos(angle) * dv + plan.height_mm / 2
    from_spine = x if panel == "right" else plan.half_mm - x
    rough = 1.0 if moment == "before" else 0.28
    own = np.random.default_rng([plan.seed, 60])
    height = rough * 0.55 * smooth_noise(own, rows, columns, 190.0)
    height += rough * 0.16 * smooth_noise(own, rows, columns, 55.0)
    height += rough * 3.4 * np.exp(-np.square(np.maximum(from_spine, 0) / 17.0))
    height -= 2.2 * np.exp(-np.maximum(from_spine, 0) / 1.6)
    bent = (plan.half_mm - from_spine) + y
    height += rough * 0.12 * np.clip(34.0 - bent, 0.0, None)
    crease = from_spine - 31.0 - 0.02 * y
    height -= 0.2 * rough * np.exp(-np.square(crease / 0.9))
    height += rough * 0.009 * smooth_noise(own, rows, columns, 6.0)
    slope_y, slope_x = _slopes(np.asarray(cv2.GaussianBlur(height, (0, 0), 1.0)), mm)
    norm = np.sqrt(1.0 + slope_x**2 + slope_y**2)
    lx, ly, lz = np.array(lamp.towards) / np.linalg.norm(lamp.towards)
    facing = np.clip((-slope_x * lx - slope_y * ly + lz) / norm, 0.0, None)
    shade = (1.0 - lamp.share) + lamp.share * facing / lz * (0.9 if lz < 0.4 else 1.0)
    half = np.array([lx, ly, lz + 1.0]) / np.linalg.norm([lx, ly, lz + 1.0])
    glint = (-slope_x * (half[0] - 0.38) - slope_y * (half[1] + 0.42) + half[2]) / norm
    shine = lamp.gloss * 0.45 * np.clip(glint, 0, 1) ** 60 * (0.6 + 0.4 * np.exp(-y / 120.0))
    return np.asarray(np.clip(shade, 0.12, 1.7), np.float32), np.asarray(shine, np.float32)


def _slopes(height: NDArray[Any], mm: float) -> tuple[Float, Float]:
    down, across = np.gradient(height, mm)
    return np.asarray(down, dtype=np.float32), np.asarray(across, dtype=np.float32)


def _staples_at_edge(scene: Float, pose: Pose, glass: Glass, plan: SheetPlan, moment: str) -> None:
    tone = (0.16, 0.065, 0.03) if moment == "before" else (0.5, 0.5, 0.52)
    spine = plan.half_mm
    for at in STAPLES_MM:
        box = np.array(
            [
                [spine - 0.3, at - 6],
                [spine + 0.5, at - 6],
                [spine + 0.5, at + 6],
                [spine - 0.3, at + 6],
            ]
        )
        alpha = coverage([to_px(glass, pose.on_glass(box))], *glass.size_px)
        scene += alpha[..., None] * (np.array(tone, np.float32) - scene)


def _through_lens(scene: Float, rng: np.random.Generator) -> Float:
    """The bench as a phone held above it sees it: slight perspective, warm room light."""
    width, height = PHOTO_PX[1], PHOTO_PX[0]
    rows, columns = scene.shape[:2]
    inset = 26.0
    box = np.array(
        [
            [inset, inset],
            [columns - inset, inset],
            [columns - inset, rows - inset],
            [inset, rows - inset],
        ],
        np.float32,
    )
    box += rng.uniform(-22, 22, (4, 2)).astype(np.float32)
    frame = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
    view = cv2.getPerspectiveTransform(box, frame)
    seen = cv2.warpPerspective(scene, view, (width, height), flags=cv2.INTER_AREA)
    return np.asarray(seen * np.array([1.03, 1.0, 0.93], np.float32), dtype=np.float32)


def _spine(drawn: DrawnSheet, moment: str, rng: np.random.Generator) -> Float:
    """The spine towards the camera, the front falling away behind it; head at the left."""
    plan = drawn.plan
    face = replace(drawn.face("outer", moment), fold_mm=None)
    px = 5.2
    um = 1000.0 / px
    width, height = PHOTO_PX
    scene = _wood(height, width, px, rng)
    left, spine_y = 110.0, 640.0
    span = plan.height_mm * px
    # the front, lying back: a flat picture turned so that its spine is below
    flat = Glass(plan.height_mm, plan.half_mm, um, um)
    front = Pose(
        (1.5 * plan.half_mm, plan.height_mm / 2), (plan.height_mm / 2, plan.half_mm / 2), -90
    )
    alpha, light = lit(face, front, flat)
    rows, columns = alpha.shape
    lean = 34.0 if moment == "before" else 6.0
    tall = 30.0 if moment == "before" else 17.0
    top = spine_y - tall
    source = np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]], np.float32)
    place = np.array(
        [[left + 105, top - 250], [left + span - 105, top - 250], [left + span, top], [left, top]],
        np.float32,
    )
    view = cv2.getPerspectiveTransform(source, place)
    dim = 0.62 + 0.3 * np.exp(-(((np.arange(rows) - rows + 60.0) / 70.0) ** 2)).astype(np.float32)
    stacked = np.concatenate([light * dim[:, None, None], alpha[..., None]], axis=2)
    seen = np.asarray(cv2.warpPerspective(stacked, view, (width, height)))
    shadow = cv2.GaussianBlur(seen[..., 3], (0, 0), 14.0)
    scene *= (1.0 - 0.6 * np.roll(np.asarray(shadow), 22, axis=0))[..., None]
    scene += seen[..., 3:] * (seen[..., :3] - scene)
    _spine_band(scene, face, plan, moment, (left, top, span, tall + lean * 0.4), px)
    return np.asarray(scene * np.array([1.03, 1.0, 0.93], np.float32), dtype=np.float32)


def _spine_band(
    scene: Float,
    face: Face,
    plan: SheetPlan,
    moment: str,
    box: tuple[float, float, float, float],
    px: float,
) -> None:
    left, top, span, tall = box
    um = 1000.0 / px
    arc_mm = tall / px * 1.3
    glass = Glass(plan.height_mm, arc_mm, um, um)
    pose = Pose((plan.half_mm, plan.height_mm / 2), (plan.height_mm / 2, arc_mm / 2), -90)
    alpha, light = lit(face, pose, glass)
    size = (round(span), round(tall))
    light = np.asarray(cv2.resize(light, size, interpolation=cv2.INTER_AREA))
    alpha = np.asarray(cv2.resize(alpha, size, interpolation=cv2.INTER_AREA))
    round_share = np.linspace(-1.0, 1.0, size[1], dtype=np.float32)
    shade = 0.35 + 0.75 * np.sqrt(np.clip(1.0 - ((round_share + 0.25) / 1.3) ** 2, 0, 1))
    light = light * shade[:, None, None]
    own = np.random.default_rng([plan.seed, 61])
    worn = smooth_noise(own, size[1], size[0], 9.0) > (1.25 if moment == "before" else 1.9)
    light[worn] = light[worn] * 0.72 + 0.07
    for at in STAPLES_MM:
        _staple(light, at * px, size[1] * 0.42, px, moment)
    y0, x0 = round(top), round(left)
    target = scene[y0 : y0 + size[1], x0 : x0 + size[0]]
    target += alpha[..., None] * (light - target)
    below = scene[y0 + size[1] : y0 + size[1] + 46, x0 : x0 + size[0]]
    below *= (1.0 - 0.7 * np.exp(-np.arange(46, dtype=np.float32) / 13.0))[:, None, None]


def _staple(light: Float, x: float, y: float, px: float, moment: str) -> None:
    long, thick = 6.0 * px, max(3, round(0.75 * px))
    tone = (0.17, 0.065, 0.028) if moment == "before" else (0.52, 0.52, 0.54)
    if moment == "before":
        stain = np.zeros(light.shape[:2], np.float32)
        cv2.ellipse(
            stain, (round(x), round(y)), (round(long * 1.2), round(3.2 * thick)), 0, 0, 360, 1.0, -1
        )
        stain = np.asarray(cv2.GaussianBlur(stain, (0, 0), 8.0))
        light *= 1.0 - stain[..., None] * np.array([0.25, 0.5, 0.62], np.float32)
    start, stop = (round(x - long), round(y)), (round(x + long), round(y))
    cv2.line(light, start, stop, tone, thick, cv2.LINE_AA)
    shine = tuple(min(1.0, 1.9 * value) for value in tone)
    cv2.line(light, (start[0], start[1] - 1), (stop[0], stop[1] - 1), shine, 1, cv2.LINE_AA)


def _head(plan: SheetPlan, moment: str, rng: np.random.Generator) -> Float:
    """The head of the gathering: nested folds at the left, fore-edges at the right."""
    width, height = PHOTO_PX
    px = 6.4
    scene = _wood(height, width, px, rng)
    floor, spine_x = 720.0, 170.0
    rolled = moment == "before"
    gap = 3.6 if rolled else 2.2
    cv2.rectangle(
        scene,
        (round(spine_x), round(floor - 4)),
        (round(spine_x + plan.half_mm * px), round(floor + 26)),
        (0.05, 0.032, 0.02),
        -1,
    )
    wall = np.linspace(0.055, 0.12, 560, dtype=np.float32)[:, None, None]
    scene[:560] = wall * np.array([1.0, 0.97, 0.9], np.float32)
    scene[:] = cv2.GaussianBlur(scene, (0, 0), 6.0)
    middle = floor - (WRAPS + 1) * gap - 2
    paper = linear_from_lab(getattr(plan, moment).edge)
    for sheet in range(WRAPS + 1):
        out = (WRAPS - sheet + 0.6) * gap
        for strand in range(3):
            line = _limb(plan, sheet, out - 0.8 * strand, middle, spine_x, px, rolled)
            tone = paper * (0.55 + 0.22 * strand + 0.12 * float(rng.random()))
            if sheet == 0:
                tone = linear_from_lab(getattr(plan, moment).centre) * (0.6 + 0.15 * strand)
            colour = tuple(float(value) for value in tone)
            cv2.polylines(
                scene,
                [np.round(line * 8).astype(np.int32)],
                False,
                colour,
                2 if strand else 3,
                cv2.LINE_AA,
                3,
            )
    return np.asarray(scene * np.array([1.03, 1.0, 0.93], np.float32), dtype=np.float32)


def _limb(
    plan: SheetPlan, sheet: int, out: float, middle: float, spine_x: float, px: float, rolled: bool
) -> NDArray[np.float64]:
    """One sheet seen from the head: upper limb, fold, lower limb."""
    own = np.random.default_rng([plan.seed, 62, sheet])
    half = plan.half_mm if sheet == 0 else plan.half_mm - 2.0
    t = np.linspace(0.0, 1.0, 90)
    wave = (5.0 if rolled else 1.2) * np.interp(t, np.linspace(0, 1, 7), own.standard_normal(7)) * t
    lift = (44.0 if rolled else 10.0) * (1 - out / 60.0) * t**2
    length = half * px
    roll = 0.35 * px * (WRAPS - sheet) if rolled else 0.0
    hub = spine_x + (WRAPS + 1) * 3.6
    upper = np.column_stack([hub + (length - roll) * t, middle - out - lift - np.abs(wave)])
    lower = np.column_stack([hub + (length + roll) * t, middle + out + 0.15 * wave])
    turn = np.linspace(-np.pi / 2, -3 * np.pi / 2, 30)
    lean = 0.55 if rolled else 0.0
    bend = np.column_stack(
        [hub + out * np.cos(turn) * (1.0 + lean * np.sin(turn)), middle + out * np.sin(turn)]
    )
    return np.concatenate([upper[::-1], bend[1:-1], lower])
