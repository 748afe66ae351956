"""What kind of picture a file holds and how large it is, read before anything is decoded.

A file is hostile until checked: its kind comes from its first bytes, never from its name, and
its size is held against a budget before a single pixel is made.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

import pi_heif
import tifffile
from PIL import Image, JpegImagePlugin, UnidentifiedImageError

from quirewell.studio.elsewhere import elsewhere
from quirewell.studio.image_jpeg import sampling_of
from quirewell.studio.image_kind import (
    MAX_FILE_BYTES,
    MAX_PIXELS,
    RAW,
    ImageError,
    check_size,
    find_media,
    word_for,
)

__all__ = ["MAX_PIXELS", "ImageError", "ImageHeader", "pillow_budget", "read_header"]

PLAUSIBLE_DPI = (75.0, 4900.0)
# Values that programs write when nobody told them the resolution.
PLACEHOLDER_DPI = (1.0, 72.0, 96.0)

_CAMERA_TAGS = (0x829A, 0x829D, 0x920A)


@dataclass(frozen=True, slots=True)
class ImageHeader:
    """What a picture file says of itself.

    ``width_px`` and ``height_px`` are those of the picture turned upright; ``bits`` per sample;
    ``mode`` is "grey", "colour" or "palette"; ``tag_dpi`` the resolution tag (x, y) as written,
    ``resolution_dpi`` the same when it can be believed. ``orientation`` is EXIF's 1..8.
    ``scanner`` is the maker and model a scan names ("" when it names none, or for a camera).
    """

    media: str
    width_px: int
    height_px: int
    bits: int
    mode: str
    alpha: bool
    orientation: int
    profile: bytes | None
    tag_dpi: tuple[float, float] | None
    resolution_dpi: tuple[float, float] | None
    subsampled: bool
    warnings: tuple[str, ...]
    scanner: str = ""


@dataclass(slots=True)
class _Raw:
    """A header as the reader of one format fills it in, before it is judged."""

    media: str
    width: int
    height: int
    bits: int = 8
    mode: str = "colour"
    alpha: bool = False
    orientation: int = 1
    profile: bytes | None = None
    dpi: tuple[float, float] | None = None
    camera: bool = False
    subsampled: bool = False
    device: str = ""


def read_header(
    path: Path, *, max_pixels: int = MAX_PIXELS, max_bytes: int = MAX_FILE_BYTES
) -> ImageHeader:
    """Read a picture's header and hold it against the budgets; nothing is decoded.

    Raises
    ------
    ImageError
        in a sentence, for anything that is not one TIFF, PNG, JPEG or HEIC picture in grey or
        RGB, or a camera's raw file, within the budget
    """
    for header in elsewhere("quirewell.studio.images.header_limited", path, max_pixels, max_bytes):
        return header  # type: ignore[no-any-return]
    media = find_media(path, max_bytes)
    readers = {
        "image/tiff": _tiff,
        "image/jpeg": _pillow,
        "image/png": _pillow,
        "image/heic": _heic,
        RAW: _camera_raw,
    }
    try:
        if media == "image/tiff" and holds_raw(path):
            media = RAW
        raw = readers[media](path, media, max_pixels)
    except ImageError:
        raise
    except MemoryError as error:
        raise ImageError(f"{path.name} asks for more memory than there is") from error
    except Exception as error:
        raise ImageError(
            f"{path.name} starts like a {word_for(media)} but its header cannot be read: it is "
            "damaged or cut short; copy or scan it again"
        ) from error
    check_size(path, raw.width, raw.height, max_pixels)
    return _judged(raw)


def _judged(raw: _Raw) -> ImageHeader:
    says: list[str] = []
    turned = raw.orientation in (5, 6, 7, 8)
    size = (raw.height, raw.width) if turned else (raw.width, raw.height)
    tag = raw.dpi[::-1] if raw.dpi is not None and turned else raw.dpi
    trusted = tag
    if raw.camera:
        trusted = None
        says.append(
            "This is a camera's picture: its resolution tag says nothing about the object and "
            "gives no scale."
        )
    elif tag is None:
        says.append("The file says no resolution, so it gives no scale.")
    elif not _plausible(tag):
        trusted = None
        says.append(
            f"The resolution tag says {tag[0]:.4g} dpi, which programs write when they do not "
            "know it; it is not used as a scale."
        )
    if raw.media == RAW:
        says.append(
            "A camera's raw file: developed in linear light with the camera's own white balance, "
            "nothing brightened. Its colours are the camera's until a chart says otherwise."
        )
    elif raw.profile is None:
        says.append("The file has no colour profile; its values are taken as sRGB.")
    if raw.subsampled:
        says.append(
            "The JPEG holds colour at half the resolution of lightness (chroma subsampling): "
            "colours within a pixel or two of an edge are mixed. Save scans as TIFF."
        )
    if raw.mode == "grey":
        says.append("The picture is grey: its lightness can be measured, its colour cannot.")
    if raw.mode == "palette":
        says.append(
            "The picture has a palette of at most 256 colours: tones come in coarse steps. "
            "Save scans as TIFF."
        )
    return ImageHeader(
        raw.media, *size, raw.bits, raw.mode, raw.alpha, raw.orientation, raw.profile,
        tag, trusted, raw.subsampled, tuple(says), "" if raw.camera else raw.device,
    )  # fmt: skip


def _plausible(dpi: tuple[float, float]) -> bool:
    low, high = PLAUSIBLE_DPI
    if not all(low <= value <= high for value in dpi):
        return False
    return not any(abs(value - odd) < 0.5 for value in dpi for odd in PLACEHOLDER_DPI)


def _tiff(path: Path, media: str, max_pixels: int) -> _Raw:
    with tifffile.TiffFile(path) as tiff:
        page = cast(tifffile.TiffPage, tiff.pages[0])
        _one_picture(path, tiff)
        height, width = int(page.imagelength), int(page.imagewidth)
        check_size(path, width, height, max_pixels)
        _whole_on_disk(path, page)
        bits, mode, alpha = _tiff_samples(path, page)
        return _Raw(
            media,
            width,
            height,
            bits,
            mode,
            alpha,
            int(_tag(page, 274) or 1),
            _tiff_profile(page),
            _tiff_dpi(page),
            subsampled=mode == "colour" and _jpeg_inside_is_halved(path, page),
            device=_device(_tag(page, 271), _tag(page, 272)),
        )


def _jpeg_inside_is_halved(path: Path, page: Any) -> bool:
    """Whether a TIFF's first strip is a JPEG stream that holds its channels at unlike
    resolutions, whatever the TIFF's own tags say; some writers leave them out."""
    if int(page.compression) not in (6, 7) or not page.dataoffsets:
        return False
    with path.open("rb") as stream:
        stream.seek(int(page.dataoffsets[0]))
        found = sampling_of(stream.read(min(int(page.databytecounts[0]), 1 << 20)))
    if found is None:
        said = tuple(_tag(page, 530) or (2, 2))
        return int(page.photometric) == 6 and said != (1, 1)
    return len(set(found)) > 1


def holds_raw(path: Path) -> bool:
    """Whether a file that begins as a TIFF is a camera's raw file: it says that it is a digital
    negative, or its picture is a mosaic of the sensor's colours."""
    with tifffile.TiffFile(path) as tiff:
        page = cast(tifffile.TiffPage, tiff.pages[0])
        if _tag(page, 50706) is not None:
            return True
        below = list(page.pages or ())[:8] if _tag(page, 330) is not None else []
        photometrics = [getattr(one, "photometric", None) for one in (page, *below)]
        return any(kind is not None and int(kind) in (32803, 34892) for kind in photometrics)


def _camera_raw(path: Path, media: str, max_pixels: int) -> _Raw:
    """Sizes of a raw file, from its header; nothing is unpacked."""
    import rawpy

    with rawpy.imread(str(path)) as opened:
        sizes = opened.sizes
        check_size(path, int(sizes.raw_width), int(sizes.raw_height), max_pixels)
        check_size(path, int(sizes.iwidth), int(sizes.iheight), max_pixels)
        width, height = int(sizes.iwidth), int(sizes.iheight)
        if int(sizes.flip) & 4:
            width, height = height, width
        return _Raw(media, width, height, 16, camera=True)


def _device(maker: Any, model: Any) -> str:
    """Maker and model in plain signs, at most 80, the maker said once.

    >>> _device("Larkmoor", "Larkmoor F2 ")
    'Larkmoor F2'
    """
    first, second = (
        " ".join("".join(sign for sign in str(text or "") if sign.isprintable()).split())
        for text in (maker, model)
    )
    joined = second if second.lower().startswith(first.lower()) else f"{first} {second}"
    return joined.strip()[:80]


def _one_picture(path: Path, tiff: Any) -> None:
    """Reduced copies of the first picture are passed over; a second picture is refused."""
    extra = sum(1 for page in tiff.pages[1:] if not int(_tag(page, 254) or 0) & 1)
    if extra:
        raise ImageError(
            f"{path.name} holds {extra + 1} pictures; save each picture as its own file"
        )


def _whole_on_disk(path: Path, page: Any) -> None:
    size = path.stat().st_size
    last = max(
        (int(at) + int(n) for at, n in zip(page.dataoffsets, page.databytecounts, strict=False)),
        default=0,
    )
    if last == 0 or last > size:
        raise ImageError(
            f"{path.name} is cut short: it has {size} bytes and its picture reaches to byte "
            f"{last}; copy or scan it again"
        )


def _tiff_samples(path: Path, page: Any) -> tuple[int, str, bool]:
    """Bits, mode and whether there is an alpha channel; refuses what has no plain tones."""
    photometric = int(page.photometric)
    given = page.bitspersample
    bits = int(given if isinstance(given, int) else max(given))
    samples = int(page.samplesperpixel)
    if photometric == 5:
        raise _refuse_cmyk(path)
    if photometric == 3:
        return 8, "palette", False
    if photometric not in (0, 1, 2, 6):
        raise ImageError(
            f"{path.name} holds colours of a kind (TIFF photometric {photometric}) that is not "
            "read here; save it as RGB"
        )
    if int(page.sampleformat) != 1 or bits not in (8, 16):
        raise ImageError(
            f"{path.name} has {bits} bits a sample; pictures with whole numbers of 8 or 16 are "
            "taken. Scan in grey or colour, not in black and white"
        )
    plain = 1 if photometric in (0, 1) else 3
    if samples not in (plain, plain + 1):
        raise ImageError(
            f"{path.name} has {samples} channels; grey has 1 and colour has 3, one more may "
            "say what is see-through"
        )
    return bits, "grey" if plain == 1 else "colour", samples > plain


def _refuse_cmyk(path: Path) -> ImageError:
    return ImageError(
        f"{path.name} is in CMYK, the inks of a printing press, in which colours cannot be "
        "measured; export it as RGB with its profile"
    )


def _tag(page: Any, code: int) -> Any:
    tag = page.tags.get(code)
    return None if tag is None else tag.value


def _tiff_profile(page: Any) -> bytes | None:
    """The colour profile; empty, which is a damaged one, where its tag holds something else."""
    held = page.iccprofile
    return held if held is None or isinstance(held, bytes) else b""


def _tiff_dpi(page: Any) -> tuple[float, float] | None:
    unit = int(_tag(page, 296) or 2)
    parts = [_tag(page, code) for code in (282, 283)]
    if unit not in (2, 3) or any(part is None or len(part) != 2 or not part[1] for part in parts):
        return None
    x, y = (float(top) / float(bottom) for top, bottom in parts)
    factor = 2.54 if unit == 3 else 1.0
    return x * factor, y * factor


@contextmanager
def pillow_budget(max_pixels: int) -> Iterator[None]:
    """Let Pillow open pictures up to the budget and refuse the rest: its warnings are errors."""
    before = Image.MAX_IMAGE_PIXELS
    Image.MAX_IMAGE_PIXELS = max_pixels
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            yield
    finally:
        Image.MAX_IMAGE_PIXELS = before


def _pillow(path: Path, media: str, max_pixels: int) -> _Raw:
    try:
        with pillow_budget(max_pixels), Image.open(path, formats=("PNG", "JPEG")) as image:
            if image.mode in ("CMYK", "YCCK"):
                raise _refuse_cmyk(path)
            if getattr(image, "n_frames", 1) > 1 and media == "image/png":
                raise ImageError(
                    f"{path.name} is animated ({image.n_frames} frames); give a single picture"  # type: ignore[attr-defined]
                )
            exif = image.getexif()
            raw = _Raw(
                media,
                image.width,
                image.height,
                _png_bits(path) if media == "image/png" else 8,
                profile=image.info.get("icc_profile"),
                orientation=int(exif.get(0x0112, 1)),
                dpi=_pillow_dpi(image.info.get("dpi")),
                camera=_is_camera(exif),
                device=_device(exif.get(0x010F), exif.get(0x0110)),
            )
            raw.mode, raw.alpha = _pillow_mode(path, image)
            if isinstance(image, JpegImagePlugin.JpegImageFile) and raw.mode == "colour":
                raw.subsampled = JpegImagePlugin.get_sampling(image) != 0
    except (Image.DecompressionBombWarning, Image.DecompressionBombError) as error:
        raise ImageError(
            f"{path.name} would unfold to more than {max_pixels / 1e6:,.0f} megapixels; it is "
            "not opened"
        ) from error
    except UnidentifiedImageError as error:
        raise ImageError(
            f"{path.name} starts like a {word_for(media)} but is damaged; copy or scan it again"
        ) from error
    return raw


def _pillow_mode(path: Path, image: Any) -> tuple[str, bool]:
    mode = str(image.mode)
    if mode == "1":
        raise ImageError(
            f"{path.name} is in black and white only, without tones; scan in grey or colour"
        )
    clear = mode in ("LA", "RGBA", "PA") or "transparency" in image.info
    if mode in ("P", "PA"):
        return "palette", clear
    return ("grey" if mode[0] in "LI" else "colour"), clear


def _png_bits(path: Path) -> int:
    with path.open("rb") as stream:
        return 16 if stream.read(25)[24] == 16 else 8


def _pillow_dpi(dpi: Any) -> tuple[float, float] | None:
    if not isinstance(dpi, tuple) or len(dpi) != 2:
        return None
    x, y = float(dpi[0]), float(dpi[1])
    return (x, y) if x > 0 and y > 0 else None


def _is_camera(exif: Any) -> bool:
    inner = exif.get_ifd(0x8769)
    return any(code in inner for code in _CAMERA_TAGS)


def _heic(path: Path, media: str, max_pixels: int) -> _Raw:
    heif = pi_heif.open_heif(path)
    if len(heif) > 1:
        raise ImageError(f"{path.name} holds {len(heif)} pictures; give a single picture")
    width, height = heif.size
    check_size(path, width, height, max_pixels)
    mode = str(heif.mode)
    profile = heif.info.get("icc_profile")
    return _Raw(
        media,
        width,
        height,
        8,
        "grey" if mode.startswith("L") else "colour",
        mode in ("RGBA", "LA"),
        profile=profile or None,
        camera=True,
    )
