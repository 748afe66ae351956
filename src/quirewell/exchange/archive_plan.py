"""What an archive would hold, said before it is made: how much, and what of it is private."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from quirewell.exchange.journal_file import Line
from quirewell.exchange.scope import LEFT_OUT, OPEN_KINDS, OPEN_METHODS, lines_of
from quirewell.exchange.share_private import pattern, private_of
from quirewell.studio import journal
from quirewell.studio.blobs import is_sha256
from quirewell.studio.database import reading
from quirewell.studio.studio import Studio

# Whose names no entry that goes out is for; who did a step is told, and so is the name of a file.
WITHHELD = frozenset((
    "the owner", "the buyer", "a client", "where a client is reached", "who gave consent",
    "a seller", "a receiver of parcels", "who a claim is against", "the place it is kept",
    "a tracking number", "the number of an invoice",
))  # fmt: skip
# What else is written beside the originals, as a part of them: left free on the disk besides.
ROOM_BESIDES = 0.1


@dataclass(frozen=True, slots=True)
class Kept:
    """How many files of a kind, and their bytes."""

    count: int
    bytes: int


@dataclass(frozen=True, slots=True)
class ArchivePlan:
    """What an archive would hold. ``withheld`` entries stay out in part or whole; ``private`` are
    entries about people and money that go along; ``names`` says where free words hold a name that
    is withheld everywhere else."""

    item: str
    head: str
    items: int
    entries: int
    withheld: int
    private: int
    originals: Kept
    reports: Kept
    left_out: tuple[str, ...] = ()
    names: tuple[str, ...] = ()

    @property
    def least_bytes(self) -> int:
        """What the originals and reports alone take; record, tables and tiles come on top."""
        return self.originals.bytes + self.reports.bytes

    @property
    def room_bytes(self) -> int:
        """Room that is asked for before it is begun."""
        return int(self.least_bytes * (1 + ROOM_BESIDES))


def plan_archive(studio: Studio, item: str = "", with_private: bool = False) -> ArchivePlan:
    """What :func:`quirewell.exchange.make.make` would write now, of all or of one item.

    Raises:
        NoSuchItem: no such item.
    """
    return _of_item(studio, item, with_private) if item else _of_all(studio)


def _of_all(studio: Studio) -> ArchivePlan:
    with reading(studio.engine) as connection:
        head = journal.head_of(connection)[1]
        kinds = journal.kinds(connection)
    sizes = studio.blobs.sizes()
    closed = OPEN_KINDS | {"run.recorded"}
    private = sum(count for kind, count in kinds.items() if kind not in closed)
    return ArchivePlan(
        "", head, studio.count(), sum(kinds.values()), 0, private,
        Kept(len(sizes), sum(sizes.values())), _reports(studio.folder / "reports", ""),
    )  # fmt: skip


def _of_item(studio: Studio, item: str, with_private: bool) -> ArchivePlan:
    studio.state(item)
    with reading(studio.engine) as connection:
        head = journal.head_of(connection)[1]
        lines = list(lines_of(journal.walk(connection, item), with_private))
    hashes = {one for line in lines for one in _hashes(line, with_private)}
    sizes = [studio.blobs.size_bytes(one) for one in hashes if studio.blobs.has(one)]
    reports = _reports(studio.folder / "reports", item) if with_private else Kept(0, 0)
    return ArchivePlan(
        item, head, 1, len(lines), sum(bool(line.withheld) for line in lines),
        sum(_is_private(line) for line in lines) if with_private else 0,
        Kept(len(sizes), sum(sizes)), reports,
        LEFT_OUT[:1] if with_private else LEFT_OUT,
        () if with_private else tuple(_names(studio, item, lines)),
    )  # fmt: skip


def _is_private(line: Line) -> bool:
    event = line.event
    if event.kind == "run.recorded":
        return str(event.body.get("method", "")).partition(".")[0] not in OPEN_METHODS
    return event.kind not in OPEN_KINDS and event.kind != "event.undone"


def _hashes(line: Line, with_private: bool) -> Iterator[str]:
    """What could be an original that an entry names; a report's PDF goes along only when asked."""
    if line.withheld == ("all",) or (line.event.kind == "report.issued" and not with_private):
        return
    yield from (text for _, text in _texts(line.event.body) if is_sha256(text))


def _names(studio: Studio, item: str, lines: list[Line]) -> Iterator[str]:
    """Where the words of entries that go out hold a name that is withheld: entry, and whose."""
    held = private_of(studio.state(item), studio.bench())
    private = [one for one in held if one.what in WITHHELD]
    for line in lines:
        for field, text in _texts(line.event.body) if line.withheld != ("all",) else ():
            for one in private:
                if pattern(one.text).search(text):
                    yield f"entry {line.event.seq}, {line.event.kind}, {field}: {one.what}"


def _texts(value: Any, name: str = "") -> Iterator[tuple[str, str]]:
    """Every text in a body with the name of its field."""
    if isinstance(value, str):
        yield name, value
    elif isinstance(value, dict):
        for key, one in value.items():
            yield from _texts(one, str(key))
    elif isinstance(value, list):
        for one in value:
            yield from _texts(one, name)


def _reports(folder: Path, item: str) -> Kept:
    """Files of the reports' folder that would go along, as the making itself has it."""
    count = size = 0
    for place in folder.glob("*") if folder.is_dir() else ():
        if place.is_symlink() or not place.is_file() or (item and not _is_of(place, item)):
            continue
        count, size = count + 1, size + place.stat().st_size
    return Kept(count, size)


def _is_of(place: Path, item: str) -> bool:
    try:
        said = json.loads(place.with_suffix(".json").read_text("utf-8"))
    except (OSError, ValueError):
        return False
    return isinstance(said, dict) and said.get("item") == item
