"""Words that can be found: which of a record's fields hold them, how they are compared, and the
piece of text that is shown around a hit.

What a person types is never a query language: it is cut into words here, and each word is looked
for as the beginning of a word.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from quirewell.record.bench import BenchState
from quirewell.record.nouns import ItemState

BENCH_STREAM = "studio"
MOST_WORDS, LONGEST, AROUND = 12, 64, 150
# Letters and digits of any script; everything else parts words.
_WORD = re.compile(r"[^\W_]+")
_RUN = re.compile(r"(?:[^\W_]|[\u0300-\u036f])+")

# What of each record can be found. What stands on a page about money or people is in the second
# table, which show mode and guests never reach.
_OPEN: Mapping[str, tuple[str, ...]] = {
    "captures": ("filename", "notes"),
    "readings": ("quantity", "as_typed", "value", "unit", "method", "instrument", "note"),
    "defects": ("term", "extent", "severity", "note"),
    "grades": ("words", "by"),
    "remaining": ("words",),
    "spot_tests": ("colour", "liquid", "result", "note"),
    "overrides": ("reason", "rule"),
    "steps": ("kind", "way", "lots", "note", "who", "recipe"),
    "baths": ("note",),
    "margins": ("quantity", "reason"),
    "corrections": ("note",),
    "staples": ("note",),
    "found": ("pages", "note"),
    "holes": ("note",),
    "joined": ("note",),
    "answered": ("note",),
    "mishaps": ("what", "done_about"),
    "checks": ("key", "note"),
    "keeps": ("what", "why"),
    "pilots": ("scrap", "why", "measured", "note"),
    "trials": ("kind", "way_a", "way_b", "note"),
    "reports": ("title", "id"),
}
_PRIVATE: Mapping[str, tuple[str, ...]] = {
    "times": ("doing", "note", "who"),
    "laters": ("quantity", "words", "as_typed", "note"),
    "next_checks": ("note",),
    "costs": ("kind", "note"),
    "holdings": ("aim", "place", "note"),
    "own_options": ("text", "note"),
    "choices": ("option", "reason", "consent_by"),
    "custodies": ("client", "limits", "came_with", "condition", "note"),
    "quotes": ("lines", "note"),
    "invoices": ("number", "lines", "note"),
    "returned": ("words", "service", "note"),
    "sold": ("to", "note"),
    "claims": ("against", "what", "name", "note"),
}
_BENCH_OPEN: Mapping[str, tuple[str, ...]] = {
    "courses": ("name", "key", "note", "text"),
    "stacks": ("name", "note"),
}
_BENCH_PRIVATE: Mapping[str, tuple[str, ...]] = {
    "stock": ("material", "lot", "note"),
    "clients": ("name", "reach", "note"),
    "wants": ("title", "year", "note"),
    "offers": ("title", "seller", "note"),
    "services": ("name", "note"),
    "parcels": ("name", "service", "tracking", "note"),
}
MOST_KEY = 500  # signs; an index of PostgreSQL takes 2704 bytes, its documentation, from memory


@dataclass(frozen=True, slots=True)
class Words:
    """What can be found of one record: ``about`` are the words of its item's title and year,
    which count for each of its records; ``private``: it stands on a page for the bench alone."""

    collection: str
    key: str
    place: str
    heading: str
    words: str
    about: str
    private: bool


def words_of(state: ItemState) -> Iterator[Words]:
    """Everything of an item that can be found, a row a record."""
    item, about = state.item, about_of(state)
    yield Words(
        "item", "item", "item", about, _joined((item.form, item.notes, state.id)), "", False
    )
    if item.owner.strip():
        yield Words("item", "owner", "item", "", item.owner, about, True)
    for name in (*_OPEN, *_PRIVATE):
        for key, noun in getattr(state, name).items():
            if (row := record_words(name, key, noun, about)) is not None:
                yield row


def about_of(state: ItemState) -> str:
    """Title and year, as they count for each record of the item."""
    return _joined((state.item.title, state.item.year))


def record_words(collection: str, key: str, noun: Any, about: str) -> Words | None:
    """What can be found of one record; None where it holds no word."""
    private = collection in _PRIVATE
    names = (_PRIVATE if private else _OPEN).get(collection, ())
    words = _joined(_texts(noun, names))
    if not words:
        return None
    place = getattr(noun, "place", "") or " ".join(getattr(noun, "places", ()))
    return Words(collection, key, str(place), "", words, about, private)


def searched() -> tuple[str, ...]:
    """The collections of an item in which words are looked for."""
    return (*_OPEN, *_PRIVATE)


def bench_words(bench: BenchState) -> Iterator[Words]:
    """Everything of the bench itself that can be found."""
    for table, private in ((_BENCH_OPEN, False), (_BENCH_PRIVATE, True)):
        for name, fields in table.items():
            for key, noun in getattr(bench, name).items():
                first, *rest = fields
                heading = _joined(_texts(noun, (first,)))
                words = _joined(_texts(noun, rest))
                if heading or words:
                    yield Words(name, key, "", heading, words, "", private)


def _texts(noun: Any, names: Iterable[str]) -> Iterator[str]:
    for name in names:
        yield from _flat(getattr(noun, name, ""))


def _flat(value: Any) -> Iterator[str]:
    if value is None:
        return
    if isinstance(value, (tuple, list)):
        for one in value:
            yield from _flat(one)
    elif hasattr(value, "material"):
        yield from (value.material, value.lot, value.amount)
    elif hasattr(value, "what"):
        yield value.what
    else:
        yield str(value)


def _joined(texts: Iterable[str]) -> str:
    kept = [" ".join(_clean(text).split()) for text in texts]
    return " · ".join(text for text in kept if text)


def _clean(text: str) -> str:
    return "".join(sign if sign.isprintable() or sign.isspace() else " " for sign in text)


# --- comparing ------------------------------------------------------------------------------


def title_key(title: str) -> str:
    """What lists sort a title by: its beginning, folded, as long as any engine can look up."""
    return folded(title)[:MOST_KEY]


def folded(text: str) -> str:
    """Text as it is compared: without case and accents, words parted by single blanks.

    >>> folded("Jardin d'ÉTÉ, w03_outer.tif")
    'jardin d ete w03 outer tif'
    """
    return " ".join(_WORD.findall(_plain(text)))


def _plain(text: str) -> str:
    parts = unicodedata.normalize("NFKD", text.casefold()).casefold()
    kept = "".join(sign for sign in parts if not unicodedata.combining(sign))
    return unicodedata.normalize("NFC", kept)


def asked(text: str) -> tuple[str, ...]:
    """The words of what was typed, each once, at most :data:`MOST_WORDS`, none longer than
    :data:`LONGEST` letters; empty when there is no word in it.

    >>> asked('lime NEAR "lime*')
    ('lime', 'near')
    """
    words = dict.fromkeys(word[:LONGEST] for word in folded(text[:4000]).split())
    return tuple(words)[:MOST_WORDS]


def marked(text: str, words: tuple[str, ...], around: int = AROUND) -> tuple[tuple[str, bool], ...]:
    """A piece of a text around its first hit, as (text, whether it is a hit) in order."""
    hits = [
        found.span()
        for found in _RUN.finditer(text)
        if any(part.startswith(words) for part in folded(found.group()).split())
    ]
    begin, end = _piece(text, hits[0] if hits else (0, 0), around)
    parts: list[tuple[str, bool]] = [("… ", False)] if begin else []
    at = begin
    for left, right in hits:
        if left < begin or right > end:
            continue
        parts += [(text[at:left], False), (text[left:right], True)]
        at = right
    parts += [(text[at:end], False), (" …" if end < len(text) else "", False)]
    return tuple(part for part in parts if part[0])


def _piece(text: str, hit: tuple[int, int], around: int) -> tuple[int, int]:
    """From where to where a text is shown, cut between words where it can be."""
    if len(text) <= around + 20:
        return 0, len(text)
    begin = max(0, min(hit[0] - around // 3, len(text) - around))
    if begin and (blank := text.find(" ", begin, hit[0])) >= 0:
        begin = blank + 1
    end = min(len(text), max(begin + around, hit[1]))
    if end < len(text) and (blank := text.rfind(" ", hit[1], end)) > 0:
        end = blank
    return begin, end
