"""Find the glossy sphere itself: a dark bead that lies beside the leaf in every raking picture.

Rims vote for their middle along their gradient (the idea of Hough's transform for circles), on
the mean of the brighter half of all pictures, where the bead's shadows are weakest. Each place
that gathers votes is fitted to its rim below a pixel, and is a bead only when a lamp's highlight
shows in it in every picture.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.lamps import Lamp, Sphere, highlight_px, lamp_from_sphere

Array = NDArray[np.float64]
Light = NDArray[np.float32]

# Voting picture: longer side; radii from there to a share of the shorter side.
_VOTE_PX = 640
_LEAST_PX, _MOST_SHARE = 6.0, 0.25
_EDGES_SHARE = 0.06
_CANDIDATES = 12
_BAND_PX = 256
_LEAST_VOTES = 0.3
_RAYS = 240
_LEAST_RIM = 0.55
_LEAST_RADIUS_PX = 12.0
_OUT_OF_ROUND = 0.03
# Neighbouring rays share pixels: as if only every third counted (assumed).
_SHARED = 3.0
# A blurred, curved rim that mirrors the paper is found this much too far in: 0.09 to 0.13 px on
# drawn beads of 9 to 55 px.
_RIM_U_PX = 0.15
# Shade about the bead is not the same all round: 0.02 px on drawn beads.
_MIDDLE_U_PX = 0.03
# A highlight stands out from the bead by so many times its noise; grain of print does not.
_STANDS_OUT = 8.0
_NOISE = 0.001
# Middle of a highlight: a lamp has a size, and the highlight of one is no point.
_HIGHLIGHT_U_PX = 0.3
# Lens not quite level, viewer not infinitely far: assumed for a camera a metre away or more.
_VIEW_U_DEG = 1.0
_TYPE_IT = "or type x, y and radius of it into the lights file, or the lamps' own angles"


@dataclass(frozen=True, slots=True)
class FoundSphere:
    """A sphere found in the pictures, with the standard uncertainty of its middle (each way) and
    of its radius [px], and the share [0..1] of its rim that was seen."""

    sphere: Sphere
    u_middle_px: float
    u_radius_px: float
    rim: float


@dataclass(frozen=True, slots=True)
class LampSeen:
    """A lamp read from a sphere's highlight, with the standard uncertainty of its direction."""

    lamp: Lamp
    u_deg: float


def find_sphere(pictures: Sequence[NDArray[np.floating]]) -> FoundSphere:
    """The one glossy sphere that shows in all pictures (height, width), each lit from one side.

    Raises:
        ValueError: no sphere, or more than one; a sentence that says what to do.
    """
    whole = brighter_half(pictures)
    found: list[FoundSphere] = []
    for guess in _guesses(whole):
        fitted = _fit_rim(whole, guess)
        if fitted is not None and not _met(fitted, found) and _shines(pictures, fitted.sphere):
            found.append(fitted)
    if not found:
        raise ValueError(
            "no glossy sphere was found in the pictures: it must be a dark glossy bead, whole in "
            "every picture, at least 24 px across, with the lamp's highlight in it; lay it on "
            f"something lighter than itself, {_TYPE_IT}"
        )
    if len(found) > 1:
        places = " and ".join(f"{one.sphere.x_px:.0f}, {one.sphere.y_px:.0f}" for one in found)
        raise ValueError(
            f"{len(found)} glossy spheres were found (at {places} px): leave one in the pictures, "
            f"{_TYPE_IT}"
        )
    return found[0]


def brighter_half(pictures: Sequence[NDArray[np.floating]]) -> Light:
    """Mean of the brighter half of all pictures at each pixel."""
    out = np.empty(pictures[0].shape, np.float32)
    for top in range(0, len(out), _BAND_PX):
        rows = slice(top, top + _BAND_PX)
        stack = np.sort(np.stack([np.asarray(one[rows], np.float32) for one in pictures]), axis=0)
        out[rows] = stack[len(stack) // 2 :].mean(axis=0)
    return out


def lamp_seen(picture: NDArray[np.floating], found: FoundSphere) -> LampSeen:
    """The lamp of one picture, with what middle, radius and highlight leave open.

    The normal at distance d from the middle leans by arcsin(d / r); the lamp leans twice that.

    Raises:
        ValueError: as :func:`quirewell.science.imaging.lamps.lamp_from_sphere`.
    """
    sphere = found.sphere
    lamp = lamp_from_sphere(picture, sphere)
    lean = min(0.95, math.sin(math.radians((90.0 - lamp.elevation_deg) / 2)))
    along = math.hypot(found.u_middle_px, _HIGHLIGHT_U_PX, lean * found.u_radius_px)
    u = 2 * along / (sphere.radius_px * math.sqrt(1 - lean**2))
    return LampSeen(lamp, math.hypot(math.degrees(u), _VIEW_U_DEG))


def _guesses(whole: Light) -> Iterator[Sphere]:
    """Circles that gather most votes, best first, in pixels of the whole picture."""
    shrink = max(1.0, max(whole.shape) / _VOTE_PX)
    size = (round(whole.shape[1] / shrink), round(whole.shape[0] / shrink))
    small = cv2.resize(whole, size, interpolation=cv2.INTER_AREA) if shrink > 1 else whole
    # The square root makes noise even; the rim itself is fitted in linear light, where a blurred
    # edge is steepest at its true place.
    soft = cv2.GaussianBlur(np.sqrt(np.clip(small, 0, None)), (0, 0), 1.0)
    gx, gy = (cv2.Scharr(soft, cv2.CV_32F, *way) for way in ((1, 0), (0, 1)))
    strength = np.hypot(gx, gy)
    limit = float(np.quantile(strength, 1 - _EDGES_SHARE))
    rows, columns = np.nonzero(strength > max(limit, 1e-9))
    ways = np.column_stack([gx[rows, columns], gy[rows, columns]]).astype(np.float64)
    ways = ways / np.linalg.norm(ways, axis=1, keepdims=True)
    peaks: list[tuple[float, float, float, float]] = []
    for radius in _radii(min(small.shape)):
        peaks += _voted(small.shape, rows, columns, ways, radius)
    peaks.sort(reverse=True)
    kept: list[tuple[float, float, float]] = []
    for _, x, y, radius in peaks:
        if all(math.dist((x, y), one[:2]) > 0.5 * max(radius, one[2]) for one in kept):
            kept.append((x, y, radius))
    for x, y, radius in kept[:_CANDIDATES]:
        at = (x + 0.5) * shrink - 0.5, (y + 0.5) * shrink - 0.5
        yield Sphere(*at, radius * shrink)


def _radii(side: int) -> Array:
    most = max(_LEAST_PX + 1, _MOST_SHARE * side)
    steps = max(2, math.ceil(math.log(most / _LEAST_PX) / math.log(1.04)))
    return np.geomspace(_LEAST_PX, most, steps)


def _voted(
    shape: tuple[int, ...],
    rows: NDArray[np.intp],
    columns: NDArray[np.intp],
    ways: Array,
    radius: float,
) -> list[tuple[float, float, float, float]]:
    """Peaks (share of a rim, x, y, radius) of votes for circles darker inside than outside."""
    x = np.rint(columns - radius * ways[:, 0]).astype(int)
    y = np.rint(rows - radius * ways[:, 1]).astype(int)
    inside = (x >= 0) & (x < shape[1]) & (y >= 0) & (y < shape[0])
    at = y[inside] * shape[1] + x[inside]
    votes = np.bincount(at, minlength=shape[0] * shape[1]).astype(np.float32).reshape(shape[:2])
    spread = max(0.8, 0.04 * radius)
    # A rim is about three pixels wide; what one blur gathers is set against that many votes.
    blurred = cv2.GaussianBlur(votes, (0, 0), spread) * (2 * math.pi * spread**2)
    share = blurred / (3 * 2 * math.pi * radius)
    top = cv2.dilate(share, np.ones((2 * round(radius / 2) + 1,) * 2, np.uint8))
    peak = np.argwhere((share >= top) & (share > _LEAST_VOTES))
    return [(float(share[row, column]), float(column), float(row), radius) for row, column in peak]


def _fit_rim(whole: Light, guess: Sphere) -> FoundSphere | None:
    """The circle through the rim near a guess; None when there is no such rim."""
    x, y, radius = guess.x_px, guess.y_px, guess.radius_px
    share, spread, count = 0.0, 0.0, 0
    for reach in (0.25, 0.12, 0.08):
        points = _rim_points(whole, x, y, radius, reach)
        if len(points) < _LEAST_RIM * _RAYS:
            return None
        x, y, radius, spread, count = _circle(points)
        share = count / _RAYS
        if radius < _LEAST_RADIUS_PX or share < _LEAST_RIM:
            return None
    height, width = whole.shape
    if not (radius <= x <= width - 1 - radius and radius <= y <= height - 1 - radius):
        return None
    if spread > max(0.6, _OUT_OF_ROUND * radius):
        return None
    known = max(1.0, count / _SHARED)
    # A rim seen from one side only says less of the middle: 1 / share for it (assumed).
    u = max(spread, 0.05) / math.sqrt(known) / share
    middle = math.hypot(math.sqrt(2) * u, _MIDDLE_U_PX)
    return FoundSphere(Sphere(x, y, radius), middle, math.hypot(u, _RIM_U_PX), share)


def _rim_points(whole: Light, x: float, y: float, radius: float, reach: float) -> Array:
    """Where it turns fastest from dark to light along each ray, below a pixel (n, 2) [px]."""
    angles = 2 * math.pi * np.arange(_RAYS) / _RAYS
    span = max(reach * radius, 2.5)
    steps = np.arange(radius - span, radius + span + 0.25, 0.5)
    at_x = (x + np.outer(np.cos(angles), steps)).astype(np.float32)
    at_y = (y + np.outer(np.sin(angles), steps)).astype(np.float32)
    profile = cv2.remap(whole, at_x, at_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    rise = np.gradient(cv2.GaussianBlur(profile, (5, 1), 1.0), axis=1)
    best = np.argmax(rise[:, 1:-1], axis=1) + 1
    ray = np.arange(_RAYS)
    left, middle, right = (rise[ray, best + step] for step in (-1, 0, 1))
    bend = left - 2 * middle + right
    shift = np.where(bend < -1e-12, 0.5 * (left - right) / np.minimum(bend, -1e-12), 0.0)
    clear = (best > 1) & (best < rise.shape[1] - 2)
    clear &= middle > 0.25 * float(np.quantile(middle, 0.75))
    found = steps[best] + 0.5 * np.clip(shift, -1, 1)
    points = np.column_stack([x + found * np.cos(angles), y + found * np.sin(angles)])
    return np.asarray(points[clear & (middle > 0)], dtype=np.float64)


def _circle(points: Array) -> tuple[float, float, float, float, int]:
    """Circle by least squares that lets outliers go: x, y, radius, spread, points kept."""
    keep = np.ones(len(points), dtype=bool)
    x = y = radius = spread = 0.0
    for _ in range(8):
        px, py = points[keep, 0], points[keep, 1]
        design = np.column_stack([2 * px, 2 * py, np.ones(len(px))])
        a, b, c = np.linalg.lstsq(design, px**2 + py**2, rcond=None)[0]
        x, y, radius = float(a), float(b), math.sqrt(max(float(c + a * a + b * b), 0.0))
        off = np.hypot(points[:, 0] - x, points[:, 1] - y) - radius
        spread = 1.4826 * float(np.median(np.abs(off[keep])))
        now = np.abs(off) < max(3 * spread, 0.3)
        if now.sum() < 12 or (now == keep).all():
            break
        keep = now
    return x, y, radius, spread, int(keep.sum())


def _met(one: FoundSphere, found: Sequence[FoundSphere]) -> bool:
    """Whether a circle was found before, or is a ring within one."""
    here = one.sphere
    return any(
        math.dist((here.x_px, here.y_px), (other.sphere.x_px, other.sphere.y_px))
        < max(here.radius_px, other.sphere.radius_px)
        for other in found
    )


def _shines(pictures: Sequence[NDArray[np.floating]], sphere: Sphere) -> bool:
    """Whether each picture shows one lamp's highlight, and it moves from picture to picture."""
    places = []
    for picture in pictures:
        try:
            lamp_from_sphere(picture, sphere)
            places.append(highlight_px(picture, sphere))
        except ValueError:
            return False
        if not _stands_out(picture, sphere, places[-1]):
            return False
    apart = max(math.dist(one, two) for one in places for two in places)
    return apart > 0.1 * sphere.radius_px


def _stands_out(picture: NDArray[np.floating], sphere: Sphere, at: tuple[float, float]) -> bool:
    """Whether the highlight is more than the brightest grain of a dark disc of print."""
    reach = 0.7 * sphere.radius_px
    left, top = int(sphere.x_px - reach), int(sphere.y_px - reach)
    part = np.asarray(picture, np.float64)[top : top + int(2 * reach), left : left + int(2 * reach)]
    middle = float(np.median(part))
    noise = max(1.4826 * float(np.median(np.abs(part - middle))), _NOISE)
    x, y = round(at[0]) - left, round(at[1]) - top
    near = part[max(0, y - 2) : y + 3, max(0, x - 2) : x + 3]
    return near.size > 0 and float(near.max()) - middle > _STANDS_OUT * noise
