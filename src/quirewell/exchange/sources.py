"""Where the lines of a journal come from: a studio's database, or an archive's own file.

Either way an item is folded from its own lines only, one item at a time, so that no more than
one item is held in memory.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import IO, Protocol

from sqlalchemy import Connection

from quirewell.exchange.journal_file import Chain, Line, LineError, lines_in, read_line, renumbered
from quirewell.exchange.scope import lines_of
from quirewell.record.apply import fold
from quirewell.record.apply_bench import fold_bench
from quirewell.record.bench import BenchState
from quirewell.record.nouns import ItemState
from quirewell.studio import journal
from quirewell.studio.check import Trouble
from quirewell.studio.studio import STUDIO


class Source(Protocol):
    """Lines of a journal: of one stream, or of all in their order."""

    def streams(self) -> list[str]:
        """Every stream, in the order they began."""

    def lines(self, stream: str | None = None) -> Iterator[Line]:
        """Lines of one stream, or of all."""


class FromStudio:
    """The journal of a studio at one moment, or of one item of it."""

    def __init__(self, connection: Connection, item: str = "", with_private: bool = False) -> None:
        self._connection = connection
        self._item = item
        self._with_private = with_private

    def streams(self) -> list[str]:
        """The one item, or every stream."""
        return [self._item] if self._item else journal.streams(self._connection)

    def lines(self, stream: str | None = None) -> Iterator[Line]:
        """Lines as they go out."""
        events = journal.walk(self._connection, self._item or stream)
        if self._item:
            yield from lines_of(events, self._with_private)
        else:
            yield from map(Line, events)


class FromFile:
    """A journal file, walked once from end to end; then read by stream out of a copy."""

    def __init__(self, source: IO[bytes], copy: IO[bytes], whole: bool) -> None:
        self._copy = copy
        self._places: dict[str, list[int]] = {}
        self.chain = Chain(whole)
        self.troubles: list[Trouble] = []
        try:
            for number, raw in enumerate(lines_in(source), 1):
                self._take(number, raw)
        except LineError as error:
            self.troubles.append(Trouble("journal", f"journal.jsonl: {error}"))

    def _take(self, number: int, raw: bytes) -> None:
        try:
            line = read_line(raw)
        except LineError as error:
            self.troubles.append(Trouble("journal", f"line {number} of journal.jsonl: {error}"))
            return
        self.troubles += [Trouble("chain", says) for says in self.chain.faults(line)]
        self._places.setdefault(line.event.stream, []).append(self._copy.tell())
        self._copy.write(raw + b"\n")

    def streams(self) -> list[str]:
        """Every stream, in the order they began."""
        return list(self._places)

    def lines(self, stream: str | None = None) -> Iterator[Line]:
        """Lines of one stream, or of all."""
        places = self._places.get(stream, []) if stream is not None else self._all()
        for place in places:
            self._copy.seek(place)
            yield read_line(self._copy.readline().rstrip(b"\n"))

    def _all(self) -> list[int]:
        return sorted(place for places in self._places.values() for place in places)


def items_of(source: Source) -> list[str]:
    """The items a source knows."""
    return [stream for stream in source.streams() if stream != STUDIO]


def state_of(source: Source, item: str) -> ItemState:
    """An item folded from its lines.

    Raises:
        RecordError: lines that cannot follow one another.
        ValueError: no line of it is here.
    """
    state = fold(renumbered(source.lines(item)))
    if state is None:
        raise ValueError(f"no entry of {item!r} says what it is")
    return state


def bench_of(source: Source) -> BenchState | None:
    """The bench folded from its lines; None where they are no part of this."""
    if STUDIO not in source.streams():
        return None
    return fold_bench(renumbered(source.lines(STUDIO)))
