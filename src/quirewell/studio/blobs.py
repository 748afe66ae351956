"""Originals: every picture byte for byte, named by its SHA-256, never altered.

``originals/ab/<sha256>`` is written to a temporary name in the same file system, hashed while
it is copied, synced, made read-only, renamed, and its folder synced; only then may an event
speak of it. So a crash leaves either a whole original or none.
"""

from __future__ import annotations

import hashlib
import os
import re
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from quirewell.studio.durable import is_being_written, writing_now, written
from quirewell.studio.durable import sync_folder as sync_folder
from quirewell.studio.faults import StudioError, disk_full_said

CHUNK_BYTES = 1 << 20
MAX_ORIGINAL_BYTES = 2 << 30
_SHA256 = re.compile(r"[0-9a-f]{64}")
_PART = re.compile(r"(\d+)-[0-9a-f]+\.part")


class TooLarge(StudioError):
    """A file above the byte cap; reading stopped there and nothing was kept."""


def is_sha256(text: str) -> bool:
    """Whether the text is a SHA-256 in lower-case hexadecimal."""
    return _SHA256.fullmatch(text) is not None


def hash_file(path: Path) -> str:
    """SHA-256 of a file, in hexadecimal."""
    with path.open("rb") as source:
        return hash_stream(source)[0]


def hash_stream(source: BinaryIO) -> tuple[str, int]:
    """(SHA-256 in hexadecimal, bytes) of what is left of a stream."""
    digest, size = hashlib.sha256(), 0
    while chunk := source.read(CHUNK_BYTES):
        digest.update(chunk)
        size += len(chunk)
    return digest.hexdigest(), size


@dataclass(frozen=True, slots=True)
class Staged:
    """A whole copy, hashed and on the disk, that is not yet an original."""

    path: Path
    sha256: str
    bytes: int


class Blobs:
    """The content-addressed originals of one studio."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._incoming = folder / ".incoming"

    def path(self, sha256: str) -> Path:
        """Path of an original.

        Raises:
            StudioError: not a hash, or no such original.
        """
        place = self._place(sha256)
        if not place.is_file():
            raise StudioError(
                f"the original {sha256[:12]}… is missing from {self.folder}; "
                "restore it from a backup, then run: quirewell studio check"
            )
        return place

    def has(self, sha256: str) -> bool:
        """Whether the original is here."""
        return is_sha256(sha256) and self._place(sha256).is_file()

    def size_bytes(self, sha256: str) -> int:
        """Size of an original in bytes."""
        return self.path(sha256).stat().st_size

    def place(self, sha256: str) -> Path:
        """Where an original lies once it is here; whether it is, nobody asked."""
        return self._place(sha256)

    def near(self, sha256: str) -> bool:
        """Whether an original is on this machine."""
        return self.has(sha256)

    @contextmanager
    def held(self, sha256: str) -> Iterator[Path]:
        """Path of an original that stays while this is open.

        Raises:
            StudioError: not a hash, or no such original.
        """
        yield self.path(sha256)

    def chunks(self, sha256: str) -> Iterator[bytes]:
        """The bytes of an original, a piece after another.

        Raises:
            StudioError: not a hash, or no such original.
        """
        with self.path(sha256).open("rb") as stream:
            while chunk := stream.read(CHUNK_BYTES):
                yield chunk

    def hash(self, sha256: str) -> str:
        """SHA-256 of what lies under an original's name."""
        return hash_file(self.path(sha256))

    def sizes(self) -> dict[str, int]:
        """Bytes of each original, by its hash, sorted."""
        return {name: self._place(name).stat().st_size for name in self.all()}

    def all(self) -> Iterator[str]:
        """Hashes of all originals, sorted."""
        for place in sorted(self.folder.glob("??/*")):
            if is_sha256(place.name):
                yield place.name

    def put(self, source: Path | str | BinaryIO, max_bytes: int = MAX_ORIGINAL_BYTES) -> str:
        """Keep a file byte for byte; its SHA-256. Durable when this returns.

        Raises:
            TooLarge: more than ``max_bytes``; nothing is kept.
            DiskFull: no room; nothing is kept.
        """
        with self.staged(source, max_bytes) as copy:
            return self.keep(copy)

    @contextmanager
    def staged(
        self, source: Path | str | BinaryIO, max_bytes: int = MAX_ORIGINAL_BYTES
    ) -> Iterator[Staged]:
        """A copy to look at before it is kept; gone afterwards unless :meth:`keep` took it.

        Raises:
            TooLarge: more than ``max_bytes``.
            DiskFull: no room.
        """
        if isinstance(source, (str, Path)):
            with Path(source).open("rb") as stream, self.staged(stream, max_bytes) as copy:
                yield copy
            return
        part = self._incoming / f"{os.getpid()}-{secrets.token_hex(8)}.part"
        try:
            writing_now(part)
            with disk_full_said(self.folder):
                self._incoming.mkdir(parents=True, exist_ok=True)
                sha256, size = _copy_hashed(source, part, max_bytes)
            yield Staged(part, sha256, size)
        finally:
            written(part)

    def keep(self, copy: Staged) -> str:
        """Make a staged copy an original; durable when this returns.

        Raises:
            DiskFull: no room; nothing is kept.
        """
        place = self._place(copy.sha256)
        with disk_full_said(self.folder):
            if not (place.is_file() and place.stat().st_size == copy.bytes):
                copy.path.chmod(0o444)
                place.parent.mkdir(exist_ok=True)
                copy.path.replace(place)
            # Also where it is here already: whoever named it may have died before these.
            sync_folder(place.parent)
            sync_folder(self.folder)
        return copy.sha256

    def clear_incoming(self) -> int:
        """Remove unfinished copies whose process is gone; how many."""
        gone = 0
        for part in self.unfinished():
            match = _PART.fullmatch(part.name)
            if match is None or not is_being_written(part, int(match[1])):
                part.unlink(missing_ok=True)
                gone += 1
        return gone

    def unfinished(self) -> list[Path]:
        """Copies that were begun and not finished."""
        return sorted(self._incoming.glob("*.part")) if self._incoming.is_dir() else []

    def _place(self, sha256: str) -> Path:
        if not is_sha256(sha256):
            raise StudioError(f"{sha256!r} is not the name of an original (64 hexadecimal digits)")
        return self.folder / sha256[:2] / sha256


def _copy_hashed(source: BinaryIO, target: Path, max_bytes: int) -> tuple[str, int]:
    digest = hashlib.sha256()
    size = 0
    with target.open("xb") as out:
        while chunk := source.read(CHUNK_BYTES):
            size += len(chunk)
            if size > max_bytes:
                raise TooLarge(
                    f"the file is larger than {max_bytes / 1e6:.0f} MB, which is the most that "
                    "is taken; save the picture as an 8-bit TIFF, PNG or JPEG of one page"
                )
            digest.update(chunk)
            out.write(chunk)
        out.flush()
        os.fsync(out.fileno())
    return digest.hexdigest(), size
