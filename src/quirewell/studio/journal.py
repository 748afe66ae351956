"""Reading and growing the journal; the only module that writes its rows."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, func, insert, select

from quirewell.record.canonical import GENESIS, canonical, link, plain
from quirewell.record.event import Draft, Event
from quirewell.studio.faults import StudioError
from quirewell.studio.tables import journal

_TOGETHER = 200


@dataclass(frozen=True, slots=True)
class Stamp:
    """When (UTC, ISO 8601), in which zone, and by whom."""

    at: str
    zone: str
    actor: str


def head_of(connection: Connection) -> tuple[int, str]:
    """(seq, hash) of the last entry; (0, genesis) for an empty journal."""
    row = connection.execute(
        select(journal.c.seq, journal.c.hash).order_by(journal.c.seq.desc()).limit(1)
    ).one_or_none()
    return (row.seq, row.hash) if row else (0, GENESIS)


def version_of(connection: Connection, stream: str) -> int:
    """Last version of a stream, 0 when it is not there."""
    newest = select(func.max(journal.c.version)).where(journal.c.stream == stream)
    return connection.execute(newest).scalar() or 0


def grow(connection: Connection, draft: Draft, stamp: Stamp) -> Event:
    """Add one entry after the last one, chained to it."""
    seq, prev = head_of(connection)
    body: dict[str, Any] = plain(draft.body)
    bare = Event(
        seq + 1, draft.stream, version_of(connection, draft.stream) + 1, draft.kind, body,
        stamp.at, stamp.zone, stamp.actor, prev, "",
    )  # fmt: skip
    event = chained(bare)
    connection.execute(insert(journal).values(**_row(event)))
    return event


def put_back(connection: Connection, event: Event) -> None:
    """Add one entry of an archive exactly as it was, if it is the next of this chain.

    Raises:
        StudioError: it does not follow the last entry, or was changed after it was written.
    """
    seq, prev = head_of(connection)
    _refuse_out_of_line(event, seq, prev, version_of(connection, event.stream))
    connection.execute(insert(journal).values(**_row(event)))


def put_back_all(connection: Connection, events: Iterable[Event]) -> tuple[int, str]:
    """Add entries exactly as they were, many at a time, each checked as :func:`put_back` does.

    Only where there are none yet. Returns the new head as :func:`head_of` does.

    Raises:
        StudioError: there are entries already, or one does not follow or was changed.
    """
    seq, head = head_of(connection)
    if seq:
        raise StudioError("there is a journal here already; nothing was taken over")
    versions, rows = dict[str, int](), list[dict[str, Any]]()
    for event in events:
        _refuse_out_of_line(event, seq, head, versions.get(event.stream, 0))
        seq, head, versions[event.stream] = event.seq, event.hash, event.version
        rows.append(_row(event))
        if len(rows) == _TOGETHER:
            connection.execute(insert(journal), rows)
            rows.clear()
    if rows:
        connection.execute(insert(journal), rows)
    return seq, head


def _refuse_out_of_line(event: Event, seq: int, prev: str, version: int) -> None:
    where = f"journal entry {event.seq} ({event.kind} of {event.stream})"
    if (event.seq, event.prev) != (seq + 1, prev):
        raise StudioError(f"{where} does not follow entry {seq}; nothing was taken over")
    if event.version != version + 1:
        raise StudioError(f"{where}: version {event.version} is out of order")
    if chained(event).hash != event.hash:
        raise StudioError(f"{where} was changed after it was written; nothing was taken over")


def chained(event: Event) -> Event:
    """The event with the hash that its content and its predecessor give it."""
    return Event(
        event.seq, event.stream, event.version, event.kind, event.body, event.at, event.zone,
        event.actor, event.prev, link(event.prev, event.payload()),
    )  # fmt: skip


def read(
    connection: Connection, stream: str | None = None, up_to_version: int | None = None
) -> list[Event]:
    """Events of one stream, or of all, in order."""
    wanted = select(journal).order_by(journal.c.seq)
    if stream is not None:
        wanted = wanted.where(journal.c.stream == stream)
    if up_to_version is not None:
        wanted = wanted.where(journal.c.version <= up_to_version)
    return [_event(row) for row in connection.execute(wanted)]


def walk(connection: Connection, stream: str | None = None) -> Iterator[Event]:
    """Events of one stream, or of all, in order, one at a time."""
    wanted = select(journal).order_by(journal.c.seq)
    if stream is not None:
        wanted = wanted.where(journal.c.stream == stream)
    for row in connection.execute(wanted.execution_options(yield_per=100)):
        yield _event(row)


def read_one(connection: Connection, seq: int) -> Event | None:
    """One event by its number."""
    row = connection.execute(select(journal).where(journal.c.seq == seq)).one_or_none()
    return _event(row) if row else None


def kinds(connection: Connection) -> dict[str, int]:
    """How many entries there are of each kind."""
    counted = select(journal.c.kind, func.count().label("entries")).group_by(journal.c.kind)
    return {row.kind: row.entries for row in connection.execute(counted)}


def holds(connection: Connection, head: str) -> bool:
    """Whether an entry with this hash is in the journal."""
    found = select(journal.c.seq).where(journal.c.hash == head)
    return connection.execute(found).first() is not None


def streams(connection: Connection) -> list[str]:
    """Every stream, in the order they began."""
    first = select(journal.c.stream).group_by(journal.c.stream).order_by(func.min(journal.c.seq))
    return list(connection.execute(first).scalars())


def chain_faults(connection: Connection) -> list[str]:
    """What is wrong with the chain, in sentences; empty when it is whole."""
    faults: list[str] = []
    before, count, versions = GENESIS, 0, dict[str, int]()
    for event, text in _events_with_text(connection):
        count += 1
        versions[event.stream] = versions.get(event.stream, 0) + 1
        where = f"journal entry {event.seq} ({event.kind} of {event.stream})"
        if event.seq != count:
            faults.append(f"{where}: entry {count} should stand here; entries are missing")
            count = event.seq
        if event.version != versions[event.stream]:
            faults.append(f"{where}: version {event.version} is out of order")
            versions[event.stream] = event.version
        if event.prev != before:
            faults.append(f"{where} does not follow the entry before it")
        if chained(event).hash != event.hash or canonical(event.body) != text:
            faults.append(f"{where} was changed after it was written")
        before = event.hash
    return faults


def _events_with_text(connection: Connection) -> Iterable[tuple[Event, str]]:
    for row in connection.execute(select(journal).order_by(journal.c.seq)):
        yield _event(row), row.body


def _event(row: Any) -> Event:
    return Event(
        row.seq, row.stream, row.version, row.kind, json.loads(row.body), row.at, row.zone,
        row.actor, row.prev, row.hash,
    )  # fmt: skip


def _row(event: Event) -> dict[str, Any]:
    return {
        "seq": event.seq,
        "stream": event.stream,
        "version": event.version,
        "kind": event.kind,
        "body": canonical(event.body),
        "at": event.at,
        "zone": event.zone,
        "actor": event.actor,
        "prev": event.prev,
        "hash": event.hash,
    }
