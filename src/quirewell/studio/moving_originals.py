"""Move the originals of a studio: copied, each verified by its hash, then switched.

A move that was cut short is begun again and goes on: what is there already is hashed and counts.
Nothing is deleted; the copies in the studio's own folder stay until :func:`remove_old`, and
a shared place is never emptied by this program, since other machines may read it.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from quirewell.studio import where
from quirewell.studio.blobs import Blobs, hash_file
from quirewell.studio.faults import StudioError
from quirewell.studio.originals import TABLE, Originals
from quirewell.studio.originals_address import HERE, Address, address
from quirewell.studio.remote_blobs import RemoteBlobs
from quirewell.studio.stores import clear_unfinished

ABANDONED_S = 2 * 86_400.0
OnProgress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Moved:
    """A move that is done. ``copied`` of ``originals`` were not there before."""

    before: str
    at: str
    originals: int
    copied: int
    bytes: int

    def as_json(self) -> dict[str, Any]:
        """Plain data for ``--json``."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class Standing:
    """Where the originals lie and what else of them is on this machine.

    ``old`` and ``old_bytes`` are copies in the studio's own folder that a move left, ``cached``
    copies that were fetched; ``abandoned`` uploads were found unfinished for days and removed.
    """

    at: str
    originals: int
    bytes: int
    old: int
    old_bytes: int
    cached: int
    cached_bytes: int
    abandoned: int

    def as_json(self) -> dict[str, Any]:
        """Plain data for ``--json``."""
        return asdict(self)


def standing(originals: Originals) -> Standing:
    """See :class:`Standing`.

    Raises:
        StoreFault: the place cannot be reached.
    """
    now, abandoned = originals.now(), 0
    sizes, old, cached = now.sizes(), dict[str, int](), list[tuple[str, int]]()
    if isinstance(now, RemoteBlobs):
        abandoned = clear_unfinished(now.store, ABANDONED_S)
        old, cached = originals.own.sizes(), now.cache.copies()
    return Standing(
        originals.address.text, len(sizes), sum(sizes.values()), len(old), sum(old.values()),
        len(cached), sum(size for _, size in cached), abandoned,
    )  # fmt: skip


def move_originals(originals: Originals, to: str, progress: OnProgress | None = None) -> Moved:
    """Copy every original to ``to`` (see :func:`address`), then let the studio use that place.

    Raises:
        StudioError: the place is none, or an original is not what was taken in; nothing was
            switched.
        StoreFault: the place cannot be reached or written; nothing was switched.
    """
    wanted, before = address(to), originals.address
    _refuse_own(originals.studio, wanted)
    source, target = originals.now(), originals.at(wanted)
    if wanted == before:
        sizes = source.sizes()
        return Moved(before.text, wanted.text, len(sizes), 0, sum(sizes.values()))
    if isinstance(target, RemoteBlobs):
        target.store.prepare()
        clear_unfinished(target.store, ABANDONED_S)
    told = progress or (lambda done, total: None)
    there = set(target.sizes())
    done = _copy(source, target, list(source.all()), told)
    with originals.switching():
        done |= _copy(source, target, [name for name in source.all() if name not in done], told)
        _switch(originals.studio, wanted)
    sizes = target.sizes()
    size = sum(sizes[name] for name in done)
    return Moved(before.text, wanted.text, len(done), len(done - there), size)


def remove_old(originals: Originals, progress: OnProgress | None = None) -> tuple[int, int]:
    """Remove what this machine no longer needs after a move; (files, bytes).

    A copy in the studio's own folder goes only after the place that holds now was read and gave
    the same hash. When the originals lie here again, the fetched copies go.

    Raises:
        StudioError: the place lacks one of them; no more was removed.
        StoreFault: the place cannot be reached; no more was removed.
    """
    now = originals.now()
    if not isinstance(now, RemoteBlobs):
        files = [one for one in originals.cache_folder.glob("??/*") if one.is_file()]
        size = sum(one.stat().st_size for one in files)
        shutil.rmtree(originals.cache_folder, ignore_errors=True)
        return len(files), size
    sizes = originals.own.sizes()
    for done, name in enumerate(sizes, 1):
        if now.hash(name) != name:
            raise StudioError(
                f"what {now.store.place} holds as the original {name[:12]}… is another file; its "
                "copy here stays. Run: quirewell studio check"
            )
        originals.own.place(name).unlink()
        if progress is not None:
            progress(done, len(sizes))
    return len(sizes), sum(sizes.values())


def _copy(
    source: Blobs | RemoteBlobs, target: Blobs | RemoteBlobs, names: Iterable[str], told: OnProgress
) -> set[str]:
    wanted = list(names)
    for done, name in enumerate(wanted, 1):
        with source.held(name) as path:
            if hash_file(path) != name:
                raise StudioError(
                    f"the original {name[:12]}… ({path}) is no longer the file that was taken in; "
                    "nothing was switched. Restore it from a backup, then do it once more"
                )
            if isinstance(target, RemoteBlobs):
                target.store.put(path, name, path.stat().st_size)
            elif target.put(path) != name or target.hash(name) != name:
                raise StudioError(
                    f"{target.place(name)} is not the file that was taken in; nothing was "
                    "switched. Move that file away, then do it once more"
                )
        told(done, len(wanted))
    return set(wanted)


def _switch(studio: Path, wanted: Address) -> None:
    said = where.table(studio, TABLE)
    said.pop("at", None)
    if wanted.kind != HERE:
        said["at"] = wanted.text
    where.set_table(studio, TABLE, said)


def _refuse_own(studio: Path, wanted: Address) -> None:
    if wanted.kind != "folder":
        return
    place = Path(wanted.path).resolve()
    if place.is_relative_to(studio.resolve()):
        raise StudioError(
            f"{wanted.path} lies in the studio's own folder; give a folder elsewhere, or here for "
            "the studio's own place"
        )
