"""Originals into the pool of a backup place, and read again to see whether they still stand."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

from quirewell.studio.blobs import CHUNK_BYTES
from quirewell.studio.clock import Clock, instant_text
from quirewell.studio.faults import StudioError
from quirewell.studio.keep_place import Place, Pooled, part_of, said_of, settle
from quirewell.studio.originals import Originals
from quirewell.studio.store_faults import StoreChanged, StoreFault

# Each backup reads a share of the pool again, the longest unread first, and whatever is older: so
# that all of it is read within a month where backups are made as they should be.
SHARES = 25
OVERDUE = timedelta(days=25)
TODAY = timedelta(hours=12)


class SourceBad(StudioError):
    """The studio's own original cannot be read, or is not what was taken in."""


def hash_from_disk(path: Path) -> tuple[str, int]:
    """(SHA-256, bytes) of a file, read from the disk: the system's own copy in memory of what was
    just written is let go first, where the system can."""
    digest, size = hashlib.sha256(), 0
    with path.open("rb") as source:
        if hasattr(os, "posix_fadvise"):
            os.posix_fadvise(source.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
        while chunk := source.read(CHUNK_BYTES):
            digest.update(chunk)
            size += len(chunk)
    return digest.hexdigest(), size


def copy_durably(source: Path, target: Path) -> tuple[str, int]:
    """Copy a file to a new name and sync it; its (SHA-256, bytes)."""
    with source.open("rb") as stream:
        return _write_durably(iter(lambda: stream.read(CHUNK_BYTES), b""), target)


def _write_durably(chunks: Iterable[bytes], target: Path) -> tuple[str, int]:
    digest, size = hashlib.sha256(), 0
    with target.open("xb") as out:
        for chunk in chunks:
            digest.update(chunk)
            size += len(chunk)
            out.write(chunk)
        out.flush()
        os.fsync(out.fileno())
    return digest.hexdigest(), size


def _from_studio(blobs: Originals, name: str) -> Iterator[bytes]:
    """The studio's own original, a piece after another."""
    try:
        yield from blobs.chunks(name)
    except StoreFault as error:
        if not isinstance(error, StoreChanged):
            raise  # away or shut: nothing is known of the original, so the run ends here
        raise SourceBad(str(error)) from error
    except (StudioError, OSError) as error:
        raise SourceBad(
            f"the original {name[:12]}… cannot be read where the studio keeps it"
        ) from error


def put_in(place: Place, blobs: Originals, name: str) -> int:
    """Bring an original into the pool, read back from the disk; its bytes.

    One that is there already (a backup was cut short, or the list was lost) is read and kept.

    Raises:
        SourceBad: the studio's own file is not what was taken in.
        StudioError: it does not read back as it was written.
    """
    target = place.pooled(name)
    if target.is_file():
        found, size = hash_from_disk(target)
        if found == name:
            return size
    return _write(place, blobs, name)


def _write(place: Place, blobs: Originals, name: str) -> int:
    target = place.pooled(name)
    part = part_of(target)
    with said_of(place.folder):
        if not target.parent.is_dir():
            target.parent.mkdir()
            settle(target.parent.parent)
        try:
            found, size = _write_durably(_from_studio(blobs, name), part)
            if found != name:
                raise SourceBad(
                    f"the original {name[:12]}… is no longer the file that was taken in"
                )
            part.chmod(0o444)
            if hash_from_disk(part) != (name, size):
                raise StudioError(
                    f"what was written to {place.folder} does not read back as it was written; "
                    "that disk cannot be trusted. Try another"
                )
            part.replace(target)
            settle(target.parent)
        finally:
            part.unlink(missing_ok=True)
    return size


@dataclass(slots=True)
class ReadAgain:
    """What was read again in the pool, and what was found."""

    files: int = 0
    bytes: int = 0
    repaired: list[str] = field(default_factory=list)
    lost: list[str] = field(default_factory=list)

    def words(self, pool: dict[str, Pooled]) -> str:
        """In one sentence, with the day of the one that waits longest."""
        oldest = min((one.read_at for one in pool.values()), default="")
        since = f"; none was last read before {oldest[:10]}" if oldest else ""
        if not self.files:
            return f"no original was due to be read again{since}"
        return f"{self.files} of {len(pool)} originals were read again{since}"


def share_of(pool: dict[str, Pooled], at: datetime, whole: bool = False) -> list[str]:
    """Names to be read again now: those overdue, and the next share of the bytes."""
    waiting = sorted(pool, key=lambda name: (pool[name].read_at, name))
    if whole:
        return waiting
    total, taken, out = sum(one.bytes for one in pool.values()), 0, []
    for name in waiting:
        age = at - datetime.fromisoformat(pool[name].read_at)
        ahead = age < timedelta(0)  # the clock was wrong then, or is now: read it again in any case
        fresh = timedelta(0) <= age < TODAY
        if not fresh and (ahead or age > OVERDUE or taken * SHARES <= total):
            out.append(name)
            taken += pool[name].bytes
    return out


def read_again(
    place: Place, blobs: Originals, pool: dict[str, Pooled], names: Iterable[str], clock: Clock
) -> ReadAgain:
    """Hash originals in the pool again; one that was altered or is gone is written anew from the
    studio where the studio's own is well, and told in any case."""
    out = ReadAgain()
    for name in names:
        held = pool[name]
        try:
            well = hash_from_disk(place.pooled(name)) == (name, held.bytes)
        except OSError:
            well = False
        out.files += 1
        out.bytes += held.bytes
        if not well:
            try:
                _write(place, blobs, name)
                out.repaired.append(name)
            except SourceBad:
                out.lost.append(name)
                continue
        pool[name] = Pooled(held.bytes, instant_text(clock()))
    return out
