"""The originals of a studio, wherever they lie: in its folder, on a share, or in an S3 store.

Where is said in ``studio.toml`` (:mod:`quirewell.studio.where`) and looked up at every call, so a
running server follows a move at once. A move takes the lock of the originals' folder alone at its
end, an intake takes it with others: no original can slip between the two places.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from quirewell.studio import where
from quirewell.studio.blobs import MAX_ORIGINAL_BYTES, Blobs, Staged
from quirewell.studio.faults import StudioError
from quirewell.studio.locks import locked
from quirewell.studio.object_store import ObjectStore
from quirewell.studio.originals_address import HERE, Address, address
from quirewell.studio.originals_cache import Cache
from quirewell.studio.remote_blobs import RemoteBlobs
from quirewell.studio.stores import FolderStore, Store

TABLE = "originals"
CACHE = "originals-cache"
CACHE_GB = 20.0


def store_at(place: Address) -> Store:
    """The store at an address that is not ``here``."""
    return (
        FolderStore(Path(place.path))
        if place.kind == "folder"
        else ObjectStore(place.kind, place.path)
    )


class Originals:
    """What :class:`Blobs` and :class:`RemoteBlobs` do, in the place that holds at the moment."""

    def __init__(self, studio: Path) -> None:
        self.studio = studio
        self.own = Blobs(studio / "originals")
        self._guard = threading.Lock()
        self._mark: tuple[int, int, int] | None = None
        self._address = Address(HERE, "")
        self._blobs: Blobs | RemoteBlobs = self.own

    @property
    def address(self) -> Address:
        """Where the originals lie now.

        Raises:
            StudioError: ``studio.toml`` is damaged or names a place that is none.
        """
        self.now()
        return self._address

    @property
    def folder(self) -> Path:
        """The folder in which nothing but originals may lie."""
        return self.now().folder

    @property
    def cache_folder(self) -> Path:
        """Where copies of originals that lie elsewhere are kept on this machine."""
        return self.studio / "derived" / CACHE

    def now(self) -> Blobs | RemoteBlobs:
        """The place itself, as ``studio.toml`` says now."""
        with self._guard:
            mark = where.mark(self.studio)
            if mark != self._mark:
                said = where.table(self.studio, TABLE)
                self._address = address(str(said.get("at", HERE)))
                self._blobs = self.at(self._address, said.get("cache_gb", CACHE_GB))
                self._mark = mark
            return self._blobs

    def at(self, place: Address, cache_gb: object = CACHE_GB) -> Blobs | RemoteBlobs:
        """The originals as they are (or would be) at an address.

        Raises:
            StudioError: ``cache_gb`` is no number of gigabytes.
        """
        if place.kind == HERE:
            return self.own
        if isinstance(cache_gb, bool) or not isinstance(cache_gb, (int, float)) or cache_gb <= 0:
            raise StudioError(
                f"cache_gb in {self.studio / where.WHERE} is {cache_gb!r}; write a number of "
                "gigabytes above nought"
            )
        cache = Cache(self.cache_folder, int(cache_gb * 1e9))
        folder = Path(place.path) if place.kind == "folder" else self.own.folder
        return RemoteBlobs(store_at(place), cache, self.own, folder)

    @contextmanager
    def switching(self) -> Iterator[None]:
        """Nobody on this machine keeps an original while this is open."""
        with locked(self.own.folder):
            yield

    def path(self, sha256: str) -> Path:
        """Path of an original on this machine, fetched when it lies elsewhere.

        Raises:
            StudioError: not a hash, no such original, or it cannot be fetched.
        """
        return self.now().path(sha256)

    def place(self, sha256: str) -> Path:
        """Where an original (or its copy) lies once it is on this machine; nothing is fetched."""
        return self.now().place(sha256)

    def near(self, sha256: str) -> bool:
        """Whether an original, or a copy of it, is on this machine."""
        return self.now().near(sha256)

    @contextmanager
    def held(self, sha256: str) -> Iterator[Path]:
        """Path of an original while this is open; takes no room afterwards.

        Raises:
            StudioError: as :meth:`path`.
        """
        with self.now().held(sha256) as place:
            yield place

    def chunks(self, sha256: str) -> Iterator[bytes]:
        """The bytes of an original as they lie in their place, a piece after another.

        Raises:
            StudioError: as :meth:`path`.
        """
        return self.now().chunks(sha256)

    def hash(self, sha256: str) -> str:
        """SHA-256 of what lies in the place under an original's name, read anew."""
        return self.now().hash(sha256)

    def has(self, sha256: str) -> bool:
        """Whether the original is in its place."""
        return self.now().has(sha256)

    def size_bytes(self, sha256: str) -> int:
        """Size of an original in bytes."""
        return self.now().size_bytes(sha256)

    def all(self) -> Iterator[str]:
        """Hashes of all originals, sorted."""
        return self.now().all()

    def sizes(self) -> dict[str, int]:
        """Bytes of each original, by its hash, sorted."""
        return self.now().sizes()

    def put(self, source: Path | str | BinaryIO, max_bytes: int = MAX_ORIGINAL_BYTES) -> str:
        """Keep a file byte for byte; its SHA-256. Durable in its place when this returns.

        Raises:
            TooLarge: more than ``max_bytes``; nothing is kept.
            DiskFull: no room; nothing is kept.
            StoreFault: the place elsewhere did not take it; nothing is kept.
        """
        with self.staged(source, max_bytes) as copy:
            return self.keep(copy)

    @contextmanager
    def staged(
        self, source: Path | str | BinaryIO, max_bytes: int = MAX_ORIGINAL_BYTES
    ) -> Iterator[Staged]:
        """A copy on this machine to look at before it is kept; gone afterwards unless
        :meth:`keep` took it.

        Raises:
            TooLarge: more than ``max_bytes``.
            DiskFull: no room.
        """
        with self.now().staged(source, max_bytes) as copy:
            yield copy

    def keep(self, copy: Staged) -> str:
        """Make a staged copy an original; durable in its place when this returns.

        Raises:
            DiskFull: no room; nothing is kept.
            StoreFault: the place elsewhere did not take it; nothing is kept.
        """
        with locked(self.own.folder, shared=True):
            return self.now().keep(copy)

    def clear_incoming(self) -> int:
        """Remove unfinished files on this machine whose process is gone; how many."""
        return self.now().clear_incoming()

    def unfinished(self) -> list[Path]:
        """Files on this machine that were begun and not finished."""
        return self.now().unfinished()
