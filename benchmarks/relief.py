"""Normals of drawn sheets (cockle, a crease of 0.1 mm, print), lamps 600 mm away, flat field.

The peer is plain least squares by NumPy over all lamps, in the same run: what it costs to leave
shadow and shine out, and what it saves where there are some.
"""

from __future__ import annotations

import json
import sys
import time
from typing import Any

import numpy as np

CASES = tuple((lamps, elevation) for lamps in (4, 8) for elevation in (10, 25, 45))


def _error_deg(found: np.ndarray, true: np.ndarray) -> float:
    return float(np.degrees(np.arccos(np.clip((found * true).sum(axis=2), -1, 1))).mean())


def _plain(images: np.ndarray, lights: np.ndarray) -> np.ndarray:
    flat = images.reshape(len(images), -1)
    found = np.linalg.lstsq(lights, flat.astype(np.float64), rcond=None)[0].T
    found /= np.linalg.norm(found, axis=1, keepdims=True)
    return found.reshape(*images.shape[1:], 3)


def bench() -> dict[str, Any]:
    """Mean error of normals [degrees] and of height [um] for each case; shadow; seconds."""
    from quirewell.demo.raked_sheet import rake_sheet, ring
    from quirewell.science.imaging.integrate import height_mm, without_plane
    from quirewell.science.imaging.lambert import normals
    from quirewell.science.imaging.relief import divided_by_flat, measure_relief

    out: dict[str, Any] = {"sheets": {}}
    for lamps, elevation in CASES:
        rows = []
        for seed in (1, 2, 3):
            sheet = rake_sheet(seed, ring(lamps, elevation), lamp_mm=600)
            every = np.ones(sheet.images.shape[1:], dtype=bool)
            bare = normals(sheet.images, sheet.lights, every)
            flat = divided_by_flat(sheet.images, sheet.flats, sheet.lights)
            found = normals(flat, sheet.lights, every)
            height = height_mm(found, sheet.px_mm)
            off = height - without_plane(sheet.height_mm, every)
            crease = measure_relief(found, sheet.px_mm, True).crease_mm - sheet.crease_mm
            errors = _error_deg(found, sheet.normals), _error_deg(bare, sheet.normals)
            rows.append((*errors, 1000 * float(off.std()), crease))
        mean = np.mean(rows, axis=0)
        out["sheets"][f"{lamps} lamps at {elevation} degrees"] = {
            "normals_deg": round(float(mean[0]), 3),
            "normals_without_flat_deg": round(float(mean[1]), 2),
            "height_um": round(float(mean[2]), 1),
            "crease_error_mm": round(float(mean[3]), 1),
        }
    out["worst_normals_deg"] = max(entry["normals_deg"] for entry in out["sheets"].values())
    sheet = rake_sheet(4, ring(8, 25), size_mm=(300.0, 250.0))
    every = np.ones(sheet.images.shape[1:], dtype=bool)
    spoiled = sheet.images.copy()
    spoiled[0, 200:500, 200:500] *= 0.05
    spoiled[5, 400:700, 400:700] *= 2.5
    start = time.perf_counter()
    ours = normals(spoiled, sheet.lights, every)
    seconds = time.perf_counter() - start
    start = time.perf_counter()
    peer = _plain(spoiled, sheet.lights)
    out["shadow_and_shine"] = {
        "normals_deg": round(_error_deg(ours, sheet.normals), 3),
        "peer_deg": round(_error_deg(peer, sheet.normals), 3),
        "megapixels": round(every.size / 1e6, 2),
        "seconds": round(seconds, 3),
        "seconds_over_peer": round(seconds / (time.perf_counter() - start), 3),
    }
    return out


if __name__ == "__main__":
    json.dump(bench(), sys.stdout, indent=2)
