"""Crease lines as courses: each connected line of a mask, one pixel wide, from end to end."""

from __future__ import annotations

from collections import deque

import cv2
import numpy as np
from numpy.typing import NDArray

Mask = NDArray[np.bool_]
_AROUND = [(dy, dx) for dy in (-1, 0, 1) for dx in (-1, 0, 1) if (dy, dx) != (0, 0)]


def crease_paths(lines: Mask, least_px: float, stray_px: float = 1.0) -> list[NDArray[np.float64]]:
    """The longest way through each line of a mask, longest first [px, a pixel's middle at +0.5].

    Side branches are left out, and lines that reach less than ``least_px``; points are thinned as
    far as the course strays by no more than ``stray_px``.
    """
    _, labels = cv2.connectedComponents(lines.astype(np.uint8), connectivity=8)
    places: dict[int, list[tuple[int, int]]] = {}
    for y, x in np.argwhere(lines):
        places.setdefault(int(labels[y, x]), []).append((int(y), int(x)))
    out = []
    for pixels in places.values():
        within = set(pixels)
        far = _walk(within, pixels[0])[-1]
        way = _walk(within, far)
        course = np.array([(x + 0.5, y + 0.5) for y, x in way])
        if len(course) < 2 or np.ptp(course, axis=0).max() < least_px:
            continue
        thin = cv2.approxPolyDP(course.astype(np.float32)[:, None], stray_px, False)
        out.append(np.asarray(thin.reshape(-1, 2), np.float64))
    return sorted(out, key=lambda course: -float(np.hypot(*np.diff(course, axis=0).T).sum()))


def _walk(within: set[tuple[int, int]], start: tuple[int, int]) -> list[tuple[int, int]]:
    """The way from ``start`` to the pixel that is the most steps away."""
    came: dict[tuple[int, int], tuple[int, int] | None] = {start: None}
    waiting = deque([start])
    last = start
    while waiting:
        last = waiting.popleft()
        for dy, dx in _AROUND:
            near = (last[0] + dy, last[1] + dx)
            if near in within and near not in came:
                came[near] = last
                waiting.append(near)
    way = [last]
    while (before := came[way[-1]]) is not None:
        way.append(before)
    return way[::-1]
