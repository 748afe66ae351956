"""Lists of items, chosen, sorted and cut into pages by the tables, never by reading the items."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from sqlalchemy import Connection, Select, and_, func, or_, select

from quirewell.studio.projection import ItemSummary
from quirewell.studio.search_words import asked, title_key
from quirewell.studio.tables import summary

Order = Literal["changed", "opened", "title", "year", "check"]
Having = Literal["", "open", "under way", "planned", "unassigned", "due", "unsold", "sold"]
ORDERS: tuple[Order, ...] = ("changed", "opened", "title", "year", "check")
HAVINGS: tuple[Having, ...] = (
    "", "open", "under way", "planned", "unassigned", "due", "unsold", "sold",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Where:
    """Which items a list holds and in what order.

    ``title``: words that begin words of the title or stand in the year; ``day`` is today, for the
    checks that are due.
    """

    title: str = ""
    having: Having = ""
    order: Order = "changed"
    day: str = ""


EVERY = Where()


def count(connection: Connection, where: Where) -> int:
    """How many items the list holds."""
    wanted = _chosen(select(func.count()).select_from(summary), where)
    return int(connection.execute(wanted).scalar_one())


def page(connection: Connection, where: Where, limit: int, offset: int) -> list[ItemSummary]:
    """A page of the list."""
    wanted = _chosen(select(summary), where).order_by(*_order(where.order))
    return [ItemSummary(*row) for row in connection.execute(wanted.limit(limit).offset(offset))]


def named(connection: Connection, words: str) -> list[ItemSummary]:
    """Items with this id, or a title that is alike but for case, accents and signs."""
    alike = summary.c.title_key == title_key(words)
    rows = connection.execute(select(summary).where(or_(summary.c.stream == words, alike)))
    return [ItemSummary(*row) for row in rows]


def line(connection: Connection, item: str) -> ItemSummary | None:
    """An item in a line; None where there is none."""
    row = connection.execute(select(summary).where(summary.c.stream == item)).one_or_none()
    return None if row is None else ItemSummary(*row)


def titles(connection: Connection, ids: Sequence[str]) -> dict[str, tuple[str, str]]:
    """(title, year) of some items, by id."""
    wanted = select(summary.c.stream, summary.c.title, summary.c.year)
    rows = connection.execute(wanted.where(summary.c.stream.in_(ids)))
    return {row.stream: (row.title, row.year) for row in rows}


def _chosen(wanted: Select[Any], where: Where) -> Select[Any]:
    spaced = " " + summary.c.title_key + " " + summary.c.year
    for word in asked(where.title):
        wanted = wanted.where(spaced.contains(f" {word}", autoescape=True))
    having = {
        "open": or_(summary.c.under_way > 0, summary.c.planned > 0),
        "under way": summary.c.under_way > 0,
        "planned": summary.c.planned > 0,
        "unassigned": summary.c.unassigned > 0,
        "due": and_(summary.c.check_on != "", summary.c.check_on < where.day),
        "unsold": summary.c.sold == 0,
        "sold": summary.c.sold == 1,
    }
    return wanted if not where.having else wanted.where(having[where.having])


def _order(order: Order) -> tuple[Any, ...]:
    last = summary.c.stream
    return {
        "changed": (summary.c.changed_at.desc(), last),
        "opened": (summary.c.opened_at.desc(), last),
        "title": (summary.c.title_key, summary.c.year, last),
        "year": (summary.c.year == "", summary.c.year, summary.c.title_key, last),
        "check": (summary.c.check_on == "", summary.c.check_on, summary.c.title_key, last),
    }[order]
