"""Fine print taken apart: planted halftones whose dot gain the fit does not know.

Spectral dots, inks, papers and cameras are those of the tests (``tests/halftone_tiles.py``).
"Told" counts tiles; "inside" is the share of inks whose true change of cover lies within 1.96 u;
"called" the share called a change.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).parents[1]
SEEDS = 100
SETS = (
    ("black",), ("red",), ("blue",), ("yellow",), ("red", "black"), ("red", "yellow"),
    ("blue", "yellow"), ("red", "blue"),
)  # fmt: skip
NOT_TOLD = (
    (("blue",), ("red", "black")),
    (("black",), ("blue", "yellow")),
    (("red", "blue"), ("red", "black")),
    (("red", "yellow", "black"), ("red", "yellow", "black")),
    (("red", "yellow", "blue"), ("red", "yellow", "blue", "black")),
)
SCATTER = 0.0142


def one_set(inks: tuple[str, ...], most_lost: float) -> dict[str, Any]:
    """Figures of one set of inks over all seeds."""
    from halftone_tiles import planted
    from quirewell.science.imaging.halftone import SCREENS, unmix

    told, rows = [], []
    for seed in range(SEEDS):
        lost = np.random.default_rng(seed).uniform(0, most_lost, len(inks)) if most_lost else 0.0
        page = planted(seed, inks, lost)
        found = unmix(page.tiles, page.passes, SCATTER, SCREENS)
        told.append(found.told)
        for cover in found.covers:
            true = (page.after - page.before)[cover.used, cover.index].mean()
            rows.append((cover.change - true, cover.u, cover.changed))
    errors, u, called = (np.array(column, dtype=float) for column in zip(*rows, strict=True))
    return {
        "inks": len(rows),
        "tiles_told": round(float(np.mean(told)), 3),
        "inside_196_u": round(float(np.mean(np.abs(errors) <= 1.96 * u)), 4),
        "rms_error_points": round(100 * float(np.sqrt(np.mean(errors**2))), 3),
        "median_u_points": round(100 * float(np.median(u)), 3),
        "called": round(float(called.mean()), 4),
    }


def not_told() -> dict[str, int]:
    """Pages whose inks cannot be told: how many inks were told, and called, all the same."""
    from halftone_tiles import planted
    from quirewell.science.imaging.halftone import unmix

    pages = inks = called = 0
    for printed, solids in NOT_TOLD:
        for seed in range(SEEDS):
            page = planted(seed, printed, 0.2, solids_of=solids)
            covers = unmix(page.tiles, page.passes, SCATTER).covers
            pages, inks = pages + 1, inks + len(covers)
            called += sum(cover.changed for cover in covers)
    return {"pages": pages, "inks_told": inks, "called": called}


def bench() -> dict[str, Any]:
    """Paper alone changed, cover lost as well, and pages that must not be told."""
    sys.path.insert(0, str(ROOT / "tests"))
    start = time.perf_counter()
    out: dict[str, Any] = {
        name: {" and ".join(inks): one_set(inks, most) for inks in SETS}
        for name, most in (("paper_alone", 0.0), ("up_to_30_pct_lost", 0.3))
    }
    return {**out, "not_to_be_told": not_told(), "seconds": round(time.perf_counter() - start, 1)}
