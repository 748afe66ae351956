"""Invented pictures of the Annual, drawn as continuous tone (1 white, 0 black)."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.demo.tone import smooth_noise

Tone = NDArray[np.float32]


def picture(index: int, rng: np.random.Generator, rows: int, columns: int) -> Tone:
    """Picture number ``index`` of the Annual's stock, at a size in pixels."""
    tone = _STOCK[index % len(_STOCK)](rng, rows, columns)
    tone = tone + 0.035 * smooth_noise(rng, rows, columns, max(2.0, columns / 150))
    blur = max(0.6, columns / 500)
    soft = cv2.GaussianBlur(tone.astype(np.float32), (0, 0), blur)
    return np.asarray(np.clip(0.08 + 0.86 * soft, 0.0, 1.0), dtype=np.float32)


def _sky(rng: np.random.Generator, rows: int, columns: int) -> Tone:
    fall = np.linspace(0.72, 0.96, rows, dtype=np.float32)[:, None]
    cloud = np.maximum(0, smooth_noise(rng, rows, columns, columns / 4)) * 0.09
    return np.asarray(fall + cloud, dtype=np.float32)


def _hills(tone: Tone, rng: np.random.Generator, level: float, dark: float) -> None:
    rows, columns = tone.shape
    ridge = level + 0.06 * smooth_noise(rng, 1, columns, columns / 3)[0]
    ridge = ridge + 0.012 * smooth_noise(rng, 1, columns, columns / 30)[0]
    below = np.arange(rows)[:, None] > (ridge * rows)[None, :]
    texture = dark + 0.05 * smooth_noise(rng, rows, columns, columns / 40)
    tone[below] = texture[below]


def _tree(tone: Tone, rng: np.random.Generator, x: float, y: float, size: float) -> None:
    rows, columns = tone.shape
    base = (round(x * columns), round(y * rows))
    tall = size * rows
    top = (base[0], round(base[1] - tall))
    cv2.line(tone, base, top, 0.16, max(1, round(tall * 0.07)), cv2.LINE_AA)
    for _ in range(46):
        angle, reach = rng.uniform(0, 2 * np.pi), rng.random() ** 0.6 * tall * 0.42
        spot = (
            round(top[0] + reach * np.cos(angle)),
            round(top[1] + 0.8 * reach * np.sin(angle)),
        )
        light = 0.18 + 0.3 * rng.random() - 0.12 * np.sin(angle)
        cv2.circle(tone, spot, max(1, round(tall * 0.09)), float(light), -1, cv2.LINE_AA)


def _orchard(rng: np.random.Generator, rows: int, columns: int) -> Tone:
    tone = _sky(rng, rows, columns)
    _hills(tone, rng, 0.45, 0.62)
    _hills(tone, rng, 0.58, 0.5)
    path = np.array([[0.42, 1.0], [0.5, 0.6], [0.53, 0.6], [0.72, 1.0]]) * [columns, rows]
    cv2.fillPoly(tone, [path.astype(np.int32)], 0.86, cv2.LINE_AA)
    for x, y, size in ((0.12, 0.72, 0.3), (0.3, 0.66, 0.2), (0.78, 0.7, 0.27), (0.92, 0.82, 0.4)):
        _tree(tone, rng, x, y, size)
    return tone


def _glasshouse(rng: np.random.Generator, rows: int, columns: int) -> Tone:
    tone = _sky(rng, rows, columns)
    _hills(tone, rng, 0.66, 0.48)
    left, right, eave, ridge, foot = 0.18, 0.84, 0.45, 0.24, 0.8
    body = [[left, eave], [0.5, ridge], [right, eave], [right, foot], [left, foot]]
    cv2.fillPoly(tone, [_corners(body, rows, columns)], 0.7, cv2.LINE_AA)
    for x in np.linspace(left, right, 12):
        roof = ridge + abs(x - 0.5) / (0.5 - left) * (eave - ridge)
        _line(tone, x, roof, x, foot, 0.97)
    for y in (0.45, 0.55, 0.66):
        _line(tone, left, y, right, y, 0.95)
    cv2.fillPoly(
        tone,
        [_corners([[left, 0.7], [right, 0.7], [right, foot], [left, foot]], rows, columns)],
        0.3,
        cv2.LINE_AA,
    )
    for _ in range(40):
        spot = (round(rng.uniform(left, right) * columns), round(rng.uniform(0.56, 0.7) * rows))
        cv2.circle(tone, spot, max(1, columns // 55), float(rng.uniform(0.15, 0.5)), -1)
    _tree(tone, rng, 0.08, 0.86, 0.42)
    return tone


def _rose(rng: np.random.Generator, rows: int, columns: int) -> Tone:
    tone = np.full((rows, columns), 0.3, np.float32)
    tone += 0.07 * smooth_noise(rng, rows, columns, columns / 8)
    for x, y, size in ((0.33, 0.38, 0.42), (0.72, 0.56, 0.34), (0.3, 0.82, 0.24)):
        for leaf in range(6):
            _petal(tone, x, y, size * 1.45, 2 * np.pi * leaf / 6 + x, 0.36, 0.3)
        for ring in range(7):
            for petal in range(9 - ring):
                angle = 2 * np.pi * petal / (9 - ring) + 0.7 * ring
                light = 0.62 + 0.3 * (petal % 2) - 0.045 * ring + 0.1 * np.cos(angle + 0.8)
                _petal(tone, x, y, size * (1 - 0.13 * ring), angle, 0.55, float(light))
    return tone


def _petal(
    tone: Tone, x: float, y: float, size: float, angle: float, wide: float, light: float
) -> None:
    rows, columns = tone.shape
    long = size * rows / 2
    middle = (
        round(x * columns + 0.55 * long * np.cos(angle)),
        round(y * rows + 0.55 * long * np.sin(angle)),
    )
    axes = (max(1, round(0.55 * long)), max(1, round(0.55 * long * wide)))
    cv2.ellipse(tone, middle, axes, float(np.degrees(angle)), 0, 360, light, -1, cv2.LINE_AA)
    cv2.ellipse(tone, middle, axes, float(np.degrees(angle)), 0, 360, light * 0.75, 1, cv2.LINE_AA)


def _marrows(rng: np.random.Generator, rows: int, columns: int) -> Tone:
    tone = np.full((rows, columns), 0.8, np.float32)
    _hills(tone, rng, 0.55, 0.42)
    yy, xx = np.mgrid[0:rows, 0:columns].astype(np.float32)
    for x, y, a, b in ((0.3, 0.62, 0.2, 0.16), (0.66, 0.66, 0.24, 0.2), (0.48, 0.36, 0.15, 0.13)):
        u = (xx / columns - x) / a
        v = (yy / rows - y) / b / 1.25
        inside = u * u + v * v < 1
        dome = np.sqrt(np.clip(1 - u * u - v * v, 0, 1))
        ribs = 0.16 * np.abs(np.sin(5.0 * np.arcsin(np.clip(u, -1, 1))))
        shade = 0.18 + 0.62 * np.clip(dome - 0.35 * u - 0.3 * v, 0, 1) - ribs + 0.1
        tone[inside] = shade[inside]
        _line(tone, x, y - 1.2 * b, x + 0.02, y - 1.55 * b, 0.2, 3)
    return tone


def _can(rng: np.random.Generator, rows: int, columns: int) -> Tone:
    tone = _sky(rng, rows, columns)
    _hills(tone, rng, 0.7, 0.45)
    grey = np.linspace(0.2, 0.8, columns, dtype=np.float32)[None, :].repeat(rows, 0)
    mask = np.zeros((rows, columns), np.uint8)
    body = [[0.34, 0.4], [0.66, 0.4], [0.7, 0.86], [0.3, 0.86]]
    cv2.fillPoly(mask, [_corners(body, rows, columns)], 1)
    spout = [[0.66, 0.72], [0.9, 0.34], [0.94, 0.38], [0.68, 0.82]]
    cv2.fillPoly(mask, [_corners(spout, rows, columns)], 1)
    tone[mask > 0] = grey[mask > 0]
    middle = (round(0.44 * columns), round(0.36 * rows))
    axes = (round(0.16 * columns), round(0.2 * rows))
    cv2.ellipse(tone, middle, axes, 0, 150, 360, 0.2, max(2, columns // 50), cv2.LINE_AA)
    cv2.ellipse(
        tone,
        (round(0.93 * columns), round(0.36 * rows)),
        (max(1, columns // 40), max(1, rows // 14)),
        40,
        0,
        360,
        0.25,
        -1,
        cv2.LINE_AA,
    )
    for _ in range(60):
        x, y = rng.uniform(0, 1), rng.uniform(0.86, 0.98)
        _line(tone, x, y, x + 0.01, y - 0.06, float(rng.uniform(0.15, 0.6)))
    return tone


def _corners(points: list[list[float]], rows: int, columns: int) -> NDArray[np.int32]:
    return np.round(np.array(points) * [columns, rows]).astype(np.int32)


def _line(
    tone: Tone, x: float, y: float, to_x: float, to_y: float, light: float, weight: int = 1
) -> None:
    rows, columns = tone.shape
    start, stop = (round(x * columns), round(y * rows)), (round(to_x * columns), round(to_y * rows))
    cv2.line(tone, start, stop, light, max(weight, columns // 300), cv2.LINE_AA)


_STOCK: tuple[Callable[[np.random.Generator, int, int], Tone], ...] = (
    _orchard,
    _rose,
    _glasshouse,
    _marrows,
    _can,
)
