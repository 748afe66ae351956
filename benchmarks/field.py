"""The before/after field: a 600 dpi page beside elastix, halftone false lock, star, coverage.

The page is A4 at 600 dpi (35 megapixels) with the change of :func:`pages.reference_move`. Errors
are estimated minus true displacement at 64 px pitch over the whole page, margins included. The
peer is elastix (affine, then B-spline) at half scale, in its own environment, in the same run.
Seconds are those of a second call: the first one compiles.
"""

from __future__ import annotations

import json
import multiprocessing
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
from peak import fresh_peak_mb, peak_mb

HERE = Path(__file__).parent
ROOT = HERE.parent
DPI, PITCH_PX = 600, 64
UM = 25400 / DPI
DOT_PX = 25400 / 65 / UM


def _make(folder: Path) -> None:
    import pages

    page = pages.draw_page(1, DPI)
    move = pages.reference_move(page)
    np.save(folder / "before.npy", pages.shoot(page, pages.BEFORE, 1))
    np.save(folder / "after.npy", pages.shoot(page, pages.AFTER, 2, move))
    points = _lattice(page.shape, 3.0)
    np.save(folder / "points.npy", points)
    np.save(folder / "true.npy", move.at(points))


def _lattice(shape: tuple[int, ...], margin: float) -> np.ndarray:
    """Places at 64 px pitch, ``margin`` pitches from the rim: 3 give the 7,488 of the test."""
    height, width = shape
    x = np.arange(margin * PITCH_PX, width - (margin - 0.5) * PITCH_PX, PITCH_PX)
    y = np.arange(margin * PITCH_PX, height - (margin - 0.5) * PITCH_PX, PITCH_PX)
    return np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)


def _pair(folder: Path) -> tuple[np.ndarray, np.ndarray]:
    return np.load(folder / "before.npy"), np.load(folder / "after.npy")


def _errors(at: np.ndarray, true: np.ndarray) -> dict[str, float]:
    size = UM * np.hypot(*(at - true).T)
    return {
        "rms_um": round(float(np.sqrt(np.mean(size**2))), 3),
        "median_um": round(float(np.median(size)), 3),
        "largest_um": round(float(size.max()), 2),
    }


def _match(folder: Path) -> dict[str, Any]:
    """The match alone: seconds, memory, and the smooth field against the truth."""
    from quirewell.science.imaging import match_field

    before, after = _pair(folder)
    match_field(before[:1200, :1200], after[:1200, :1200])
    start_mb, start = fresh_peak_mb(), time.perf_counter()
    found = match_field(before, after)
    seconds, grown = time.perf_counter() - start, peak_mb() - start_mb
    points, true = np.load(folder / "points.npy"), np.load(folder / "true.npy")
    rim = _lattice(before.shape, 0.5)
    assert found.field is not None
    raw = found.displacement_px - (_true_at(found.points_px) - found.points_px)
    good = np.isfinite(raw).all(axis=1)
    return {
        "seconds": round(seconds, 2),
        "grown_mb": round(grown),
        "radius_px": found.radius_px,
        "step_px": found.step_px,
        "field": _errors(found.field.at(points), true),
        "field to the rim": _errors(found.field.at(rim), _true_at(rim)),
        "matched_pct": round(100 * float(good.mean()), 1),
        "points_rms_um": round(UM * float(np.sqrt(np.mean(np.sum(raw[good] ** 2, axis=1)))), 3),
        "points_score_rms": round(float(np.sqrt(np.mean((raw[good] / found.u_px[good]) ** 2))), 2),
    }


def _true_at(points: np.ndarray) -> np.ndarray:
    import pages

    shape = (round(297 / 25.4 * DPI), round(210 / 25.4 * DPI))
    blank = np.zeros((2 * shape[0], 2 * shape[1]), dtype=np.uint8)
    page = pages.Page(DPI, blank, blank, blank)
    return np.asarray(pages.reference_move(page).at(points))


def _strain(folder: Path) -> dict[str, Any]:
    """The sheet's strain [1e-6] by the registration of the comparison, over what it matched.

    The truth is the even stretch that fits the true displacement best, by least squares.
    """
    from quirewell.science.imaging.register import register
    from quirewell.science.imaging.strain import fit_affine, sheet_strain

    before, after = _pair(folder)
    register(before[:1200, :1200], after[:1200, :1200])
    start_mb, start = fresh_peak_mb(), time.perf_counter()
    found = register(before, after)
    seconds, grown = time.perf_counter() - start, peak_mb() - start_mb
    design = np.column_stack([found.points, np.ones(len(found.points))])
    even = np.linalg.lstsq(design, _true_at(found.points), rcond=None)[0]
    # Six corners tell an affine; the fit only carries it into the same arithmetic.
    corners = np.array([[0.0, 0], [1, 0], [0, 1], [1, 1], [2, 0], [0, 2]]) * 1000
    truth = sheet_strain(fit_affine(corners, np.column_stack([corners, np.ones(6)]) @ even))
    ours = sheet_strain(found.fit)
    return {
        "seconds": round(seconds, 2),
        "grown_mb": round(grown),
        "width_error_ue": round(1e6 * (ours.exx - truth.exx), 2),
        "width_u_ue": round(1e6 * ours.u_exx, 2),
        "height_error_ue": round(1e6 * (ours.eyy - truth.eyy), 2),
        "height_u_ue": round(1e6 * ours.u_eyy, 2),
    }


def _elastix(folder: Path) -> dict[str, Any]:
    python = ROOT / ".venv-peers" / "bin" / "python"
    names = [str(folder / name) for name in ("before.npy", "after.npy", "points.npy", "peer.npz")]
    # In a folder of its own: the peer leaves its field lying about.
    subprocess.run(
        [str(python), "-P", str(HERE / "elastix_field.py"), *names], check=True, cwd=folder
    )
    said = np.load(folder / "peer.npz")
    errors = _errors(said["at"], np.load(folder / "true.npy"))
    return {"seconds": round(float(said["seconds"]), 2), "field": errors}


def _false_lock(folder: Path) -> dict[str, Any]:
    """Starts wrong by up to three dots: how many accepted points are a dot or more away."""
    from quirewell.science.imaging import match_field

    before, after = (part[:3600, :3200] for part in _pair(folder))
    out: dict[str, Any] = {}
    for dots in (0.5, 1.0, 2.0, 3.0):
        for angle in (0.0, 45.0, 90.0):
            turn = np.radians(angle)
            off = dots * DOT_PX * np.array([np.cos(turn), np.sin(turn)])
            corners = np.array([[0.0, 0], [1, 0], [0, 1]])
            moved = _true_at(corners * 1000) + off
            linear = (moved[1:] - moved[0]).T / 1000
            start = np.column_stack([linear, moved[0]])
            found = match_field(before, after, start=start)
            miss = found.displacement_px - (_true_at(found.points_px) - found.points_px)
            good = np.isfinite(miss).all(axis=1)
            wrong = int((np.hypot(*miss[good].T) > DOT_PX / 2).sum())
            out[f"{dots:g} dots at {angle:g} degrees"] = {
                "accepted": int(good.sum()),
                "false": wrong,
            }
    return {"false_in_all": sum(row["false"] for row in out.values()), "starts": out}


def bench() -> dict[str, Any]:
    """All rows, each case in a process of its own."""
    import field_coverage
    import star_field

    context = multiprocessing.get_context("spawn")
    out: dict[str, Any] = {}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for case in (_make, _match, _strain, _elastix, _false_lock):
            with context.Pool(1) as pool:
                out[case.__name__.strip("_")] = pool.apply(case, (folder,))
            print(case.__name__, out[case.__name__.strip("_")], file=sys.stderr)
    del out["make"]
    ours, peer = out["match"], out["elastix"]
    out["rms_of_elastix_over_ours"] = round(peer["field"]["rms_um"] / ours["field"]["rms_um"], 2)
    out["seconds_over_elastix"] = round(ours["seconds"] / peer["seconds"], 3)
    out["star"] = star_field.bench()
    out["coverage"] = field_coverage.bench()
    return out


if __name__ == "__main__":
    sys.path.insert(0, str(HERE))
    json.dump(bench(), sys.stdout, indent=2)
