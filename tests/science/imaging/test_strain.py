from __future__ import annotations

import numpy as np
import pytest

from quirewell.science.imaging.strain import fit_affine, sheet_strain


def _grid(columns: int = 20, rows: int = 26, pitch: float = 30.0) -> np.ndarray:
    x, y = np.meshgrid(pitch * np.arange(columns), pitch * np.arange(rows))
    return np.column_stack([x.ravel(), y.ravel()]).astype(float)


def test_a_pure_turn_is_no_strain() -> None:
    angle = np.radians(7.0)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    strain = sheet_strain(fit_affine(_grid(), _grid() @ turn.T + 5.0))
    assert abs(strain.exx) < 1e-12
    assert abs(strain.exy) < 1e-12
    assert strain.rotation_deg == pytest.approx(7.0)


def test_strain_is_given_along_the_papers_axes_not_the_pictures() -> None:
    angle = np.radians(30.0)
    axes = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    stretch = axes @ np.diag([1.002, 0.999]) @ axes.T
    strain = sheet_strain(fit_affine(_grid(), _grid() @ stretch.T), paper_angle_deg=30.0)
    assert strain.exx == pytest.approx(0.002)
    assert strain.eyy == pytest.approx(-0.001)
    assert strain.exy == pytest.approx(0.0, abs=1e-12)


def test_different_pixel_sizes_across_and_down_are_taken_out() -> None:
    grid = _grid()
    after = grid * [100 / 101, 100 / 99]
    strain = sheet_strain(fit_affine(grid, after), (100, 100), (101, 99))
    assert strain.exx == pytest.approx(0.0, abs=1e-12)
    assert strain.eyy == pytest.approx(0.0, abs=1e-12)


def test_a_tenth_of_wild_points_does_not_move_the_fit() -> None:
    rng = np.random.default_rng(1)
    grid = _grid()
    after = grid * [1.001, 1.0] + rng.normal(0, 0.02, grid.shape)
    after[rng.choice(len(grid), len(grid) // 10, replace=False)] += 9.2
    assert sheet_strain(fit_affine(grid, after)).exx == pytest.approx(0.001, abs=2e-5)


def _coverage(smooth: bool) -> float:
    from scipy.ndimage import gaussian_filter

    grid, inside = _grid(), []
    for seed in range(150):
        rng = np.random.default_rng([9, seed])
        noise = rng.normal(0, 1, (2, 26, 20))
        if smooth:
            noise = np.stack([gaussian_filter(part, 2.0, mode="wrap") for part in noise])
        noise *= 0.03 / noise.std()
        strain = sheet_strain(fit_affine(grid, grid + noise.reshape(2, -1).T))
        inside += [abs(strain.exx) < 1.96 * strain.u_exx, abs(strain.eyy) < 1.96 * strain.u_eyy]
    return float(np.mean(inside))


@pytest.mark.parametrize("smooth", [False, True])
def test_uncertainty_covers_independent_and_alike_neighbours(smooth: bool) -> None:
    assert 0.90 <= _coverage(smooth) <= 0.995


def test_five_points_are_too_few() -> None:
    with pytest.raises(ValueError, match="6 points or more, got 5"):
        fit_affine(np.zeros((5, 2)), np.zeros((5, 2)))
