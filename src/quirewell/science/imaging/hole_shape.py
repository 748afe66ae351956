"""One candidate for a staple hole: its levels of light, its rim, its centre, what it is.

The rim is drawn half-way between the ground seen through the hole and the paper right beside it
(rust may have darkened that), and the centre is the mean of all places weighed by how much of the
ground each pixel shows. Where paper is torn the wire's place is that of the largest circle that
fits into the opening.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.fold_strip import FoldStrip, Light, Mask, share

Array = NDArray[np.float64]
Kind = Literal["hole", "spot", "ink", "off", ""]

_NEAR_MM, _RING_MM = 0.10, 0.40
_PAD_MM = 1.0
# In a long opening the wire is looked for so far from where it should be (assumed).
_REACH_MM = 2.5
_FINER = 3
# A hole this much longer than the circle in it, or filling so little of its own hull, is torn
# (set on planted holes).
TORN_LONG = 1.75
TORN_SOLID = 0.80
# Paper right beside a hole that lets back less than this share is rusty or dirty (assumed).
RUST_LIGHT, DIRT_LIGHT = 0.82, 0.65
RUST_RING_HUE = 0.03
# A rusty spot is this much redder than the paper (red minus blue over the sum).
RUST_HUE = 0.06
# Colours nearer than this are one, at the noise of eight bits in a dark middle (assumed).
_SAME_HUE = 0.08
# How much of the ground's light a hole may show: the paper's own shadow lies on it (assumed).
_SHADES = (0.3, 0.5, 0.7, 1.0)
# What a ragged rim and a tear add: of the way between the two middles, and of the circle (assumed).
_RAGGED_U, _TORN_U = 0.35, 0.1
# Rust spreads unevenly from the wire: how far its middle may lie from it, of its width (assumed).
SPOT_U = 0.2
_LEAST_COSINE = 0.80
# How well the middle of one pixel's coverage is known, in pixels (found on planted holes).
_PIXEL_U = 0.03
# No hole in paper is as round as that: its rim frays and its middle is not surer (assumed).
_LEAST_U_MM = 0.02
# Light of neighbouring pixels scatters together: texture of paper, and the turning.
_TOGETHER = 2.0


@dataclass(frozen=True, slots=True)
class Shape:
    """What one candidate is; millimetres of the strip (x from the fold to the right of the
    picture, y from the head edge).

    ``kind`` "hole" shows the ground, "spot" is rust or dirt without ground, "ink" is print.
    ``size_mm`` is the diameter of a disc of its area, ``inner_mm`` of the largest circle in it,
    ``long_mm`` its longest way; ``solid`` the part of its hull it fills; ``beside`` the light of
    the paper at its rim relative to bare paper, ``redder`` by how much that is redder; ``level``
    how far its middle is on the way from paper to ground; ``opens`` whether it reaches beyond
    what was cut out (an edge, or a long split).
    """

    kind: Kind
    why: str
    x_mm: float
    y_mm: float
    u_mm: float
    size_mm: float
    inner_mm: float
    long_mm: float
    solid: float
    beside: float
    redder: float
    level: float
    opens: bool

    @property
    def torn(self) -> bool:
        """Whether the paper is torn at the hole."""
        long = self.long_mm > TORN_LONG * self.inner_mm
        return self.opens or long or self.solid < TORN_SOLID

    @property
    def rusted(self) -> bool:
        """Whether rust or dirt rings it: darker paper that is redder, or much darker."""
        if self.redder > RUST_RING_HUE:
            return self.beside < RUST_LIGHT
        return self.beside < DIRT_LIGHT


def hue(light: NDArray[np.floating]) -> float:
    """Red minus blue over the sum of light (3,): the same for a colour in light and in shade."""
    return float((light[0] - light[2]) / max(float(light.sum()), 1e-3))


def measure(
    strip: FoldStrip, ground: Array, box: tuple[int, int, int, int], dark: bool, grey: bool,
    near_y_mm: float | None = None,
) -> Shape | None:  # fmt: skip
    """Measure the candidate whose parts lie in ``box`` (x0, y0, x1, y1) of the strip.

    Parameters
    ----------
    ground
        light of the ground (3,) as it is seen beside the sheet
    dark
        whether the ground is darker than the paper
    grey
        whether the picture has no colours
    near_y_mm
        where the hole should be, within a long opening
    """
    window = _window(strip, box)
    light, paper = strip.light[window], strip.paper[window]
    valid = strip.valid[window]
    pitch, native = strip.pitch_mm, strip.native_mm
    first = share(light, paper, ground, strip.noise)
    first[~valid] = 0.0
    found = _mask(first, light, paper, valid, ground, strip, dark)
    if found is None:
        return None
    mask, cover, beside, core, level, pure = found
    left = strip.x0_mm + window[1].start * pitch
    top = strip.y0_mm + window[0].start * pitch
    rows = np.flatnonzero(mask.any(axis=1))
    opens = bool(rows.min() == 0 or rows.max() == mask.shape[0] - 1)
    near = None if near_y_mm is None else ((near_y_mm - top) / pitch, _REACH_MM / pitch)
    inner, long, solid, circle, wander = _outline(cover, mask, near)
    reach = max(1, math.ceil(1.5 * native / pitch))
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    around = np.asarray(cv2.dilate(mask.astype(np.uint8), kernel)) > 0
    weight = np.where(around, np.clip(cover, -0.3, 1.3), 0.0).astype(np.float64)
    total = float(weight.sum())
    if total <= 0:
        return None
    y, x = np.mgrid[: mask.shape[0], : mask.shape[1]]
    cx, cy = float((weight * x).sum() / total), float((weight * y).sum() / total)
    noise = _noise(cover, around, valid, math.ceil(_RING_MM / pitch))
    spread = float(np.sqrt((((x - cx) ** 2 + (y - cy) ** 2)[around]).sum() / 2.0))
    u = math.hypot(
        _TOGETHER * noise * spread / total * pitch * max(1.0, native / pitch),
        _PIXEL_U * native, _LEAST_U_MM,
    )  # fmt: skip
    size = 2.0 * math.sqrt(total / math.pi) * pitch
    bare = paper[mask].mean(axis=0)
    kind, why = _kind(core, bare, beside * bare, ground, level, pure, dark, grey, strip)
    seen = core if kind == "spot" else beside * bare
    shape = Shape(
        kind, why, left + pitch * cx, top + pitch * cy, u, size, pitch * inner, pitch * long,
        solid, float(beside[1:].mean()), hue(seen) - hue(bare), level, opens,
    )  # fmt: skip
    circle_mm = left + pitch * circle[0], top + pitch * circle[1]
    return _placed(shape, circle_mm, pitch * wander)


def _placed(shape: Shape, circle_mm: tuple[float, float], wander_mm: float) -> Shape:
    """A candidate with the uncertainty its shape asks for; a torn one is put where the largest
    circle fits, as unsure as that circle is free to move."""
    if shape.kind == "spot":
        return replace(shape, u_mm=math.hypot(shape.u_mm, SPOT_U * shape.size_mm))
    if shape.torn:
        u = math.hypot(shape.u_mm, wander_mm, _TORN_U * shape.inner_mm)
        return replace(shape, x_mm=circle_mm[0], y_mm=circle_mm[1], u_mm=u)
    apart = math.hypot(shape.x_mm - circle_mm[0], shape.y_mm - circle_mm[1])
    return replace(shape, u_mm=math.hypot(shape.u_mm, _RAGGED_U * apart))


def measure_spot(strip: FoldStrip, box: tuple[int, int, int, int]) -> Shape | None:
    """A dark spot of rust or dirt where no ground shows, on paper darker than its ground."""
    window = _window(strip, box)
    light, paper = strip.light[window], strip.paper[window]
    dark = np.where(strip.valid[window], 1.0 - (light / paper)[..., 1:].mean(axis=2), 0.0)
    native = max(1.0, strip.native_mm / strip.pitch_mm)
    smooth = np.asarray(cv2.GaussianBlur(dark.astype(np.float32), (0, 0), native), np.float32)
    place = np.unravel_index(int(np.argmax(smooth * _middle(smooth.shape))), smooth.shape)
    peak = float(smooth[place])
    if peak < 0.2:
        return None
    mask = _at(smooth > 0.5 * peak, place)
    y, x = np.nonzero(mask)
    weight = dark[mask]
    cx, cy = float((weight * x).sum() / weight.sum()), float((weight * y).sum() / weight.sum())
    pitch = strip.pitch_mm
    inner, long, solid, _, _ = _outline(mask.astype(np.float32), mask, None)
    size = 2.0 * pitch * math.sqrt(float(mask.sum()) / math.pi)
    bare = paper[mask].mean(axis=0)
    redder = hue(light[mask].mean(axis=0)) - hue(bare)
    return Shape(
        "spot", "", strip.x0_mm + pitch * (window[1].start + cx),
        strip.y0_mm + pitch * (window[0].start + cy), SPOT_U * size, size, pitch * inner,
        pitch * long, solid, 1.0 - peak, redder, peak, False,
    )  # fmt: skip


def _window(strip: FoldStrip, box: tuple[int, int, int, int]) -> tuple[slice, slice]:
    pad = math.ceil(_PAD_MM / strip.pitch_mm)
    rows, columns = strip.valid.shape
    return (
        slice(max(0, box[1] - pad), min(rows, box[3] + pad)),
        slice(max(0, box[0] - pad), min(columns, box[2] + pad)),
    )


def _mask(
    first: Light, light: Light, paper: Light, valid: Mask, ground: Array, strip: FoldStrip,
    dark: bool,
) -> tuple[Mask, Light, Array, Array, float, bool] | None:  # fmt: skip
    """The opening, coverage by ground, light of the paper beside it (3,) relative to bare paper,
    light of its middle (3,), how far that is on the way to the ground, and whether it is wide
    enough for that light to be pure.

    Begins with its most ground-like part and draws the rim three times, each time half-way
    between the middle and the paper right beside the rim.
    """
    native = max(1.0, strip.native_mm / strip.pitch_mm)
    near = max(_NEAR_MM / strip.pitch_mm, 1.7 * native)
    far = near + max(_RING_MM / strip.pitch_mm, 2.0 * native)
    smooth = np.asarray(cv2.GaussianBlur(first, (0, 0), 0.6 * native), np.float32)
    middle = _middle(first.shape)
    peak_at = np.unravel_index(int(np.argmax(smooth * middle)), smooth.shape)
    peak = float(smooth[peak_at])
    if peak < 0.15:
        return None
    mask = _at(smooth > 0.75 * peak, peak_at)
    beside = np.ones(3)
    cover, level, core, pure = first, peak, ground, False
    for _ in range(3):
        away = cv2.distanceTransform((~mask).astype(np.uint8), cv2.DIST_L2, 5)
        ring = (away > near) & (away <= far) & valid
        if ring.sum() < 12:
            return None
        plane = _plane(light, paper, ring, mask)
        local = np.maximum(paper * plane, np.float32(1e-4))
        beside = np.asarray(plane[mask].mean(axis=0), np.float64)
        path = share(light, local, ground, strip.noise)
        inside = cv2.distanceTransform(np.pad(mask.astype(np.uint8), 1), cv2.DIST_L2, 5)[1:-1, 1:-1]
        deep = inside > max(1.6 * native, 0.6 * float(inside.max()))
        pure = bool(deep.sum() >= 3)
        if pure:
            level = float(np.median(path[deep]))
        else:
            # Too small to show the ground anywhere: the ground is believed to be as beside.
            level = max(float(path[mask].max()), 1.0 if dark else 0.75)
            deep = inside >= 0.7 * float(inside.max())
        if level < 0.1:
            return None
        core = np.asarray(light[deep].mean(axis=0), np.float64)
        cover = np.asarray(path / np.float32(level), np.float32)
        again = _at(cover > 0.5, peak_at)
        if not again.any():
            return None
        mask = again
    cover = np.where(valid, cover, np.float32(0.0))
    return mask, cover, beside, core, level, pure


def _middle(shape: tuple[int, ...]) -> Light:
    """1 inside the candidate's own box, 0 in the margin that was added round it."""
    out = np.zeros(shape, np.float32)
    rows, columns = max(1, shape[0] // 6), max(1, shape[1] // 6)
    out[rows : shape[0] - rows, columns : shape[1] - columns] = 1.0
    return out


def _at(mask: Mask, place: tuple[np.intp, ...]) -> Mask:
    """The connected part of a mask at a place, else its part nearest to it."""
    count, labels, _, middles = cv2.connectedComponentsWithStats(
        mask.astype(np.uint8), connectivity=4
    )
    if count < 2:
        return np.zeros_like(mask)
    label = int(labels[place])
    if label == 0:
        apart = np.hypot(middles[1:, 0] - place[1], middles[1:, 1] - place[0])
        label = 1 + int(np.argmin(apart))
    return np.asarray(labels == label)


def _plane(light: Light, paper: Light, ring: Mask, mask: Mask) -> Light:
    """Light relative to bare paper as a plane through the ring, for every pixel (..., 3)."""
    y, x = np.nonzero(ring)
    ratio = (light[ring] / np.maximum(paper[ring], 1e-4)).astype(np.float64)
    inner_y, inner_x = (float(v.mean()) for v in np.nonzero(mask))
    terms = np.column_stack([np.ones(x.size), x - inner_x, y - inner_y])
    level = ratio[:, 1]
    keep = np.ones(x.size, bool)
    for _ in range(2):
        middle = float(np.median(level[keep]))
        scatter = 1.4826 * float(np.median(np.abs(level[keep] - middle)))
        keep = np.abs(level - middle) <= max(3.0 * scatter, 0.03)
    factors = np.linalg.lstsq(terms[keep], ratio[keep], rcond=None)[0]
    rows, columns = np.mgrid[: light.shape[0], : light.shape[1]]
    plane = factors[0] + factors[1] * (columns - inner_x)[..., None]
    plane = plane + factors[2] * (rows - inner_y)[..., None]
    return np.asarray(np.clip(plane, 0.15, 1.6), np.float32)


def _outline(
    cover: Light, mask: Mask, near: tuple[float, float] | None
) -> tuple[float, float, float, tuple[float, float], float]:
    """Diameter of the largest circle in it, longest way, part of its hull filled, that circle's
    middle and how far it may wander (standard deviation) [pixels of the strip]. ``near`` is the
    row about which to look for the circle, and how far from it."""
    part = np.where(_grown(mask), cover, np.float32(0.0))
    finer = cv2.resize(part, None, fx=_FINER, fy=_FINER, interpolation=cv2.INTER_CUBIC)
    wide = (np.asarray(finer) > 0.5).astype(np.uint8)
    if not wide.any():
        wide = np.kron(mask, np.ones((_FINER, _FINER), bool)).astype(np.uint8)
    depth = cv2.distanceTransform(np.pad(wide, 1), cv2.DIST_L2, 5)[1:-1, 1:-1]
    if near is not None:
        rows = np.abs((np.arange(depth.shape[0]) + 0.5) / _FINER - 0.5 - near[0])
        depth = depth * (rows <= near[1])[:, None]
    top = float(depth.max())
    y, x = np.nonzero(depth >= 0.92 * top)
    ridge_y, ridge_x = np.nonzero(depth >= 0.80 * top)
    middle = ((x.mean() + 0.5) / _FINER - 0.5, (y.mean() + 0.5) / _FINER - 0.5)
    wander = math.hypot(float(ridge_x.std()), float(ridge_y.std())) / _FINER
    rings, _ = cv2.findContours(wide, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    ring = max(rings, key=cv2.contourArea)
    hull = cv2.convexHull(ring)
    _, sides, _ = cv2.minAreaRect(ring)
    filled = float((wide > 0).sum()) / max(
        1.0, cv2.contourArea(hull) + 0.5 * cv2.arcLength(hull, True)
    )
    return (
        (2.0 * top - 1.0) / _FINER, (max(sides) + 1.0) / _FINER, min(1.0, filled),
        (float(middle[0]), float(middle[1])), wander,
    )  # fmt: skip


def _grown(mask: Mask) -> Mask:
    return np.asarray(cv2.dilate(mask.astype(np.uint8), np.ones((3, 3), np.uint8))) > 0


def _noise(cover: Light, around: Mask, valid: Mask, reach: int) -> float:
    """Robust scatter of the coverage of the paper right beside the hole."""
    kernel = np.ones((2 * reach + 1, 2 * reach + 1), np.uint8)
    near = np.asarray(cv2.dilate(around.astype(np.uint8), kernel)) > 0
    beside = np.abs(cover[near & ~around & valid])
    return float(np.clip(1.4826 * np.median(beside), 1e-3, 0.5)) if beside.size > 20 else 0.1


def _kind(
    core: Array, bare: NDArray[np.floating], beside: NDArray[np.floating], ground: Array,
    level: float, pure: bool, dark: bool, grey: bool, strip: FoldStrip,
) -> tuple[Kind, str]:  # fmt: skip
    """What shows in the middle of the candidate (light ``core``): ground, rust, or ink; ``bare`` is
    bare paper, ``beside`` the paper at its rim."""
    if dark:
        return _kind_on_dark(core, bare, beside, ground, level, pure, grey)
    way, seen = ground - bare, core - bare
    weigh = 1.0 / np.square(strip.noise)
    cosine = float((way * seen * weigh).sum()) / math.sqrt(
        max(float((way**2 * weigh).sum()) * float((seen**2 * weigh).sum()), 1e-12)
    )
    if cosine < _LEAST_COSINE:
        return "", "its colour is not that of the ground"
    return ("hole", "") if level > 0.25 else ("", "too little of the ground shows through")


def _kind_on_dark(
    core: Array, bare: NDArray[np.floating], beside: NDArray[np.floating], ground: Array,
    level: float, pure: bool, grey: bool,
) -> tuple[Kind, str]:  # fmt: skip
    """A dark middle by its colour: a hole mixes the light of ground and paper, ink leaves the
    paper's own colour, rust is redder."""
    if grey:
        return ("hole", "") if level > 0.8 else ("spot", "")
    inked, seen = hue(beside), hue(core)
    # In a hole the ground lies in shadow; where it is too small to be pure, paper's light leaks in.
    mixes = [hue(ground)] if pure else [_mixed(core, beside, k * ground) for k in _SHADES]
    mixed = min(mixes, key=lambda one: abs(seen - one))
    from_hole, from_ink = abs(seen - mixed), abs(seen - inked)
    if seen > hue(bare) + RUST_HUE and from_hole > _SAME_HUE:
        return "spot", ""
    if abs(inked - mixed) < _SAME_HUE / 2:
        # Ground and ink have the same colour here: only how dark it is can tell.
        return ("hole", "") if level > 0.9 else ("spot", "")
    if from_ink < 0.8 * from_hole:
        light = 100.0 * float(core.mean()) / max(float(bare.mean()), 1e-4)
        return "ink", f"its colour is that of ink on paper (it lets back {light:.0f} %)"
    return ("hole", "") if level > 0.75 else ("spot", "")


def _mixed(core: Array, beside: NDArray[np.floating], ground: Array) -> float:
    """Hue of ground and paper mixed to the lightness seen."""
    part = float(np.clip((beside[1] - core[1]) / max(beside[1] - ground[1], 1e-4), 0.0, 1.0))
    return hue(part * ground + (1.0 - part) * beside)
