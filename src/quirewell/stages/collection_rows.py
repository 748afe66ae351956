"""Rows of a survey on the disk: kept as they come, whole after any kill.

A row is written to ``parts/open.jsonl`` the moment it is known, and from there, some hundred at
a time, into a Parquet part (a temporary name, synced, renamed). So the end of the process loses
nothing that was answered, and a power cut at most the last second. A file's newest row holds.
"""

from __future__ import annotations

import contextlib
import csv
import json
import os
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

import pyarrow as pa
import pyarrow.parquet as pq

from quirewell.record.cells import guarded
from quirewell.stages.collection_scan import NUMBERS, ROW_VERSION, Row
from quirewell.studio.blobs import sync_folder

ROWS_PER_PART = 500
_SYNC_S = 1.0
_TEXT, _COUNT, _NUMBER = pa.string(), pa.int64(), pa.float64()
SCHEMA = pa.schema(
    [
        ("file", _TEXT), ("sha256", _TEXT), ("bytes", _COUNT), ("mtime_ns", _COUNT),
        ("same_as", _TEXT), ("error", _TEXT), ("try_again", pa.bool_()),
        ("media", _TEXT), ("picture_width_px", _COUNT), ("picture_height_px", _COUNT),
        ("scanner", _TEXT), ("profile", _TEXT), ("grey", pa.bool_()),
        ("panel", _TEXT), ("leaf_found", pa.bool_()),
        ("scale_source", _TEXT),
        *((name, _NUMBER) for column in NUMBERS for name in (column, f"{column}_u")),
        ("size_says", _TEXT), ("loss_pct", _NUMBER), ("loss_pct_u", _NUMBER),
        ("loss_basis", _TEXT), ("tone_basis", _TEXT),
        ("tone_greys_L", _NUMBER), ("tone_greys_L_u", _NUMBER), ("greys_off_L", _NUMBER),
        ("tone_L_within_u", _NUMBER), ("tone_unseen_pct", _NUMBER),
        ("tears", _COUNT), ("longest_tear_mm", _NUMBER), ("longest_tear_mm_u", _NUMBER),
        ("warnings", pa.list_(_TEXT)), ("warnings_count", _COUNT),
        ("method", _TEXT), ("method_version", _COUNT), ("row_version", _COUNT),
        ("left_out", _TEXT), ("params", _TEXT), ("seconds", _NUMBER),
    ],
    metadata={"quirewell.survey.row_version": str(ROW_VERSION)},
)  # fmt: skip
# In the parts a row has its small picture too (a WebP file as base64 text); results have not.
PART_SCHEMA = SCHEMA.append(pa.field("picture", _TEXT))


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of a file from an earlier run: ``done`` when it need not be measured again,
    as long as its bytes and the ``panel`` its name says are the same."""

    bytes: int
    mtime_ns: int
    sha256: str
    panel: str
    error: str
    done: bool


class RowStore:
    """The rows of one survey, in ``folder``."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        self._open_path = folder / "open.jsonl"
        for stale in folder.glob(".*.tmp"):
            stale.unlink()
        self._number = max((int(path.stem[5:]) for path in self.parts()), default=0)
        self._rows: list[Row] = []
        self._stream: IO[str] | None = None
        self._synced = time.monotonic()
        self._seal_left()

    def parts(self) -> list[Path]:
        """Paths of all parts, the oldest first."""
        return sorted(self.folder.glob("part-*.parquet"))

    def add(self, row: Row) -> None:
        """Keep a row."""
        text = json.dumps(row, ensure_ascii=True)
        self._rows.append(row)  # first, so that a Ctrl-C below cannot lose it from the part
        if self._stream is None:
            self._stream = self._open_path.open("a", encoding="ascii")
        self._stream.write(text + "\n")
        self._stream.flush()
        if time.monotonic() - self._synced > _SYNC_S:
            os.fsync(self._stream.fileno())
            self._synced = time.monotonic()
        if len(self._rows) >= ROWS_PER_PART:
            self.seal()

    def seal(self) -> None:
        """Put the rows that are still open into a part; where that fails they stay in the file
        of open rows."""
        if self._stream is not None:
            self._stream.close()
            self._stream = None
        if self._rows:
            self._number += 1
            path = self.folder / f"part-{self._number:06d}.parquet"
            write_whole(path, pa.Table.from_pylist(self._rows, PART_SCHEMA))
            self._rows = []
        self._open_path.unlink(missing_ok=True)

    def _seal_left(self) -> None:
        """Take in the rows that an earlier run left open; a line cut short was never answered."""
        if not self._open_path.exists():
            return
        for line in self._open_path.read_bytes().splitlines():
            with contextlib.suppress(ValueError):
                row = json.loads(line)
                if isinstance(row, dict) and {"file", "sha256", "error"} <= set(row):
                    self._rows.append(row)
        self.seal()

    def tables(self, columns: Sequence[str] | None = None) -> Iterator[pa.Table]:
        """Each part as a table, the oldest first, without the small pictures unless asked for; a
        part that cannot be read is set aside, so that its files are measured again."""
        for path in self.parts():
            try:
                yield pq.read_table(path, columns=columns or SCHEMA.names, schema=PART_SCHEMA)
            except (pa.ArrowException, OSError, ValueError):
                path.replace(path.with_suffix(".damaged"))

    def known(self, stamp: Row) -> dict[str, Known]:
        """What is known of each file; ``stamp`` is what a row's method and parameters must be."""
        found: dict[str, Known] = {}
        columns = ["file", "bytes", "mtime_ns", "sha256", "panel", "error", "try_again",
                   *stamp]  # fmt: skip
        for table in self.tables(columns):
            for row in table.to_pylist():
                same = all(row[name] == value for name, value in stamp.items())
                done = same and bool(row["sha256"]) and not row["try_again"]
                found[row["file"]] = Known(
                    row["bytes"],
                    row["mtime_ns"],
                    row["sha256"],
                    row["panel"] or "",
                    row["error"],
                    done,
                )
        return found

    def rows_of(self, wanted: set[tuple[str, str]], stamp: Row) -> Iterator[Row]:
        """A row for each hash and panel that was measured with this method and parameters."""
        left = set(wanted)
        hashes = {sha for sha, _ in wanted}
        for table in self.tables(PART_SCHEMA.names):
            at = [i for i, sha in enumerate(table["sha256"].to_pylist()) if sha in hashes]
            for row in table.take(pa.array(at, pa.int64())).to_pylist():
                same = all(row[name] == value for name, value in stamp.items())
                key = row["sha256"], row["panel"] or ""
                if same and not row["try_again"] and key in left:
                    left.discard(key)
                    yield row

    def whole(self, names: Sequence[str]) -> pa.Table:
        """One table with the newest row of each of these files, in their order."""
        place = {name: index for index, name in enumerate(names)}
        newest: list[int] = [-1] * len(names)
        tables = list(self.tables())
        whole = pa.concat_tables(tables) if tables else SCHEMA.empty_table()
        for index, name in enumerate(whole["file"].to_pylist()):
            if name in place:
                newest[place[name]] = index
        at = [index for index in newest if index >= 0]
        return _same_named(whole.take(pa.array(at, pa.int64())))

    def pictures(self, names: Sequence[str]) -> dict[str, str]:
        """The newest small picture of each of these files, as base64 text; a part at a time."""
        wanted, found = set(names), {}
        for table in self.tables(["file", "picture"]):
            at = [i for i, name in enumerate(table["file"].to_pylist()) if name in wanted]
            for row in table.take(pa.array(at, pa.int64())).to_pylist():
                found[row["file"]] = row["picture"] or ""
        return {name: text for name, text in found.items() if text}


def _same_named(table: pa.Table) -> pa.Table:
    """Fill in which file holds the same bytes as an earlier one."""
    first: dict[str, str] = {}
    same = []
    for name, sha in zip(table["file"].to_pylist(), table["sha256"].to_pylist(), strict=True):
        before = first.setdefault(sha, name) if sha else name
        same.append("" if before == name else before)
    at = table.schema.get_field_index("same_as")
    return table.set_column(at, SCHEMA.field("same_as"), pa.array(same, _TEXT))


def write_whole(path: Path, table: pa.Table) -> None:
    """Put a Parquet file in place whole: a temporary name, synced, renamed."""
    with whole_file(path) as stream:
        pq.write_table(table, stream, compression="zstd")


def write_csv(path: Path, table: pa.Table) -> None:
    """The same as CSV (RFC 4180), safe to open in a spreadsheet: a text that would be taken for
    a formula gets an apostrophe before it."""
    with whole_file(path) as stream:
        text = _Lines(stream)
        writer = csv.writer(text)
        writer.writerow(table.schema.names)
        for batch in table.to_batches(max_chunksize=1000):
            for row in batch.to_pylist():
                writer.writerow([_cell(row[name]) for name in table.schema.names])


class _Lines:
    """Text into a stream of bytes."""

    def __init__(self, stream: IO[bytes]) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        return self._stream.write(text.encode("utf-8"))


def _cell(value: Any) -> str | int | float:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return guarded(" | ".join(value))
    return guarded(value) if isinstance(value, str) else value


@contextlib.contextmanager
def whole_file(path: Path) -> Iterator[IO[bytes]]:
    """Write a file that is there whole or not at all."""
    part = path.with_name(f".{path.name}.tmp")
    with part.open("wb") as stream:
        yield stream
        stream.flush()
        os.fsync(stream.fileno())
    part.replace(path)
    sync_folder(path.parent)
