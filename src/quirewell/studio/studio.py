"""A studio: one folder that holds the journal, the originals and what is derived from them.

``append`` is the one door by which anything becomes true; everything else reads.
"""

from __future__ import annotations

import re
import threading
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import TypeVar

from sqlalchemy import Connection, Engine, select

from quirewell.record.apply import KINDS, RecordError, apply, fold, noun_of
from quirewell.record.apply_bench import apply_bench, fold_bench
from quirewell.record.bench import BenchState
from quirewell.record.canonical import CHAIN_VERSION
from quirewell.record.codec import to_body
from quirewell.record.event import Draft, Event
from quirewell.record.nouns import Item, ItemState, StudioOpened, Undo
from quirewell.studio import journal, lists, log, projection, rebuilding
from quirewell.studio import search as searching
from quirewell.studio.address import address_of, is_studio, read_address, write_address
from quirewell.studio.clock import Clock, bench_zone, instant_text, now
from quirewell.studio.database import (
    DATABASE,
    engine_of,
    file_complaints,
    is_sqlite,
    reading,
    refuse_network,
    upgrade,
    writing,
)
from quirewell.studio.durable import sync_folder
from quirewell.studio.faults import NoSuchItem, StudioError, disk_full_said
from quirewell.studio.keys import KEYS
from quirewell.studio.lists import EVERY, Where
from quirewell.studio.moved import refuse_taken, settled_engine
from quirewell.studio.originals import Originals
from quirewell.studio.postgres import complaints_of
from quirewell.studio.projection import ItemSummary
from quirewell.studio.readme import README, write_readme
from quirewell.studio.rebuilding import Tell, quiet
from quirewell.studio.slices import Slices
from quirewell.studio.staleness import refuse_stale
from quirewell.studio.states_held import States
from quirewell.studio.tables import summary
from quirewell.studio.undoing import Guard, begun_steps_stay, check_undo, no_guard
from quirewell.studio.where import WHERE

STUDIO = "studio"
T = TypeVar("T")
Say = Callable[[str], None]
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
        self.blobs = Originals(folder)
        self.derived = folder / "derived"
        self.backups = folder / "backups"
        self._engine = engine
        self._clock = clock
        self._zone = zone
        self._writer = threading.RLock()
        self._states = States()
        self._slices = Slices()
        self._bench = BenchState()

    # --- opening and closing ------------------------------------------------------------

    @classmethod
    def create(
        cls, folder: Path | str, name: str = "", clock: Clock = now, zone: str = "",
        database: str = "",
    ) -> Studio:  # fmt: skip
        """Make a new studio in an empty or missing folder.

        ``database`` is the address of a PostgreSQL database for the tables (``studio.address``);
        left out, they are in the folder.

        Raises:
            StudioError: the folder or the database holds something already, or the folder lies on
                a network share.
        """
        place = Path(folder).absolute()
        if place.exists() and (not place.is_dir() or _holds_more(place)):
            raise StudioError(f"{place} is not empty; choose a new folder for the studio")
        address = read_address(database) if database else address_of(place)
        if address is None:
            refuse_network(place)
        with disk_full_said(place):
            for part in _PARTS:
                (place / part).mkdir(parents=True, exist_ok=True)
            sync_folder(place)
            sync_folder(place.parent)
        if address is not None and not is_studio(place):
            refuse_taken(place, address)
            write_address(place, address)
        with _let_go_on_failure(engine_of(place)) as engine:
            upgrade(engine, place / "backups")
            studio = cls(place, engine, clock, zone or bench_zone())
            if not studio._begin(name or place.name):
                raise StudioError(f"{place} is a studio already; open it, or choose another folder")
        write_readme(place)
        return studio

    @classmethod
    def open(
        cls, folder: Path | str, clock: Clock = now, zone: str = "", tell: Say | None = None
    ) -> Studio:
        """Open a studio that exists; unfinished copies of a killed import are cleared away.

        Older tables are made anew first; ``tell`` hears of it in sentences, since that may take
        minutes for a big studio.

        Raises:
            StudioError: no studio there, or one this program cannot read.
        """
        place = Path(folder).absolute()
        if not is_studio(place):
            raise StudioError(
                f"there is no studio in {place}; make one with: quirewell studio new {folder}"
            )
        if address_of(place) is None:
            refuse_network(place)
        with _let_go_on_failure(settled_engine(place)) as engine:
            upgrade(engine, place / "backups", tell)
            for part in _PARTS:
                (place / part).mkdir(exist_ok=True)
            studio = cls(place, engine, clock, zone or bench_zone())
            studio._begin(place.name)
            if (version := studio.settings.chain_version) != CHAIN_VERSION:
                raise StudioError(
                    f"the journal's chain is version {version}, this program writes version "
                    f"{CHAIN_VERSION}; nothing was changed"
                )
            studio.blobs.clear_incoming()
        write_readme(place)
        return studio

    def close(self) -> None:
        """Let go of the database."""
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

    def count(self, where: Where = EVERY) -> int:
        """How many items there are that a list would show."""
        with reading(self._engine) as connection:
            return lists.count(connection, where)

    def page(self, where: Where = EVERY, limit: int = 50, offset: int = 0) -> list[ItemSummary]:
        """A page of a list of items, a line each."""
        with reading(self._engine) as connection:
            return lists.page(connection, where, limit, offset)

    def states(self, *wanted: str) -> list[ItemState]:
        """Every item, the one changed last first, holding only the collections ``wanted``.

        Looking into another collection raises; see ``studio.slices``.
        """
        with reading(self._engine) as connection:
            return self._slices.read(connection, wanted)

    def once(self, name: str, work_out: Callable[[], T]) -> T:
        """What ``work_out`` says, kept under ``name`` until something is saved."""
        with reading(self._engine) as connection:
            head = journal.head_of(connection)[1]
        return self._slices.once(name, head, work_out)

    def some_states(self, ids: Iterable[str], *wanted: str) -> list[ItemState]:
        """Some items in the same way, read for this once and kept nowhere."""
        with reading(self._engine) as connection:
            return self._slices.some(connection, wanted, ids)

    def each(
        self, name: str, wanted: Sequence[str], work_out: Callable[[ItemState], T], mark: str = ""
    ) -> dict[str, T]:
        """What ``work_out`` says of every item by itself; worked out again where it changed, and
        everywhere when ``mark`` did (what else it rests on)."""
        with reading(self._engine) as connection:
            return self._slices.each(connection, name, wanted, work_out, mark)

    def line(self, item: str) -> ItemSummary | None:
        """An item in a line; None where there is none."""
        with reading(self._engine) as connection:
            return lists.line(connection, item)

    def titles(self, ids: Sequence[str]) -> dict[str, tuple[str, str]]:
        """(title, year) of some items, by id."""
        with reading(self._engine) as connection:
            return lists.titles(connection, ids)

    def search(
        self, words: str, *, private: bool = True, limit: int = searching.PAGE, offset: int = 0,
        item: str = "", each: int = searching.ROWS_OF_ITEM,
    ) -> searching.Found:  # fmt: skip
        """Records in which every word stands, by item, best first; see ``studio.search.find``."""
        with reading(self._engine) as connection:
            return searching.find(
                connection, words, private=private, limit=limit, offset=offset, item=item,
                each=each,
            )  # fmt: skip

    def state(self, stream: str) -> ItemState:
        """Everything true of an item now.

        Raises:
            NoSuchItem: no such item.
        """
        with reading(self._engine) as connection:
            state = self._load(connection, stream)
        if state is None:
            some = [item.id for item in self.page(limit=13)]
            known = ", ".join(some[:12]) + (" and others" if len(some) > 12 else "")
            raise NoSuchItem(
                f"there is no item {stream!r} in this studio; it has: {known or 'none yet'}"
            )
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
            self._bench = self._bench_now(connection)
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
        with reading(self._engine) as connection:
            alike = lists.named(connection, words)
        if any(item.id == words for item in alike):
            return words
        wanted = words.strip().casefold()
        found = [item.id for item in alike if item.title.strip().casefold() == wanted]
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
            self._states.keep(state)
        _tell(events)
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

    def rebuild(self, tell: Tell = quiet) -> None:
        """Make every table of projections again from the journal."""
        with self._writer, writing(self._engine) as connection:
            rebuilding.rebuild(connection, tell)
        self._states.clear()
        self._slices.forget()
        self._bench = BenchState()

    def rebuild_differs(self) -> list[str]:
        """Items whose stored tables differ from what the journal says, in sentences."""
        with reading(self._engine) as connection:
            return rebuilding.differs(connection, self.folder)

    def connection_check(self) -> tuple[list[str], list[str]]:
        """(the database's own complaints, faults of the hash chain), in sentences."""
        with reading(self._engine) as connection:
            complaints = (
                file_complaints(connection) if is_sqlite(connection) else complaints_of(connection)
            )
            return complaints, journal.chain_faults(connection)

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

    def _bench_now(self, connection: Connection) -> BenchState:
        held = self._bench
        if held.version == journal.version_of(connection, STUDIO):
            return held
        return fold_bench(journal.read(connection, STUDIO))

    def _append_bench(
        self, expected_version: int | None, drafts: Sequence[Draft], actor: str
    ) -> tuple[Event, ...]:
        """Write events of the studio's own stream; each is whole in itself and none goes stale."""
        if any(KINDS[draft.kind].body is Item for draft in drafts if draft.kind in KINDS):
            raise ValueError("an item cannot be called 'studio'")
        with self._writer, writing(self._engine) as connection:
            before = state = self._bench_now(connection)
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
            searching.save_bench(connection, before, state)
        self._bench = state
        _tell(events)
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
            self._states.keep(state)
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


@contextmanager
def _let_go_on_failure(engine: Engine) -> Iterator[Engine]:
    try:
        yield engine
    except BaseException:
        engine.dispose()
        raise


def _tell(events: Sequence[Event]) -> None:
    """Note in the log what was saved: its number and kind, and nothing of what it says."""
    for event in events:
        log.told("saved", seq=event.seq, kind=event.kind)


def _holds_more(place: Path) -> bool:
    """Whether a folder holds anything but a studio whose making was cut short."""
    own = {*_PARTS, DATABASE, f"{DATABASE}-wal", f"{DATABASE}-shm", WHERE, KEYS, README}
    if any(entry.name not in own for entry in place.iterdir()):
        return True
    return any(any(place.glob(f"{part}/*")) for part in _PARTS) and not is_studio(place)


def slug(title: str) -> str:
    """Title in plain lower-case letters, digits and hyphens.

    >>> slug("Jardin d'été, 1936")
    'jardin-d-ete-1936'
    """
    ascii_text = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode()
    words = re.sub(r"[^a-z0-9]+", "-", ascii_text.lower()).strip("-")
    return words[:48].strip("-") or "item"
