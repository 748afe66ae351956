"""The ink mask on drawn pages whose ink is known, beside the usual thresholds.

Pages of the demo (type, halftone, picture pages, cover) are drawn on tanned and stained paper
with show-through, and once more with black ink on white paper, which gives each pixel's true
coverage. Peers: scikit-image's Otsu, Sauvola, and Otsu after division by a smoothed closing,
run in the peers' environment on the same greys. The F-measure counts pixels:
2 (found and true) / (found + true).
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

ROOT = Path(__file__).parents[1]
PEERS = ROOT / ".venv-peers/bin/python"
SIZE_MM = (190.0, 262.0)
PAGES = (("page", 1), ("page", 2), ("page", 3), ("page", 4), ("page", 5), ("front", 1), ("back", 2))
RESOLUTIONS = (150, 300)

PEER = """
import json, sys, time
import numpy as np
from scipy import ndimage
from skimage.filters import threshold_otsu, threshold_sauvola

def divided(grey):
    side = max(15, round(max(grey.shape) / 30) | 1)
    top = ndimage.grey_closing(ndimage.median_filter(grey, 3), (side, side)).astype(float)
    return np.clip(grey / np.maximum(ndimage.gaussian_filter(top, side / 3), 1), 0, 1.2)

def otsu(grey): return grey <= threshold_otsu(grey)
def divided_otsu(grey):
    ratio = divided(grey)
    return ratio <= threshold_otsu(ratio)
def sauvola(grey): return grey <= threshold_sauvola(grey, 51)

out = {}
for method in (otsu, divided_otsu, sauvola):
    start, marks = time.perf_counter(), {}
    for path in sys.argv[1:]:
        with np.load(path) as data:
            found, true = method(data["grey"]), data["true"]
        marks[path] = float(2 * (found & true).sum() / (found.sum() + true.sum()))
    out[method.__name__] = {"f": marks, "seconds": time.perf_counter() - start}
print(json.dumps(out))
"""


def draw(kind: str, seed: int, dpi: int) -> tuple[np.ndarray, np.ndarray]:
    """Grey scan of a page cut inside its edges, and where at least half a pixel is ink."""
    from quirewell.demo.cover import INKS, PASSES, cover_plates
    from quirewell.demo.outline import draw_outline
    from quirewell.demo.pages import page_plate
    from quirewell.demo.scanner import Face, Glass, Ink, Pose, lit, scan
    from quirewell.demo.tone import Ageing, ToneField, tone_field

    wide, tall = SIZE_MM
    rng = np.random.default_rng([seed, 7])
    ppm = max(150, min(2 * dpi, 600)) / 25.4
    if kind == "page":
        inks = (Ink(page_plate(seed % 6 + 1, seed, wide, tall, ppm), ppm),)
    else:
        plates = cover_plates("outer", seed, wide, tall, ppm)
        left = int(wide * ppm) if kind == "front" else 0
        inks = tuple(
            Ink(np.ascontiguousarray(plates[ink][:, left : left + int(wide * ppm)]), ppm,
                PASSES[ink], gain=1.1, mottle=0.03)
            for ink in INKS
        )  # fmt: skip
    um = 25400 / dpi
    glass, outline = Glass(wide + 6, tall + 6, um, um), draw_outline(rng, wide, tall)
    pose = Pose((wide / 2, tall / 2), (wide / 2 + 3, tall / 2 + 3), float(rng.uniform(-0.8, 0.8)))
    ageing = Ageing((77.0, 5.0, 23.0), (63.0, 9.5, 29.0), tideline=0.9)
    tone = tone_field(ageing, wide, tall, seed)
    through = replace(inks[-1], plate=np.ascontiguousarray(inks[-1].plate[:, ::-1]))
    picture = scan(Face(outline, tone, inks, grain_seed=seed, through=through), pose, glass, seed)
    lab = np.tile(np.float32([100, 0, 0]), (*tone.lab.shape[:2], 1))
    white = ToneField(lab, tone.origin_mm, tone.cell_mm)
    black = tuple(replace(ink, passes=(0, 0, 0), mottle=0) for ink in inks)
    alpha, inked = lit(Face(outline, white, black, grain=0.0), pose, glass)
    _, bare = lit(Face(outline, white, (), grain=0.0), pose, glass)
    rows, columns = np.where(alpha > 0.99)
    inside = (
        slice(rows.min() + 12, rows.max() - 12),
        slice(columns.min() + 12, columns.max() - 12),
    )
    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    true = (inked[..., 1] <= 0.5 * bare[..., 1]) & (alpha > 0.99)
    return grey[inside], true[inside]


def bench() -> dict[str, Any]:
    """F-measure of every page, ours and the peers', and seconds for all pages."""
    from quirewell.science.imaging.ink_or_paper import ink_mask

    with tempfile.TemporaryDirectory() as name:
        files = {}
        for dpi in RESOLUTIONS:
            for kind, seed in PAGES:
                path = str(Path(name) / f"{kind}-{seed}-{dpi}dpi.npz")
                grey, true = draw(kind, seed, dpi)
                np.savez(path, grey=grey, true=true)
                files[path] = grey.size / 1e6
        ours: dict[str, float] = {}
        start = time.perf_counter()
        for path in files:
            with np.load(path) as data:
                found, true = ink_mask(data["grey"]), data["true"]
            ours[path] = float(2 * (found & true).sum() / (found.sum() + true.sum()))
        seconds = time.perf_counter() - start
        told = subprocess.run(
            [PEERS, "-c", PEER, *files], capture_output=True, text=True, check=True
        ).stdout
    peers = json.loads(told)
    methods = {"ours": {"f": ours, "seconds": seconds}} | peers
    pages = {
        Path(path).stem: {key: round(entry["f"][path], 4) for key, entry in methods.items()}
        for path in files
    }
    usual = peers["divided_otsu"]["f"]
    return {
        "pages": pages,
        "mean_f": {
            key: round(float(np.mean(list(entry["f"].values()))), 4)
            for key, entry in methods.items()
        },
        "worst_f": {
            key: round(min(entry["f"].values()), 4) for key, entry in methods.items()
        },
        "better_than_divided_otsu_on": sum(ours[path] > usual[path] for path in files),
        "of_pages": len(files),
        "megapixels": round(sum(files.values()), 1),
        "seconds_over_divided_otsu": round(seconds / peers["divided_otsu"]["seconds"], 3),
        "seconds_per_megapixel": round(seconds / sum(files.values()), 3),
    }  # fmt: skip


if __name__ == "__main__":
    json.dump(bench(), sys.stdout, indent=2)
