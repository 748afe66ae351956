"""``journal.jsonl``: every entry of the journal as a line of canonical JSON, exactly as it was.

A line holds all ten fields of an entry, keys sorted, no spaces, every number as decimal text.
Take away ``prev`` and ``hash``: what is left, written the same way, is what was hashed, as
SHA-256 of ``prev``, a line feed, and that text. A line with ``withheld`` gives only a part of an
entry (see :mod:`quirewell.exchange.scope`) and has no hashes.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from typing import IO, Any

from quirewell.record.canonical import GENESIS, canonical, link
from quirewell.record.event import Event

MOST_LINE_BYTES = 64 << 20
_FIELDS = ("seq", "stream", "version", "kind", "body", "at", "zone", "actor", "prev", "hash")
_TEXTS = ("stream", "kind", "at", "zone", "actor", "prev", "hash")


class LineError(ValueError):
    """A line that is no journal entry; says what is wrong."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line: the entry, and what of it was withheld ("all", names of fields, or nothing).

    Of an entry withheld whole, body, time and hashes are empty.
    """

    event: Event
    withheld: tuple[str, ...] = ()

    def text(self) -> str:
        """The line without its end."""
        said: dict[str, Any] = {name: getattr(self.event, name) for name in _FIELDS}
        if self.withheld:
            gone = ("body", "at", "zone", "actor") if self.withheld == ("all",) else ()
            said = {k: v for k, v in said.items() if k not in ("prev", "hash", *gone)}
            said["withheld"] = list(self.withheld)
        return canonical(said)


def lines_out(lines: Iterable[Line]) -> Iterator[bytes]:
    """The bytes of the file, line by line."""
    for line in lines:
        yield (line.text() + "\n").encode()


def lines_in(stream: IO[bytes]) -> Iterator[bytes]:
    """Lines of the file without their ends, none longer than may be.

    Raises:
        LineError: a line too long, or a last one without an end.
    """
    while raw := stream.readline(MOST_LINE_BYTES + 1):
        if not raw.endswith(b"\n"):
            raise LineError(
                f"a line is longer than {MOST_LINE_BYTES / 1e6:.0f} MB or the file is cut short"
            )
        yield raw[:-1]


def read_line(raw: bytes) -> Line:
    """An entry from its line.

    Raises:
        LineError: the line is no entry, or is not written the canonical way.
    """
    try:
        said = json.loads(raw.decode("utf-8"))
        if not isinstance(said, dict):
            raise LineError("it is not named fields")
        withheld = tuple(said.get("withheld", ()))
        empty: dict[str, Any] = dict.fromkeys(_TEXTS, "") | {"body": {}}
        values = {**empty, **{k: v for k, v in said.items() if k != "withheld"}}
        if not withheld and set(said) != set(_FIELDS):
            raise LineError("its fields are not those of an entry")
        if not all(isinstance(values[name], str) for name in _TEXTS):
            raise LineError("a field that is text holds something else")
        if not isinstance(values["body"], dict):
            raise LineError("its body is not named fields")
        values["seq"], values["version"] = _count(values["seq"]), _count(values["version"])
        line = Line(Event(**values), withheld)
        if line.text().encode() != raw:
            raise LineError("it is not written the canonical way")
    except LineError:
        raise
    except (ValueError, TypeError, KeyError, RecursionError) as error:
        raise LineError(f"it cannot be read ({type(error).__name__})") from error
    return line


def _count(text: Any) -> int:
    if not isinstance(text, str) or not text.isascii() or not text.isdigit() or len(text) > 18:
        raise LineError(f"a count is digits, got {str(text)[:20]!r}")
    return int(text)


@dataclass(slots=True)
class Chain:
    """Walks the lines in order and says what does not follow. ``whole``: every entry is here."""

    whole: bool
    head: str = GENESIS
    seq: int = 0
    count: int = 0
    versions: dict[str, int] = field(default_factory=dict)

    def faults(self, line: Line) -> Iterator[str]:
        """What is wrong with the next line, in sentences."""
        event = line.event
        where = f"journal entry {event.seq} ({event.kind} of {event.stream})"
        versions = self.versions
        self.count += 1
        if event.version != versions.get(event.stream, 0) + 1:
            yield f"{where}: version {event.version} is out of order; entries are missing"
        if event.seq <= self.seq or (self.whole and event.seq != self.seq + 1):
            yield f"{where}: entry {self.seq + 1} should stand here"
        if self.whole and line.withheld:
            yield f"{where}: a part of it is withheld, in an archive that says it is whole"
        elif not line.withheld:
            known = self.whole or (self.count > 1 and event.seq == self.seq + 1 and self.head)
            if known and event.prev != self.head:
                yield f"{where} does not follow the entry before it"
            if link(event.prev, event.payload()) != event.hash:
                yield f"{where} was changed after it was written"
        versions[event.stream] = event.version
        self.seq, self.head = event.seq, event.hash


def renumbered(lines: Iterable[Line]) -> Iterator[Event]:
    """The entries that are here, with versions that count without gaps, ready to be folded."""
    versions: dict[str, int] = {}
    for line in lines:
        if line.withheld == ("all",):
            continue
        stream = line.event.stream
        versions[stream] = versions.get(stream, 0) + 1
        yield replace(line.event, version=versions[stream])
