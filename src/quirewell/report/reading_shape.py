"""The shapes of the report as a page: chapters of blocks of cells that know their sources."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from quirewell.stages.results import Shown

Refs = tuple[str, ...]
GENERAL = "general advice"
# What a part holds for its layout on paper and not to be read as a sentence.
LAYOUT = frozenset(
    ("file", "alt", "key", "key_alt", "columns", "scale", "bar", "width", "registered")
)


@dataclass(frozen=True, slots=True)
class Cell:
    """A number or a sentence and its sources; ``general`` says why it needs none."""

    text: str
    refs: Refs = ()
    general: str = ""


@dataclass(frozen=True, slots=True)
class Block:
    """A table (rows of cells under ``head``), a list, words, or pictures with their facts.

    ``note`` is fixed text of ours above it; ``place`` the page whose before and after a plate
    shows, ``shots`` hash, capture and words of each of its pictures.
    """

    shape: Literal["table", "list", "words", "plate", "photographs"]
    rows: tuple[tuple[Cell, ...], ...] = ()
    title: str = ""
    head: tuple[str, ...] = ()
    note: str = ""
    place: str = ""
    shots: tuple[tuple[str, str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Chapter:
    """A chapter of the report as a page."""

    key: str
    title: str
    blocks: tuple[Block, ...]


def cell(value: Any, refs: Refs = (), general: str = "") -> Cell:
    """A value of the report's content as a cell; text takes ``refs``, a number keeps its own."""
    if isinstance(value, Shown):
        return Cell(value.text, value.refs)
    text = "" if value is None else str(value)
    return Cell(text, () if general else refs, general)


def row(values: Iterable[Any], refs: Refs = ()) -> tuple[Cell, ...]:
    """A row; its plain words go with the record of the row, or with its first number."""
    held = tuple(values)
    own = refs or next((one.refs for one in held if isinstance(one, Shown) and one.refs), ())
    return tuple(cell(one, own) for one in held)


def table(
    values: Iterable[Sequence[Any]], head: Sequence[str] = (), refs: Sequence[Refs] | Refs = (),
    title: str = "", note: str = "",
) -> list[Block]:  # fmt: skip
    """A table, or nothing without rows; ``refs`` one for all rows or one for each."""
    held = [list(one) for one in values]
    if not held:
        return []
    each = list(refs) if refs and not isinstance(refs[0], str) else [refs] * len(held)
    held, head = _filled(held, head)
    rows = tuple(row(one, own) for one, own in zip(held, each, strict=True))  # type: ignore[arg-type]
    return [Block("table", rows, title, tuple(head), note)]


def _filled(rows: list[list[Any]], head: Sequence[str]) -> tuple[list[list[Any]], Sequence[str]]:
    """Rows and head without the columns in which no row says anything."""
    if len({len(one) for one in rows}) > 1:
        return rows, head
    kept = [at for at in range(len(rows[0])) if at == 0 or any(one[at] for one in rows)]
    names = [head[at] for at in kept if at < len(head)]
    return [[one[at] for at in kept] for one in rows], names


def listed_of(
    values: Iterable[Any], refs: Refs = (), title: str = "", general: str = "", note: str = ""
) -> list[Block]:
    """A list of sentences, or nothing without any."""
    rows = tuple((cell(one, refs, general),) for one in values if one)
    return [Block("list", rows, title, note=note)] if rows else []


def words(value: Any, refs: Refs = (), title: str = "", general: str = "") -> list[Block]:
    """One sentence as a paragraph, or nothing."""
    return [Block("words", ((cell(value, refs, general),),), title)] if value else []


def anything(value: Any, refs: Refs = (), title: str = "") -> list[Block]:
    """Any part by its own shape, for parts that need no order of their own."""
    if isinstance(value, dict):
        out: list[Block] = []
        for key, one in value.items():
            if key not in LAYOUT and key not in ("title", "name", "head"):
                head = value.get(f"{key}_head") or (value.get("head", ()) if key == "rows" else ())
                out += [] if key.endswith("_head") else _part(one, refs, head)
        name = value.get("title") or value.get("name") or title
        return _titled(out, str(name)) if out else []
    return _titled(_part(value, refs, ()), title)


def _part(value: Any, refs: Refs, head: Sequence[str]) -> list[Block]:
    if isinstance(value, dict):
        return anything(value, refs)
    if not isinstance(value, (list, tuple)):
        return [] if value in ("", None) or isinstance(value, bool) else words(value, refs)
    if value and isinstance(value[0], dict):
        return [block for one in value for block in anything(one, refs)]
    if value and isinstance(value[0], (list, tuple)):
        return table(value, head, refs)
    return listed_of(value, refs)


def _titled(blocks: list[Block], title: str) -> list[Block]:
    if blocks and title and not blocks[0].title:
        return [replace(blocks[0], title=title), *blocks[1:]]
    return blocks
