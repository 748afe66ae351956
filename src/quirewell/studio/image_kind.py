"""Kind and size of a picture file, before any reader of its format is let near it."""

from __future__ import annotations

import struct
from pathlib import Path

MAX_PIXELS = 250_000_000
MAX_FILE_BYTES = 3_000_000_000
MIN_SIDE_PX = 16

RAW = "image/x-raw"
# Raw files that do not begin as a TIFF does; those that do are told by their tags.
_RAW_MAGICS = (b"IIRO", b"IIRS", b"MMOR", b"IIU\0")

_OTHER_KINDS = (
    (b"GIF8", "a GIF, which holds at most 256 colours"),
    (b"BM", "a Windows bitmap"),
    (b"%PDF", "a PDF"),
    (b"8BPS", "a layered picture of an editing program"),
    (b"\x00\x00\x00\x0cjP", "a JPEG 2000 picture"),
    (b"\xffO\xffQ", "a JPEG 2000 stream"),
    (b"PK", "a ZIP archive"),
    (b"<", "a text in angle brackets (a web page or a drawing)"),
)


class ImageError(ValueError):
    """A file that cannot be used as a picture; the message is a sentence that says why."""


def find_media(path: Path, max_bytes: int = MAX_FILE_BYTES) -> str:
    """The media type of a picture file, from its first bytes.

    Raises
    ------
    ImageError
        when the file is missing, empty, too large, or no TIFF, PNG, JPEG, HEIC or raw picture
    """
    try:
        size = path.stat().st_size
        with path.open("rb") as stream:
            head = stream.read(64)
    except OSError as error:
        raise ImageError(
            f"{path.name} cannot be opened: {error.strerror or error}; check the name and that "
            "it is a file"
        ) from error
    if size == 0:
        raise ImageError(f"{path.name} is empty (0 bytes); copy or scan it again")
    if size > max_bytes:
        raise ImageError(
            f"{path.name} has {size / 1e9:.1f} GB; pictures up to "
            f"{max_bytes / 1e9:.1f} GB are taken"
        )
    media = _media(head)
    if media is None:
        raise ImageError(
            f"{path.name} is {_kind(head)}; give a TIFF, PNG, JPEG or HEIC picture, or a camera's "
            "raw file"
        )
    return media


def _media(head: bytes) -> str | None:
    if head[:4] in _RAW_MAGICS or (head[:4] == b"II*\0" and head[8:10] == b"CR"):
        return RAW
    if head[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return "image/tiff"
    if head[:3] == b"\xff\xd8\xff":
        return "image/jpeg"
    if head[:8] == b"\x89PNG\r\n\x1a\n":
        return "image/png"
    if head[4:8] == b"ftyp" and _heif_brands(head) & {b"heic", b"heix", b"heim", b"heis"}:
        return "image/heic"
    return RAW if head[4:12] == b"ftypcrx " else None


def _heif_brands(head: bytes) -> set[bytes]:
    end = min(struct.unpack(">I", head[:4])[0], len(head))
    return {head[8:12], *(head[at : at + 4] for at in range(16, end - 3, 4))}


def _kind(head: bytes) -> str:
    if head[4:8] == b"ftyp":
        return "a film or a picture in a container this program does not read"
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "a WebP picture"
    for magic, words in _OTHER_KINDS:
        if head.startswith(magic):
            return words
    return "not a picture that is known here"


def word_for(media: str) -> str:
    """The kind of a picture in a word.

    >>> word_for("image/tiff"), word_for(RAW)
    ('TIFF', 'camera raw')
    """
    return "camera raw" if media == RAW else media.split("/")[1].upper()


def check_size(path: Path, width: int, height: int, max_pixels: int) -> None:
    """Hold a picture's size against the budget.

    Raises
    ------
    ImageError
        when it is too large, or too small to measure anything on
    """
    if width * height > max_pixels:
        raise ImageError(
            f"{path.name} is {width} x {height} pixels ({width * height / 1e6:,.0f} megapixels); "
            f"up to {max_pixels / 1e6:,.0f} megapixels are taken. An A4 page at 600 dpi has 35: "
            "was the scan saved at the wrong resolution?"
        )
    if min(width, height) < MIN_SIDE_PX:
        raise ImageError(
            f"{path.name} is {width} x {height} pixels, too small to hold a leaf; each side must "
            f"have at least {MIN_SIDE_PX}"
        )
