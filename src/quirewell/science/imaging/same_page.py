"""Which page a picture shows, told by what is printed on it.

A page is known by a few hundred features of its print and paper (SIFT, about 1000 pixels on
the longer side). To find the same page among others, features are matched against all of them
at once and the best candidates are held to one affine map. Pages of one publication share
headings, borders and whole pictures, so that alone proves nothing: the candidate is laid on
the page and the print is compared tile by tile. Only a page whose print agrees nearly
everywhere is the same. Tone, stains and the place on the glass do not matter; a turn is read
off the map; a mirrored picture is recognised by its mirror image where nothing else fits.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.strip import find_strip

LONG_SIDE_PX = 1000
FEATURES = 500
_SIDE = 128
_BLUR_PX = 1.0
# Fewer features than this say nothing: a blank leaf.
LEAST_FEATURES = 40
# So many matched points must agree on one map before the print is compared.
LEAST_POINTS = 15
# Share of the printed tiles that must agree for the same page, for one that is like it, and by
# how much the best must lead. On planted pages one page came to 0.95 or more, blurred and noisy
# as well; two pages of one layout with the same pictures and other text to 0.77.
LEAST_AGREE = 0.85
NEAR_AGREE = 0.6
LEAD = 0.08
_TILE_PX, _SEARCH_PX = 40, 3
_LIKE = 0.8
_RATIO = 0.82
_REACH_PX = 6.0
_TRIED = 4
_SEED = 4242

Turn = Literal["upright", "upside down", "turned left", "turned right"]
Grey = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class PageMarks:
    """What a page is known by: places (n, 2) [px of ``small``], descriptors (n, 128), and the
    reduced grey picture itself with the bench strip painted out."""

    places: NDArray[np.float32]
    marks: NDArray[np.float32]
    small: Grey


@dataclass(frozen=True, slots=True)
class SamePage:
    """A page found among others.

    ``points`` agree on the map ``affine`` (2, 3) from the picture asked for to the one found
    (reduced pixels); ``agree`` is the share of the printed tiles that look alike, and
    ``next_agree`` that of the second best.
    """

    key: str
    turn: Turn
    mirrored: bool
    points: int
    agree: float
    next_agree: float
    affine: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class NoPage:
    """No page was told apart; ``reason`` for a program, ``says`` for a person."""

    reason: Literal["blank", "none", "ambiguous"]
    says: str
    near: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Held:
    """How one candidate fared."""

    key: str
    points: int
    agree: float
    affine: NDArray[np.float64]


class PageIndex:
    """Pages to look among, their features laid side by side."""

    def __init__(self, pages: Mapping[str, PageMarks]) -> None:
        self.pages = {key: one for key, one in pages.items() if len(one.marks) >= LEAST_FEATURES}
        self.keys = tuple(self.pages)
        held = [self.pages[key].marks for key in self.keys]
        self.marks = np.concatenate(held) if held else np.zeros((0, _SIDE), np.float32)
        self.starts = np.cumsum([0, *(len(one) for one in held)])

    def among(self, keys: Sequence[str]) -> PageIndex:
        """The same index over fewer pages."""
        return PageIndex({key: self.pages[key] for key in keys if key in self.pages})


def page_marks(grey: NDArray[np.uint8 | np.uint16]) -> PageMarks:
    """Features of a page from its grey picture (H, W), 8 or 16 bit, of any size."""
    small = _reduced(grey)
    mask = _without_strip(small)
    finder = cv2.SIFT.create(nfeatures=FEATURES, contrastThreshold=0.02, edgeThreshold=12)
    points, found = finder.detectAndCompute(small, mask)
    small[mask == 0] = np.uint8(np.median(small))
    if found is None or not points:
        return PageMarks(np.zeros((0, 2), np.float32), np.zeros((0, _SIDE), np.float32), small)
    places = np.array([point.pt for point in points], np.float32)
    # Square roots of shares: distances then compare histograms as they should (Hellinger).
    marks = np.sqrt(found / np.maximum(found.sum(axis=1, keepdims=True), 1e-9))
    return PageMarks(places, marks.astype(np.float32), small)


def _without_strip(small: Grey) -> Grey:
    """A mask that leaves the bench strip out: it looks the same in every scan."""
    mask = np.full(small.shape, 255, np.uint8)
    strip = find_strip(small)
    if strip is not None:
        middle = strip.box_px.mean(axis=0)
        wide = np.round(middle + 1.05 * (strip.box_px - middle)).astype(np.int32)
        cv2.fillConvexPoly(mask, wide, 0)
        cv2.polylines(mask, [wide], True, 0, 12)
    return mask


def mirrored_marks(grey: NDArray[np.uint8 | np.uint16]) -> PageMarks:
    """Features of the page's mirror image (left and right exchanged)."""
    return page_marks(np.ascontiguousarray(grey[:, ::-1]))


def find_page(
    page: PageMarks, index: PageIndex, mirror: PageMarks | None = None
) -> SamePage | NoPage:
    """The one page of ``index`` that the picture shows, or in words why none was told apart.

    ``mirror`` (see :func:`mirrored_marks`) is tried only when nothing fits.
    """
    if len(page.marks) < LEAST_FEATURES:
        return NoPage(
            "blank", "too little is printed or marked on this page to know it again by its picture"
        )
    held = _ranked(page, index)
    found = _judged(held, False)
    if isinstance(found, NoPage) and found.reason == "none" and mirror is not None:
        turned = _judged(_ranked(mirror, index), True)
        return found if isinstance(turned, NoPage) else turned
    return found


def _reduced(grey: NDArray[np.uint8 | np.uint16]) -> Grey:
    eight = np.asarray(grey >> 8 if grey.dtype == np.uint16 else grey, np.uint8)
    share = LONG_SIDE_PX / max(eight.shape)
    if share < 1.0:
        size = (max(1, round(eight.shape[1] * share)), max(1, round(eight.shape[0] * share)))
        eight = np.asarray(cv2.resize(eight, size, interpolation=cv2.INTER_AREA), np.uint8)
    return np.asarray(cv2.GaussianBlur(eight, (0, 0), _BLUR_PX), np.uint8)


def _ranked(page: PageMarks, index: PageIndex) -> list[_Held]:
    """The most promising candidates, each held to one map; the best first."""
    if not index.keys:
        return []
    votes = _matches(page, index)
    order = sorted(range(len(index.keys)), key=lambda at: -len(votes[at][0]))[:_TRIED]
    held = [
        _held(index.keys[at], page, index.pages[index.keys[at]], *votes[at])
        for at in order
        if len(votes[at][0]) >= LEAST_POINTS
    ]
    return sorted((one for one in held if one is not None), key=lambda one: -one.agree)


def _matches(
    page: PageMarks, index: PageIndex
) -> list[tuple[NDArray[np.int64], NDArray[np.int64]]]:
    """For each candidate the pairs (feature here, feature there) that are nearest each other
    and nearer than any second one."""
    likeness = page.marks @ index.marks.T
    out = []
    for first, last in zip(index.starts[:-1], index.starts[1:], strict=True):
        part = likeness[:, first:last]
        best = part.argmax(axis=1)
        rows = np.arange(len(best))
        top = part[rows, best]
        part[rows, best] = -1.0
        second = part.max(axis=1)
        part[rows, best] = top
        mutual = part.argmax(axis=0)[best] == rows
        near = np.sqrt(np.maximum(2 - 2 * top, 0)) < _RATIO * np.sqrt(np.maximum(2 - 2 * second, 0))
        keep = np.flatnonzero(mutual & near)
        out.append((keep, best[keep]))
    return out


def _held(
    key: str,
    page: PageMarks,
    other: PageMarks,
    here: NDArray[np.int64],
    there: NDArray[np.int64],
) -> _Held | None:
    """Hold matches to one affine map that is near a turn and an even scale."""
    source, target = page.places[here], other.places[there]
    cv2.setRNGSeed(_SEED)
    found: tuple[Any, Any] = cv2.estimateAffine2D(
        source, target, method=cv2.USAC_MAGSAC, ransacReprojThreshold=_REACH_PX,
        maxIters=3000, confidence=0.999,
    )  # fmt: skip
    fitted, inside = found
    if fitted is None or inside is None:
        return None
    affine = np.asarray(fitted, np.float64)
    if not _plausible(affine[:, :2]):
        return None
    count = len(np.unique(source[inside.ravel().astype(bool)], axis=0))
    if count < LEAST_POINTS:
        return None
    return _Held(key, count, _agreement(page.small, other.small, affine), affine)


def _agreement(page: Grey, other: Grey, affine: NDArray[np.float64]) -> float:
    """Share of the printed tiles of the page that look alike in the other, laid on it."""
    size = (page.shape[1], page.shape[0])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    laid = cv2.warpAffine(other, affine, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
    ours, theirs = _detail(page), _detail(np.asarray(laid, np.uint8))
    step, margin = _TILE_PX, _SEARCH_PX
    tiles = [
        (y, x)
        for y in range(margin, page.shape[0] - step - margin, step)
        for x in range(margin, page.shape[1] - step - margin, step)
    ]
    if not tiles:
        return 0.0
    rough = np.array(
        [
            [part[y : y + step, x : x + step].std() for part in (ours, theirs)]
            for y, x in tiles
        ]
    )  # fmt: skip
    printed = (rough > 0.35 * np.quantile(rough, 0.9, axis=0)).any(axis=1)
    alike = 0
    for y, x in np.array(tiles)[printed]:
        tile = ours[y : y + step, x : x + step]
        window = theirs[y - margin : y + step + margin, x - margin : x + step + margin]
        alike += float(cv2.matchTemplate(window, tile, cv2.TM_CCOEFF_NORMED).max()) > _LIKE
    return alike / max(1, int(printed.sum()))


def _detail(small: Grey) -> NDArray[np.float32]:
    """The picture without its slow shades: stains, tanning and light fall away."""
    picture = small.astype(np.float32)
    return np.asarray(picture - cv2.GaussianBlur(picture, (0, 0), 12.0), np.float32)


def _plausible(matrix: NDArray[np.float64]) -> bool:
    """Whether a map is a turn with a scale between a half and two, hardly sheared, no mirror."""
    one, two = np.linalg.svd(matrix, compute_uv=False)
    return bool(np.linalg.det(matrix) > 0 and 0.5 < two <= one < 2.0 and one / two < 1.15)


def _judged(held: Sequence[_Held], mirrored: bool) -> SamePage | NoPage:
    near = [one for one in held if one.agree >= NEAR_AGREE]
    if not near:
        return NoPage("none", "no scan from before shows this page")
    best = near[0]
    runner = max((one.agree for one in held if one.key != best.key), default=0.0)
    keys = tuple(one.key for one in near[:3])
    if best.agree < LEAST_AGREE:
        says = "a scan from before looks like this page, but its print differs in places"
        return NoPage("ambiguous", says, keys)
    if best.agree < runner + LEAD:
        return NoPage("ambiguous", "several scans from before look like this page", keys)
    return SamePage(
        best.key, _turn(best.affine), mirrored, best.points, best.agree, runner, best.affine
    )


def _turn(affine: NDArray[np.float64]) -> Turn:
    """How the picture lies against the one found."""
    angle = math.degrees(math.atan2(affine[1, 0] - affine[0, 1], affine[0, 0] + affine[1, 1]))
    quarter = round(angle / 90.0) % 4
    turns: tuple[Turn, ...] = ("upright", "turned left", "upside down", "turned right")
    return turns[quarter]
