"""Pages of a long list, as plain links that keep what the list was asked for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlencode

MOST = 1_000_000


@dataclass(frozen=True, slots=True)
class Pages:
    """Where a page stands among the others; a link is empty where there is no such page."""

    page: int
    pages: int
    first: str
    before: str
    after: str
    last: str


def page_number(text: str) -> int:
    """The page asked for, counted from 1; anything that is no such number is the first.

    >>> page_number("3"), page_number("0"), page_number("-2"), page_number("x"), page_number("٣")
    (3, 1, 1, 1, 1)
    """
    fine = text.isascii() and text.isdigit() and len(text) <= 7
    return min(max(int(text), 1), MOST) if fine else 1


def pages_of(path: str, keep: Mapping[str, str], page: int, pages: int) -> Pages:
    """Links around page ``page`` of ``pages``; ``keep`` is what the list was asked for."""
    asked = {name: value for name, value in keep.items() if value}

    def to(number: int) -> str:
        if not 1 <= number <= pages or number == page:
            return ""
        more = asked if number == 1 else {**asked, "page": str(number)}
        return f"{path}?{urlencode(more, errors='replace')}" if more else path

    return Pages(
        page, pages, to(1) if page > 2 else "", to(page - 1), to(page + 1),
        to(pages) if page < pages - 1 else "",
    )  # fmt: skip
