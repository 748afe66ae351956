"""A part of every item at once, for pages that look over all of them.

A slice is an :class:`ItemState` that holds only the records asked for; touching any other raises,
so that nothing is taken for empty that was merely not read. Slices, and what is worked out of one
item alone, are kept by the item's version: after a save only the item that changed is read again.
Slices are kept up to :data:`MOST_BYTES`, those not asked for longest going first; a studio for
which that is too little reads them anew each time, which takes longer and no more memory.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, NoReturn, TypeVar, cast

from sqlalchemy import Connection, and_, select

from quirewell.record.apply import COLLECTIONS
from quirewell.record.nouns import ItemState
from quirewell.studio import journal, projection
from quirewell.studio.tables import documents, summary

T = TypeVar("T")
MOST_BYTES = 64_000_000
AT_ONCE = 250  # items read at a time
# What a state and a record take in memory beside their text (measured, CPython 3.11, 64 bits).
_STATE_BYTES, _RECORD_BYTES, _TIMES_TEXT = 700, 500, 2


class Unread(dict[str, Any]):
    """Stands for a collection that was not read; every look into it raises."""

    def __init__(self, name: str) -> None:
        super().__init__()
        self._name = name

    def _refuse(self, *_: object) -> NoReturn:
        raise LookupError(f"{self._name} of the items were not read for this page")

    __getitem__ = __iter__ = __len__ = __contains__ = _refuse
    get = items = keys = values = __reversed__ = _refuse


@dataclass(slots=True)
class _Slice:
    """What is kept of all items at one head of the journal, and about how many bytes it takes."""

    head: str
    states: dict[str, ItemState]
    sizes: dict[str, int]
    size: int


class Slices:
    """Slices of all items of one studio; safe to share between threads."""

    def __init__(self, most_bytes: int = MOST_BYTES) -> None:
        self._most_bytes = most_bytes
        self._lock = threading.Lock()
        self._kept: OrderedDict[tuple[str, ...], _Slice] = OrderedDict()
        self._values: dict[str, _Values] = {}
        self._once: dict[str, tuple[str, Any]] = {}

    def forget(self) -> None:
        """Forget everything kept, when the tables were made anew."""
        with self._lock:
            self._kept.clear()
            self._values.clear()
            self._once.clear()

    def once(self, name: str, head: str, work_out: Callable[[], T]) -> T:
        """What was worked out at this head of the journal, or is now."""
        with self._lock:
            was, kept = self._once.get(name, ("", None))
        if was == head:
            return cast(T, kept)
        made = work_out()
        with self._lock:
            self._once[name] = (head, made)
        return made

    @property
    def kept_bytes(self) -> int:
        """About how many bytes the slices kept take."""
        with self._lock:
            return sum(one.size for one in self._kept.values())

    def read(self, connection: Connection, wanted: Sequence[str]) -> list[ItemState]:
        """Every item with the records of the collections ``wanted``, the one changed last first.

        "runs:options.weigh" wants the runs of one method only.
        """
        key = tuple(sorted(wanted))
        head = journal.head_of(connection)[1]
        with self._lock:
            held = self._kept.pop(key, None) or _Slice("", {}, {}, 0)
            if held.head != head:
                held = _brought_up(connection, key, held, head)
            self._keep(key, held)
            return list(held.states.values())

    def some(
        self, connection: Connection, wanted: Sequence[str], ids: Iterable[str]
    ) -> list[ItemState]:
        """The same of some items only, kept nowhere; ids of no item are passed over."""
        mine = set(ids)
        versions = {one: version for one, version in _versions(connection).items() if one in mine}
        return [state for state, _ in _load(connection, wanted, versions)]

    def each(
        self, connection: Connection, name: str, wanted: Sequence[str],
        work_out: Callable[[ItemState], T], mark: str = "",
    ) -> dict[str, T]:  # fmt: skip
        """What ``work_out`` says of every item, by id, kept under ``name`` until the item or
        ``mark`` changes; the slices it is worked out of are let go at once."""
        head = journal.head_of(connection)[1]
        with self._lock:
            held = self._values.get(name)
            if held is None or held.mark != mark:
                held = _Values("", mark, {})
            if held.head != head:
                held = _worked_out(connection, wanted, work_out, held, head)
                self._values[name] = held
            return {item: value for item, (_, value) in held.values.items()}

    def _keep(self, key: tuple[str, ...], held: _Slice) -> None:
        self._kept[key] = held
        while self._kept and sum(one.size for one in self._kept.values()) > self._most_bytes:
            self._kept.popitem(last=False)


@dataclass(slots=True)
class _Values:
    """What was worked out of each item, with the version it was worked out of."""

    head: str
    mark: str
    values: dict[str, tuple[int, Any]]


def _brought_up(
    connection: Connection, wanted: Sequence[str], held: _Slice, head: str
) -> _Slice:  # fmt: skip
    versions = _versions(connection)
    stale = {
        one: version for one, version in versions.items()
        if one not in held.states or held.states[one].version != version
    }  # fmt: skip
    fresh, sizes = dict(held.states), dict(held.sizes)
    for state, size in _load(connection, wanted, stale):
        fresh[state.id], sizes[state.id] = state, size
    sizes = {one: sizes[one] for one in versions}
    return _Slice(head, {one: fresh[one] for one in versions}, sizes, sum(sizes.values()))


def _worked_out(
    connection: Connection, wanted: Sequence[str], work_out: Callable[[ItemState], Any],
    held: _Values, head: str,
) -> _Values:  # fmt: skip
    versions = _versions(connection)
    stale = {
        one: version for one, version in versions.items()
        if held.values.get(one, (0, None))[0] != version
    }  # fmt: skip
    fresh = held.values | {
        state.id: (state.version, work_out(state)) for state, _ in _load(connection, wanted, stale)
    }
    return _Values(head, held.mark, {one: fresh[one] for one in versions})


def _versions(connection: Connection) -> dict[str, int]:
    rows = connection.execute(
        select(summary.c.stream, summary.c.version).order_by(
            summary.c.changed_at.desc(), summary.c.stream
        )
    )
    return {row.stream: row.version for row in rows}


@cache
def _unread(name: str) -> Unread:
    return Unread(name)


def _load(
    connection: Connection, wanted: Iterable[str], versions: dict[str, int]
) -> Iterator[tuple[ItemState, int]]:
    """The slices of some items, a few at a time, each with about how many bytes it takes."""
    names = {one.partition(":")[0] for one in wanted}
    every = list(versions)
    for start in range(0, len(every), AT_ONCE):
        streams = every[start : start + AT_ONCE]
        values: dict[str, dict[str, Any]] = {
            stream: {name: {} if name in names else _unread(name) for name in COLLECTIONS}
            | {"touched": {}}
            for stream in streams
        }
        sizes = dict.fromkeys(streams, _STATE_BYTES)
        for stream, collection, key, body in _rows(connection, wanted, streams):
            projection.take(values[stream], collection, key, body)
            if collection != "touched":
                sizes[stream] += _RECORD_BYTES + _TIMES_TEXT * len(body)
        for stream in streams:
            state = ItemState(id=stream, version=versions[stream], **values.pop(stream))
            yield state, sizes[stream]


def _rows(
    connection: Connection, wanted: Iterable[str], streams: Sequence[str]
) -> Iterator[tuple[str, str, str, str]]:
    """The rows wanted, each collection in its order, and when each record was last touched.

    A query for each collection: one for all of them would be answered by reading every row.
    """
    own, touched = documents.alias(), documents.alias()
    both = and_(
        touched.c.stream == own.c.stream, touched.c.collection == "touched",
        touched.c.key == own.c.key,
    )  # fmt: skip
    for one in dict.fromkeys(("item", "gathering", *wanted)):
        name, _, method = one.partition(":")
        chosen = and_(own.c.collection == name, own.c.stream.in_(streams))
        if method:
            chosen = and_(chosen, own.c.sort == method)
        records = select(own.c.stream, own.c.collection, own.c.key, own.c.body, touched.c.body)
        joined = records.select_from(own.outerjoin(touched, both)).where(chosen)
        for stream, collection, key, body, when in connection.execute(
            joined.order_by(own.c.ordinal)
        ):
            yield stream, collection, key, body
            if when is not None:
                yield stream, "touched", key, when
