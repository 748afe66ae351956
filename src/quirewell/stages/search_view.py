"""What a search found, in words: which record, where on the item, at which stage, on which page."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from urllib.parse import quote

from quirewell.stages.naming import places_words, sheet_of
from quirewell.studio.search import PAGE, Found, Hit, HitItem
from quirewell.studio.studio import STUDIO, Studio

MOST_OF_ONE = 100
BENCH = "The bench itself"


@dataclass(frozen=True, slots=True)
class HitView:
    """One record: what it is, where on the item, the words around with the hit marked, its page."""

    what: str
    where: str
    stage: str
    parts: tuple[tuple[str, bool], ...]
    href: str


@dataclass(frozen=True, slots=True)
class HitItemView:
    """An item with its hits; ``more`` records of it are not shown."""

    id: str
    title: str
    year: str
    href: str
    hits: tuple[HitView, ...]
    more: int


@dataclass(frozen=True, slots=True)
class SearchView:
    """A page of what was found, and that in a sentence."""

    typed: str
    item: str
    says: str
    items: tuple[HitItemView, ...]
    page: int
    pages: int


# Collection -> what one record is called, the stage it belongs to, the end of its page's path.
_EXAMINE = "examine"
_KNOWN: Mapping[str, tuple[str, str, str]] = {
    "captures": ("Picture", "intake", "look/{key}"),
    "readings": ("Reading", "examine", _EXAMINE),
    "defects": ("Defect", "examine", _EXAMINE),
    "grades": ("Own estimate", "examine", "examine"),
    "remaining": ("Still wrong", "examine", "examine"),
    "answered": ("Answer to a proposal", "examine", "examine"),
    "spot_tests": ("Spot test", "treat", "treat/before"),
    "checks": ("Check before a step", "treat", "treat/before"),
    "keeps": ("To be kept", "treat", "treat/before"),
    "pilots": ("Pilot", "treat", "treat/before"),
    "overrides": ("Caution passed over", "treat", "treat"),
    "steps": ("Step", "treat", "treat"),
    "baths": ("Bath", "treat", "treat"),
    "trials": ("Trial", "treat", "trial"),
    "mishaps": ("Mishap", "treat", "source/{key}"),
    "margins": ("Margin", "prove", "prove"),
    "corrections": ("Correction", "examine", "source/{key}"),
    "staples": ("Staple", "rejoin", "rejoin"),
    "found": ("Sheet as found", "rejoin", "rejoin"),
    "holes": ("Staple holes", "rejoin", "rejoin"),
    "joined": ("Sheet laid", "rejoin", "rejoin"),
    "reports": ("Report", "prove", "prove"),
    "times": ("Time spent", "money", "money"),
    "costs": ("Cost", "money", "money"),
    "holdings": ("Held for", "money", "money"),
    "sold": ("Sale", "money", "money"),
    "own_options": ("Own options", "decide", "decide"),
    "choices": ("Option taken", "decide", "decide"),
    "custodies": ("Custody", "owner", "owner"),
    "quotes": ("Quote", "owner", "owner"),
    "invoices": ("Invoice", "owner", "owner"),
    "returned": ("Grade that came back", "send", "send"),
    "claims": ("Claim", "send", "send/after"),
    "laters": ("Check after treatment", "send", "send/after"),
    "next_checks": ("Next check", "send", "send/after"),
}
_BENCH: Mapping[str, tuple[str, str]] = {
    "courses": ("Recipe", "/recipes"),
    "stacks": ("Pressing kept", "/bench/press"),
    "stock": ("Lot of a material", "/books/stock"),
    "clients": ("Client", "/clients"),
    "wants": ("Want", "/books/wants"),
    "offers": ("Offer", "/buying/{key}"),
    "services": ("Grading service", "/parcels"),
    "parcels": ("Parcel", "/parcels"),
}


def search_view(
    studio: Studio, typed: str, *, private: bool, page: int = 1, item: str = ""
) -> SearchView:
    """Page ``page`` (from 1; one beyond the last is the last) of what the words find.

    ``private`` lets what stands on pages about money and people be found too; ``item`` looks in
    one item alone and shows more of its records.
    """
    each = MOST_OF_ONE if item else 3

    def found_at(number: int) -> Found:
        return studio.search(
            typed, private=private, offset=(number - 1) * PAGE, item=item, each=each
        )

    page = min(max(page, 1), 1_000_000)
    found = found_at(page)
    if page > 1 and not found.items:
        first = found_at(1)
        page = max(1, -(-first.item_count // PAGE))
        found = first if page == 1 else found_at(page)
    titles = studio.titles([one.stream for one in found.items])
    items = tuple(_item(one, titles.get(one.stream, ("", ""))) for one in found.items)
    return SearchView(
        typed, item, _says(typed, found), items, page, max(1, -(-found.item_count // PAGE))
    )


def _says(typed: str, found: Found) -> str:
    if not typed.strip():
        return ""
    if not found.words:
        return "There is no word in what was typed: a word has a letter or a digit in it."
    named = ", ".join(f"“{word}”" for word in found.words)
    if not found.items:
        every = "every one of them" if len(found.words) > 1 else "it"
        return f"Nothing was found for {named}. A record is found when {every} begins a word in it."
    many = f"{found.record_count} record{'' if found.record_count == 1 else 's'}"
    if found.cut:
        return (
            f"{named} stands in more records than are ranked here (the first {many}, of "
            f"{found.item_count} items). Add a word to narrow it."
        )
    items = f"{found.item_count} item{'' if found.item_count == 1 else 's'}"
    return f"{named}: {many} of {items}."


def _item(found: HitItem, title: tuple[str, str]) -> HitItemView:
    bench = found.stream == STUDIO
    hit: Callable[[Hit], HitView] = _bench_hit if bench else lambda one: _hit(found.stream, one)
    return HitItemView(
        found.stream, BENCH if bench else title[0] or found.stream, title[1],
        "/bench" if bench else _base(found.stream), tuple(hit(one) for one in found.hits),
        found.records - len(found.hits),
    )  # fmt: skip


def _hit(item: str, hit: Hit) -> HitView:
    base = _base(item)
    if hit.collection == "item":
        owner = hit.key == "owner"
        return HitView("Owner" if owner else "Title and notes", "", "", hit.parts, base)
    what, stage, end = _KNOWN[hit.collection]
    if end == _EXAMINE and sheet_of(hit.place):
        end = f"examine/{sheet_of(hit.place)}"
    where = "" if hit.place in ("", "item") else places_words(hit.place.split())
    return HitView(what, where, stage, hit.parts, f"{base}/{end.format(key=_part(hit.key))}")


def _bench_hit(hit: Hit) -> HitView:
    what, href = _BENCH[hit.collection]
    return HitView(what, "", "", hit.parts, href.format(key=_part(hit.key)))


def _base(item: str) -> str:
    return f"/item/{_part(item)}"


def _part(text: str) -> str:
    return quote(text, safe=":")
