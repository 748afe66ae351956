"""From a camera's or scanner's own light to colour, by a target of known patches.

Two models are offered, a weighted 3 x 3 matrix and a root-polynomial of degree 2
(``finlayson2015``). Both scale with the light, so that a photograph a little brighter or darker
than the target's keeps its hues; plain polynomials and splines do not, and were the worst on
paper where they looked best on the patches. Patches are weighted by how CIEDE2000 sees an error
there. Which model is kept is decided by leaving out one patch at a time and predicting it from
the others, judged on neutrals and on paper tones apart, never by how well the fit fits itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.difference import ciede2000
from quirewell.science.colour.spaces import WHITE_D50, lab_from_xyz, xyz_from_lab

Array = NDArray[np.float64]
Model = Literal["linear", "root"]
MODELS: tuple[Model, ...] = ("linear", "root")
LEAST_PATCHES = 10
_LEAST_FOR_ROOT = 16
_ROUNDS = 5
# A patch is neutral within this chroma; a paper tone counts as so many patches in the fit.
NEUTRAL_CHROMA = 6.0
PAPER_WEIGHT = 3.0
# The richer model has to be better by this share, else the plain one is kept.
_BETTER = 0.97
# ... and by this at least [CIEDE2000]: two fits exact to rounding are equally good.
_LEAST_GAIN = 1e-6
# No target is known, and no patch read, better than this [L, a, b] (assumed).
LEAST_U_LAB = (0.2, 0.15, 0.2)


def terms(rgb_linear: NDArray[np.floating], model: Model) -> Array:
    """What the matrix is applied to (..., 3 or 6): light, and roots of its products.

    All terms grow in proportion to the light (``finlayson2015``).
    """
    light = np.asarray(rgb_linear, dtype=np.float64)
    if model == "linear":
        return light
    r, g, b = np.moveaxis(np.maximum(light, 0.0), -1, 0)
    roots = [np.sqrt(r * g), np.sqrt(g * b), np.sqrt(r * b)]
    return np.concatenate([light, np.stack(roots, axis=-1)], axis=-1)


@dataclass(frozen=True, slots=True)
class LeftOut:
    """How well patches are predicted that were left out of the fit.

    ``lab`` (n, 3) are the predictions, ``de00`` (n,) their errors; ``neutrals`` and ``papers``
    are mean errors [CIEDE2000] of those groups (nan where there are none), ``score`` what the
    choice of model goes by.
    """

    lab: Array
    de00: Array
    neutrals: float
    papers: float
    score: float


@dataclass(frozen=True, slots=True)
class TargetFit:
    """A fitted target.

    ``matrix`` (3, k) carries :func:`terms` to XYZ under D50; ``lab`` (n, 3) are the patches as
    fitted (measured papers last), ``de00`` (n,) their errors; ``left_out`` holds the
    leave-one-out check of every model tried. ``u_lab`` is the root mean square error of L*, a*
    and b* of left-out neutrals and paper tones: how wrong an absolute paper tone may be.
    """

    model: Model
    matrix: Array
    reference: Array
    lab: Array
    de00: Array
    left_out: dict[Model, LeftOut]
    u_lab: tuple[float, float, float]
    papers: int

    def predict_xyz(self, rgb_linear: NDArray[np.floating]) -> Array:
        """XYZ under D50 (..., 3), white at Y = 1, of linear light (..., 3)."""
        return np.asarray(terms(rgb_linear, self.model) @ self.matrix.T)

    def predict(self, rgb_linear: NDArray[np.floating]) -> Array:
        """CIELAB D50 (..., 3) of linear light (..., 3) in the target's own light and exposure."""
        return lab_from_xyz(self.predict_xyz(rgb_linear))


def fit_target(
    rgb_linear: NDArray[np.floating],
    lab_reference: NDArray[np.floating],
    *,
    papers_rgb: NDArray[np.floating] | None = None,
    papers_lab: NDArray[np.floating] | None = None,
    model: Model | Literal["chosen"] = "chosen",
) -> TargetFit:
    """Fit a target.

    Parameters
    ----------
    rgb_linear
        linear light of the patches (n, 3) [-], any exposure, none clipped
    lab_reference
        their CIELAB D50, 2 degrees (n, 3)
    papers_rgb, papers_lab
        paper tones measured with an instrument and seen in the same light (m, 3); optional
    model
        "linear", "root", or "chosen" by leaving out one patch at a time

    Raises
    ------
    ValueError
        in a sentence: too few patches, unlike shapes, values that are no light or no colour
    """
    rgb, lab, weight, papers = _rows(rgb_linear, lab_reference, papers_rgb, papers_lab)
    tried: tuple[Model, ...] = MODELS if model == "chosen" else (model,)
    if len(rgb) - papers < _LEAST_FOR_ROOT and model == "chosen":
        tried = ("linear",)
    checks: dict[Model, LeftOut] = {one: _leave_out(rgb, lab, weight, one, papers) for one in tried}
    best = tried[0]
    for other in tried[1:]:
        if checks[other].score < _BETTER * checks[best].score - _LEAST_GAIN:
            best = other
    matrix = _fit(terms(rgb, best), lab, weight)
    fitted = lab_from_xyz(terms(rgb, best) @ matrix.T)
    counts = _counts(lab, papers)
    error = (checks[best].lab - lab)[counts if counts.any() else slice(None)]
    u = np.hypot(np.sqrt(np.mean(error**2, axis=0)), LEAST_U_LAB)
    return TargetFit(
        best, matrix, lab, fitted, ciede2000(fitted, lab), checks,
        (float(u[0]), float(u[1]), float(u[2])), papers,
    )  # fmt: skip


def _rows(
    rgb_linear: NDArray[np.floating], lab_reference: NDArray[np.floating],
    papers_rgb: NDArray[np.floating] | None, papers_lab: NDArray[np.floating] | None,
) -> tuple[Array, Array, Array, int]:  # fmt: skip
    rgb = np.asarray(rgb_linear, dtype=np.float64)
    lab = np.asarray(lab_reference, dtype=np.float64)
    if rgb.shape != lab.shape or rgb.ndim != 2 or rgb.shape[1] != 3:
        raise ValueError(
            f"a target needs light and CIELAB of the same patches, n x 3 each: got {rgb.shape} "
            f"and {lab.shape}"
        )
    if len(rgb) < LEAST_PATCHES:
        raise ValueError(
            f"a target needs at least {LEAST_PATCHES} patches to be fitted and checked, "
            f"got {len(rgb)}"
        )
    papers = 0
    if (papers_rgb is None) != (papers_lab is None):
        raise ValueError("measured paper tones need both their light and their CIELAB")
    if papers_rgb is not None and papers_lab is not None:
        more, tones = (np.asarray(part, dtype=np.float64) for part in (papers_rgb, papers_lab))
        if more.shape != tones.shape or more.ndim != 2 or more.shape[1] != 3:
            raise ValueError(
                f"measured paper tones need light and CIELAB, m x 3 each: got {more.shape} and "
                f"{tones.shape}"
            )
        rgb, lab, papers = np.vstack([rgb, more]), np.vstack([lab, tones]), len(more)
    if not (np.isfinite(rgb).all() and np.isfinite(lab).all()):
        raise ValueError("light and CIELAB of every patch must be numbers; leave out the others")
    if (lab[:, 0] < 0).any() or (lab[:, 0] > 110).any() or np.abs(lab[:, 1:]).max() > 200:
        raise ValueError("reference values are no CIELAB: L* runs from 0 to 100, a* and b* to 200")
    if rgb.max() <= 0 or np.linalg.matrix_rank(rgb) < 3:
        raise ValueError("the patches have no light, or all the same colour: nothing can be fitted")
    weight = np.ones(len(rgb))
    weight[len(rgb) - papers :] = PAPER_WEIGHT
    return rgb, lab, weight, papers


def _counts(lab: Array, papers: int) -> NDArray[np.bool_]:
    """Patches that speak for paper: light neutrals, light dull browns, and measured papers."""
    chroma, hue = np.hypot(lab[:, 1], lab[:, 2]), np.degrees(np.arctan2(lab[:, 2], lab[:, 1]))
    brown = (chroma <= 30.0) & (hue >= 30.0) & (hue <= 110.0)
    light = ((chroma <= NEUTRAL_CHROMA) | brown) & (lab[:, 0] >= 45.0)
    light[len(lab) - papers :] = True
    return np.asarray(light)


def _leave_out(rgb: Array, lab: Array, weight: Array, model: Model, papers: int) -> LeftOut:
    phi = terms(rgb, model)
    out = np.empty_like(lab)
    for index in range(len(lab)):
        kept = np.arange(len(lab)) != index
        matrix = _fit(phi[kept], lab[kept], weight[kept])
        out[index] = lab_from_xyz(phi[index] @ matrix.T)
    error = ciede2000(out, lab)
    first = len(lab) - papers
    neutral = np.hypot(lab[:first, 1], lab[:first, 2]) <= NEUTRAL_CHROMA
    groups = [
        float(error[:first][neutral].mean()) if neutral.any() else np.nan,
        float(error[first:].mean()) if papers else np.nan,
    ]
    known = [group for group in groups if np.isfinite(group)] or [float(error.mean())]
    # Two parts for what paper looks like, one for all colours of the target.
    score = float(np.mean([*known, float(np.mean(known)), float(error.mean())]))
    return LeftOut(out, error, groups[0], groups[1], score)


def _fit(phi: Array, lab: Array, weight: Array) -> Array:
    """Matrix (3, k) with the least sum of squared errors as CIEDE2000 sees small ones."""
    xyz = xyz_from_lab(lab)
    cube = np.maximum(xyz[:, 1:2], 1e-3) ** (-2.0 / 3.0)
    matrix = np.linalg.lstsq(phi * cube, xyz * cube, rcond=None)[0].T
    metric = np.sqrt(weight)[:, None, None] * _metric(lab)
    for _ in range(_ROUNDS):
        at = phi @ matrix.T
        step = metric @ _slope(at)
        design = np.einsum("nij,nk->nijk", step, phi).reshape(-1, 3 * phi.shape[1])
        miss = np.einsum("nij,nj->ni", metric, lab - lab_from_xyz(at)).ravel()
        matrix = matrix + np.linalg.lstsq(design, miss, rcond=None)[0].reshape(3, -1)
    return np.asarray(matrix)


def _slope(xyz: Array) -> Array:
    """d(L, a, b) / d(X, Y, Z) (n, 3, 3)."""
    ratio = xyz / WHITE_D50
    steep = np.where(
        ratio > 216.0 / 24389.0,
        np.maximum(ratio, 216.0 / 24389.0) ** (-2.0 / 3.0) / 3.0,
        24389.0 / 27.0 / 116.0,
    )
    out = np.zeros((len(xyz), 3, 3))
    x, y, z = (steep / WHITE_D50).T
    out[:, 0, 1] = 116.0 * y
    out[:, 1, 0], out[:, 1, 1] = 500.0 * x, -500.0 * y
    out[:, 2, 1], out[:, 2, 2] = 200.0 * y, -200.0 * z
    return out


def _metric(lab: Array) -> Array:
    """(n, 3, 3): small errors of CIELAB to parts of CIEDE2000, its blue bend left out."""
    lightness, a, b = lab.T
    seventh = np.hypot(a, b) ** 7
    stretch = 1.5 - 0.5 * np.sqrt(seventh / (seventh + 25.0**7))
    chroma = np.hypot(stretch * a, b)
    hue = np.degrees(np.arctan2(b, stretch * a))
    t = (
        1.0
        - 0.17 * np.cos(np.radians(hue - 30))
        + 0.24 * np.cos(np.radians(2 * hue))
        + 0.32 * np.cos(np.radians(3 * hue + 6))
        - 0.20 * np.cos(np.radians(4 * hue - 63))
    )
    s_l = 1 + 0.015 * (lightness - 50) ** 2 / np.sqrt(20 + (lightness - 50) ** 2)
    cos, sin = np.cos(np.radians(hue)), np.sin(np.radians(hue))
    s_c, s_h = 1 + 0.045 * chroma, 1 + 0.015 * chroma * t
    out = np.zeros((len(lab), 3, 3))
    out[:, 0, 0] = 1 / s_l
    out[:, 1, 1], out[:, 1, 2] = stretch * cos / s_c, sin / s_c
    out[:, 2, 1], out[:, 2, 2] = -stretch * sin / s_h, cos / s_h
    return out
