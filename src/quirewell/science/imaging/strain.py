"""From a field to the change of a sheet: the even stretch of it, strain, honest scatter.

A sheet that grew is described by the affine that carries before onto after, freed of
rotation by the polar decomposition A = R U; U - 1 is the strain. A sheet also bends; its even
stretch is the affine that fits the smooth field best over all of the leaf that was matched
(:func:`even_stretch`), and what is left is the bend, which is told apart. The uncertainty sums
residuals over whole blocks of neighbouring matches (``kunsch1989``), because neighbouring
residuals are alike and counting them one by one makes it too small.
:func:`fit_affine` is for points without a field: there the bend is scatter, and blocks are
left out in turn (delete-block jackknife).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from quirewell.science.imaging.match import Affine
from quirewell.science.imaging.spline_field import FieldFit, influence

Array = NDArray[np.float64]

_BLOCKS = (12, 9, 7, 5, 4, 3)
_TUKEY = 4.685
# No match is better than this, not even of a picture with itself.
_FLOOR_PX = 0.003
# Root mean square pull of a match by interpolation. Drawings without blur show 0.002; under a
# scanner's blur errors of 600 planted pairs do not grow with what even 0.001 would feign.
_PULL_PX = 0.001


@dataclass(frozen=True, slots=True)
class AffineFit:
    """Affine (2 x 3) from before to after, residuals [px] (n, 2), weights [0..1] (n).

    ``covariance`` (6 x 6) is that of (a11, a12, a13, a21, a22, a23) about the points' centre.
    """

    affine: Affine
    residuals: Array
    weights: Array
    covariance: Array


@dataclass(frozen=True, slots=True)
class SheetStrain:
    """Strain of a sheet along its own axes [-] and rotation [deg], with standard uncertainties.

    ``exx`` along the width, ``eyy`` along the height, ``exy`` the shear (half the angle).
    """

    exx: float
    eyy: float
    exy: float
    u_exx: float
    u_eyy: float
    rotation_deg: float


def fit_affine(source: Array, target: Array, rounds: int = 12) -> AffineFit:
    """Robust least-squares affine (Tukey's biweight) from points (n, 2) to points (n, 2).

    Raises:
        ValueError: with fewer than 6 points.
    """
    if len(source) < 6:
        raise ValueError(f"an affine with its scatter needs 6 points or more, got {len(source)}")
    centre = source.mean(axis=0)
    design = np.column_stack([source - centre, np.ones(len(source))])
    weights = np.ones(len(source))
    for _ in range(rounds):
        root = np.sqrt(weights)[:, None]
        solution = np.linalg.lstsq(design * root, target * root, rcond=None)[0]
        residuals = target - design @ solution
        size = np.hypot(residuals[:, 0], residuals[:, 1])
        # Median length of a two-dimensional normal residual is 1.1774 sigma.
        scale = max(float(np.median(size)) / 1.1774, 1e-6)
        weights = np.clip(1 - (size / (_TUKEY * scale)) ** 2, 0, 1) ** 2
    covariance = _block_covariance(source, design, target, weights)
    linear = solution[:2].T
    shift = solution[2] - linear @ centre
    return AffineFit(np.column_stack([linear, shift]), residuals, weights, covariance)


def even_stretch(
    points: Array, targets: Array, u_px: Array, fit: FieldFit, pitch: float, overlap: float = 1.0
) -> AffineFit:
    """The affine that fits the field best over the part of the leaf that was matched.

    ``points``, ``targets`` (n, 2): the matches behind the field; ``u_px`` (n,): their standard
    uncertainties; ``pitch``: their distance [px]; ``overlap``: how many subsets cover each
    pixel. Where the sheet bends more than matches scatter, every place counts alike; where it
    hardly bends, the sharp matches count more (weights 1 / (bend^2 + u^2), as for random
    effects). The covariance is the larger of what the stated uncertainties give and what
    blocks of three to eight matches show, with what interpolation may feign added.
    """
    centre = points.mean(axis=0)
    design = np.column_stack([points - centre, np.ones(len(points))])
    smooth = fit.field.at(points)
    sharp = 1.0 / u_px**2
    _, left = _weighted(design, smooth, sharp)
    bend = float(np.sum(sharp * np.sum(left**2, axis=1)) / np.sum(sharp)) / 2
    share = 1.0 / (bend + u_px**2)
    solution, _ = _weighted(design, smooth, share)
    weight = influence(fit, points, points, design, share / share.mean())
    linear = solution[:2].T
    affine = np.column_stack([linear, solution[2] - linear @ centre])
    residuals = targets - (points @ linear.T + affine[:, 2])
    held = weight * np.maximum(u_px, _FLOOR_PX)[:, None] * max(overlap, 1.0) ** 0.25
    # The field took some of the scatter up; neighbours that share pixels are fewer than they seem.
    own = max(len(points) / max(overlap, 1.0), 1.0)
    lost = own / max(own - fit.field.knots.unknowns, 0.3 * own)
    blocks = [
        lost * _block_sums(points, weight, fit.residuals, fit.weights, count * pitch)
        for count in (3, 5, 8)
    ]
    options: list[Array] = [np.kron(np.eye(2), held.T @ held), *blocks]
    covariance = max(options, key=_size_of) + _pulled(affine, points)
    return AffineFit(affine, residuals, fit.weights, covariance)


def _pulled(affine: Array, points: Array) -> Array:
    """Covariance of the slopes by interpolation, which pulls matches towards whole pixels.

    The pull is a wave over one pixel of shift. It acts as a slope when half a wave or so lies
    over the sheet, not at all when the shift is even, and averages out over many waves.
    """
    out = np.zeros((6, 6))
    for axis in (0, 1):
        span = max(float(np.ptp(points[:, axis])), 1.0)
        waves = abs(float(np.hypot(*affine[:, axis])) - 1.0) * span
        share = min(1.0, 2 * waves + 0.1, 1.0 / max(2 * waves, 1e-9))
        for row in (axis, 3 + axis):
            out[row, row] = 12 * (_PULL_PX * share / span) ** 2
    return out


def _weighted(design: Array, values: Array, share: Array) -> tuple[Array, Array]:
    """Weighted least squares: coefficients (k, 2) and what is left of the values (n, 2)."""
    root = np.sqrt(share / share.mean())[:, None]
    solution = np.linalg.lstsq(design * root, values * root, rcond=None)[0]
    return solution, values - design @ solution


def _size_of(covariance: Array) -> float:
    return float(np.trace(covariance[:2, :2]) + np.trace(covariance[3:5, 3:5]))


def _block_sums(points: Array, weight: Array, rest: Array, used: Array, side: float) -> Array:
    """Covariance (6 x 6) of a weighted sum of residuals that are alike within blocks."""
    cells = np.floor((points - points.min(axis=0)) / side + 1e-9).astype(int)
    _, label = np.unique(cells[:, 1] * 100000 + cells[:, 0], return_inverse=True)
    parts = np.einsum("ni,nk->nki", weight, rest).reshape(len(points), 6)
    sums = np.zeros((int(label.max()) + 1, 6))
    np.add.at(sums, label, parts)
    held = int(np.count_nonzero(np.bincount(label, weights=used) > 0))
    widen = float(scipy.stats.t.ppf(0.975, max(held - 3, 2)) / scipy.stats.norm.ppf(0.975))
    out: Array = sums.T @ sums * (held / max(held - 3, 1)) * widen**2
    return out


def _block_covariance(source: Array, design: Array, target: Array, weights: Array) -> Array:
    """Delete-block jackknife for several block sizes; the widest is kept, for each direction."""
    own = np.linalg.pinv(design.T @ (design * weights[:, None])) * _FLOOR_PX**2
    best = np.kron(np.eye(2), own)
    low = source.min(axis=0)
    span = float(np.max(source.max(axis=0) - low))
    for count in _BLOCKS:
        cells = np.floor((source - low) / (span / count + 1e-9)).astype(int)
        candidate = _jackknife(cells[:, 1] * 1000 + cells[:, 0], design, target, weights)
        if candidate is None:
            continue
        for part in (slice(0, 3), slice(3, 6)):
            mine, old = candidate[part, part], best[part, part]
            if np.trace(mine[:2, :2]) > np.trace(old[:2, :2]):
                best[part, part] = mine
    return best


def _jackknife(labels: Array, design: Array, target: Array, weights: Array) -> Array | None:
    groups = np.unique(labels)
    if len(groups) < 5:
        return None
    weighted = design * weights[:, None]
    whole, right = design.T @ weighted, weighted.T @ target
    leaves = []
    for group in groups:
        mine = labels == group
        part = design[mine].T @ weighted[mine]
        rest = whole - part
        if np.linalg.cond(rest) > 1e12:
            return None
        leaves.append(np.linalg.solve(rest, right - weighted[mine].T @ target[mine]).T.ravel())
    table = np.array(leaves)
    off = table - table.mean(axis=0)
    # Few blocks know their own scatter badly: widen as Student's t does, three taken by the fit.
    widen = float(scipy.stats.t.ppf(0.975, max(len(groups) - 3, 2)) / scipy.stats.norm.ppf(0.975))
    out: Array = off.T @ off * (len(groups) - 1) / len(groups) * widen**2
    return out


def sheet_strain(
    fit: AffineFit,
    um_before: tuple[float, float] = (1.0, 1.0),
    um_after: tuple[float, float] = (1.0, 1.0),
    paper_angle_deg: float = 0.0,
) -> SheetStrain:
    """Strain of the sheet from an affine in pixels.

    ``um_before``, ``um_after``: micrometres a pixel along x and y of each picture (only their
    ratios count). ``paper_angle_deg``: angle from the before picture's x axis to the paper's
    width [deg], clockwise as seen. Only match scatter enters ``u_exx`` and ``u_eyy``.
    """
    to_um, from_um = np.diag(um_after), np.diag(1 / np.asarray(um_before))
    left, values, right = np.linalg.svd(to_um @ fit.affine[:, :2] @ from_um)
    turn = left @ right
    stretch = right.T @ np.diag(values) @ right
    angle = math.radians(paper_angle_deg)
    across = np.array([math.cos(angle), math.sin(angle)])
    along = np.array([-math.sin(angle), math.cos(angle)])

    def u_along(axis: Array) -> float:
        # d(n U n) = n R^T dM n for a small change dM of the matrix in micrometres.
        slope = to_um @ np.outer(turn @ axis, axis) @ from_um
        full = np.column_stack([slope, np.zeros(2)]).ravel()
        return math.sqrt(max(float(full @ fit.covariance @ full), 0.0))

    return SheetStrain(
        float(across @ stretch @ across) - 1.0,
        float(along @ stretch @ along) - 1.0,
        float(across @ stretch @ along),
        u_along(across),
        u_along(along),
        math.degrees(math.atan2(turn[1, 0], turn[0, 0])),
    )
