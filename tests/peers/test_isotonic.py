"""The curve that never falls beside scikit-learn's isotonic regression."""

from __future__ import annotations

import subprocess
from pathlib import Path

import numpy as np
import pytest

from quirewell.science.planning.worth_fit import curve

ROOT = Path(__file__).parents[2]
PEERS = ROOT / ".venv-peers" / "bin" / "python"


@pytest.mark.peers
def test_a_knot_at_every_grade_is_isotonic_regression(tmp_path: Path) -> None:
    rng = np.random.default_rng(36)
    blocks = []
    for _ in range(60):
        x = np.sort(rng.choice(np.arange(0.5, 10.5, 0.5), 14, replace=False))
        blocks.append(np.array([x, 3 + 0.2 * x + 0.8 * rng.normal(size=14),
                                rng.uniform(0.2, 3, 14)]))  # fmt: skip
    np.save(tmp_path / "in.npy", np.array(blocks))
    script = Path(__file__).with_name("isotonic_oracle.py")
    subprocess.run(
        [PEERS, script, tmp_path / "in.npy", tmp_path / "out.npy"],
        check=True, capture_output=True, timeout=300,
    )  # fmt: skip
    theirs = np.load(tmp_path / "out.npy")
    assert len({len(np.unique(row.round(9))) for row in theirs}) > 3  # many kinds of steps
    for (x, y, weights), wanted in zip(blocks, theirs, strict=True):
        assert curve(x, y, x, 0.0, weights).at(x) == pytest.approx(wanted, abs=1e-9)
