"""Generated pages with a known displacement, for the benchmarks of the before/after field.

A master is drawn at 1200 dpi (or twice the resolution asked for): words in two columns, a
headline, two halftone pictures of 65 lines an inch at 45 degrees, a tint at 15 degrees, ragged
ink, paper texture of three sizes. The scanner's blur (sigma 36 um) is laid over it once. Each
shot samples the master where the page lies, by cubic splines in full precision (scipy's, not
ours), then adds tone, light and noise. AFTER differs in paper tone, in 15 % of the texture, in
light, in place, in stretch and in a smooth warp.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Plane = NDArray[np.float32]
Real = NDArray[np.float64]

BLUR_UM = 36.0
_NO_WARP = ((0.0, 1.0, 1.0, 0.0), (0.0, 1.0, 1.0, 0.0))


@dataclass(frozen=True)
class Page:
    """A master at twice ``dpi``: blurred ink [0..1] and three textures of unit spread."""

    dpi: int
    ink: Plane
    texture: Plane
    other_texture: Plane

    @property
    def shape(self) -> tuple[int, int]:
        """Height and width of a shot [px]."""
        return self.ink.shape[0] // 2, self.ink.shape[1] // 2


@dataclass(frozen=True)
class Move:
    """AFTER = affine (2 x 3) of BEFORE [px], plus sine waves [px] in the after picture.

    ``waves``: for x and for y two waves (size px, periods along x and y px, phase).
    """

    affine: Real
    waves: tuple[tuple[tuple[float, float, float, float], ...], ...]

    def at(self, points: Real) -> Real:
        """Where points (n, 2) of BEFORE [px] lie in AFTER [px]."""
        out = points @ self.affine[:, :2].T + self.affine[:, 2]
        for axis in (0, 1):
            for size, px, py, phase in self.waves[axis]:
                turn = 2 * np.pi * (points[:, 0] / px + points[:, 1] / py) + phase
                out[:, axis] += size * np.sin(turn)
        return np.asarray(out)

    def back(self, points: Real) -> Real:
        """Where points (n, 2) of AFTER [px] lie in BEFORE [px], to 1e-7 px."""
        linear = np.linalg.inv(self.affine[:, :2])
        guess = (points - self.affine[:, 2]) @ linear.T
        for _ in range(3):
            guess = guess + (points - self.at(guess)) @ linear.T
        return np.asarray(guess)


def stretch_move(
    shape: tuple[int, int], exx: float, eyy: float, shear: float, turn_deg: float,
    shift: tuple[float, float], waves: tuple[tuple[tuple[float, float, float, float], ...], ...],
) -> Move:  # fmt: skip
    """Stretch about the middle, turn, shift [px], and warp."""
    angle = np.radians(turn_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    linear = turn @ np.array([[1 + exx, shear], [shear, 1 + eyy]])
    middle = np.array([shape[1] / 2, shape[0] / 2])
    return Move(np.column_stack([linear, middle - linear @ middle + np.asarray(shift)]), waves)


def reference_move(page: Page) -> Move:
    """The change of the reference test, scaled from 600 dpi to the page's resolution."""
    k = page.dpi / 600
    waves = (
        ((2.0 * k, 4100 * k, 2900 * k, 0.3), (0.8 * k, 1300 * k, -2300 * k, 1.1)),
        ((1.5 * k, -3300 * k, 3700 * k, 2.0), (0.6 * k, 2100 * k, 1500 * k, 0.7)),
    )
    return stretch_move(page.shape, 1e-3, 3e-4, 1e-4, 0.35, (23.4 * k, -41.6 * k), waves)


def random_move(rng: np.random.Generator, page: Page, warped: bool = True) -> Move:
    """A change such as washing and laying anew would make, at random."""
    k = page.dpi / 600
    waves: list[tuple[tuple[float, float, float, float], ...]] = []
    for _ in range(3):
        parts = []
        for size in (2.0, 0.8):
            periods = rng.uniform(1300, 4100, 2) * k * rng.choice([-1, 1], 2)
            parts.append(
                (size * k * rng.uniform(0.3, 1.0) * warped, *periods, rng.uniform(0, 6.28))
            )
        waves.append(tuple((float(a), float(b), float(c), float(d)) for a, b, c, d in parts))
    exx, eyy = rng.normal(0, 1.5e-3, 2)
    shift = tuple(rng.normal(0, 25 * k, 2))
    return stretch_move(
        page.shape, exx, eyy, rng.normal(0, 2e-4), rng.normal(0, 0.4), shift, tuple(waves)
    )


def draw_page(seed: int, dpi: int, width_mm: float = 210.0, height_mm: float = 297.0) -> Page:
    """Draw a master page."""
    rng = np.random.default_rng([1936, seed])
    wide, tall = (2 * round(mm / 25.4 * dpi) for mm in (width_mm, height_mm))
    um = 25400 / (2 * dpi)
    ink = np.zeros((tall, wide), dtype=np.uint8)
    _write(ink, rng, um)
    plane = ink.astype(np.float32) / 255
    _ragged(plane, rng, um)
    height = round(0.22 * tall)
    for x0, y0, x1, angle, picture in (
        (0.10, 0.20, 0.48, 45.0, True), (0.52, 0.62, 0.90, 45.0, True),
        (0.55, 0.30, 0.80, 15.0, False),
    ):  # fmt: skip
        left, right, top = round(x0 * wide), round(x1 * wide), round(y0 * tall)
        tone = _picture(rng, height, right - left, um) if picture else np.float32(0.3)
        plane[top : top + height, left:right] = _halftone(
            (height, right - left), um, angle, tone, 65.0
        )
    textures = [_texture(rng, plane.shape, um) for _ in range(2)]
    sigma = BLUR_UM / um
    parts = [_blur(part, sigma) for part in (plane, *textures)]
    return Page(dpi, *parts)


def _blur(plane: Plane, sigma: float) -> Plane:
    return np.asarray(cv2.GaussianBlur(plane, (0, 0), sigma), dtype=np.float32)


def _write(ink: NDArray[np.uint8], rng: np.random.Generator, um: float) -> None:
    tall, wide = ink.shape
    font = cv2.FONT_HERSHEY_COMPLEX
    letters = list("aceimnorstuvdlbphgky")
    scale, thick = 2000 / um / 22, max(1, round(160 / um))
    line = round(3600 / um)
    for x0, x1 in ((0.10, 0.48), (0.52, 0.90)):
        for y in range(round(0.13 * tall), round(0.92 * tall), line):
            x = round(x0 * wide)
            while True:
                word = "".join(rng.choice(letters, rng.integers(2, 9)))
                size = cv2.getTextSize(word, font, scale, thick)[0][0]
                if x + size > x1 * wide:
                    break
                cv2.putText(ink, word, (x, y), font, scale, 255, thick, cv2.LINE_AA)
                x += size + round(900 / um)
    cv2.putText(ink, "COPPERBECK", (round(0.11 * wide), round(0.10 * tall)), font,
                9000 / um / 22, 255, max(1, round(900 / um)), cv2.LINE_AA)  # fmt: skip


def _ragged(plane: Plane, rng: np.random.Generator, um: float) -> None:
    """Ink that took unevenly."""
    small = rng.normal(0, 1, (plane.shape[0] // 2 + 1, plane.shape[1] // 2 + 1)).astype(np.float32)
    small = cv2.GaussianBlur(small, (0, 0), 30 / um)
    rough = cv2.resize(small, (plane.shape[1], plane.shape[0]), interpolation=cv2.INTER_CUBIC)
    plane *= np.clip(0.85 + 0.12 * rough / rough.std(), 0.3, 1.0)


def _picture(rng: np.random.Generator, height: int, width: int, um: float) -> Plane:
    small = rng.normal(0, 1, (height // 16 + 2, width // 16 + 2)).astype(np.float32)
    small = cv2.GaussianBlur(small, (0, 0), 2500 / um / 16)
    tone = cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC)
    return np.clip(0.45 + 0.22 * tone / tone.std(), 0.08, 0.9).astype(np.float32)


def _halftone(
    shape: tuple[int, int], um: float, angle_deg: float, tone: Plane | np.float32, lpi: float
) -> Plane:
    pitch = 25400 / lpi / um
    turn = np.radians(angle_deg)
    y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    u = (np.cos(turn) * x + np.sin(turn) * y) * np.float32(2 * np.pi / pitch)
    v = (-np.sin(turn) * x + np.cos(turn) * y) * np.float32(2 * np.pi / pitch)
    dot = 0.5 + 0.25 * (np.cos(u) + np.cos(v))
    # The threshold that covers the share ``tone``; a soft edge of about a pixel.
    return np.clip((dot - (1 - tone)) * pitch / 2 + 0.5, 0, 1).astype(np.float32)


def _texture(rng: np.random.Generator, shape: tuple[int, ...], um: float) -> Plane:
    """Mostly as fine as on real scans of bare old paper (correlation 0.7 at 85 um, 0.3 at 170)."""
    out = np.zeros(shape, dtype=np.float32)
    for size_um, share in ((50.0, 0.85), (200.0, 0.25), (900.0, 0.25)):
        shrink = max(1, int(size_um / um / 2))
        small = rng.standard_normal(
            (shape[0] // shrink + 2, shape[1] // shrink + 2), dtype=np.float32
        )
        small = cv2.GaussianBlur(small, (0, 0), max(size_um / um / shrink, 0.5))
        part = cv2.resize(small, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
        out += share * part / part.std()
    return out


@dataclass(frozen=True)
class Light:
    """Grey of bare paper and of ink, texture strength, how much of the texture is new,
    illumination slope across [-], noise [grey at 160], edge tanning [grey], a stain [grey]."""

    paper: float
    ink: float = 45.0
    texture: float = 3.2
    new_texture: float = 0.0
    slope: float = 0.0
    noise: float = 2.0
    tanning: float = 0.0
    stain: float = 0.0


BEFORE = Light(172.0, tanning=22.0, stain=18.0)
AFTER = Light(206.0, new_texture=0.527, slope=0.02)


def lit(page: Page, light: Light) -> Plane:
    """The page under a light, as the spline coefficients that :func:`shoot` samples."""
    share = light.new_texture
    texture = page.texture * np.sqrt(1 - share**2) + share * page.other_texture
    tone = light.paper + light.texture * texture
    tone -= _ageing(page, light)
    master = tone * (1 - page.ink) + light.ink * page.ink
    del texture, tone
    return np.asarray(ndimage.spline_filter(master, order=3, output=np.float32, mode="mirror"))


def shoot(
    page: Page,
    light: Light,
    seed: int,
    move: Move | None = None,
    *,
    threads: int = 2,
    coefficients: Plane | None = None,
) -> NDArray[np.uint8]:
    """One scan (uint8) of the page, moved by ``move``; ``coefficients`` when already at hand."""
    height, width = page.shape
    if coefficients is None:
        coefficients = lit(page, light)
    out = np.empty((height, width), dtype=np.uint8)
    rng = np.random.default_rng([7, seed])
    seeds = rng.integers(0, 2**31, height // 128 + 1)

    def band(number: int) -> None:
        top, bottom = number * 128, min(height, number * 128 + 128)
        y, x = np.mgrid[top:bottom, :width].astype(np.float64)
        points = np.column_stack([x.ravel(), y.ravel()])
        if move is not None:
            points = move.back(points)
        at = (points + 0.5) * 2 - 0.5
        values = ndimage.map_coordinates(
            coefficients, at.T[::-1], order=3, prefilter=False, mode="mirror"
        ).reshape(bottom - top, width)
        values *= 1 + light.slope * (x / width - 0.5)
        noise = np.random.default_rng(seeds[number]).standard_normal(values.shape)
        values += light.noise * np.sqrt(np.maximum(values, 1.0) / 160) * noise
        out[top:bottom] = np.clip(np.round(values), 0, 255)

    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(band, range((height + 127) // 128)))
    return out


def _ageing(page: Page, light: Light) -> Plane:
    tall, wide = page.ink.shape
    um = 25400 / (2 * page.dpi)
    y, x = np.ogrid[:tall, :wide]
    edge = np.minimum(np.minimum(x, wide - 1 - x), np.minimum(y, tall - 1 - y)).astype(np.float32)
    out = light.tanning * np.exp(-edge * np.float32(um / 19050))
    if light.stain:
        away = ((x - 0.65 * wide) ** 2 + (y - 0.78 * tall) ** 2).astype(np.float32)
        out = out + light.stain * np.exp(-away / np.float32((20000 / um) ** 2))
    return np.asarray(out, dtype=np.float32)
