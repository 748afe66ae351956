"""The checked door by which a whole journal enters a studio that has none yet.

Everything arrives in a hidden folder beside the new studio, with the database under a name by
which nothing opens it (:data:`ARRIVING`). Only when every original was hashed, every entry
followed the one before it, the tables made on the way are those that the journal gives, and the
head is the one that was promised, does the database get its name, and then the folder. So a
studio cut short on its way in is no studio, and the next try finds the place free.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import IO

from quirewell.record.apply import RecordError, apply, fold
from quirewell.record.apply_bench import fold_bench
from quirewell.record.canonical import CHAIN_VERSION
from quirewell.record.event import Event
from quirewell.record.nouns import ItemState
from quirewell.studio import journal, projection, search
from quirewell.studio.archive import pour
from quirewell.studio.check import CheckResult, check_open
from quirewell.studio.clock import bench_zone, now
from quirewell.studio.database import DATABASE, open_engine, refuse_network, upgrade, writing
from quirewell.studio.durable import placed
from quirewell.studio.faults import StudioError
from quirewell.studio.search_words import bench_words
from quirewell.studio.studio import STUDIO, Studio

ARRIVING = "arriving.db"
_PARTS = ("originals", "derived", "backups")
_STATES_HELD = 8
OnProgress = Callable[[int, int], None]


class Arrival:
    """A studio on its way in: originals and files first, then its journal."""

    def __init__(self, studio: Studio) -> None:
        self._studio = studio

    def original(self, sha256: str, stream: IO[bytes], size: int) -> None:
        """Keep an original of ``size`` bytes.

        Raises:
            StudioError: its bytes are not those of the hash.
        """
        folder = self._studio.blobs.folder / sha256[:2]
        folder.mkdir(exist_ok=True)
        place = folder / sha256
        if _write(stream, place, size) != sha256:
            raise StudioError(f"the original {sha256[:12]}… is not the file that was taken in")
        place.chmod(0o444)

    def report(self, name: str, stream: IO[bytes], size: int) -> str:
        """Keep a file of the folder ``reports`` under its plain name; its SHA-256."""
        folder = self._studio.folder / "reports"
        folder.mkdir(exist_ok=True)
        if Path(name).name != name or name in ("", ".", ".."):
            raise StudioError(f"{name!r} is no plain file name")
        return _write(stream, folder / name, size)

    def journal(self, events: Iterable[Event]) -> None:
        """Write all entries, each as it was; see :func:`take_over`."""
        take_over(self._studio, events)


def _write(stream: IO[bytes], place: Path, size: int) -> str:
    with place.open("xb") as out:
        sha256, _ = pour(stream, out, size)
        out.flush()
        os.fsync(out.fileno())
    return sha256


def take_over(studio: Studio, events: Iterable[Event]) -> None:
    """Write entries with their own number, time and hashes; only where there are none yet.

    The tables are made entry by entry, the way they are while a studio is in use.

    Raises:
        StudioError: the studio has entries, or one does not follow or cannot be true.
    """
    states: dict[str, ItemState] = {}
    with writing(studio.engine) as connection:
        if journal.head_of(connection)[0]:
            raise StudioError("this studio has a journal already; nothing was taken over")
        for event in events:
            where = f"journal entry {event.seq} ({event.kind} of {event.stream})"
            if event.seq == 1 and (event.kind, event.body.get("chain_version")) != (
                "studio.opened", str(CHAIN_VERSION),
            ):  # fmt: skip
                raise StudioError(
                    f"the journal begins with {event.kind} and not with a studio of chain version "
                    f"{CHAIN_VERSION}; nothing was taken over"
                )
            journal.put_back(connection, event)
            if event.stream == STUDIO:
                continue
            try:
                before = states.get(event.stream) or projection.load(connection, event.stream)
                if event.kind == "event.undone":
                    mine = journal.read(connection, event.stream)
                    after = fold(mine)
                    if after is None:
                        raise RecordError(f"nothing would be left of {event.stream!r}")
                    projection.rewrite(connection, after, mine[0].at, event.at)
                else:
                    after = apply(before, event)
                    projection.save(connection, before, after, event)
            except (RecordError, ValueError) as error:
                raise StudioError(f"{where} cannot be: {error}; nothing was taken over") from error
            if len(states) >= _STATES_HELD and event.stream not in states:
                states.clear()
            states[event.stream] = after
        try:
            bench = fold_bench(journal.walk(connection, STUDIO))
            search.rewrite(connection, STUDIO, bench_words(bench))
        except (RecordError, ValueError) as error:
            raise StudioError(f"the bench's entries cannot be: {error}") from error


def move_in(
    folder: Path | str, fill: Callable[[Arrival], None], head: str,
    progress: OnProgress | None = None,
) -> CheckResult:  # fmt: skip
    """Make a studio out of what ``fill`` brings, and check it whole; all of it or nothing.

    ``head`` is the hash that the last journal entry must have.

    Raises:
        StudioError: the folder holds something, or what came is not whole.
        DiskFull: no room; nothing is left behind.
    """
    place = Path(folder).absolute()
    if place.exists() and (not place.is_dir() or any(place.iterdir())):
        raise StudioError(f"{place} is not empty; choose a new folder, nothing was changed")
    refuse_network(place.parent)
    place.parent.mkdir(parents=True, exist_ok=True)
    with placed(place) as part:
        with _opened(part) as studio:
            fill(Arrival(studio))
            result = check_open(studio, progress=progress)
        if not result.ok:
            raise StudioError(f"what came is not whole: {result.troubles[0].says}")
        if result.head != head:
            raise StudioError(
                f"the journal ends with {result.head[:12]}… and not with {head[:12]}…"
            )
        with closing(sqlite3.connect(part / ARRIVING)) as connection:
            connection.execute("PRAGMA journal_mode=DELETE")
        (part / ARRIVING).replace(part / DATABASE)
    return replace(result, folder=str(place))


@contextmanager
def _opened(part: Path) -> Iterator[Studio]:
    for name in _PARTS:
        (part / name).mkdir(parents=True)
    engine = open_engine(part / ARRIVING)
    try:
        upgrade(engine, part / "backups")
        yield Studio(part, engine, now, bench_zone())
    finally:
        engine.dispose()
