"""Copies on this machine of originals that lie elsewhere: verified, few, never gone while in use.

``derived/originals-cache/ab/<sha256>`` is written to a temporary name, hashed and synced before it
gets its name. The copies together stay below a number of bytes: those used longest ago go first,
those handed out within the last hours never do. All of it can be deleted; it is fetched again.
"""

from __future__ import annotations

import os
import secrets
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from quirewell.studio.archive import ArchiveError, pour
from quirewell.studio.blobs import is_sha256
from quirewell.studio.durable import writing_now, written
from quirewell.studio.faults import StudioError, disk_full_said
from quirewell.studio.locks import locked

IN_USE_S = 6 * 3600.0  # as long as a batch of work may wait with the path of a copy in hand
INCOMING = ".incoming"


class CacheFull(StudioError):
    """The copies on this machine fill their room and all are in use."""


@dataclass(frozen=True, slots=True)
class _Copy:
    path: Path
    bytes: int
    used: float


class Cache:
    """The copies of one studio on one machine, together at most ``most_bytes``."""

    def __init__(self, folder: Path, most_bytes: int, in_use_s: float = IN_USE_S) -> None:
        self.folder = folder
        self.most_bytes = most_bytes
        self._in_use_s = in_use_s
        self._guard = threading.Lock()
        self._coming: dict[str, int] = {}

    @property
    def incoming(self) -> Path:
        """Folder of what is not a copy yet."""
        return self.folder / INCOMING

    def find(self, sha256: str) -> Path | None:
        """A copy that is here, now in use; None when it must be fetched."""
        place = self.place(sha256)
        with locked(self.folder, shared=True):
            try:
                os.utime(place)
            except FileNotFoundError:
                return None
        return place

    def place(self, sha256: str) -> Path:
        """Where a copy lies once it is here."""
        return self.folder / sha256[:2] / sha256

    @contextmanager
    def part(self) -> Iterator[Path]:
        """A new temporary name, in which its process stands; what is left of it goes afterwards."""
        self.incoming.mkdir(parents=True, exist_ok=True)
        part = self.incoming / f"{os.getpid()}-{secrets.token_hex(8)}.part"
        writing_now(part)
        try:
            yield part
        finally:
            written(part)

    def fetch(self, sha256: str, stream: BinaryIO, size: int, part: Path) -> bool:
        """Write a stream to ``part``, durable; whether its bytes are those of the hash.

        Raises:
            CacheFull: everything that could make room is in use.
            DiskFull: no room on the disk of this machine.
        """
        with self._reserved(sha256, size), disk_full_said(self.folder), part.open("xb") as out:
            try:
                found, _ = pour(stream, out, size)
            except ArchiveError:
                return False  # More came than the store said there is.
            out.flush()
            os.fsync(out.fileno())
        return found == sha256

    def adopt(self, part: Path, sha256: str, in_use: bool) -> Path | None:
        """Give a whole, hashed file its name as a copy; None when there is no room for it."""
        place = self.place(sha256)
        try:
            with self._reserved(sha256, part.stat().st_size):
                part.chmod(0o444)
                place.parent.mkdir(parents=True, exist_ok=True)
                now = time.time()
                used = now if in_use else now - self._in_use_s - 1
                os.utime(part, (used, used))
                part.replace(place)
        except (CacheFull, OSError):
            return None
        return place

    def copies(self) -> list[tuple[str, int]]:
        """(hash, bytes) of each copy here."""
        return [(one.path.name, one.bytes) for one in self._copies()]

    @contextmanager
    def _reserved(self, sha256: str, size: int) -> Iterator[None]:
        """Room for one more copy, made by letting go of those used longest ago."""
        with self._guard:
            self._make_room(size)
            self._coming[sha256] = size
        try:
            yield
        finally:
            with self._guard:
                self._coming.pop(sha256, None)

    def _make_room(self, size: int) -> None:
        with locked(self.folder):
            copies = sorted(self._copies(), key=lambda one: one.used)
            over = sum(one.bytes for one in copies) + sum(self._coming.values()) + size
            over -= self.most_bytes
            for one in copies:
                if over <= 0:
                    return
                if time.time() - one.used > self._in_use_s:
                    with suppress(FileNotFoundError):
                        one.path.unlink()
                    over -= one.bytes
        if over > 0:
            raise CacheFull(
                f"the room for copies of originals on this machine ({self.most_bytes / 1e9:.3g} GB "
                f"in {self.folder}) is full of pictures in use; let the work under way end, or "
                "give more room with cache_gb under [originals] in the studio's studio.toml"
            )

    def _copies(self) -> list[_Copy]:
        found = []
        for place in self.folder.glob("??/*"):
            if is_sha256(place.name):
                with suppress(FileNotFoundError):
                    told = place.stat()
                    found.append(_Copy(place, told.st_size, told.st_mtime))
        return found
