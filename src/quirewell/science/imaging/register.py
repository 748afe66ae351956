"""Registration of a leaf before and after treatment.

Coarse features (:mod:`.match`), then subsets from coarse to fine (:mod:`.find_field`), a
smoothness test among neighbours, a smooth field, and its even stretch (:mod:`.strain`). A high
correlation alone is never believed: a halftone correlates just as well one dot further on, and
only the neighbours show it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.field_match import (
    default_radius_px,
    default_step_px,
    find_chain,
    finite,
)
from quirewell.science.imaging.find_field import Found, Settings
from quirewell.science.imaging.levels import Level, level_of, shrinks
from quirewell.science.imaging.match import CoarseMatch, Mask, Reason, coarse_match
from quirewell.science.imaging.spline_field import SplineField
from quirewell.science.imaging.strain import AffineFit, even_stretch

Field = NDArray[np.float64]
Turn = Literal["upright", "quarter turn", "upside down"]

_BLUR_PX = 0.7
_PRINT_CONTRAST = 6.0
_LEAST_SHARE = 0.35
_LEAST_POINTS = 24
# Neighbours of a true match agree to a tenth of a pixel; matches that found nothing scatter
# over the whole search range. Where only one corner of the page agrees, less is believed.
_WORST_SPREAD_PX = (0.25, 0.1)
_LEAST_REACH = 0.4


@dataclass(frozen=True, slots=True)
class Registration:
    """A leaf found again.

    ``fit`` holds the even stretch, an affine from before to after in pixels of the pictures
    given; ``points`` and ``found`` are the trusted matches before and after [px] (n, 2), with
    ``u_px`` (n, 2); ``field`` carries any place before to its place after, bend included;
    ``bend_px`` is the rms of the bend (what the field leaves of the even stretch) over the
    matched part of the leaf and ``u_bend_px`` its standard uncertainty [px after].
    ``scatter_px`` is the rms disagreement of neighbours, ``residual_px`` the rms distance from
    the even stretch (it holds real bending of sheet and scanner); ``share`` [0..1] is the part
    of the printed subsets that agreed. ``shape`` is that of the before picture.
    """

    fit: AffineFit
    points: Field
    found: Field
    u_px: Field
    field: SplineField
    bend_px: float
    u_bend_px: float
    scatter_px: float
    residual_px: float
    share: float
    turn: Turn
    shape: tuple[int, int]

    def after_at(self, xs: Field, ys: Field) -> tuple[Field, Field]:
        """Where the lattice ``ys`` x ``xs`` [px before] lies in the after picture [px]."""
        return self.field.on(xs, ys)


@dataclass(frozen=True, slots=True)
class NoRegistration:
    """The leaf was not found again, and why."""

    reason: Reason | Literal["too little agrees"]
    inliers: int
    share: float = 0.0

    @property
    def says(self) -> str:
        """The reason in a sentence for the person at the bench."""
        return _SENTENCES[self.reason]


_SENTENCES = {
    "blank before": "The first picture has too little print or texture to match by: a blank leaf "
    "cannot be registered, only its size can be compared.",
    "blank after": "The second picture has too little print or texture to match by: a blank leaf "
    "cannot be registered, only its size can be compared.",
    "no agreement": "Nothing in the two pictures agrees: they may be two leaves, or the two sides "
    "of one leaf, or hold nothing but an even tint. Check the file names.",
    "mirrored": "One picture is the mirror image of the other: it was flipped by a program, or "
    "print of the other side shows through. Save the scan again without flipping it.",
    "too little agrees": "Only a small part of the two pictures agrees: a running head or a frame "
    "may be alike on two different pages. Check the file names.",
}


def register(
    before: NDArray[np.generic],
    after: NDArray[np.generic],
    before_mask: Mask | None = None,
    after_mask: Mask | None = None,
) -> Registration | NoRegistration:
    """Register two grey pictures (2-D, 0..255, uint8 or float32) of one printed leaf.

    Masks are true on paper. The pictures are read in bands, so that little memory is added.

    Raises:
        ValueError: when a picture is not two-dimensional or smaller than 64 px.
    """
    for name, picture in (("before", before), ("after", after)):
        if picture.ndim != 2 or min(picture.shape) < 64:
            raise ValueError(
                f"the {name} picture must be grey and at least 64 px on its short side, got "
                f"shape {picture.shape}"
            )
    before, before_mask = finite(before, before_mask)
    after, after_mask = finite(after, after_mask)
    small = level_of(before, after, before_mask, after_mask, shrinks(max(before.shape))[0])
    coarse = _coarse(small)
    if coarse.affine is None:
        return NoRegistration(coarse.reason or "no agreement", coarse.inliers)
    step = default_step_px(max(before.shape))
    settings = Settings(step, default_radius_px(step))
    found = find_chain(
        before, after, before_mask, after_mask, coarse.affine, settings, _BLUR_PX, True
    )
    if found is None or int(found.good.sum()) < _LEAST_POINTS:
        return NoRegistration("too little agrees", coarse.inliers)
    return _conclude(found, coarse, (before.shape[0], before.shape[1]), settings)


def _coarse(level: Level) -> CoarseMatch:
    """The coarse match, its affine in the pictures' own pixels."""
    pictures = level.pictures
    masks = [
        None if mask is None else mask > 0 for mask in (pictures.before_mask, pictures.after_mask)
    ]
    match = coarse_match(
        np.asarray(pictures.before, np.float32), np.asarray(pictures.after, np.float32), *masks
    )
    if match.affine is None:
        return match
    up = level.scale2[:, None] * match.affine[:, :2] / level.scale1[None, :]
    origin = level.up_after(
        match.affine[:, :2] @ level.down_before(np.zeros(2)) + match.affine[:, 2]
    )
    return replace(match, affine=np.column_stack([up, origin]))


def _conclude(
    found: Found, coarse: CoarseMatch, shape: tuple[int, int], settings: Settings
) -> Registration | NoRegistration:
    good = found.good
    printed = found.covered & (np.nan_to_num(found.contrast) > _PRINT_CONTRAST)
    share = float(good.sum() / max(int((printed | good).sum()), 1))
    off = found.off[good]
    per_px = (
        float(np.sqrt(abs(np.linalg.det(coarse.affine[:, :2]))))
        if coarse.affine is not None
        else 1.0
    )
    worst = _WORST_SPREAD_PX[coarse.reach < _LEAST_REACH] * max(per_px, 1.0)
    if share < _LEAST_SHARE or float(np.median(off)) / 1.1774 > worst:
        return NoRegistration("too little agrees", coarse.inliers, share)
    points, at = found.points[good], found.at[good]
    u = found.u[good]
    overlap = ((2 * settings.radius + 1) / settings.step) ** 2
    fit = even_stretch(
        points, at, np.sqrt(np.mean(u**2, axis=1)), found.fit, _pitch(found), overlap
    )
    bend = found.fit.field.at(points) - (points @ fit.affine[:, :2].T + fit.affine[:, 2])
    size = float(np.sqrt(np.mean(np.sum(bend**2, axis=1))))
    kept = fit.weights > 0
    far = np.hypot(fit.residuals[:, 0], fit.residuals[:, 1])
    return Registration(
        fit, points, at, u, found.fit.field, size,
        _u_bend(found, good), float(np.sqrt(np.mean(off[kept] ** 2))),
        float(np.sqrt(np.mean(far[kept] ** 2))), share, _turn(fit.affine), shape,
    )  # fmt: skip


def _pitch(found: Found) -> float:
    """Distance of the lattice's points [px before]."""
    rows, columns = found.shape
    grid = found.points.reshape(rows, columns, 2)
    return (
        float(grid[0, 1, 0] - grid[0, 0, 0])
        if columns > 1
        else float(grid[1, 0, 1] - grid[0, 0, 1])
    )


def _u_bend(found: Found, good: Mask) -> float:
    """Standard uncertainty of the bend [px after]: residual over the matches a knot rests on."""
    rest = found.fit.residuals
    each = max(good.sum() / found.fit.field.knots.unknowns, 1.0)
    return float(np.median(np.hypot(rest[:, 0], rest[:, 1])) / 1.1774 * np.sqrt(2 / each))


def _turn(affine: NDArray[np.float64]) -> Turn:
    angle = abs(np.degrees(np.arctan2(affine[1, 0], affine[0, 0])))
    if angle > 135:
        return "upside down"
    return "quarter turn" if angle > 45 else "upright"
