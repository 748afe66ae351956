"""The demo's lime-water bath as it was kept: nine wraps, titres and a weighed wrap, planted truth.

The readings are drawn from a planted paper worked through the exact ledger, with the errors that a
burette, an electrode and a pocket scale make.
"""

from __future__ import annotations

import numpy as np

from quirewell.demo.truth import BathTruth
from quirewell.science.bath.ledger import Entry, Paper, Row, Tray, run

PAPER = Paper(pickup=2.15, acid_groups=0.12, strong_acid=0.03)
TRAY = Tray(litres=5.0, strength=0.5, temperature_c=19.0)
MINUTES, WATER_IN = 20.0, 1.8
TITRED_AFTER = (0, 3, 6, 9)
ACID_MOL_L, SAMPLE_ML, U_ML = 0.05, 10.0, 0.05


def _entries(seed: int) -> list[Entry]:
    rng = np.random.default_rng([seed, 313])
    return [
        Entry("wrap", round(float(rng.normal(5.1, 0.08)), 1), WATER_IN, MINUTES) for _ in range(9)
    ]


def _rows(seed: int) -> tuple[Row, ...]:
    """The fresh bath, then the nine wraps' rows."""
    ledger = run(TRAY, PAPER, _entries(seed))
    return (ledger.fresh, *ledger.rows)


def bath_truth(seed: int) -> BathTruth:
    """The planted bath of a demo."""
    return BathTruth(
        PAPER.pickup, PAPER.acid_groups + PAPER.strong_acid,
        tuple(row.reserve_pct_caco3 for row in _rows(seed)[1:10]),
    )  # fmt: skip


def ledger_form(seed: int) -> dict[str, str]:
    """The form a person would send after the bath: what went through it, and what it read."""
    rng = np.random.default_rng([seed, 314])
    rows = _rows(seed)
    lines = [f"after 0: pH {rows[0].ph + rng.normal(0, 0.04):.2f} @ 19"]
    for after in TITRED_AFTER:
        # Lifting a wrap out of a covered tray changes how much there is, not how strong it is.
        alkali = rows[after].alkalinity_mol_per_kg
        used = alkali * SAMPLE_ML / ACID_MOL_L + rng.normal(0, U_ML)
        lines.append(f"after {after}: {SAMPLE_ML:g} mL took {used:.2f} mL of {ACID_MOL_L:g}")
    wet = PAPER.pickup + rng.normal(0, 0.06)
    lines.append(f"after 1: pickup {wet:.2f} ± 0.08")
    return {
        "entries": "\n".join(f"wrap {one.mass_g:g} g {MINUTES:g} min" for one in _entries(seed)),
        "readings": "\n".join(lines),
        "open": "no",
    }
