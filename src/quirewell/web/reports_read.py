"""The report as a page, kept in memory for the item and the journal it was read from."""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass

from quirewell.record.nouns import ItemState
from quirewell.report.reading import reading
from quirewell.report.reading_shape import Chapter
from quirewell.report.treatment import Head, head_of
from quirewell.web.house import House

MOST_HELD = 8
_LOCK = threading.Lock()
_HELD: OrderedDict[tuple[str, str, int, str], ReportRead] = OrderedDict()


@dataclass(frozen=True, slots=True)
class ReportRead:
    """A report read: its chapters, and its sentences with many sources by a key of their own."""

    head: Head
    chapters: tuple[Chapter, ...]
    sentences: dict[str, tuple[str, tuple[str, ...]]]


def report_read(house: House, state: ItemState) -> ReportRead:
    """The report of an item as it stands; read anew only when the journal has moved on."""
    key = (str(house.studio.folder), state.id, state.version, house.studio.head())
    with _LOCK:
        if key in _HELD:
            _HELD.move_to_end(key)
            return _HELD[key]
    head = head_of(house.studio, state.id)
    chapters = reading(state, head)
    sentences = {
        sentence_key(one.text, one.refs): (one.text, one.refs)
        for chapter in chapters
        for block in chapter.blocks
        for row in block.rows
        for one in row
        if len(one.refs) > 1
    }
    made = ReportRead(head, chapters, sentences)
    with _LOCK:
        _HELD[key] = made
        while len(_HELD) > MOST_HELD:
            _HELD.popitem(last=False)
    return made


def sentence_key(text: str, refs: Sequence[str]) -> str:
    """A short name of a sentence with its sources."""
    return hashlib.sha256("\n".join((text, *refs)).encode()).hexdigest()[:16]
