"""The same planted pair, registered here and by SimpleITK in its own environment."""

from __future__ import annotations

import subprocess
from pathlib import Path

import numpy as np
import pytest

from paired_pages import plant, printed_page, shoot
from quirewell.science.imaging.register import Registration, register
from quirewell.science.imaging.strain import fit_affine, sheet_strain

ROOT = Path(__file__).parents[2]
PEERS = ROOT / ".venv-peers" / "bin" / "python"
SHAPE = (560, 420)


@pytest.mark.peers
def test_an_independent_library_finds_the_same_affine(tmp_path: Path) -> None:
    rng = np.random.default_rng(77)
    page = printed_page(rng, SHAPE)
    truth = plant(SHAPE, 0.0025, -0.0012, 1e-4, 0.3, (2.2, -1.6))
    before = shoot(rng, page)
    after = shoot(rng, page, truth.affine, gain=0.92, lift=18)
    np.save(tmp_path / "before.npy", before)
    np.save(tmp_path / "after.npy", after)
    script = Path(__file__).with_name("register_sitk.py")
    subprocess.run(
        [PEERS, script, *(tmp_path / f"{name}.npy" for name in ("before", "after", "affine"))],
        check=True, capture_output=True, timeout=300,
    )  # fmt: skip
    theirs = np.load(tmp_path / "affine.npy")
    ours = register(before, after)
    assert isinstance(ours, Registration)

    corners = np.array([[x, y] for x in (40.0, 210.0, 380.0) for y in (40.0, 280.0, 520.0)])
    there = corners @ theirs[:, :2].T + theirs[:, 2]
    here = corners @ ours.fit.affine[:, :2].T + ours.fit.affine[:, 2]
    assert np.abs(here - there).max() < 0.05

    their_strain, our_strain = (sheet_strain(fit) for fit in (fit_affine(corners, there), ours.fit))
    assert our_strain.exx == pytest.approx(their_strain.exx, abs=8e-5)
    assert our_strain.eyy == pytest.approx(their_strain.eyy, abs=8e-5)
    true = corners @ truth.affine[:, :2].T + truth.affine[:, 2]
    assert np.abs(here - true).max() < np.abs(there - true).max() + 0.01, "ours is no worse"
