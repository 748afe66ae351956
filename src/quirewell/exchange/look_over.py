"""Look an archive over: is every file as it was, does the chain hold, do all parts agree?"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import zip_longest
from pathlib import Path
from typing import Any

from quirewell.exchange import crate, record_files, tables
from quirewell.exchange.bag import MANIFEST
from quirewell.exchange.bag_read import Bag, BagError, bag_info, fixity, manifest_of, open_bag
from quirewell.exchange.make import ARCHIVE, FORMAT, FORMAT_VERSION
from quirewell.exchange.sources import FromFile, bench_of, items_of, state_of
from quirewell.record.apply import RecordError
from quirewell.record.codec import to_body
from quirewell.studio.check import Trouble
from quirewell.studio.faults import DiskFull, StudioError, disk_full_said, is_disk_full

JOURNAL = "data/journal.jsonl"
MOST_SAID = 5  # differences of one file that are said one by one
OnProgress = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True)
class Said:
    """What an archive says of itself (``archive.json``)."""

    scope: str
    item: str
    studio: str
    head: str
    entries: int
    program_version: str
    made_at: str
    withheld: int = 0
    left_out: tuple[str, ...] = ()
    reports_named: dict[str, str] = field(default_factory=dict)


@dataclass(slots=True)
class Looked:
    """What was found. ``notes`` are worth knowing and no fault."""

    archive: str
    said: Said
    files: int = 0
    bytes: int = 0
    entries: int = 0
    troubles: list[Trouble] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def ok(self) -> bool:
        """Whether nothing is wrong."""
        return not self.troubles

    def as_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "ok": self.ok,
            "archive": self.archive,
            "scope": self.said.scope,
            "item": self.said.item,
            "journal_head": self.said.head,
            "entries": self.entries,
            "withheld": self.said.withheld,
            "files": self.files,
            "bytes": self.bytes,
            "left_out": list(self.said.left_out),
            "troubles": [{"code": one.code, "says": one.says} for one in self.troubles],
            "notes": self.notes,
        }


def said_of(bag: Bag) -> Said:
    """What the archive says of itself.

    Raises:
        BagError: a bag, but none of ours, or of a newer program.
    """
    try:
        said = json.loads(bag.read(f"data/{ARCHIVE}", 1 << 20))
        if said["format"] != FORMAT:
            raise KeyError("format")
        version = int(said["format_version"])
        found = Said(
            str(said["scope"]), str(said["item"]), str(said["studio"]), str(said["head"]),
            int(said["entries"]), str(said["program_version"]), str(said["made_at"]),
            int(said["withheld"]), tuple(map(str, said["left_out"])),
            {str(name): str(own) for name, own in said["reports_named"].items()},
        )  # fmt: skip
    except (KeyError, TypeError, ValueError, AttributeError, RecursionError) as error:
        raise BagError(
            f"{bag.path.name} is a bag but no archive of quirewell (data/{ARCHIVE} is damaged)"
        ) from error
    if version > FORMAT_VERSION:
        raise BagError(f"{bag.path.name} was written by a newer quirewell; install that one")
    return found


def check_archive(path: Path | str, progress: OnProgress | None = None) -> Looked:
    """Everything wrong with an archive, file by file and entry by entry.

    Raises:
        BagError: there is no archive, or it cannot be read at all.
    """
    with open_bag(path) as bag:
        return look_over(bag, progress)


def look_over(bag: Bag, progress: OnProgress | None = None) -> Looked:
    """:func:`check_archive` of a bag that is open."""
    told = progress or (lambda words, done, total: None)
    troubles: list[Trouble] = []
    try:
        troubles += fixity(bag, lambda done, total: told("files hashed", done, total))
    except BagError as error:
        troubles.append(Trouble("changed", str(error)))
    try:
        said = said_of(bag)
    except BagError as error:
        if not troubles:
            raise
        troubles.append(Trouble("changed", str(error)))
        said = Said("", "", "", "", 0, "", "")
    looked = Looked(str(bag.path), said, len(bag.sizes), sum(bag.sizes.values()), 0, troubles)
    if said.scope:
        try:
            with journal_in(bag, said) as source:
                looked.entries = source.chain.count
                troubles += source.troubles
                troubles += _heads(bag, said, source)
                if not source.troubles:
                    _agreement(bag, source, looked, told)
        except (BagError, OSError) as error:
            if is_disk_full(error):
                raise DiskFull(
                    f"the disk that holds {tempfile.gettempdir()} is full, so the archive could "
                    "not be looked over; nothing was half saved. Make room there, do it once more"
                ) from error
            troubles.append(Trouble("changed", str(error)))
    return looked


@contextmanager
def journal_in(bag: Bag, said: Said) -> Iterator[FromFile]:
    """The journal of an archive, walked and ready to be read by stream."""
    with tempfile.TemporaryFile() as copy, bag.open(JOURNAL) as stream:
        yield FromFile(stream, copy, said.scope == "studio")


def _heads(bag: Bag, said: Said, source: FromFile) -> Iterator[Trouble]:
    """The same head wherever it is stated, and as many entries as were promised."""
    info = bag_info(bag)
    stated = {
        "data/" + ARCHIVE: said.head,
        "bag-info.txt": info.get("Journal-Head", ""),
        "data/" + crate.CRATE: _head_in_crate(bag),
    }
    wanted = source.chain.head if said.scope == "studio" else said.head
    for name, head in stated.items():
        if head != wanted:
            yield Trouble("head", f"{name} says {head[:12] or 'no'}… is the journal's head, and "
                          f"{wanted[:12]}… is")  # fmt: skip
    counts = {said.entries, int(info.get("Journal-Entries", "0") or 0)}
    if counts != {source.chain.count}:
        yield Trouble(
            "journal", f"journal.jsonl has {source.chain.count} entries, {said.entries} were made"
        )


def _head_in_crate(bag: Bag) -> str:
    try:
        graph = json.loads(bag.read(f"data/{crate.CRATE}"))["@graph"]
        return next(str(one["value"]) for one in graph if one["@id"] == "#journal-head")
    except (BagError, ValueError, KeyError, TypeError, StopIteration, RecursionError):
        return ""


# --- agreement --------------------------------------------------------------------------


def _agreement(bag: Bag, source: FromFile, looked: Looked, told: OnProgress) -> None:
    """Record and tables are what the journal makes true; the crate names what is there."""
    items = items_of(source)
    with tempfile.TemporaryDirectory() as folder:
        files = record_files.TableFiles(Path(folder))
        for done, item in enumerate(items, 1):
            try:
                state = state_of(source, item)
            except (RecordError, ValueError) as error:
                looked.troubles.append(Trouble("journal", f"{item}: {error}"))
                return
            body = to_body(state)
            with disk_full_said(Path(folder)):
                files.add(state, body)
            name = f"data/record/{record_files.file_name(item)}.json"
            looked.troubles += _json_agrees(bag, name, body)
            told("items compared", done, len(items))
        try:
            bench = bench_of(source)
        except RecordError as error:
            looked.troubles.append(Trouble("journal", f"the bench: {error}"))
            return
        if bench is not None:
            looked.troubles += _json_agrees(bag, "data/record/bench.json", to_body(bench))
        with disk_full_said(Path(folder)):
            written = list(files.close())
        for name, place in written:
            looked.troubles += _table_agrees(bag, f"data/tables/{name}.csv", place)
    looked.troubles += _crate_agrees(bag)
    known = {f"data/tables/{name}.csv" for name in tables.schema()}
    for path in bag.sizes:
        if path.startswith("data/tables/") and path.endswith(".csv") and path not in known:
            looked.notes.append(
                f"{path} is a table of another edition of the program; not compared"
            )


def _json_agrees(bag: Bag, name: str, fresh: dict[str, Any]) -> Iterator[Trouble]:
    try:
        kept = json.loads(bag.read(name))
    except (BagError, ValueError, RecursionError) as error:
        yield Trouble("record", f"{name} cannot be read ({error})")
        return
    for where in list(_differences(kept, fresh, ""))[:MOST_SAID]:
        yield Trouble("record", f"{name} differs from the journal at {where}")


def _differences(kept: Any, fresh: Any, where: str) -> Iterator[str]:
    """Where a kept value is not the fresh one. A field that only the fresh one has is one that
    came into the program later, which is no difference; a record that is missing is one."""
    if isinstance(kept, dict) and isinstance(fresh, dict):
        depth = where.count("/")
        for key in kept:
            if key not in fresh:
                yield f"{where}/{key}"
            else:
                yield from _differences(kept[key], fresh[key], f"{where}/{key}")
        if depth == 1:  # a collection: its records, by their keys
            yield from (f"{where}/{key}" for key in fresh if key not in kept)
    elif isinstance(kept, list) and isinstance(fresh, list) and len(kept) == len(fresh):
        for number, (one, other) in enumerate(zip(kept, fresh, strict=True)):
            yield from _differences(one, other, f"{where}/{number}")
    elif kept != fresh:
        yield where or "/"


def _table_agrees(bag: Bag, name: str, place: Path) -> Iterator[Trouble]:
    """Row by row in order; columns that either side does not know are passed over."""
    said = 0
    try:
        with bag.open(name) as stream, place.open("rb") as other:
            pairs = zip_longest(tables.read_rows(stream), tables.read_rows(other))
            for number, (kept, fresh) in enumerate(pairs, 2):
                where = _row_differs(kept, fresh)
                if where:
                    yield Trouble(
                        "table", f"{name} differs from the journal: row {number}, {where}"
                    )
                    said += 1
                if said >= MOST_SAID or kept is None or fresh is None:
                    return
    except (BagError, ValueError) as error:
        yield Trouble("table", f"{name} cannot be read ({error})")


def _row_differs(kept: Mapping[str, str] | None, fresh: Mapping[str, str] | None) -> str:
    if kept is None or fresh is None:
        return "which is too few" if kept is None else "which is too many"
    wrong = [name for name in kept if name in fresh and kept[name] != fresh[name]]
    return f"column {wrong[0]}" if wrong else ""


def _crate_agrees(bag: Bag) -> Iterator[Trouble]:
    """Every file that the crate describes is there, with the hash the manifest gives."""
    from urllib.parse import unquote

    name = f"data/{crate.CRATE}"
    payload, _ = manifest_of(bag, MANIFEST)
    try:
        graph = json.loads(bag.read(name))["@graph"]
        told = {f"data/{unquote(one['@id'])}": one for one in graph if one["@type"] == "File"}
        folders = tuple(f"data/{unquote(one['@id'])}" for one in graph
                        if one["@type"] == "Dataset" and one["@id"] != "./")  # fmt: skip
        for path, one in told.items():
            if one["sha256"] != payload.get(path):
                yield Trouble("crate", f"{name} gives another hash for {path} than {MANIFEST}")
    except (BagError, ValueError, KeyError, TypeError, RecursionError) as error:
        yield Trouble("crate", f"{name} cannot be read ({type(error).__name__})")
        return
    for path in payload:
        if path not in told and path != name and not path.startswith(folders):
            yield Trouble("crate", f"{name} does not describe {path}")


def refuse(looked: Looked) -> None:
    """Stop where something is wrong.

    Raises:
        StudioError: with the first trouble.
    """
    if looked.troubles:
        more = len(looked.troubles) - 1
        raise StudioError(
            f"the archive is damaged: {looked.troubles[0].says}"
            f"{f' (and {more} more; see: quirewell archive check)' if more else ''}. Nothing was "
            "read in"
        )
