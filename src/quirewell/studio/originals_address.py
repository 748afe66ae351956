"""Where originals may lie: the studio's own folder, a shared folder, a bucket of an S3 store.

An address comes from the owner's own command line or settings file, never from a page. Nothing
else is taken: no other protocol, no chain of protocols, no name or key in the address.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from quirewell.studio.faults import StudioError

HERE = "here"
FILE_SYSTEMS = frozenset({"s3"})  # what is opened through fsspec; tests add "memory"
_SCHEME = re.compile(r"([A-Za-z][A-Za-z0-9+.-]*):(.*)", re.DOTALL)
_BUCKET = re.compile(r"[a-z0-9][a-z0-9.-]{1,61}[a-z0-9]")
_PART = re.compile(r"[A-Za-z0-9_-][A-Za-z0-9._-]*")


@dataclass(frozen=True, slots=True)
class Address:
    """``kind`` is ``here``, ``folder`` or a file system of fsspec; ``path`` what it is called
    there (a folder, or bucket and prefix)."""

    kind: str
    path: str

    @property
    def text(self) -> str:
        """As it is written down."""
        if self.kind in (HERE, "folder"):
            return self.path or HERE
        return f"{self.kind}://{self.path}"


def address(text: str) -> Address:
    """Read what somebody typed: ``here``, a folder, ``file:///folder`` or ``s3://bucket/prefix``.

    Raises:
        StudioError: anything else; says what is taken.
    """
    wanted = text.strip()
    if wanted in (HERE, ""):
        return Address(HERE, "")
    match = _SCHEME.fullmatch(wanted)
    if "::" in wanted or (match and match[1].lower() not in {"file", *FILE_SYSTEMS}):
        raise StudioError(
            f"originals cannot lie at {text!r}; give a folder (also one of a mounted network "
            "share), s3://BUCKET/PREFIX, or here"
        )
    if match is None:
        return _folder(wanted)
    kind, rest = match[1].lower(), match[2]
    if kind == "file":
        return _folder(re.sub(r"^//(localhost(?=/))?", "", rest))
    return Address(kind, _bucket(text, rest))


def _folder(text: str) -> Address:
    place = Path(text).expanduser()
    if "\0" in text or not text:
        raise StudioError(f"{text!r} is not the name of a folder")
    return Address("folder", str(place.absolute()))


def _bucket(text: str, rest: str) -> str:
    bucket, *parts = rest.removeprefix("//").rstrip("/").split("/")
    plain = all(_PART.fullmatch(part) for part in parts)
    if not rest.startswith("//") or not _BUCKET.fullmatch(bucket) or not plain:
        raise StudioError(
            f"{text!r} is not the name of a bucket and a prefix in it; write s3://BUCKET/PREFIX in "
            "plain letters, digits, hyphens, points. A key or password never belongs there: it "
            "comes from the environment or the S3 client's own files"
        )
    return "/".join((bucket, *parts))
