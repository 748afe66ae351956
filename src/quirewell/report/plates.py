"""Plates: before and after at one scale and as scanned, small enough to print and no larger.

A picture is averaged down to print size as it is decoded; what was cut is kept under
``derived/plates`` and may be deleted at any time. Nothing is brightened, sharpened or
colour-matched: where two scans differ in exposure the plate shows it.
"""

from __future__ import annotations

import hashlib
import io
import secrets
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import cv2
import numpy as np
import PIL
from numpy.typing import NDArray
from PIL import Image

from quirewell.record.finding import Run
from quirewell.record.nouns import Capture, ItemState
from quirewell.stages.results import PageResult, captured
from quirewell.studio.image_header import read_header
from quirewell.studio.images import load_picture

DPI = 220
# Raised when the same asking gives another picture.
FORM = 1
EDGE_MM = 3.0
_MM = 25.4
Pixels = NDArray[np.uint8]
Loader = Callable[[Path, float], Pixels]


@dataclass(frozen=True, slots=True)
class Plate:
    """A pair at one scale: JPEG bytes, or None where there is no picture.

    ``per`` is how many millimetres of the thing lie on one millimetre of print; ``registered``
    says that the second was laid on the first by the print on it.
    """

    place: str
    name: str
    before: bytes | None
    after: bytes | None
    width_mm: float
    per: float
    registered: bool


def load_sample(path: Path, shrink: float = 1.0) -> Pixels:
    """Pixels (H, W, 3) uint8 of an original, profile and turn honoured, whatever its depth,
    averaged down to ``shrink`` of its width and height."""
    pixels = load_picture(path, shrink=shrink).pixels
    if pixels.dtype == np.uint16:
        return (pixels // 257).astype(np.uint8)
    return np.asarray(pixels, dtype=np.uint8)


def make_plate(
    result: PageResult,
    state: ItemState,
    path_of: Callable[[str], Path],
    width_mm: float,
    load: Loader = load_sample,
    dpi: float = DPI,
    kept: Path | None = None,
) -> Plate | None:
    """The plate of one page, ``width_mm`` wide in print; None when no picture has an outline.

    What was cut before is taken from the folder ``kept``, and what is cut now goes there.
    """
    frame = _frame(result.before) or _frame(result.after)
    if frame is None:
        return None
    per = (frame.width_mm + 2 * EDGE_MM) / width_mm
    target_px_per_mm = dpi / _MM / per
    warp = _warp(result.pair)
    cut = partial(_cut, state=state, path_of=path_of, load=load, kept=kept)
    before = cut(result.before, target_px_per_mm=target_px_per_mm, laid_on=None)
    after_frame = (_frame(result.before), warp) if warp is not None else None
    after = cut(result.after, target_px_per_mm=target_px_per_mm, laid_on=after_frame)
    if before is None and after is None:
        return None
    return Plate(
        result.place, result.name, before, after, width_mm, per,
        warp is not None and before is not None and after is not None,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where the paper lies in a scan [px], and its scale."""

    left: float
    top: float
    right: float
    bottom: float
    px_per_mm: float

    @property
    def width_mm(self) -> float:
        return (self.right - self.left) / self.px_per_mm

    def widened(self) -> _Frame:
        edge = EDGE_MM * self.px_per_mm
        return _Frame(
            self.left - edge, self.top - edge, self.right + edge, self.bottom + edge,
            self.px_per_mm,
        )  # fmt: skip


def _frame(run: Run | None) -> _Frame | None:
    if run is None:
        return None
    points = points_of(run.drawing.get("outline", ""))
    scale = next((f.value for f in run.findings if f.quantity == "scale.um_per_px"), None)
    if len(points) < 3 or not scale:
        return None
    (left, top), (right, bottom) = points.min(axis=0), points.max(axis=0)
    return _Frame(left, top, right, bottom, 1000.0 / scale)


def points_of(text: str) -> NDArray[np.float64]:
    """Points (n, 2) of "x,y x,y ..." text.

    >>> points_of("0,1 2.5,3").tolist()
    [[0.0, 1.0], [2.5, 3.0]]
    """
    pairs = [pair.split(",") for pair in text.split()]
    return np.array([[float(x), float(y)] for x, y in pairs]).reshape(-1, 2)


def _warp(pair: Run | None) -> NDArray[np.float64] | None:
    """Affine (2, 3) that takes pixels of "before" to pixels of "after", from the comparison."""
    text = pair.drawing.get("before_to_after_px", "") if pair else ""
    numbers = [float(part) for part in text.replace(";", " ").split()]
    return np.array(numbers).reshape(2, 3) if len(numbers) == 6 else None


def _cut(
    run: Run | None,
    state: ItemState,
    path_of: Callable[[str], Path],
    load: Loader,
    target_px_per_mm: float,
    laid_on: tuple[_Frame | None, NDArray[np.float64]] | None,
    kept: Path | None,
) -> bytes | None:
    frame = _frame(run)
    capture = captured(state, run, "image") if run else None
    if frame is None or capture is None:
        return None
    to_scan = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    if laid_on is not None and laid_on[0] is not None:
        frame, to_scan = laid_on[0], laid_on[1]
    frame = frame.widened()
    shrink = target_px_per_mm / frame.px_per_mm
    size = (
        max(1, round((frame.right - frame.left) * shrink)),
        max(1, round((frame.bottom - frame.top) * shrink)),
    )
    path = path_of(capture.sha256)

    def made() -> bytes:
        small = load(path, min(shrink, 1.0))
        return jpeg(_view(small, full_size(path), frame, to_scan, shrink, size))

    asked = f"{capture.sha256} {frame} {to_scan.tolist()} {shrink!r} {size}"
    return _from_kept(kept, asked, made)


def _from_kept(kept: Path | None, asked: str, made: Callable[[], bytes]) -> bytes:
    """What was made of ``asked`` before, if its file is whole; else made now, and kept."""
    if kept is None:
        return made()
    by = f"{FORM} {PIL.__version__} {cv2.__version__} {np.__version__} {asked}"
    key = hashlib.sha256(by.encode()).hexdigest()[:32]
    for known in kept.glob(f"{key}-*.jpg"):
        data = known.read_bytes()
        if known.stem == f"{key}-{hashlib.sha256(data).hexdigest()[:32]}":
            return data
        known.unlink(missing_ok=True)
    data = made()
    kept.mkdir(parents=True, exist_ok=True)
    target = kept / f"{key}-{hashlib.sha256(data).hexdigest()[:32]}.jpg"
    part = target.with_name(f"{target.name}.{secrets.token_hex(4)}.part")
    part.write_bytes(data)
    part.replace(target)
    return data


def full_size(path: Path) -> tuple[int, int]:
    """Width and height of an original turned upright [px], from its header."""
    header = read_header(path)
    return header.width_px, header.height_px


def _view(
    small: Pixels,
    full: tuple[int, int],
    frame: _Frame,
    to_scan: NDArray[np.float64],
    shrink: float,
    size: tuple[int, int],
) -> Pixels:
    """The frame of a scan, averaged down already, at print size and laid straight."""
    out_to_frame = np.array([[1 / shrink, 0, frame.left], [0, 1 / shrink, frame.top], [0, 0, 1.0]])
    full_to_small = np.diag([small.shape[1] / full[0], small.shape[0] / full[1], 1.0])
    matrix = full_to_small @ np.vstack([to_scan, [0.0, 0.0, 1.0]]) @ out_to_frame
    laid = cv2.warpAffine(
        small, matrix[:2], size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_CONSTANT, borderValue=(255, 255, 255),
    )  # fmt: skip
    return np.asarray(laid, dtype=np.uint8)


def photograph(
    capture: Capture,
    path_of: Callable[[str], Path],
    longest_px: int,
    load: Loader = load_sample,
    kept: Path | None = None,
) -> bytes:
    """A whole picture as JPEG, its longest side at most ``longest_px``."""
    path = path_of(capture.sha256)

    def made() -> bytes:
        return jpeg(load(path, min(1.0, longest_px / max(full_size(path)))))

    return _from_kept(kept, f"{capture.sha256} whole {longest_px}", made)


def jpeg(pixels: Pixels, quality: int = 86) -> bytes:
    """JPEG bytes without metadata."""
    out = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(pixels)).save(
        out, "JPEG", quality=quality, subsampling=0, optimize=True
    )
    return out.getvalue()


def chosen(results: Iterable[PageResult], state: ItemState, most: int) -> tuple[PageResult, ...]:
    """Pages worth a large plate: the cover's outside, then those changed or with defects."""
    marked = {entry.place for entry in state.defects.values()}

    def rank(result: PageResult) -> tuple[bool, ...]:
        face = ".".join(result.place.split(".")[:2])
        return (
            not result.place.startswith("c.outer"),
            result.verdict_word != "changed",
            not marked & {result.place, face},
            result.place != "w01.outer.right",
        )

    both = [entry for entry in results if entry.before is not None and entry.after is not None]
    order = {entry.place: index for index, entry in enumerate(both)}
    best = sorted(both, key=lambda entry: (rank(entry), order[entry.place]))[:most]
    return tuple(sorted(best, key=lambda entry: order[entry.place]))
