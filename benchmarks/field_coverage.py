"""Do the 95 % intervals of the sheet's strain hold the truth? Generated pairs of 6 megapixels.

A leaf of 170 x 260 mm at 300 dpi with its own words, pictures and paper for every ten pairs;
each pair has its own noise, stretch, turn, shift and warp (:mod:`pages`). The truth is the even
stretch that fits the true displacement best over the matched places, which is what is stated;
beside it stands how far the even stretch of the whole page, rims included, lies from that. Runs
in parts: results are kept in ``field_coverage.json`` and a later call goes on where the last
one stopped.

    nice python benchmarks/field_coverage.py 600
"""

from __future__ import annotations

import json
import sys
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

HERE = Path(__file__).parent
TARGET = HERE / "field_coverage.json"
DPI, WIDTH_MM, HEIGHT_MM = 300, 170.0, 260.0
PAIRS_A_LEAF = 10


@lru_cache(maxsize=1)
def _leaf(number: int) -> tuple[Any, Any, Any]:
    """A page, and its spline coefficients under both lights."""
    import pages

    page = pages.draw_page(1000 + number, DPI, WIDTH_MM, HEIGHT_MM)
    return page, pages.lit(page, pages.BEFORE), pages.lit(page, pages.AFTER)


def one_pair(seed: int) -> list[float]:
    """Errors and standard uncertainties [1e-6]: width, its u, height, its u; then how far the
    even stretch of the whole page lies off that of the matched places: width, height."""
    import pages

    from quirewell.science.imaging.register import Registration, register
    from quirewell.science.imaging.strain import sheet_strain

    rng = np.random.default_rng([300, seed])
    page, unlit, relit = _leaf(seed // PAIRS_A_LEAF)
    move = pages.random_move(rng, page)
    before = pages.shoot(page, pages.BEFORE, 2 * seed, threads=1, coefficients=unlit)
    after = pages.shoot(page, pages.AFTER, 2 * seed + 1, move, threads=1, coefficients=relit)
    found = register(before, after)
    if not isinstance(found, Registration):
        raise AssertionError(f"pair {seed} was not registered: {found.says}")
    height, width = before.shape
    x, y = np.meshgrid(np.arange(20.0, width - 20, 25), np.arange(20.0, height - 20, 25))
    whole = _even(move, np.column_stack([x.ravel(), y.ravel()]))
    truth, ours = _even(move, found.points), sheet_strain(found.fit)
    values = (
        ours.exx - truth.exx, ours.u_exx, ours.eyy - truth.eyy, ours.u_eyy,
        whole.exx - truth.exx, whole.eyy - truth.eyy,
    )  # fmt: skip
    return [round(1e6 * float(value), 4) for value in values]


def _even(move: Any, points: np.ndarray) -> Any:
    """Strain of the even stretch that fits a move best over points (n, 2)."""
    from quirewell.science.imaging.strain import fit_affine, sheet_strain

    design = np.column_stack([points, np.ones(len(points))])
    even = np.linalg.lstsq(design, move.at(points), rcond=None)[0]
    # A few corners tell an affine; the fit only carries it into the same arithmetic.
    corners = np.array([[0.0, 0], [1, 0], [0, 1], [1, 1], [2, 0], [0, 2]]) * 1000
    return sheet_strain(fit_affine(corners, np.column_stack([corners, np.ones(6)]) @ even))


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
        "whole_page_off_rms_ue": round(float(np.sqrt(np.mean(table[:, 4:] ** 2))), 3),
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
