"""Where originals lie when not in the studio's folder: what such a store does, and a folder as one.

An object gets its name only after what was written under a temporary name was read back and
hashed; an object with a name is never written again. A store carries a marker, a small text, by
which a share that is not mounted (an empty folder) or another bucket is told apart.
"""

from __future__ import annotations

import os
import re
import secrets
import socket
import time
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from pathlib import Path
from typing import BinaryIO, Protocol

from quirewell.studio.blobs import CHUNK_BYTES, hash_stream, is_sha256
from quirewell.studio.durable import sync_folder
from quirewell.studio.faults import StudioError
from quirewell.studio.store_faults import StoreAway, StoreChanged, store_told

MARKER = "quirewell-originals.txt"
MARKER_TEXT = (
    "Originals of a quirewell studio lie here, each under its SHA-256. They are never changed; "
    "leave them, and this file, as they are.\n"
)
INCOMING = ".incoming"
_PART = re.compile(r"[A-Za-z0-9._-]+\.part")


class Store(Protocol):
    """Objects by their SHA-256, written once."""

    place: str

    def prepare(self) -> None:
        """Make the place ready for originals, or refuse it.

        Raises:
            StudioError: it holds something else.
            StoreFault: it cannot be reached or written.
        """

    def opened(self, sha256: str) -> AbstractContextManager[BinaryIO]:
        """An object to read, in pieces.

        Raises:
            FileNotFoundError: no such object.
            StoreFault: it cannot be reached or read.
        """

    def size(self, sha256: str) -> int | None:
        """Bytes of an object; None where there is none."""

    def sizes(self) -> dict[str, int]:
        """Bytes of each object, by its hash."""

    def put(self, source: Path, sha256: str, size: int) -> None:
        """Keep a file that has this hash; durable and read back when this returns.

        Raises:
            StoreFault: nothing was kept; says why.
        """

    def unfinished(self) -> dict[str, float]:
        """Age [s] of each object that was begun and not finished."""

    def discard(self, name: str) -> None:
        """Remove one of :meth:`unfinished`."""


def part_name() -> str:
    """A name for something unfinished: machine, process, chance."""
    host = re.sub(r"[^A-Za-z0-9-]", "-", socket.gethostname())[:40]
    return f"{host}-{os.getpid()}-{secrets.token_hex(8)}.part"


def clear_unfinished(store: Store, older_than_s: float) -> int:
    """Remove what was begun so long ago that nobody is at it any more; how many."""
    old = [name for name, age_s in store.unfinished().items() if age_s > older_than_s]
    for name in old:
        store.discard(name)
    return len(old)


def there_already(store: Store, sha256: str) -> bool:
    """Whether the object is there and is what its name says.

    Raises:
        StoreChanged: something else lies under its name; it is not overwritten.
    """
    if store.size(sha256) is None:
        return False
    with store.opened(sha256) as stream:
        if hash_stream(stream)[0] == sha256:
            return True
    raise changed(store.place, sha256)


def changed(place: str, sha256: str) -> StoreChanged:
    """The fault of an object that is not what its name says."""
    return StoreChanged(
        f"what {place} holds as the original {sha256[:12]}… is not the file that was taken in; "
        "move that object away there, put the file back from a backup, then run: quirewell studio "
        "check"
    )


def not_as_sent(place: str) -> StoreChanged:
    """The fault of an upload that reads back differently."""
    return StoreChanged(
        f"what {place} took does not read back as it was sent, so it was thrown away and nothing "
        "was kept; do it once more, and look at the network and that disk if it happens again"
    )


def not_here(place: str) -> StoreAway:
    """The fault of a place without its marker."""
    return StoreAway(
        f"{place} does not look like the place of the originals just now: {MARKER} is missing "
        "there. Mount the share or look at the name of the bucket, then do it once more. Nothing "
        "is lost"
    )


class FolderStore:
    """A folder of a shared disk (a mounted NFS or SMB share, or another disk of this machine)."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.place = str(folder)

    def prepare(self) -> None:
        """See :meth:`Store.prepare`."""
        with store_told(self.place):
            if not self.folder.parent.is_dir():
                raise StudioError(f"there is no folder {self.folder.parent}; make it first")
            self.folder.mkdir(exist_ok=True)
            if (self.folder / MARKER).is_file():
                return
            if any(self.folder.iterdir()):
                raise StudioError(
                    f"{self.folder} holds something already; give a new or empty folder"
                )
            with (self.folder / MARKER).open("xb") as out:
                out.write(MARKER_TEXT.encode())
                out.flush()
                os.fsync(out.fileno())
            sync_folder(self.folder)

    @contextmanager
    def opened(self, sha256: str) -> Iterator[BinaryIO]:
        """See :meth:`Store.opened`."""
        with store_told(self.place):
            try:
                stream = self._at(sha256).open("rb")
            except FileNotFoundError:
                self._look()
                raise
            with stream:
                yield stream

    def size(self, sha256: str) -> int | None:
        """See :meth:`Store.size`."""
        with store_told(self.place):
            try:
                return self._at(sha256).stat().st_size
            except FileNotFoundError:
                self._look()
                return None

    def sizes(self) -> dict[str, int]:
        """See :meth:`Store.sizes`."""
        with store_told(self.place):
            self._look()
            found = sorted(self.folder.glob("??/*"))
            return {place.name: place.stat().st_size for place in found if is_sha256(place.name)}

    def put(self, source: Path, sha256: str, size: int) -> None:
        """See :meth:`Store.put`."""
        with store_told(self.place):
            self._look()
            if there_already(self, sha256):
                # Whoever named it may have died before these.
                sync_folder(self._at(sha256).parent)
                sync_folder(self.folder)
                return
            part = self.folder / INCOMING / part_name()
            try:
                part.parent.mkdir(exist_ok=True)
                _write_through(source, part)
                with part.open("rb") as stream:
                    if hash_stream(stream) != (sha256, size):
                        raise not_as_sent(self.place)
                self._name(part, sha256)
                if self._at(sha256).stat().st_size != size:
                    raise not_as_sent(self.place)
            finally:
                with suppress(OSError):
                    part.unlink(missing_ok=True)

    def _name(self, part: Path, sha256: str) -> None:
        with suppress(PermissionError, NotImplementedError):
            part.chmod(0o444)  # A share without modes keeps its own.
        target = self._at(sha256)
        target.parent.mkdir(exist_ok=True)
        part.replace(target)
        sync_folder(target.parent)
        sync_folder(self.folder)

    def unfinished(self) -> dict[str, float]:
        """See :meth:`Store.unfinished`."""
        with store_told(self.place):
            found = (self.folder / INCOMING).glob("*.part")
            return {part.name: time.time() - part.stat().st_mtime for part in found}

    def discard(self, name: str) -> None:
        """See :meth:`Store.discard`."""
        if _PART.fullmatch(name):
            with store_told(self.place):
                (self.folder / INCOMING / name).unlink(missing_ok=True)

    def _look(self) -> None:
        if not (self.folder / MARKER).is_file():
            raise not_here(self.place)

    def _at(self, sha256: str) -> Path:
        return self.folder / sha256[:2] / sha256


def _write_through(source: Path, target: Path) -> None:
    """Copy to the disk itself, and ask that it be read from there again and not from memory."""
    with source.open("rb") as stream, target.open("xb") as out:
        while chunk := stream.read(CHUNK_BYTES):
            out.write(chunk)
        out.flush()
        os.fsync(out.fileno())
        os.posix_fadvise(out.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
