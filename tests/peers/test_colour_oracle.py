"""CIELAB and CIEDE2000 beside colour-science, in its own environment."""

from __future__ import annotations

import subprocess
from pathlib import Path

import numpy as np
import pytest

from quirewell.science.colour.difference import ciede2000
from quirewell.science.colour.spaces import lab_from_srgb

ROOT = Path(__file__).parents[2]
PEERS = ROOT / ".venv-peers" / "bin" / "python"


@pytest.mark.peers
def test_lab_and_ciede2000_agree_with_an_independent_library(tmp_path: Path) -> None:
    rng = np.random.default_rng(1936)
    paper = rng.normal((0.80, 0.72, 0.58), 0.06, (400, 3)).clip(0, 1)
    rgb = np.vstack([paper, rng.random((600, 3)), [[0, 0, 0], [1, 1, 1], [0.5, 0.5, 0.5]]])
    np.save(tmp_path / "rgb.npy", rgb)
    names = [tmp_path / name for name in ("rgb.npy", "lab.npy", "de.npy")]
    script = Path(__file__).with_name("colour_oracle.py")
    subprocess.run([PEERS, script, *names], check=True, capture_output=True, timeout=300)
    theirs, difference = np.load(names[1]), np.load(names[2])
    ours = lab_from_srgb(rgb)
    # They use the sRGB standard's matrix as printed, to four digits, and a white of four digits;
    # ours carries both to seven. That is the whole of the difference.
    assert np.abs(ours - theirs).max() < 0.03
    assert np.abs(ours[:400] - theirs[:400]).max() < 0.01
    assert np.abs(ciede2000(theirs[:-1], theirs[1:]) - difference).max() < 1e-6
