"""The open star images of the DIC Challenge 2.0: how fine a wave a subset still follows.

A vertical wave of half a pixel, its period falling from 300 px at the right to 10 px at the
left (``reu2022``). Along the middle row the true displacement is 0.5 px everywhere; the place
where a subset first follows 0.45 px of it tells its resolution: the smaller x, the finer.
"""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import cv2
import numpy as np

STEP_PX = 4
SMOOTH_PX = 204
REACH_PX = 0.45
ROOT = Path(__file__).parents[1]


def star_images(root: Path = ROOT) -> tuple[np.ndarray, np.ndarray]:
    """Reference and deformed picture, from the peers' environment."""
    found = sorted((root / ".venv-peers").glob("lib/*/site-packages/pyvale/data/dic/challenge"))
    if not found:
        raise FileNotFoundError("the open images are missing: run make setup-test")
    names = ("DIC_Challenge_Star_Noise_Ref.tiff", "DIC_Challenge_Star_Noise_Def.tiff")
    pictures = [cv2.imread(str(found[0] / name), cv2.IMREAD_UNCHANGED) for name in names]
    return np.asarray(pictures[0]), np.asarray(pictures[1])


def reached_px(radius_px: int, order: int) -> dict[str, Any]:
    """Where along the middle row 0.45 px is first reached."""
    from quirewell.science.imaging import match_field

    before, after = star_images()
    start = time.perf_counter()
    found = match_field(before, after, step_px=STEP_PX, radius_px=radius_px, order=order)
    seconds = time.perf_counter() - start
    down = found.displacement_px[:, 1].reshape(found.lattice)
    x = found.points_px[:, 0].reshape(found.lattice)[0]
    y = found.points_px[:, 1].reshape(found.lattice)[:, 0]
    line = np.abs(down[np.argmin(np.abs(y - (before.shape[0] - 1) / 2))])
    half = SMOOTH_PX // STEP_PX // 2
    padded = np.pad(line, half, constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1)
    seen = np.isfinite(windows)
    smooth = np.where(seen, windows, 0.0).sum(axis=1) / np.maximum(seen.sum(axis=1), 1)
    over = np.flatnonzero(smooth >= REACH_PX)
    return {
        "x_px": float(x[over[0]]) if over.size else None,
        "missing_pct": round(100 * float(np.isnan(line).mean()), 2),
        "seconds": round(seconds, 2),
    }


def bench() -> dict[str, Any]:
    """Rows by radius and order."""
    return {
        f"radius {radius}, order {order}": reached_px(radius, order)
        for order in (1, 2)
        for radius in (5, 8, 12, 16)
    }


if __name__ == "__main__":
    for name, row in bench().items():
        print(name, row)
