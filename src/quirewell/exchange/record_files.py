"""The record laid out in files: canonical JSON an item, and the tables; made from lines only."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator, Mapping
from contextlib import ExitStack
from pathlib import Path
from typing import IO, Any

from quirewell.exchange import tables
from quirewell.record.nouns import ItemState

_PLAIN = re.compile(r"[a-z0-9][a-z0-9_-]{0,79}")
_REPORT = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,150}")
EXTENSIONS = {
    "image/tiff": ".tif", "image/jpeg": ".jpg", "image/png": ".png", "image/heic": ".heic",
    "image/heif": ".heic", "application/pdf": ".pdf",
}  # fmt: skip


def file_name(item: str) -> str:
    """A file name for an item: its id where that is plain, else a name made from it.

    >>> file_name("copperbeck-garden-annual")
    'copperbeck-garden-annual'
    """
    if _PLAIN.fullmatch(item):
        return item
    return "item-" + hashlib.sha256(item.encode()).hexdigest()[:16]


def report_name(name: str) -> str:
    """The name of a report's file in the payload: its own, or one made from it where it holds
    more than plain signs (readers of bags and crates differ on ``%``, spaces and such).

    >>> report_name("100%.pdf")
    'named-4f8908ff450658b3.pdf'
    """
    if _REPORT.fullmatch(name):
        return name
    ending = Path(name).suffix
    digest = hashlib.sha256(name.encode("utf-8", "surrogateescape")).hexdigest()[:16]
    return f"named-{digest}{ending if _REPORT.fullmatch('x' + ending) else ''}"


def original_path(sha256: str, media: str) -> str:
    """Where an original lies in the payload; the ending is for people, the hash is the name."""
    return f"originals/{sha256[:2]}/{sha256}{EXTENSIONS.get(media, '')}"


def record_text(body: Mapping[str, Any]) -> str:
    """An item's state as canonical JSON, from its body, which is text throughout."""
    text = json.dumps(body, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return text + "\n"


class TableFiles:
    """CSV files under a folder, written row by row as items come."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self._stack = ExitStack()
        self._files: dict[str, IO[str]] = {}
        self._folder = folder
        self.rows: dict[str, int] = {}

    def add(self, state: ItemState, body: Mapping[str, Any]) -> None:
        """All rows of an item; ``body`` is its state as plain text."""
        for name, row in tables.rows_of(state, body):
            table = tables.schema()[name]
            if name not in self._files:
                place = self._folder / f"{name}.csv"
                out = self._stack.enter_context(place.open("w", encoding="utf-8", newline=""))
                out.write(tables.head_line(table))
                self._files[name], self.rows[name] = out, 0
            self._files[name].write(tables.row_line(table, row))
            self.rows[name] += 1

    def close(self) -> Iterator[tuple[str, Path]]:
        """Finish; the tables that have rows, in the order of the schema."""
        self._stack.close()
        for name in tables.schema():
            if name in self.rows:
                yield name, self._folder / f"{name}.csv"
