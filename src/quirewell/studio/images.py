"""Loading a picture for measuring: every bit kept, colours in sRGB, turned upright."""

from __future__ import annotations

import io
import resource
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import cv2
import imagecodecs
import numpy as np
import pi_heif
import tifffile
from numpy.typing import NDArray
from PIL import Image, ImageCms

from quirewell.studio.elsewhere import elsewhere
from quirewell.studio.image_header import ImageHeader, pillow_budget, read_header
from quirewell.studio.image_kind import MAX_FILE_BYTES, MAX_PIXELS, RAW, ImageError
from quirewell.studio.image_profile import matrix_profile, through_matrix

__all__ = ["MAX_PIXELS", "ImageError", "ImageHeader", "Picture", "load_picture", "memory_limit",
           "preview", "read_header"]  # fmt: skip

Pixels = NDArray[np.uint8 | np.uint16]
PREVIEW_QUALITY = 88


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture ready to be measured.

    ``pixels`` (H, W, 3) are uint8 or uint16 in sRGB encoding, upright; ``resolution_dpi`` (x, y)
    is the file's tag where it can be believed; ``profile`` names the colour profile it came with
    ("" for none); ``grey`` is true when the file held lightness only.
    """

    pixels: Pixels
    bits: int
    resolution_dpi: tuple[float, float] | None
    profile: str
    media: str
    grey: bool
    warnings: tuple[str, ...]


def load_picture(path: Path, max_pixels: int = MAX_PIXELS, shrink: float = 1.0) -> Picture:
    """Decode a picture, bring its colours to sRGB by its profile, and turn it upright.

    16-bit pictures stay 16-bit. Colours go through the profile relative to the paper white
    (ICC media-relative, without black point compensation). ``shrink`` below 1 is for looking,
    never for measuring: the samples are averaged down to that share of its width and height as
    they are coded, before the profile, so that a large scan is whole in memory only once.

    Raises
    ------
    ImageError
        in a sentence, when the file is no picture that can be measured
    """
    for picture in elsewhere(f"{__name__}.load_limited", path, max_pixels, shrink):
        return picture  # type: ignore[no-any-return]
    header = read_header(path, max_pixels=max_pixels)
    says = list(header.warnings)
    try:
        decode = _decoders[header.media]
        if shrink < 1.0 and decode is _jpeg:
            pixels = _jpeg_drafted(path, max_pixels, shrink)
        else:
            pixels = decode(path, header, max_pixels)
    except ImageError:
        raise
    except MemoryError as error:
        raise ImageError(f"{path.name} needs more memory than there is to be opened") from error
    except Exception as error:
        raise ImageError(
            f"{path.name} is damaged or cut short: its picture cannot be decoded; copy or scan "
            "it again"
        ) from error
    if shrink >= 1.0:
        _as_announced(path, pixels, header)
    pixels = _without_alpha(path, pixels)
    if shrink < 1.0:
        pixels = _averaged(pixels, header, shrink)
    name = ""
    if header.profile is not None:
        pixels, name, note = _to_srgb(pixels, header.profile)
        says += [note] if note else []
    if pixels.shape[2] == 1:
        pixels = np.repeat(pixels, 3, axis=2)
    return Picture(
        upright(pixels, header.orientation),
        header.bits,
        header.resolution_dpi,
        name,
        header.media,
        header.mode == "grey",
        tuple(says),
    )


def _as_announced(path: Path, pixels: Pixels, header: ImageHeader) -> None:
    """Refuse a picture that is not what its header said, on which the budgets were held."""
    turned = header.orientation in (5, 6, 7, 8)
    size = (header.width_px, header.height_px) if turned else (header.height_px, header.width_px)
    channels = {"grey": 1, "colour": 3}.get(header.mode)
    found = pixels.shape[2] if channels is None else pixels.shape[2] - int(header.alpha)
    if pixels.shape[:2] != size or found not in ((1, 2, 3, 4) if channels is None else (channels,)):
        raise ImageError(
            f"{path.name} holds another picture than its header says ({pixels.shape[1]} x "
            f"{pixels.shape[0]}, {pixels.shape[2]} channels); it is damaged: copy or scan it again"
        )


def load_limited(path: str, max_pixels: int = MAX_PIXELS, shrink: float = 1.0) -> Picture:
    """:func:`load_picture` within a budget of memory and processor time; for worker processes."""
    with decode_limits(header_limited(path, max_pixels)):
        return load_picture(Path(path), max_pixels, shrink)


def header_limited(
    path: str, max_pixels: int = MAX_PIXELS, max_bytes: int = MAX_FILE_BYTES
) -> ImageHeader:
    """A picture's header within a budget of memory and processor time; for worker processes."""
    with memory_limit(_BESIDES_MB), cpu_limit(_SECONDS):
        return read_header(Path(path), max_pixels=max_pixels, max_bytes=max_bytes)


def _tiff(path: Path, header: ImageHeader, max_pixels: int) -> Pixels:
    with tifffile.TiffFile(path) as tiff:
        page: Any = tiff.pages[0]
        if header.mode == "palette" or (int(page.photometric) == 6 and int(page.compression) != 7):
            return _pillow_decode(path, max_pixels, ("TIFF",))
        pixels = page.asarray(maxworkers=1)
        if int(page.planarconfig) == 2 and pixels.ndim == 3:
            pixels = np.moveaxis(pixels, 0, -1)
        if int(page.photometric) == 0:
            pixels = np.iinfo(pixels.dtype).max - pixels
    return _three_axes(path, pixels)


def _three_axes(path: Path, pixels: NDArray[Any]) -> Pixels:
    if pixels.ndim == 2:
        pixels = pixels[:, :, None]
    if pixels.ndim != 3 or pixels.dtype not in (np.uint8, np.uint16):
        raise ImageError(f"{path.name} holds no flat picture of 8 or 16 bits; save it as RGB")
    return pixels


def _png(path: Path, header: ImageHeader, max_pixels: int) -> Pixels:
    if header.bits == 16:
        return _three_axes(path, np.asarray(imagecodecs.png_decode(path.read_bytes())))
    return _pillow_decode(path, max_pixels, ("PNG",))


def _jpeg(path: Path, header: ImageHeader, max_pixels: int) -> Pixels:
    return _pillow_decode(path, max_pixels, ("JPEG",))


def _jpeg_drafted(path: Path, max_pixels: int, shrink: float) -> Pixels:
    """A JPEG decoded at 1/2, 1/4 or 1/8 where that is still as large as wanted."""
    return _pillow_decode(path, max_pixels, ("JPEG",), shrink)


def _averaged(pixels: Pixels, header: ImageHeader, shrink: float) -> Pixels:
    """Samples averaged down to ``shrink`` of the picture's own size, not yet turned upright."""
    size = (header.width_px, header.height_px)
    width, height = size[::-1] if header.orientation in (5, 6, 7, 8) else size
    wanted = max(1, round(width * shrink)), max(1, round(height * shrink))
    shape = (wanted[1], wanted[0], pixels.shape[2])
    small = cv2.resize(pixels, wanted, interpolation=cv2.INTER_AREA)
    return np.asarray(small, pixels.dtype).reshape(shape)


def _pillow_decode(
    path: Path, max_pixels: int, formats: tuple[str, ...], shrink: float = 1.0
) -> Pixels:
    with pillow_budget(max_pixels), Image.open(path, formats=formats) as opened:
        if shrink < 1.0:
            opened.draft(None, (round(opened.width * shrink), round(opened.height * shrink)))
        opened.load()
        image: Image.Image = opened
        if image.mode in ("P", "PA"):
            opaque = "transparency" not in image.info and image.mode == "P"
            image = image.convert("RGB" if opaque else "RGBA")
        elif image.mode not in ("L", "LA", "RGB", "RGBA"):
            image = image.convert("RGB")
        pixels = np.asarray(image)
    return _three_axes(path, pixels)


def _heic(path: Path, header: ImageHeader, max_pixels: int) -> Pixels:
    heif = pi_heif.open_heif(path, convert_hdr_to_8bit=True)
    return _three_axes(path, np.array(heif[0]))


def _camera_raw(path: Path, header: ImageHeader, max_pixels: int) -> Pixels:
    """Develop a raw file: linear, the camera's white balance, nothing brightened or stretched,
    colours in sRGB's primaries; then encoded as sRGB at 16 bits like every other picture."""
    import rawpy

    with rawpy.imread(str(path)) as raw:
        linear = raw.postprocess(
            gamma=(1, 1), no_auto_bright=True, use_camera_wb=True, output_bps=16,
            output_color=rawpy.ColorSpace.sRGB, adjust_maximum_thr=0.0,
        )  # fmt: skip
    return _three_axes(path, _encoded(np.asarray(linear, np.uint16)))


def _encoded(linear: NDArray[np.uint16]) -> NDArray[np.uint16]:
    """Linear light to sRGB's curve (IEC 61966-2-1), 16 bits to 16 bits."""
    light = np.arange(65536) / 65535.0
    curve = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.take(np.round(65535.0 * curve).astype(np.uint16), linear)


_decoders = {
    "image/tiff": _tiff,
    "image/png": _png,
    "image/jpeg": _jpeg,
    "image/heic": _heic,
    RAW: _camera_raw,
}


def _without_alpha(path: Path, pixels: Pixels) -> Pixels:
    if pixels.shape[2] not in (2, 4):
        return pixels
    if int(pixels[..., -1].min()) < np.iinfo(pixels.dtype).max:
        raise ImageError(
            f"{path.name} has see-through parts, whose colour is nobody's; flatten it on a plain "
            "ground and save it again"
        )
    return np.ascontiguousarray(pixels[..., :-1])


def upright(pixels: Pixels, orientation: int) -> Pixels:
    """Turn and mirror by EXIF's orientation 1..8; unknown values leave the picture as it is."""
    if orientation in (5, 6, 7, 8):
        pixels = np.swapaxes(pixels, 0, 1)
    if orientation in (2, 3, 6, 7):
        pixels = pixels[:, ::-1]
    if orientation in (3, 4, 7, 8):
        pixels = pixels[::-1]
    return np.ascontiguousarray(pixels)


def _to_srgb(pixels: Pixels, profile: bytes) -> tuple[Pixels, str, str]:
    """Pixels through the profile to sRGB, the profile's name, and a warning ("" for none)."""
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        name = ImageCms.getProfileDescription(source).strip()[:80]
        space = str(source.profile.xcolor_space).strip()
    except (OSError, ImageCms.PyCMSError, ValueError):
        return pixels, "", "The colour profile is damaged; the values are taken as sRGB."
    wanted = "GRAY" if pixels.shape[2] == 1 else "RGB"
    if space != wanted:
        return (
            pixels,
            "",
            (
                f"The colour profile is for {space}, the picture is {wanted}; its values are taken "
                "as sRGB."
            ),
        )
    try:
        if _is_srgb(profile, wanted):
            return pixels, name, ""
        moved = _transform(pixels, profile, wanted)
        return moved, name, _cut_off(pixels, moved)
    except (RuntimeError, ValueError):
        return pixels, "", "The colour profile cannot be applied; the values are taken as sRGB."


# More than this share of a picture beyond sRGB is said.
_CUT_SHARE = 1e-3


def _cut_off(before: Pixels, after: Pixels) -> str:
    """A sentence when colours lay outside sRGB and were cut off at its rim; seen on every fourth
    pixel."""
    top = np.iinfo(after.dtype).max
    one, two = before[::4, ::4], after[::4, ::4]
    inside = ((one > 0) & (one < top)).all(axis=2)
    rim = ((two == 0) | (two == top)).any(axis=2)
    share = float(np.mean(inside & rim))
    if share <= _CUT_SHARE:
        return ""
    return (
        f"{100 * share:.2g} % of the picture has colours outside sRGB, which were cut off at its "
        "rim. Paper never lies there; a strong ink may, and its change would then read too small."
    )


@lru_cache(maxsize=32)
def _is_srgb(profile: bytes, space: str) -> bool:
    """Whether the profile moves no colour of a coarse lattice by more than one step of 255."""
    if space == "GRAY":
        return False
    axis = np.linspace(0, 255, 18).astype(np.uint8)
    lattice = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1).reshape(18, -1, 3)
    moved = _transform(np.ascontiguousarray(lattice), profile, space)
    return int(np.abs(moved.astype(int) - lattice.astype(int)).max()) <= 1


def _transform(pixels: Pixels, profile: bytes, space: str) -> Pixels:
    """At the depth the picture has: by the profile's own primaries and curves where it has
    such, else strip by strip through LittleCMS, 16 bits in floating point."""
    primaries = matrix_profile(profile) if space == "RGB" else None
    if primaries is not None:
        return through_matrix(pixels, primaries)
    out = np.empty((*pixels.shape[:2], 3), pixels.dtype)
    target = imagecodecs.cms_profile("srgb")
    kind = "gray" if space == "GRAY" else "rgb"
    top = np.iinfo(pixels.dtype).max
    for row in range(0, pixels.shape[0], 512):
        part = np.ascontiguousarray(pixels[row : row + 512])
        given: NDArray[Any] = part[..., 0] if kind == "gray" else part
        if pixels.dtype == np.uint16:
            given = given.astype(np.float32) / np.float32(top)
        moved = imagecodecs.cms_transform(
            given, profile, target, colorspace=kind, outcolorspace="rgb", intent=1
        )
        if pixels.dtype == np.uint16:
            moved = np.clip(np.rint(moved * np.float32(top)), 0, top)
        out[row : row + 512] = moved
    return out


# Decoding, colours and turning take up to 24 bytes a sample (assumed; a decoder's own tables
# are among them), and 300 MB besides; 20 s, and 2 s a megapixel more, is many times enough.
_BYTES_PER_SAMPLE = 24
_BESIDES_MB = 300
_SECONDS = 20
_SECONDS_PER_MEGAPIXEL = 2.0


@contextmanager
def decode_limits(header: ImageHeader) -> Iterator[None]:
    """For worker processes: what decoding a picture of this size may take of memory and time.

    A file that asks for more is ended: for memory with a sentence, for processor time with the
    worker itself (:func:`cpu_limit`).
    """
    megapixels = header.width_px * header.height_px / 1e6
    memory = _BESIDES_MB + int(_BYTES_PER_SAMPLE * 3 * megapixels)
    with memory_limit(memory), cpu_limit(_SECONDS + int(_SECONDS_PER_MEGAPIXEL * megapixels)):
        yield


@contextmanager
def cpu_limit(seconds: int) -> Iterator[None]:
    """Within it, this process may use at most so much more processor time [s].

    What runs on is killed by the system; a decoder caught in a loop heeds nothing gentler. So
    this is for worker processes, whose death the pool survives.
    """
    before = resource.getrlimit(resource.RLIMIT_CPU)
    used = resource.getrusage(resource.RUSAGE_SELF)
    wanted = int(used.ru_utime + used.ru_stime) + 1 + seconds
    for known in before:
        if known != resource.RLIM_INFINITY:
            wanted = min(wanted, known)
    resource.setrlimit(resource.RLIMIT_CPU, (wanted, before[1]))
    try:
        yield
    finally:
        with suppress(ValueError, OSError):
            resource.setrlimit(resource.RLIMIT_CPU, before)


def preview(path: Path, target: Path, max_px: int) -> None:
    """Write a JPEG of the picture whose longer side is at most ``max_px``, in sRGB.

    Raises
    ------
    ImageError
        when the file is no picture
    """
    pixels = as_eight_bit(load_picture(path).pixels)
    image = Image.fromarray(pixels)
    image.thumbnail((max_px, max_px), Image.Resampling.LANCZOS, reducing_gap=3.0)
    target.parent.mkdir(parents=True, exist_ok=True)
    image.save(target, "JPEG", quality=PREVIEW_QUALITY)


def as_eight_bit(pixels: Pixels) -> NDArray[np.uint8]:
    """The same picture with 8 bits a sample (65535 becomes 255, rounded)."""
    if pixels.dtype == np.uint8:
        return np.asarray(pixels, dtype=np.uint8)
    out = np.empty(pixels.shape, np.uint8)
    for top in range(0, pixels.shape[0], 256):
        part = pixels[top : top + 256].astype(np.uint32)
        out[top : top + 256] = (part * 255 + 32767) // 65535
    return out


@contextmanager
def memory_limit(megabytes: int) -> Iterator[None]:
    """Within it, this process may take at most so much more memory [MB]; for worker processes.

    What asks for more gets a ``MemoryError`` (an :class:`ImageError` from the functions here).
    Where the system knows no such limit nothing is limited.
    """
    try:
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
    except (OSError, ValueError):
        yield
        return
    before = resource.getrlimit(resource.RLIMIT_AS)
    wanted = pages * resource.getpagesize() + megabytes * 1_000_000
    for known in before:
        if known != resource.RLIM_INFINITY:
            wanted = min(wanted, known)
    resource.setrlimit(resource.RLIMIT_AS, (wanted, before[1]))
    try:
        yield
    finally:
        with suppress(ValueError, OSError):
            resource.setrlimit(resource.RLIMIT_AS, before)
