"""Reading and growing the journal; the only module that writes its rows."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, func, insert, select

from quirewell.record.canonical import GENESIS, canonical, link, plain
from quirewell.record.event import Draft, Event
from quirewell.studio.tables import journal


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


def read_one(connection: Connection, seq: int) -> Event | None:
    """One event by its number."""
    row = connection.execute(select(journal).where(journal.c.seq == seq)).one_or_none()
    return _event(row) if row else None


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
