"""A copy of a report to be read by somebody from whom names and prices are withheld.

The same content as the report, with words taken out of it and of its drawings before it is set. It
is recorded nowhere, has no manifest, and is without the chapter that leads each number to its
source, since that is open at the bench only.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from quirewell.record.nouns import ItemState
from quirewell.report import paper_parts as parts
from quirewell.report import plates
from quirewell.report.forms import NoForm, fitting, photos_of
from quirewell.report.in_short import HOW, in_short
from quirewell.report.model import known_refs, settle
from quirewell.report.plates import Loader
from quirewell.report.reader import NO_WORDS
from quirewell.report.treatment import (
    Progress,
    gather_pictures,
    head_of,
    render,
    report_body,
)
from quirewell.report.typeset import ReportError, held
from quirewell.studio.studio import Studio

COPY_FORMS = ("short", "full")
NOTE = (
    "This is a copy to read. Names and prices are taken out; a mark \u2022\u2022\u2022 stands "
    "where one was. The bench keeps the report itself, in which every number leads to its source."
)
COPY_HOW = (
    "The bench keeps the report in which every number leads to its source and its picture, and can "
    "have all of them computed again with quirewell recheck."
)
# Measures of a picture, which nobody reads as words.
_NO_WORDS = NO_WORDS | {"width", "bar"}


@dataclass(frozen=True, slots=True)
class Withheld:
    """What takes words out: of texts laid end to end, of a drawing (SVG); ``still`` says whether
    texts hold anything yet."""

    texts: Callable[[list[str]], list[str]]
    drawing: Callable[[bytes], bytes]
    still: Callable[[list[str]], bool]


def copy_of(
    form: str,
    studio: Studio,
    item_id: str,
    withheld: Withheld,
    load: Loader = plates.load_sample,
    progress: Progress = lambda says: None,
) -> bytes:
    """The PDF of a copy; nothing is recorded.

    Raises:
        NoForm: there is no copy of this form.
        NoSuchItem: no such item.
        ReportError: the typesetter refused, or words could not be taken out for sure.
    """
    if form not in COPY_FORMS:
        raise NoForm(f"there is no copy of the form {form!r}; there are {', '.join(COPY_FORMS)}")
    state = studio.state(item_id)
    progress("pictures")
    if form == "full":
        return _full(studio, state, withheld, load, progress)
    files: dict[str, bytes | Path] = {}
    photos = photos_of(state, studio.blobs.path, load, files)
    progress("pages")

    def shown(content: dict[str, Any]) -> dict[str, Any]:
        note = parts.words("", NOTE, kind="soft")
        return taken_out({**content, "parts": [*content["parts"], *note]}, withheld, files)

    return fitting("short", state, studio, photos, files, shown_as=shown)[1]


def _full(
    studio: Studio, state: ItemState, withheld: Withheld, load: Loader, progress: Progress
) -> bytes:
    head = head_of(studio, state.id)
    pictures = gather_pictures(state, studio.blobs.path, load, studio.derived / "plates")
    told = [[name, [COPY_HOW] if said == [HOW] else said] for name, said in in_short(state)]
    body = {**report_body(state, head, pictures), "short": told, "kept": NOTE}
    content = taken_out(settle(body, known_refs(state)).content, withheld, pictures.files)
    progress("pages")
    printed = _mapped(content, held, ()) | {"origins": []}
    return render(printed, state, pictures, head, withheld.drawing)


def taken_out(content: dict[str, Any], withheld: Withheld, files: Iterable[str]) -> dict[str, Any]:
    """Settled content without the words that are withheld; names of its ``files`` stay.

    Raises:
        ReportError: something that is withheld would still be there.
    """
    keep = frozenset(files)
    made = iter(withheld.texts(list(_texts(content, keep))))
    out = _mapped(content, lambda text: next(made), keep)
    if withheld.still(list(_texts(out, keep))):
        raise ReportError("names or prices could not be taken out of it for sure")
    assert isinstance(out, dict)
    return out


def _texts(value: Any, keep: frozenset[str]) -> Iterator[str]:
    """Every text that is read as words, in its order."""
    if isinstance(value, str):
        if value not in keep:
            yield value
    elif isinstance(value, dict):
        for key, one in value.items():
            if key not in _NO_WORDS:
                yield from _texts(one, keep)
    elif isinstance(value, (list, tuple)):
        for one in value:
            yield from _texts(one, keep)


def _mapped(value: Any, change: Callable[[str], str], keep: Iterable[str]) -> Any:
    """The same content, each of those texts changed."""
    if isinstance(value, str):
        return value if value in keep else change(value)
    if isinstance(value, dict):
        return {
            key: one if key in _NO_WORDS else _mapped(one, change, keep)
            for key, one in value.items()
        }
    if isinstance(value, (list, tuple)):
        return [_mapped(one, change, keep) for one in value]
    return value
