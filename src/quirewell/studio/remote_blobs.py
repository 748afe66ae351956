"""Originals that lie in a store elsewhere, read through copies on this machine.

It does what :class:`~quirewell.studio.blobs.Blobs` does. An original counts only once the store
has it whole and read back; until then an intake is refused, and what was sent is still with the
sender. Copies left in the studio's own folder by a move serve before any fetching.
"""

from __future__ import annotations

import threading
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO, cast

from quirewell.studio.blobs import (
    CHUNK_BYTES,
    MAX_ORIGINAL_BYTES,
    Blobs,
    Staged,
    hash_stream,
    is_sha256,
)
from quirewell.studio.faults import StudioError
from quirewell.studio.originals_cache import Cache
from quirewell.studio.store_faults import store_told
from quirewell.studio.stores import Store, changed


class RemoteBlobs:
    """The originals of one studio in ``store``, with copies in ``cache``."""

    def __init__(self, store: Store, cache: Cache, own: Blobs, folder: Path) -> None:
        self.store = store
        self.cache = cache
        self.folder = folder
        self._own = own
        self._staging = Blobs(cache.folder)
        self._fetching: dict[str, threading.Lock] = defaultdict(threading.Lock)

    def path(self, sha256: str) -> Path:
        """Path of a copy on this machine, fetched and verified when there is none yet.

        It stays for some hours after it was handed out.

        Raises:
            StudioError: not a hash, no such original, or no room for copies.
            StoreFault: it cannot be fetched, or is not what was taken in.
        """
        if (near := self._near(sha256)) is not None:
            return near
        with self._fetching[sha256]:
            if (near := self._near(sha256)) is not None:
                return near
            with self.cache.part() as part:
                self._fetch(sha256, part)
                place = self.cache.adopt(part, sha256, in_use=True)
            if place is None:
                raise StudioError(
                    f"the original {sha256[:12]}… came but could not be kept in "
                    f"{self.cache.folder}; make room on that disk, then do it once more"
                )
            return place

    def place(self, sha256: str) -> Path:
        """Where a copy lies once it is fetched; whether it is, nobody asked."""
        return self.cache.place(self._own.place(sha256).name)

    def near(self, sha256: str) -> bool:
        """Whether a copy of an original is on this machine; nobody asks the store."""
        return is_sha256(sha256) and self._near(sha256) is not None

    @contextmanager
    def held(self, sha256: str) -> Iterator[Path]:
        """Path of a copy that stays while this is open, and takes no room afterwards.

        Raises:
            StudioError: as :meth:`path`.
        """
        if (near := self._near(sha256)) is not None:
            yield near
            return
        with self.cache.part() as part:
            self._fetch(sha256, part)
            yield part

    def chunks(self, sha256: str) -> Iterator[bytes]:
        """The bytes that the store holds, a piece after another, in bounded memory.

        Raises:
            StudioError: not a hash, or no such original.
            StoreFault: it cannot be reached or read.
        """
        with self._read(sha256) as stream:
            while chunk := stream.read(CHUNK_BYTES):
                yield chunk

    def hash(self, sha256: str) -> str:
        """SHA-256 of what the store holds under an original's name, read anew."""
        with self._read(sha256) as stream:
            return hash_stream(stream)[0]

    def has(self, sha256: str) -> bool:
        """Whether the store has the original."""
        return is_sha256(sha256) and self.store.size(sha256) is not None

    def size_bytes(self, sha256: str) -> int:
        """Size of an original in bytes."""
        size = self.store.size(self._own.place(sha256).name)
        if size is None:
            raise self._missing(sha256)
        return size

    def all(self) -> Iterator[str]:
        """Hashes of all originals, sorted."""
        yield from self.store.sizes()

    def sizes(self) -> dict[str, int]:
        """Bytes of each original, by its hash, sorted."""
        return self.store.sizes()

    def put(self, source: Path | str | BinaryIO, max_bytes: int = MAX_ORIGINAL_BYTES) -> str:
        """Keep a file byte for byte; its SHA-256. In the store and read back when this returns.

        Raises:
            TooLarge: more than ``max_bytes``; nothing is kept.
            DiskFull: no room on this machine; nothing is kept.
            StoreFault: the store did not take it; nothing is kept.
        """
        with self.staged(source, max_bytes) as copy:
            return self.keep(copy)

    @contextmanager
    def staged(
        self, source: Path | str | BinaryIO, max_bytes: int = MAX_ORIGINAL_BYTES
    ) -> Iterator[Staged]:
        """A copy on this machine to look at before it is kept; see :meth:`Blobs.staged`."""
        with self._staging.staged(source, max_bytes) as copy:
            yield copy

    def keep(self, copy: Staged) -> str:
        """Put a staged copy into the store; it is there and read back when this returns.

        Raises:
            StoreFault: the store did not take it; nothing is kept.
        """
        self.store.put(copy.path, copy.sha256, copy.bytes)
        with suppress(OSError):
            self.cache.adopt(copy.path, copy.sha256, in_use=False)
        return copy.sha256

    def clear_incoming(self) -> int:
        """Remove unfinished files of this machine whose process is gone; how many."""
        return self._staging.clear_incoming() + self._own.clear_incoming()

    def unfinished(self) -> list[Path]:
        """Files of this machine that were begun and not finished."""
        return self._staging.unfinished()

    def _near(self, sha256: str) -> Path | None:
        own = self._own.place(sha256)
        return own if own.is_file() else self.cache.find(sha256)

    def _fetch(self, sha256: str, part: Path) -> None:
        size = self.size_bytes(sha256)
        with self._read(sha256) as stream:
            if not self.cache.fetch(sha256, stream, size, part):
                raise changed(self.store.place, sha256)

    @contextmanager
    def _read(self, sha256: str) -> Iterator[BinaryIO]:
        name = self._own.place(sha256).name
        try:
            with self.store.opened(name) as stream:
                yield cast("BinaryIO", _Told(stream, self.store.place))
        except FileNotFoundError as error:
            raise self._missing(sha256) from error

    def _missing(self, sha256: str) -> StudioError:
        return StudioError(
            f"the original {sha256[:12]}… is missing from {self.store.place}; restore it from a "
            "backup, then run: quirewell studio check"
        )


class _Told:
    """A stream whose reading is a store's matter: what it raises is said as that of the store,
    and never as a fault of the disk to which the bytes go."""

    def __init__(self, stream: BinaryIO, place: str) -> None:
        self._stream = stream
        self._place = place

    def read(self, size: int = -1) -> bytes:
        with store_told(self._place):
            return self._stream.read(size)
