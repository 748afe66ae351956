"""Where print repeats itself: the pitch of a halftone or a ruling in each subset.

A subset that is like itself one dot further on correlates there just as well. Such subsets are
found by their own autocorrelation (``wiener1930``: the transform of the power spectrum). A
match is doubtful when its correlation is no better than halfway between what the next dot
would give and 1; it is then believed only where others vouch for the place.
"""

from __future__ import annotations

import numpy as np
import scipy
from numpy.typing import NDArray

from quirewell.science.compiled import in_bands

Real = NDArray[np.float64]

_ALIKE = 0.5
_LEAST_PITCH_PX = 2.0
_CHUNK = 256


def repeats(picture: NDArray[np.generic], points: Real, radius: int) -> tuple[Real, Real]:
    """How alike each subset is to itself elsewhere, and at what distance [px].

    The highest autocorrelation of a peak away from the middle (0 where none reaches 0.5), and
    the distance of the nearest such peak (inf where there is none).
    """
    side = 32 if radius < 20 else 64
    half = side // 2
    height, width = picture.shape
    alike, pitch = np.zeros(len(points)), np.full(len(points), np.inf)
    if min(height, width) < side:
        return alike, pitch
    lefts = np.clip(np.round(points[:, 0]).astype(int) - half, 0, width - side)
    tops = np.clip(np.round(points[:, 1]).astype(int) - half, 0, height - side)
    window = np.outer(np.hanning(side + 2)[1:-1], np.hanning(side + 2)[1:-1]).astype(np.float32)
    own = _autocorrelation(window[None])[0]

    def work(begin: int, end: int) -> None:
        for first in range(begin * _CHUNK, end * _CHUNK, _CHUNK):
            rows = slice(first, first + _CHUNK)
            places = zip(lefts[rows], tops[rows], strict=True)
            stack = np.stack([picture[y : y + side, x : x + side] for x, y in places])
            stack = np.nan_to_num(stack.astype(np.float32))
            # The weighted mean must go: what the window leaves of it would look like itself.
            stack -= (stack * window).sum(axis=(1, 2), keepdims=True) / window.sum()
            alike[rows], pitch[rows] = _peaks(_autocorrelation(stack * window), own)

    in_bands(work, -(-len(points) // _CHUNK), 1)
    return alike, pitch


def doubtful(zncc: Real, alike: Real) -> NDArray[np.bool_]:
    """Matches that may sit on the wrong dot, by their correlation alone."""
    return np.asarray((alike > 0) & ~(zncc > 0.5 * (1 + alike)))


def _autocorrelation(stack: NDArray[np.float32]) -> NDArray[np.float32]:
    """Autocorrelation at lags -1..reach down and -reach..reach across."""
    side = stack.shape[-1]
    power = np.abs(scipy.fft.rfft2(stack)) ** 2
    full = scipy.fft.irfft2(power, s=(side, side))
    reach = side // 2 - 2
    rows = np.concatenate([full[:, -1:], full[:, : reach + 1]], axis=1)
    out = np.concatenate([rows[:, :, -reach:], rows[:, :, : reach + 1]], axis=2)
    return np.asarray(out, dtype=np.float32)


def _peaks(found: NDArray[np.float32], own: NDArray[np.float32]) -> tuple[Real, Real]:
    reach = found.shape[1] - 2
    down, across = np.mgrid[-1 : reach + 1, -reach : reach + 1]
    lag = np.hypot(down, across)[1:-1, 1:-1]
    none = own[1, reach]
    zero = np.maximum(found[:, 1, reach], 1e-9)[:, None, None]
    share = np.where(own > 0.08 * none, found / zero * (none / np.maximum(own, 1e-9)), -1.0)
    middle = share[:, 1:-1, 1:-1]
    peak = (middle > _ALIKE) & (lag >= _LEAST_PITCH_PX)
    for dy in (0, 1, 2):
        for dx in (0, 1, 2):
            if (dx, dy) != (1, 1):
                beside = share[:, dy : dy + middle.shape[1], dx : dx + middle.shape[2]]
                peak &= middle >= beside
    highest = np.where(peak, middle, 0.0).max(axis=(1, 2))
    return np.minimum(highest, 1.0), np.where(peak, lag, np.inf).min(axis=(1, 2))
