"""Projections: what the journal makes true, laid out in tables that can be made again.

Each record of an item is one row of ``item_document``, so that a new event rewrites only what
it changed; ``item_summary`` has one row an item for the studio's page. ``studio.search`` keeps the
words of each record beside them, in the same transaction.
"""

from __future__ import annotations

import json
import typing
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

from sqlalchemy import Connection, delete, insert, select

from quirewell.record.apply import COLLECTIONS
from quirewell.record.canonical import canonical
from quirewell.record.codec import from_body, to_body
from quirewell.record.event import Event
from quirewell.record.next_check import next_check_on
from quirewell.record.nouns import Gathering, Item, ItemState
from quirewell.studio import search
from quirewell.studio.search_words import title_key, words_of
from quirewell.studio.tables import documents, summary

_SINGLE: dict[str, type] = {"item": Item, "gathering": Gathering}


@dataclass(frozen=True, slots=True)
class ItemSummary:
    """An item in a line: title, where it stands, when it was last changed (UTC).

    ``planned`` and ``under_way`` count its steps in that state; ``check_on`` is the day of its
    next check, empty where none is due; ``title_key`` the title as lists sort by it.
    """

    id: str
    title: str
    year: str
    version: int
    opened_at: str
    changed_at: str
    wraps: int | None
    pictures: int
    unassigned: int
    runs: int
    steps: int
    reports: int
    title_key: str
    planned: int
    under_way: int
    sold: int
    check_on: str


Row = tuple[str, str, str]


def rows_of(state: ItemState) -> Iterator[Row]:
    """Every record of a state as (collection, key, canonical body), in the state's order."""
    for name in _SINGLE:
        if (noun := getattr(state, name)) is not None:
            yield name, name, canonical(to_body(noun))
    for name in COLLECTIONS:
        for key, noun in getattr(state, name).items():
            yield name, key, canonical(to_body(noun))
    for key, version in state.touched.items():
        yield "touched", key, str(version)


def load(connection: Connection, stream: str) -> ItemState | None:
    """The state of an item from its rows; None when there is no such item."""
    line = connection.execute(
        select(summary.c.version).where(summary.c.stream == stream)
    ).one_or_none()
    if line is None:
        return None
    values: dict[str, Any] = {name: {} for name in (*COLLECTIONS, "touched")}
    rows = connection.execute(
        select(documents.c.collection, documents.c.key, documents.c.body)
        .where(documents.c.stream == stream)
        .order_by(documents.c.ordinal)
    )
    for row in rows:
        take(values, *row)
    return ItemState(id=stream, version=line.version, **values)


def take(values: dict[str, Any], collection: str, key: str, body: str) -> None:
    """Put one stored row among the values of a state in the making."""
    if collection == "touched":
        values["touched"][key] = int(body)
    elif collection in _SINGLE:
        values[collection] = from_body(_SINGLE[collection], json.loads(body))
    else:
        values[collection][key] = from_body(_types()[collection], json.loads(body))


@cache
def _types() -> dict[str, type]:
    hints = typing.get_type_hints(ItemState)
    return {name: typing.get_args(hints[name])[1] for name in COLLECTIONS}


def save(connection: Connection, before: ItemState | None, after: ItemState, last: Event) -> None:
    """Write the rows that one event changed, and the summary line."""
    for collection in (*_SINGLE, *COLLECTIONS, "touched"):
        if before is not None and getattr(before, collection) is getattr(after, collection):
            continue
        old, new = _entries(before, collection), _entries(after, collection)
        for key in old.keys() - new.keys():
            _forget(connection, after.id, collection, key)
        for key, value in new.items():
            if key not in old:
                row = (collection, key, _text(value))
                _add(connection, after.id, [(last.version, row, _sort(collection, value))])
            elif old[key] is not value and old[key] != value:
                _change(connection, after.id, collection, key, value)
    _save_summary(connection, after, last.at)
    search.save(connection, before, after)


def rewrite(connection: Connection, state: ItemState, opened_at: str, changed_at: str) -> None:
    """Write every row of a state anew."""
    connection.execute(delete(documents).where(documents.c.stream == state.id))
    sorts = _sorts(state)
    _add(
        connection,
        state.id,
        [(n, row, sorts.get(row[:2], "")) for n, row in enumerate(rows_of(state))],
    )
    connection.execute(delete(summary).where(summary.c.stream == state.id))
    connection.execute(insert(summary), [_summary_values(state, opened_at, changed_at)])
    search.rewrite(connection, state.id, words_of(state))


def stored_rows(connection: Connection, stream: str) -> list[Row]:
    """Every stored row of an item."""
    wanted = select(documents.c.collection, documents.c.key, documents.c.body)
    found = connection.execute(wanted.where(documents.c.stream == stream))
    return [(row.collection, row.key, row.body) for row in found]


def summaries(connection: Connection) -> list[ItemSummary]:
    """All items, the one changed last first."""
    rows = connection.execute(select(summary).order_by(summary.c.changed_at.desc(), "stream"))
    return [ItemSummary(*row) for row in rows]


def summary_of(state: ItemState, opened_at: str, changed_at: str) -> ItemSummary:
    """An item's line as its state gives it."""
    values = _summary_values(state, opened_at, changed_at)
    return ItemSummary(*values.values())


def _entries(state: ItemState | None, collection: str) -> dict[str, Any]:
    if state is None:
        return {}
    if collection in _SINGLE:
        noun = getattr(state, collection)
        return {} if noun is None else {collection: noun}
    entries: dict[str, Any] = getattr(state, collection)
    return entries


def _text(value: Any) -> str:
    return str(value) if isinstance(value, int) else canonical(to_body(value))


def _sort(collection: str, value: Any) -> str:
    """What lists over all items choose a record by: a run's method, a step's state."""
    if collection == "runs":
        return str(value.method)
    return str(value.state) if collection == "steps" else ""


def _sorts(state: ItemState) -> dict[tuple[str, str], str]:
    return {
        (name, key): _sort(name, value)
        for name in ("runs", "steps")
        for key, value in getattr(state, name).items()
    }


def _add(connection: Connection, stream: str, rows: Iterable[tuple[int, Row, str]]) -> None:
    """Insert rows, each with its ordinal and what it is chosen by."""
    values = [
        {
            "stream": stream, "collection": collection, "key": key, "ordinal": ordinal,
            "sort": sort, "body": body,
        }
        for ordinal, (collection, key, body), sort in rows
    ]  # fmt: skip
    if values:
        connection.execute(insert(documents), values)


def _change(connection: Connection, stream: str, collection: str, key: str, value: Any) -> None:
    connection.execute(
        documents.update()
        .where(
            documents.c.stream == stream,
            documents.c.collection == collection,
            documents.c.key == key,
        )
        .values(body=_text(value), sort=_sort(collection, value))
    )


def _forget(connection: Connection, stream: str, collection: str, key: str) -> None:
    connection.execute(
        delete(documents).where(
            documents.c.stream == stream,
            documents.c.collection == collection,
            documents.c.key == key,
        )
    )


def _save_summary(connection: Connection, state: ItemState, at: str) -> None:
    values = _summary_values(state, at, at)
    if state.version == 1:
        connection.execute(insert(summary), [values])
        return
    del values["opened_at"]
    connection.execute(summary.update().where(summary.c.stream == state.id).values(values))


def _shown(text: str) -> str:
    """A text as every engine can hold it in a column; the record itself keeps it as it was."""
    return text.replace("\0", "\ufffd")


def _summary_values(state: ItemState, opened_at: str, changed_at: str) -> dict[str, Any]:
    return {
        "stream": state.id,
        "title": _shown(state.item.title),
        "year": _shown(state.item.year),
        "version": state.version,
        "opened_at": opened_at,
        "changed_at": changed_at,
        "wraps": state.gathering.wraps if state.gathering else None,
        "pictures": len(state.captures),
        "unassigned": sum(not capture.place for capture in state.captures.values()),
        "runs": len(state.runs),
        "steps": len(state.steps),
        "reports": len(state.reports),
        "title_key": title_key(state.item.title),
        "planned": sum(step.state == "planned" for step in state.steps.values()),
        "under_way": sum(step.state == "started" for step in state.steps.values()),
        "sold": int("sold" in state.sold),
        "check_on": next_check_on(state)[0],
    }
