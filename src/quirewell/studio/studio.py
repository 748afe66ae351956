"""A studio: one folder that holds the journal, the originals and what is derived from them.

``append`` is the one door by which anything becomes true; everything else reads.
"""

from __future__ import annotations

import re
import threading
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType

from sqlalchemy import Connection, Engine, select

from quirewell.record.apply import KINDS, RecordError, apply, fold, noun_of
from quirewell.record.apply_bench import apply_bench, fold_bench
from quirewell.record.bench import BenchState
from quirewell.record.canonical import CHAIN_VERSION
from quirewell.record.codec import to_body
from quirewell.record.event import Draft, Event
from quirewell.record.nouns import Item, ItemState, StudioOpened, Undo
from quirewell.studio import journal, projection
from quirewell.studio.blobs import Blobs
from quirewell.studio.clock import Clock, bench_zone, instant_text, now
from quirewell.studio.database import (
    DATABASE,
    open_engine,
    reading,
    refuse_network,
    upgrade,
    writing,
)
from quirewell.studio.faults import NoSuchItem, StudioError, disk_full_said
from quirewell.studio.projection import ItemSummary
from quirewell.studio.staleness import refuse_stale
from quirewell.studio.tables import documents, summary
from quirewell.studio.undoing import Guard, begun_steps_stay, check_undo, no_guard

STUDIO = "studio"
_PARTS = ("originals", "derived", "backups")


@dataclass(frozen=True, slots=True)
class Settings:
    """What the first event of a studio says, and the zone the bench keeps."""

    name: str
    chain_version: int
    zone: str
    opened_at: str


class Studio:
    """One open studio; safe to share between threads."""

    def __init__(self, folder: Path, engine: Engine, clock: Clock, zone: str) -> None:
        self.folder = folder
        self.blobs = Blobs(folder / "originals")
        self.derived = folder / "derived"
        self.backups = folder / "backups"
        self._engine = engine
        self._clock = clock
        self._zone = zone
        self._writer = threading.RLock()
        self._states: dict[str, ItemState] = {}
        self._bench = BenchState()

    # --- opening and closing ------------------------------------------------------------

    @classmethod
    def create(
        cls, folder: Path | str, name: str = "", clock: Clock = now, zone: str = ""
    ) -> Studio:
        """Make a new studio in an empty or missing folder.

        Raises:
            StudioError: the folder holds something already, or lies on a network share.
        """
        place = Path(folder).absolute()
        if place.exists() and (not place.is_dir() or _holds_more(place)):
            raise StudioError(f"{place} is not empty; choose a new folder for the studio")
        with disk_full_said(place):
            for part in _PARTS:
                (place / part).mkdir(parents=True, exist_ok=True)
        refuse_network(place)
        engine = open_engine(place / DATABASE)
        upgrade(engine, place / "backups")
        studio = cls(place, engine, clock, zone or bench_zone())
        if not studio._begin(name or place.name):
            studio.close()
            raise StudioError(f"{place} is a studio already; open it, or choose another folder")
        return studio

    @classmethod
    def open(cls, folder: Path | str, clock: Clock = now, zone: str = "") -> Studio:
        """Open a studio that exists; unfinished copies of a killed import are cleared away.

        Raises:
            StudioError: no studio there, or one this program cannot read.
        """
        place = Path(folder).absolute()
        if not (place / DATABASE).is_file():
            raise StudioError(
                f"there is no studio in {place}; make one with: quirewell studio new {folder}"
            )
        refuse_network(place)
        engine = open_engine(place / DATABASE)
        upgrade(engine, place / "backups")
        for part in _PARTS:
            (place / part).mkdir(exist_ok=True)
        studio = cls(place, engine, clock, zone or bench_zone())
        studio._begin(place.name)
        if studio.settings.chain_version != CHAIN_VERSION:
            raise StudioError(
                f"the journal's chain is version {studio.settings.chain_version}, this program "
                f"writes version {CHAIN_VERSION}; nothing was changed"
            )
        studio.blobs.clear_incoming()
        return studio

    def close(self) -> None:
        """Let go of the database file."""
        self._engine.dispose()

    def __enter__(self) -> Studio:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    # --- reading ------------------------------------------------------------------------

    @property
    def settings(self) -> Settings:
        """Name, chain version, zone, and when the studio was opened first."""
        with reading(self._engine) as connection:
            first = journal.read_one(connection, 1)
        if first is None or first.kind != "studio.opened":
            raise StudioError(f"the journal in {self.folder} has no beginning; restore a backup")
        noun = noun_of(first.kind, first.body)
        return Settings(noun.name, noun.chain_version, self._zone, first.at)

    @property
    def name(self) -> str:
        """The studio's name."""
        return self.settings.name

    def items(self) -> list[ItemSummary]:
        """All items in a line each, the one changed last first."""
        with reading(self._engine) as connection:
            return projection.summaries(connection)

    def state(self, stream: str) -> ItemState:
        """Everything true of an item now.

        Raises:
            NoSuchItem: no such item.
        """
        with reading(self._engine) as connection:
            state = self._load(connection, stream)
        if state is None:
            known = ", ".join(item.id for item in self.items()) or "none yet"
            raise NoSuchItem(f"there is no item {stream!r} in this studio; it has: {known}")
        return state

    def state_at(self, stream: str, version: int) -> ItemState | None:
        """What was true of an item at an earlier version."""
        with reading(self._engine) as connection:
            return fold(journal.read(connection, stream, version))

    def events(self, stream: str | None = None) -> list[Event]:
        """Events of an item (or of the whole studio), oldest first."""
        with reading(self._engine) as connection:
            return journal.read(connection, stream)

    def bench(self) -> BenchState:
        """Everything true of the bench itself: its strip, its greys, its scanners.

        These few events are folded when asked for and kept in no table.
        """
        with reading(self._engine) as connection:
            newest = journal.version_of(connection, STUDIO)
            if self._bench.version != newest:
                self._bench = fold_bench(journal.read(connection, STUDIO))
            return self._bench

    def head(self) -> str:
        """Hash of the last journal entry: it stands for everything before it."""
        with reading(self._engine) as connection:
            return journal.head_of(connection)[1]

    def find(self, words: str) -> str | None:
        """Id of the item with this id or exact title (letter case ignored); None if there is
        none.

        Raises:
            StudioError: two items share the title.
        """
        items = self.items()
        if any(item.id == words for item in items):
            return words
        wanted = words.strip().casefold()
        found = [item.id for item in items if item.title.strip().casefold() == wanted]
        if len(found) > 1:
            raise StudioError(f"{words!r} is the title of {', '.join(found)}; give the id instead")
        return found[0] if found else None

    def new_id(self, title: str) -> str:
        """An id for a new item: the title in plain letters, with a number if it is taken."""
        base = slug(title)
        with reading(self._engine) as connection:
            taken = set(journal.streams(connection)) | {STUDIO}
        if base not in taken:
            return base
        return next(
            f"{base}-{number}" for number in range(2, 10_000) if f"{base}-{number}" not in taken
        )

    # --- writing ------------------------------------------------------------------------

    def append(
        self,
        stream: str,
        expected_version: int | None,
        drafts: Sequence[Draft],
        actor: str = "bench",
        touched: Mapping[str, int] | None = None,
        guard: Guard = no_guard,
    ) -> tuple[Event, ...]:
        """Write events, all or none; durable when this returns.

        Those of the studio's own stream say what is true of the bench (:meth:`bench`).
        ``expected_version`` is the version the drafts were made on (0 for a new item, None to
        say that they rest on nothing). When the item moved on meanwhile the drafts are merged,
        unless a record they touch was changed too. ``touched`` maps record ids to the numbers
        a form carried. ``guard`` is asked before an undo; a stage that has checked the undo
        itself needs none.

        Raises:
            Stale: a record was changed meanwhile; carries both values.
            RecordError: the events cannot follow the state.
            NotUndoable: an undo that may not be.
            DiskFull: no room; nothing was saved.
        """
        if not drafts:
            return ()
        if any(draft.stream != stream for draft in drafts):
            raise ValueError(f"all events of one save must belong to {stream!r}")
        if stream == STUDIO:
            return self._append_bench(expected_version, drafts, actor)
        with self._writer, writing(self._engine) as connection:
            before = self._load(connection, stream)
            refuse_stale(connection, stream, before, expected_version, drafts, touched)
            state, events = before, list[Event]()
            for draft in drafts:
                if draft.kind == "event.undone" and state is not None:
                    check_undo(state, journal.read(connection, stream), draft, guard)
                event = journal.grow(connection, draft, self._stamp(actor))
                state = self._follow(connection, state, event)
                events.append(event)
        if state is not None:
            self._states[stream] = state
        return tuple(events)

    def undo(
        self,
        stream: str,
        seq: int,
        actor: str = "bench",
        reason: str = "",
        guard: Guard = begun_steps_stay,
    ) -> Event:
        """Counter one event; it stays in the journal but no longer holds.

        Raises:
            NotUndoable: with the reason in a sentence.
        """
        draft = Draft(stream, "event.undone", to_body(Undo(seq, reason)))
        return self.append(stream, self.state(stream).version, [draft], actor, guard=guard)[0]

    def rebuild(self) -> None:
        """Make every table of projections again from the journal."""
        with self._writer, writing(self._engine) as connection:
            connection.execute(documents.delete())
            connection.execute(summary.delete())
            for stream in journal.streams(connection):
                events = journal.read(connection, stream)
                if stream != STUDIO and (state := fold(events)) is not None:
                    projection.rewrite(connection, state, events[0].at, events[-1].at)
        self._states.clear()
        self._bench = BenchState()

    def rebuild_differs(self) -> list[str]:
        """Items whose stored tables differ from what the journal says, in sentences."""
        said = []
        with reading(self._engine) as connection:
            stored = projection.stored_rows(connection)
            lines = {line.id: line for line in projection.summaries(connection)}
            for stream in journal.streams(connection):
                if stream == STUDIO:
                    continue
                state = fold(journal.read(connection, stream))
                fresh = sorted(projection.rows_of(state)) if state else []
                line = lines.pop(stream, None)
                version = state.version if state else 0
                if sorted(stored.pop(stream, [])) != fresh or (line and line.version) != version:
                    said.append(
                        f"the tables of {stream} differ from its journal; run: quirewell studio "
                        f"check --rebuild {self.folder}"
                    )
        said += [f"the tables hold {name}, which the journal does not know" for name in stored]
        return said

    def connection_check(self) -> tuple[list[str], list[str]]:
        """(SQLite's own complaints, faults of the hash chain), in sentences."""
        with reading(self._engine) as connection:
            rows = connection.exec_driver_sql("PRAGMA integrity_check").scalars().all()
            faults = journal.chain_faults(connection)
            guards = connection.exec_driver_sql(
                "SELECT count(*) FROM sqlite_master WHERE type='trigger' AND tbl_name='journal'"
            ).scalar()
        complaints = [f"the database file is damaged: {row}" for row in rows if row != "ok"]
        if guards != 2:
            complaints.append("the guards that keep journal entries from being changed are missing")
        return complaints, faults

    @property
    def clock(self) -> Clock:
        """The clock the studio writes by."""
        return self._clock

    @property
    def engine(self) -> Engine:
        """The engine, for backup and check."""
        return self._engine

    def event(self, seq: int) -> Event | None:
        """One journal entry by its number; None when there is none."""
        with reading(self._engine) as connection:
            return journal.read_one(connection, seq)

    # --- inside -------------------------------------------------------------------------

    def _begin(self, name: str) -> bool:
        """Write the first entry if there is none (also when a making was cut short)."""
        with self._writer, writing(self._engine) as connection:
            if journal.head_of(connection)[0]:
                return False
            body = to_body(StudioOpened(CHAIN_VERSION, name))
            journal.grow(connection, Draft(STUDIO, "studio.opened", body), self._stamp("bench"))
        return True

    def _append_bench(
        self, expected_version: int | None, drafts: Sequence[Draft], actor: str
    ) -> tuple[Event, ...]:
        """Write events of the studio's own stream; each is whole in itself and none goes stale."""
        if any(KINDS[draft.kind].body is Item for draft in drafts if draft.kind in KINDS):
            raise ValueError("an item cannot be called 'studio'")
        with self._writer, writing(self._engine) as connection:
            state = fold_bench(journal.read(connection, STUDIO))
            if expected_version is not None and expected_version > state.version:
                raise RecordError(
                    f"the bench is at version {state.version}, which is before version "
                    f"{expected_version} that this save was made on; load the page again"
                )
            events = []
            for draft in drafts:
                event = journal.grow(connection, draft, self._stamp(actor))
                state = apply_bench(state, event)
                events.append(event)
        self._bench = state
        return tuple(events)

    def _stamp(self, actor: str) -> journal.Stamp:
        return journal.Stamp(instant_text(self._clock()), self._zone, actor)

    def _load(self, connection: Connection, stream: str) -> ItemState | None:
        current = connection.execute(
            select(summary.c.version).where(summary.c.stream == stream)
        ).scalar()
        kept = self._states.get(stream)
        if kept is not None and kept.version == current:
            return kept
        state = projection.load(connection, stream)
        if state is not None:
            self._states[stream] = state
        return state

    def _follow(self, connection: Connection, state: ItemState | None, event: Event) -> ItemState:
        if event.kind == "event.undone":
            events = journal.read(connection, event.stream)
            after = fold(events)
            if after is None:
                raise RecordError(f"nothing would be left of {event.stream!r}")
            projection.rewrite(connection, after, events[0].at, event.at)
            return after
        after = apply(state, event)
        projection.save(connection, state, after, event)
        return after


def _holds_more(place: Path) -> bool:
    """Whether a folder holds anything but a studio whose making was cut short."""
    own = {*_PARTS, DATABASE, f"{DATABASE}-wal", f"{DATABASE}-shm"}
    if any(entry.name not in own for entry in place.iterdir()):
        return True
    return any(any(place.glob(f"{part}/*")) for part in _PARTS) and not (place / DATABASE).exists()


def slug(title: str) -> str:
    """Title in plain lower-case letters, digits and hyphens.

    >>> slug("Jardin d'été, 1936")
    'jardin-d-ete-1936'
    """
    ascii_text = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode()
    words = re.sub(r"[^a-z0-9]+", "-", ascii_text.lower()).strip("-")
    return words[:48].strip("-") or "item"
