"""Bare paper: which pixels of a printed leaf hold no ink.

Ink is darker than its surroundings: the grey is divided by the local paper (a high
percentile over some millimetres), split by Otsu's threshold (``otsu1979``), and the ink is
grown by half a millimetre, because its blur reaches that far.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.match import Mask

_SMALL_PX = 700
# Paper texture and noise make a ratio of a few per cent; fainter "ink" than this is paper.
_FAINTEST = 0.90


def bare_paper(grey: NDArray[np.generic], paper: Mask, margin_px: float) -> Mask:
    """True where the leaf shows paper only.

    ``grey`` is 2-D (0..255), ``paper`` true on the leaf; ink and the leaf's edge are kept
    ``margin_px`` [px] away.
    """
    plain = np.asarray(grey, dtype=np.float32)
    ratio = plain / np.maximum(_local_paper(plain, paper), np.float32(1.0))
    ink = (ratio < _threshold(ratio[paper])) | ~paper
    reach = max(1, round(margin_px))
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    grown = cv2.dilate(ink.astype(np.uint8), kernel, borderType=cv2.BORDER_CONSTANT, borderValue=1)
    return np.asarray(grown == 0)


def _local_paper(plain: NDArray[np.float32], paper: Mask) -> NDArray[np.float32]:
    """Local paper tone: closing over about a thirtieth of the picture, then smoothed."""
    shrink = min(1.0, _SMALL_PX / max(plain.shape))
    size = (max(8, round(plain.shape[1] * shrink)), max(8, round(plain.shape[0] * shrink)))
    typical = float(np.median(plain[paper])) if np.any(paper) else 255.0
    filled = np.where(paper, plain, typical).astype(np.float32)
    small = cv2.resize(filled, size, interpolation=cv2.INTER_AREA)
    side = max(5, round(max(size) / 30) | 1)
    top = cv2.dilate(cv2.medianBlur(small, 3), np.ones((side, side), np.uint8))
    low = cv2.erode(top, np.ones((side, side), np.uint8))
    smooth = cv2.GaussianBlur(low, (0, 0), side / 3)
    back = cv2.resize(smooth, (plain.shape[1], plain.shape[0]), interpolation=cv2.INTER_LINEAR)
    return np.asarray(back, dtype=np.float32)


def _threshold(ratio: NDArray[np.floating]) -> float:
    if ratio.size == 0:
        return _FAINTEST
    levels = np.clip(ratio * 200, 0, 255).astype(np.uint8).reshape(-1, 1)
    found, _ = cv2.threshold(levels, 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    return min(float(found) / 200, _FAINTEST)
