"""Writing a BagIt bag, version 1.0 (RFC 8493): payload, manifests, tag files.

Every file is hashed while it is written, once. The bag is a folder or a zip file that holds it
as its one top folder (section 4 of the RFC). The same names are read back by ``bag_read``.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from quirewell.studio.archive import Writer

BAGIT = "bagit.txt"
BAG_INFO = "bag-info.txt"
MANIFEST = "manifest-sha256.txt"
TAG_MANIFEST = "tagmanifest-sha256.txt"
DECLARATION = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
_ENCODED = {"%": "%25", "\r": "%0D", "\n": "%0A"}


@dataclass(frozen=True, slots=True)
class Kept:
    """One file of a bag: its path from the bag's folder, with ``/``."""

    path: str
    sha256: str
    bytes: int


def encoded(path: str) -> str:
    """A path as a manifest writes it: CR, LF and % in percent form (RFC 8493, 2.1.3).

    >>> encoded("data/100%.txt")
    'data/100%25.txt'
    """
    return re.sub("[%\r\n]", lambda found: _ENCODED[found[0]], path)


def decoded(path: str) -> str:
    """The path that a manifest's line means.

    >>> decoded("data/100%25%0a.txt")
    'data/100%\\n.txt'
    """
    back = {"%25": "%", "%0d": "\r", "%0a": "\n"}
    return re.sub(r"(?i)%25|%0d|%0a", lambda found: back[found[0].lower()], path)


def manifest_lines(entries: Iterable[tuple[str, str]]) -> Iterator[bytes]:
    """The lines of a manifest from (path, hash), sorted by path."""
    for path, digest in sorted(entries):
        yield f"{digest}  {encoded(path)}\n".encode()


class Bag:
    """A bag being written; :meth:`close` writes the tag files, and then it is whole."""

    def __init__(self, writer: Writer, top: str = "") -> None:
        self._writer = writer
        self._top = f"{top}/" if top else ""
        self.payload: list[Kept] = []

    def add_file(self, path: str, source: Path) -> Kept:
        """Copy a file into the payload (``path`` from ``data/``)."""
        return self._keep(path, *self._writer.add_file(f"{self._top}data/{path}", source))

    def add_chunks(self, path: str, chunks: Iterable[bytes]) -> Kept:
        """Write a file of the payload piece by piece."""
        return self._keep(path, *self._writer.add_chunks(f"{self._top}data/{path}", chunks))

    def add_text(self, path: str, text: str) -> Kept:
        """Write a small file of the payload."""
        return self.add_chunks(path, (text.encode(),))

    def close(self, info: Sequence[tuple[str, str]]) -> tuple[Kept, ...]:
        """Write ``bagit.txt``, ``bag-info.txt`` (with Payload-Oxum) and the manifests."""
        total = sum(kept.bytes for kept in self.payload)
        lines = [*info, ("Payload-Oxum", f"{total}.{len(self.payload)}")]
        tags = [
            self._tag(BAGIT, (DECLARATION.encode(),)),
            self._tag(BAG_INFO, (info_line(*line).encode() for line in lines)),
            self._tag(MANIFEST, manifest_lines((one.path, one.sha256) for one in self.payload)),
        ]
        tags.append(self._tag(TAG_MANIFEST, manifest_lines((one.path, one.sha256) for one in tags)))
        return tuple(tags)

    def _keep(self, path: str, sha256: str, size: int) -> Kept:
        kept = Kept(f"data/{path}", sha256, size)
        self.payload.append(kept)
        return kept

    def _tag(self, name: str, chunks: Iterable[bytes]) -> Kept:
        return Kept(name, *self._writer.add_chunks(self._top + name, chunks))


def info_line(label: str, value: str) -> str:
    """One line of ``bag-info.txt``; line ends inside a value become spaces."""
    return f"{label}: {' '.join(value.split())}\n"
