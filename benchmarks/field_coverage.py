"""Do the 95 % intervals of the sheet's strain hold the truth? Generated pairs of 6 megapixels.

One leaf of 170 x 260 mm at 300 dpi a pair, with its own words, pictures, paper, noise, tone,
stretch, turn, shift and warp (:mod:`pages`). The truth is the even stretch that fits the true
displacement best over a lattice on the whole page. Runs in parts: results are kept in
``field_coverage.json`` and a later call goes on where the last one stopped.

    nice python benchmarks/field_coverage.py 600
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np

HERE = Path(__file__).parent
TARGET = HERE / "field_coverage.json"
DPI, WIDTH_MM, HEIGHT_MM = 300, 170.0, 260.0


def one_pair(seed: int) -> list[float]:
    """Errors and standard uncertainties [1e-6]: width, its u, height, its u."""
    import pages

    from quirewell.science.imaging.register import Registration, register
    from quirewell.science.imaging.strain import fit_affine, sheet_strain

    rng = np.random.default_rng([300, seed])
    page = pages.draw_page(1000 + seed, DPI, WIDTH_MM, HEIGHT_MM)
    move = pages.random_move(rng, page)
    before = pages.shoot(page, pages.BEFORE, 2 * seed, threads=1)
    after = pages.shoot(page, pages.AFTER, 2 * seed + 1, move, threads=1)
    found = register(before, after)
    if not isinstance(found, Registration):
        raise AssertionError(f"pair {seed} was not registered: {found.says}")
    height, width = before.shape
    x, y = np.meshgrid(np.arange(20.0, width - 20, 25), np.arange(20.0, height - 20, 25))
    lattice = np.column_stack([x.ravel(), y.ravel()])
    design = np.column_stack([lattice, np.ones(len(lattice))])
    even = np.linalg.lstsq(design, move.at(lattice), rcond=None)[0]
    # Three corners tell an affine; the fit only carries it into the same arithmetic.
    corners = np.array([[0.0, 0], [1, 0], [0, 1], [1, 1], [2, 0], [0, 2]]) * 1000
    truth = sheet_strain(fit_affine(corners, np.column_stack([corners, np.ones(6)]) @ even))
    ours = sheet_strain(found.fit)
    values = (ours.exx - truth.exx, ours.u_exx, ours.eyy - truth.eyy, ours.u_eyy)
    return [round(1e6 * float(value), 4) for value in values]


def summary(rows: dict[str, list[float]]) -> dict[str, Any]:
    """Coverage of both axes, and the size of errors and uncertainties [microstrain]."""
    table = np.array(list(rows.values()))
    errors, u = table[:, [0, 2]], table[:, [1, 3]]
    inside = np.abs(errors) <= 1.96 * u
    return {
        "pairs": len(table),
        "coverage_pct": round(100 * float(inside.mean()), 2),
        "coverage_width_pct": round(100 * float(inside[:, 0].mean()), 2),
        "coverage_height_pct": round(100 * float(inside[:, 1].mean()), 2),
        "rms_error_ue": round(float(np.sqrt(np.mean(errors**2))), 3),
        "largest_error_ue": round(float(np.abs(errors).max()), 3),
        "median_u_ue": round(float(np.median(u)), 3),
        "score_rms": round(float(np.sqrt(np.mean((errors / u) ** 2))), 3),
    }


def run(count: int, save: Path = TARGET) -> dict[str, Any]:
    """Run pairs until ``count`` are kept."""
    rows = json.loads(save.read_text())["pairs"] if save.exists() else {}
    for seed in range(count):
        if str(seed) in rows:
            continue
        rows[str(seed)] = one_pair(seed)
        whole = {"summary": summary(rows), "pairs": rows}
        partial = save.with_suffix(".part")
        partial.write_text(json.dumps(whole) + "\n", encoding="utf-8")
        partial.replace(save)
    return summary(rows)


def bench() -> dict[str, Any]:
    """The summary of what was run so far (see the module's text for running more)."""
    return summary(json.loads(TARGET.read_text())["pairs"]) if TARGET.exists() else {}


if __name__ == "__main__":
    sys.path.insert(0, str(HERE))
    print(json.dumps(run(int(sys.argv[1]) if len(sys.argv) > 1 else 600), indent=2))
