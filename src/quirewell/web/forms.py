"""Forms: what a page sends, as plain text by name, and files streamed to disk."""

from __future__ import annotations

from collections.abc import AsyncGenerator
from dataclasses import dataclass

from python_multipart.multipart import parse_options_header
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.formparsers import FormParser, MultiPartException, MultiPartParser
from starlette.requests import Request

FORM_BYTES = 256 * 1024
UPLOAD_BYTES = 2 * 1024**3
UPLOAD_FILES = 250
_TAIL = 512


@dataclass(frozen=True, slots=True)
class Sent:
    """A form as sent: text by name (several values joined by a space), and its files."""

    texts: dict[str, str]
    files: tuple[UploadFile, ...] = ()

    def get(self, name: str, otherwise: str = "") -> str:
        return self.texts.get(name, otherwise)


async def _capped(request: Request, most: int, end: bytes = b"") -> AsyncGenerator[bytes, None]:
    """The body, counted while it is read: a stated length is not trusted, nor is a body of parts
    without the ``end`` it must have, since half a form would be saved for a whole one."""
    seen, tail = 0, b""
    async for chunk in request.stream():
        seen += len(chunk)
        if seen > most:
            raise HTTPException(
                413,
                f"What was sent is larger than {_size(most)}, so it was not taken in. "
                "Send fewer files at a time, or smaller ones.",
            )
        tail = (tail + chunk[-_TAIL:])[-_TAIL:]
        yield chunk
    if end and end not in tail:
        raise MultiPartException("it ends before its end")


def _end_of(kind: str) -> bytes:
    """What the last line of a body of parts is (RFC 2046, 5.1.1)."""
    _, options = parse_options_header(kind)
    return b"--" + options.get(b"boundary", b"") + b"--"


def _size(count: int) -> str:
    return f"{count >> 30} GB" if count >= 1 << 30 else f"{count >> 10} kB"


async def read_form(request: Request, *, most: int = FORM_BYTES, files: int = 0) -> Sent:
    """The form of a request: at most ``most`` [bytes] and ``files`` [-] files.

    Raises:
        HTTPException: 400 for a body that is no form, 413 for one that is too large.
    """
    kind = request.headers.get("content-type", "").split(";")[0].strip().lower()
    form: FormData
    try:
        if kind == "multipart/form-data":
            form = await MultiPartParser(
                request.headers,
                _capped(request, most, _end_of(request.headers["content-type"])),
                max_files=files,
                max_fields=200,
            ).parse()
        elif kind == "application/x-www-form-urlencoded":
            form = await FormParser(request.headers, _capped(request, most)).parse()
        else:
            raise HTTPException(400, "This address takes a form; nothing was saved.")
    except (MultiPartException, KeyError, UnicodeDecodeError) as error:
        raise HTTPException(
            400, "The form did not arrive whole, so nothing was saved. Send it again."
        ) from error
    return _sorted(form)


def _sorted(form: FormData) -> Sent:
    texts: dict[str, str] = {}
    files: list[UploadFile] = []
    for name, value in form.multi_items():
        if isinstance(value, UploadFile):
            if value.filename:
                files.append(value)
            continue
        text = value.strip()
        texts[name] = (
            f"{texts[name]} {text}" if texts.get(name) and text else (texts.get(name) or text)
        )
    return Sent(texts, tuple(files))
