"""``match_field``: the displacement of one grey picture against another, point by point.

For pictures of any kind that show the same surface: scans of a leaf, or the speckled images by
which this kind of measurement is judged. Nothing about paper is assumed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.anchors import anchored, even_field, shift_by_phase
from quirewell.science.imaging.find_field import COARSE, Found, Settings, find_level
from quirewell.science.imaging.levels import Level, level_of, shrinks
from quirewell.science.imaging.match import coarse_match
from quirewell.science.imaging.spline_field import SplineField

Real = NDArray[np.float64]
Grey = NDArray[np.generic]
Mask = NDArray[np.bool_]

_ALONG = 125
_STEPS_PX = (12, 56)
_RADII_PX = (10, 30)


@dataclass(frozen=True, slots=True)
class FieldMatch:
    """Displacement of ``before`` against ``after``; every array n x 2, x before y.

    ``points_px``: positions in the first picture, on a lattice of ``lattice`` (rows,
    columns), row by row; ``displacement_px``: position in the second picture minus position
    in the first; ``u_px``: its standard uncertainty (match alone). Both are nan where there
    is no honest match. ``zncc`` (n,): correlation of the grey values. ``field``: the smooth
    field through all matches, or None when there are none; ``reason`` then says why.
    """

    points_px: Real
    displacement_px: Real
    u_px: Real
    zncc: Real
    lattice: tuple[int, int]
    step_px: int
    radius_px: int
    field: SplineField | None
    reason: str = ""


def default_step_px(longest_px: int) -> int:
    """About 125 subsets along the longer side, 12 to 56 px apart."""
    return int(np.clip(round(longest_px / _ALONG), *_STEPS_PX))


def default_radius_px(step_px: int) -> int:
    """Subsets that overlap a little, 10 to 30 px in radius."""
    return int(np.clip(round(0.535 * step_px), *_RADII_PX))


def match_field(
    before: Grey,
    after: Grey,
    *,
    step_px: int | None = None,
    radius_px: int | None = None,
    before_mask: Mask | None = None,
    after_mask: Mask | None = None,
    start: Real | None = None,
    order: int = 1,
    blur_px: float = 0.0,
) -> FieldMatch:
    """Find the points of a lattice in ``before`` again in ``after``.

    ``before``, ``after``: grey pictures (2-D, any integer or floating type; the two may differ
    in size and brightness; values that are not finite count as masked). ``step_px``: distance
    of the points; ``radius_px``: half of a subset (it is 2 radius + 1 wide; resolution is about
    that, noise falls with it). Masks are true where the surface is. ``start``: an affine
    (2 x 3) before to after [px], where the search begins; by default features, then the place
    itself, then phase correlation are tried. ``order`` 2 lets each subset bend, which follows
    finer detail at more noise. ``blur_px``: Gaussian laid over both pictures first.

    Raises:
        ValueError: in a sentence, when a picture or a setting cannot be used.

    Examples:
        >>> import numpy as np, cv2
        >>> noise = np.random.default_rng(1).normal(128, 40, (220, 220)).astype(np.float32)
        >>> noise = cv2.GaussianBlur(noise, (0, 0), 1.5)
        >>> moved = np.roll(noise, 3, axis=1)
        >>> found = match_field(noise, moved, step_px=20, radius_px=12)
        >>> (np.round(np.nanmedian(found.displacement_px, axis=0), 2) + 0.0).tolist()
        [3.0, 0.0]
    """
    _check(before, after, before_mask, after_mask, start, order)
    step = step_px or default_step_px(max(before.shape))
    radius = radius_px or default_radius_px(step)
    _check_sizes(before, step, radius, blur_px)
    before, before_mask = finite(before, before_mask)
    after, after_mask = finite(after, after_mask)
    settings = Settings(step, radius, order, 40)
    found = find_chain(before, after, before_mask, after_mask, start, settings, blur_px)
    if found is None:
        return _nothing(before.shape, settings)
    nowhere = ~found.good[:, None]
    moved = np.where(nowhere, np.nan, found.at - found.points)
    u = np.where(nowhere, np.nan, found.u)
    return FieldMatch(
        found.points, moved, u, found.zncc, found.shape, step, radius, found.fit.field
    )


def find_chain(
    before: Grey,
    after: Grey,
    before_mask: Mask | None,
    after_mask: Mask | None,
    start: Real | None,
    settings: Settings,
    blur_px: float = 0.0,
    trust_start: bool = False,
) -> Found | None:
    """All levels, coarse to fine; None when nothing can be trusted.

    ``trust_start``: go on from ``start`` even where too few patches could confirm it.
    """
    ratio = 1.0 if start is None else float(np.sqrt(abs(np.linalg.det(start[:, :2]))))
    field: SplineField | None = None
    found: Found | None = None
    sizes = shrinks(max(before.shape) * min(1.0, max(ratio, 0.05)))
    for shrink in sizes:
        level = level_of(before, after, before_mask, after_mask, shrink, ratio, blur_px)
        if field is None:
            field = _begin(level, start, before.shape)
            if field is None and trust_start and start is not None:
                field = even_field(start, before.shape)
        if field is None:
            continue
        last = shrink == sizes[-1]
        found = find_level(
            level, field, before.shape, _scaled(settings, level) if last else COARSE, found
        )
        if found is None:
            return None
        field = found.fit.field
    return found


def _scaled(settings: Settings, level: Level) -> Settings:
    """Subsets keep their size in pixels of the finest level that holds both pictures."""
    step = max(4, round(settings.step / float(level.scale1.mean())))
    return replace(settings, step=step)


def _begin(level: Level, start: Real | None, shape: tuple[int, ...]) -> SplineField | None:
    """The first field: from the start given, or from the first guess that anchors confirm."""
    if start is not None:
        return anchored(level, start)
    features = by_features(level)
    still = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    for guess in (lambda: features, lambda: still, lambda: shift_by_phase(level)):
        affine = guess()
        if affine is not None:
            field = anchored(level, affine)
            if field is not None:
                return field
    return None if features is None else even_field(features, shape)


def by_features(level: Level) -> Real | None:
    """An affine before to after [own px] from features, None where they do not agree."""
    first, second = (_as_grey(p) for p in (level.pictures.before, level.pictures.after))
    masks = [
        None if mask is None else mask > 0
        for mask in (level.pictures.before_mask, level.pictures.after_mask)
    ]
    affine = coarse_match(first, second, *masks).affine
    if affine is None:
        return None
    up = level.scale2[:, None] * affine[:, :2] / level.scale1[None, :]
    origin = level.up_after(affine[:, :2] @ level.down_before(np.zeros(2)) + affine[:, 2])
    return np.column_stack([up, origin])


def _as_grey(picture: Grey) -> NDArray[np.float32]:
    """Any grey picture stretched to about 20..235."""
    values = np.asarray(picture, dtype=np.float32)
    low, high = np.percentile(values[::3, ::3], (1, 99))
    stretched = 20 + (values - low) * (215 / max(float(high - low), 1e-9))
    return np.asarray(np.clip(stretched, 0, 255), dtype=np.float32)


def finite(picture: Grey, mask: Mask | None) -> tuple[Grey, Mask | None]:
    """The picture without values that are not finite, and a mask that leaves them out."""
    if not np.issubdtype(picture.dtype, np.floating):
        wide = picture.dtype.itemsize > 2 or picture.dtype == np.int8
        return (picture.astype(np.float32) if wide or picture.dtype == bool else picture), mask
    known = np.isfinite(picture)
    if known.all():
        return picture.astype(np.float32, copy=False), mask
    values = np.asarray(picture[known], dtype=np.float64)
    middle = float(np.median(values)) if values.size else 0.0
    out = np.where(known, picture, middle).astype(np.float32)
    return out, known if mask is None else known & mask


def _nothing(shape: tuple[int, ...], settings: Settings) -> FieldMatch:
    from quirewell.science.imaging.find_field import lattice

    grid = lattice(shape, settings.step, settings.radius // 2 + 2)
    none = np.full((len(grid.points), 2), np.nan)
    return FieldMatch(
        grid.points, none, none.copy(), none[:, 0].copy(), grid.shape, settings.step,
        settings.radius, None,
        "Nothing in the two pictures agrees in one place only: they may be two things, or hold "
        "nothing but an even tint or a pattern that repeats itself.",
    )  # fmt: skip


def _check(
    before: Grey,
    after: Grey,
    mask1: Mask | None,
    mask2: Mask | None,
    start: Real | None,
    order: int,
) -> None:
    for name, picture, mask in (("before", before, mask1), ("after", after, mask2)):
        if picture.ndim != 2 or min(picture.shape) < 32:
            raise ValueError(
                f"the {name} picture must be grey and at least 32 px on its short side, got "
                f"shape {picture.shape}"
            )
        if not (np.issubdtype(picture.dtype, np.number) or picture.dtype == bool) or np.issubdtype(
            picture.dtype, np.complexfloating
        ):
            raise ValueError(f"the {name} picture must hold real numbers, got {picture.dtype}")
        if mask is not None and (mask.shape != picture.shape or mask.dtype != bool):
            raise ValueError(
                f"the {name} mask must be true or false for each pixel of its picture "
                f"{picture.shape}, got {mask.dtype} of shape {mask.shape}"
            )
    if start is not None and (np.shape(start) != (2, 3) or not np.isfinite(start).all()):
        raise ValueError(f"start must be a 2 x 3 affine of numbers, got shape {np.shape(start)}")
    if order not in (1, 2):
        raise ValueError(f"order must be 1 (stretch and shear) or 2 (bend as well), got {order}")


def _check_sizes(before: Grey, step: int, radius: int, blur_px: float) -> None:
    if not 2 <= step <= max(before.shape):
        raise ValueError(f"step_px must be between 2 and the picture's size, got {step}")
    if not 4 <= radius <= min(120, min(before.shape) // 3):
        raise ValueError(
            f"radius_px must be between 4 and {min(120, min(before.shape) // 3)} (a third of the "
            f"picture's short side, at most 120), got {radius}"
        )
    if not 0 <= blur_px <= 5:
        raise ValueError(f"blur_px must be between 0 and 5, got {blur_px}")
