"""What is private in a record, and whether a text holds any of it.

Names, addresses, receivers, tracking, places of the store, file names and amounts of money are
private. A name is looked for whole, and by each part of it that is written with a capital; money is
looked for in any form, whether it stands in the record or not.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from pathlib import PurePath

from quirewell.record.bench import BenchState
from quirewell.record.nouns import ItemState

LEAST_SIGNS, LEAST_PART, LEAST_STEM = 2, 4, 6
CODES = ("GBP", "EUR", "USD", "CHF", "JPY", "AUD", "CAD", "NZD", "SEK", "NOK", "DKK", "PLN", "CZK")
SIGNS = "£$€¥₹"
NUMBER = r"\d(?:[\d.,\u00a0\u202f ’']{0,20}\d)?"
_WORD = re.compile(r"[^\W\d_][\w’'-]*")


@dataclass(frozen=True, slots=True)
class Private:
    """A string that must not leave, and what it is ("the owner", "a tracking number")."""

    text: str
    what: str


@dataclass(frozen=True, slots=True)
class Held:
    """A private string found: ``where`` it stands."""

    text: str
    what: str
    where: str


def private_of(state: ItemState, bench: BenchState | None) -> tuple[Private, ...]:
    """Private strings of one item, and of the books behind it."""
    rows = [
        *_of_item(state), *_of_files(state), *(_of_books(bench) if bench is not None else ()),
    ]  # fmt: skip
    return _tidy(rows)


def private_of_all(states: Iterable[ItemState], bench: BenchState) -> tuple[Private, ...]:
    """Private strings of a whole studio, but the names of files: pages show them, and a name in
    one is found as a name. So no picture need be read."""
    rows = [row for state in states for row in _of_item(state)]
    return _tidy([*rows, *_of_books(bench)])


def _of_files(state: ItemState) -> list[tuple[str, str]]:
    rows = [(one.filename, "the name of a file") for one in state.captures.values()]
    stems = [PurePath(one.filename).stem for one in state.captures.values()]
    # A plain word ("staples.jpg") says nothing; a name in it is found as a name.
    rows += [
        (stem, "the name of a file")
        for stem in stems
        if len(stem) >= LEAST_STEM and not stem.isalpha()
    ]
    return rows


def _of_item(state: ItemState) -> list[tuple[str, str]]:
    rows = [(state.item.owner, "the owner")]
    rows += [(one.to, "the buyer") for one in state.sold.values()]
    rows += [(one.name, "who a claim is against") for one in state.claims.values()]
    rows += [(one.place, "the place it is kept") for one in state.holdings.values()]
    rows += [(one.consent_by, "who gave consent") for one in state.choices.values()]
    rows += [(one.who, "who did it") for one in state.steps.values()]
    rows += [(one.who, "who did it") for one in state.times.values()]
    rows += [(one.by, "who said it") for one in state.grades.values()]
    rows += [(one.number, "the number of an invoice") for one in state.invoices.values()]
    return rows


def _of_books(bench: BenchState) -> list[tuple[str, str]]:
    rows = [(one.name, "a client") for one in bench.clients.values()]
    rows += [
        (line, "where a client is reached")
        for one in bench.clients.values()
        for line in re.split(r"[\n;]", one.reach)
    ]
    rows += [(one.tracking, "a tracking number") for one in bench.parcels.values()]
    rows += [(one.name, "a receiver of parcels") for one in bench.services.values()]
    rows += [(one.seller, "a seller") for one in bench.offers.values()]
    return rows


def _tidy(rows: Iterable[tuple[str, str]]) -> tuple[Private, ...]:
    """Each string once, spaces made single, the longest first; very short ones are left out."""
    found: dict[str, str] = {}
    for text, what in rows:
        plain = " ".join(text.split())
        if len(plain) >= LEAST_SIGNS:
            found.setdefault(plain, what)
    kept = [Private(text, what) for text, what in found.items()]
    for one in tuple(kept):
        if one.what in ("the name of a file", "a tracking number", "the number of an invoice"):
            continue
        for part in _WORD.findall(one.text):
            if len(part) >= LEAST_PART and part[0].isupper() and part not in found:
                found[part] = one.what
                kept.append(Private(part, f"part of a name: {one.what}"))
    return tuple(sorted(kept, key=lambda one: (-len(one.text), one.text)))


@lru_cache(maxsize=512)
def pattern(text: str) -> re.Pattern[str]:
    """Finds a private string as a whole word; spaces may be any, capitals count in single words
    only, where a name such as "White" is else found in every sentence."""
    words = [re.escape(word) for word in text.split()]
    body = r"[\s ]+".join(words)
    one_word = len(words) == 1 and text.isalpha()
    if one_word:
        body = "|".join(dict.fromkeys(re.escape(way) for way in (text, text.title(), text.upper())))
    return re.compile(rf"(?<!\w)(?:{body})(?!\w)", re.NOFLAG if one_word else re.IGNORECASE)


@lru_cache(maxsize=64)
def money_pattern(currencies: tuple[str, ...]) -> re.Pattern[str]:
    """Finds an amount of money: a number beside a currency's sign, code or word."""
    words = [re.escape(word) for word in dict.fromkeys((*CODES, *currencies)) if word.strip()]
    unit = rf"(?:[{SIGNS}]|(?<!\w)(?:{'|'.join(words)})(?!\w))"
    gap = r"[\s ]{0,2}"
    return re.compile(rf"{unit}{gap}{NUMBER}|{NUMBER}{gap}{unit}", re.IGNORECASE)


def currencies(states: Iterable[ItemState], bench: BenchState | None) -> tuple[str, ...]:
    """Every currency that stands in the records of items and in the books."""
    held = _money(states, bench)
    found = {str(getattr(one, "currency", "")).strip() for one in held}
    return tuple(sorted(found - {""}))


def look(
    texts: Mapping[str, str],
    private: Iterable[Private],
    units: tuple[str, ...] = (),
    title: str = "",
) -> tuple[Held, ...]:
    """Every private string and amount of money that the texts hold, by their names.

    ``title`` is blanked out first: it was asked about and let through.
    """
    strings, money = tuple(private), money_pattern(units)
    found = []
    for where, text in texts.items():
        plain = pattern(title).sub(" ", text) if title else text
        for one in strings:
            if pattern(one.text).search(plain):
                found.append(Held(one.text, one.what, where))
        amount = money.search(plain)
        if amount is not None:
            found.append(Held(amount[0].strip(), "an amount of money", where))
    return tuple(found)


def amounts(states: Iterable[ItemState], bench: BenchState | None) -> frozenset[Decimal]:
    """Every amount of money in the records."""
    held = _money(states, bench)
    names = ("amount", "price", "fees", "asked", "value_now", "value_u", "insured", "most",
             "hour", "cost", "asking", "post", "declared", "paid")  # fmt: skip
    found = {getattr(one, name, None) for one in held for name in names}
    return frozenset(one for one in found if isinstance(one, Decimal) and one > 0)


def _money(states: Iterable[ItemState], bench: BenchState | None) -> list[object]:
    """Every record that may name an amount or a currency."""
    held: list[object] = []
    for state in states:
        for kept in (state.costs, state.holdings, state.custodies, state.quotes, state.invoices,
                     state.sold, state.claims):  # fmt: skip
            held += kept.values()
        held += [line for one in state.quotes.values() for line in one.lines]
        held += [line for one in state.invoices.values() for line in one.lines]
    if bench is not None:
        for books in (bench.rates, bench.sales, bench.wants, bench.stock, bench.offers,
                      bench.parcels):  # fmt: skip
            held += books.values()
        held += [entry for parcel in bench.parcels.values() for entry in parcel.entries]
    return held
