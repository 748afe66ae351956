"""Full-text search over what the journal makes true: a projection like the others.

``search_entry`` has a row for each record that holds words; ``search_index`` is the engine's own
index over them, an FTS5 table on SQLite and a column of text vectors on PostgreSQL. Both are given
words already without case and accents, so that both compare alike. This module is the only one
that knows either. Rows change in the transaction of the append that changes the record.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import astuple, dataclass
from typing import Any

from sqlalchemy import Connection, delete, func, insert, select, text

from quirewell.record.bench import BenchState
from quirewell.record.nouns import ItemState
from quirewell.studio import search_words
from quirewell.studio.search_words import BENCH_STREAM, Words
from quirewell.studio.tables import search_entry

PAGE, ROWS_OF_ITEM, MOST_ROWS = 20, 3, 20_000
_BATCH = 500

_FTS5 = (
    "CREATE VIRTUAL TABLE search_index USING fts5(heading, words, about, "
    "tokenize=\"unicode61 remove_diacritics 2\", prefix='2 3')",
)
_VECTORS = (
    "CREATE TABLE search_index (id BIGINT PRIMARY KEY, vector TSVECTOR NOT NULL)",
    "CREATE INDEX ix_search_index_vector ON search_index USING gin (vector)",
)
_ADD_FTS5 = "INSERT INTO search_index(rowid, heading, words, about) VALUES (:id, :h, :w, :a)"
_ADD_VECTOR = (
    "INSERT INTO search_index(id, vector) VALUES (:id, setweight(to_tsvector('simple', :h), 'A') "
    "|| setweight(to_tsvector('simple', :w), 'B') || setweight(to_tsvector('simple', :a), 'C'))"
)
# A heading's query has each word once, a record's twice: doubled, both rank on one scale.
_HITS_FTS5 = (
    "SELECT rowid AS id, {twice} * bm25(search_index, 8.0, 1.0, 0.2) AS rank FROM search_index "
    "WHERE search_index MATCH :{query}{within} LIMIT :most"
)
_HITS_VECTOR = (
    "SELECT id, -ts_rank('{{0.1, 0.1, 0.4, 1.0}}', vector, to_tsquery('simple', :{query})) AS rank "
    "FROM search_index WHERE vector @@ to_tsquery('simple', :{query}){within} LIMIT :most"
)
_WITHIN = " AND {name} IN (SELECT id FROM search_entry WHERE stream = :item)"
# Headings are looked through apart, so that no title is lost among too many records.
_FOUND = """
WITH hits AS (
  SELECT id, min(rank) AS rank FROM (
    SELECT * FROM ({records}) AS r UNION ALL SELECT * FROM ({headings}) AS h
  ) AS both_kinds GROUP BY id
),
mine AS (
  SELECT e.id AS id, e.stream AS stream, h.rank AS rank FROM hits h
  JOIN search_entry e ON e.id = h.id
  WHERE e.private = 0 OR :private = 1
),
items AS (
  SELECT stream, min(rank) AS best, count(*) AS many FROM mine GROUP BY stream
),
chosen AS (
  SELECT stream, best, many, count(*) OVER () AS items, sum(many) OVER () AS records
  FROM items ORDER BY best, stream LIMIT :limit OFFSET :offset
),
numbered AS (
  SELECT m.id AS id, c.stream AS stream, c.best AS best, c.many AS many, c.items AS items,
    c.records AS records, row_number() OVER (PARTITION BY m.stream ORDER BY m.rank, m.id) AS n
  FROM chosen c JOIN mine m ON m.stream = c.stream
)
SELECT n.stream, n.many, n.items, n.records, e.collection, e.key, e.place, e.heading, e.words
FROM numbered n JOIN search_entry e ON e.id = n.id
WHERE n.n <= :each ORDER BY n.best, n.stream, n.n
"""


@dataclass(frozen=True, slots=True)
class Hit:
    """One record in which the words stand; ``parts`` is the text around, (text, is it a hit)."""

    collection: str
    key: str
    place: str
    parts: tuple[tuple[str, bool], ...]


@dataclass(frozen=True, slots=True)
class HitItem:
    """An item (or the bench itself, ``studio``) with its best hits; ``records`` it has in all."""

    stream: str
    records: int
    hits: tuple[Hit, ...]


@dataclass(frozen=True, slots=True)
class Found:
    """What a search gave: the words looked for, a page of items, how many items and records.

    ``cut`` says that the words stand in more records than were ranked (:data:`MOST_ROWS`).
    """

    words: tuple[str, ...]
    items: tuple[HitItem, ...] = ()
    item_count: int = 0
    record_count: int = 0
    cut: bool = False


# --- keeping --------------------------------------------------------------------------------


def create_index(connection: Connection) -> None:
    """Make the engine's index, empty."""
    for statement in _FTS5 if _is_sqlite(connection) else _VECTORS:
        connection.exec_driver_sql(statement)


def save(connection: Connection, before: ItemState | None, after: ItemState) -> None:
    """Bring the rows of an item to a new state, rewriting only what changed."""
    if before is None or before.item is not after.item:
        rewrite(connection, after.id, search_words.words_of(after))
        return
    about = search_words.about_of(after)
    old, new = list[tuple[str, str]](), list[Words]()
    for name in search_words.searched():
        was, now = getattr(before, name), getattr(after, name)
        if was is now:
            continue
        old += [(name, key) for key in was if now.get(key) is not was[key]]
        for key, noun in now.items():
            if was.get(key) is not noun:
                row = search_words.record_words(name, key, noun, about)
                new += [] if row is None else [row]
    _forget(connection, after.id, old)
    _add(connection, after.id, new)


def save_bench(connection: Connection, before: BenchState, after: BenchState) -> None:
    """Bring the rows of the bench itself to a new state."""
    was = {(row.collection, row.key): row for row in search_words.bench_words(before)}
    now = {(row.collection, row.key): row for row in search_words.bench_words(after)}
    _forget(connection, BENCH_STREAM, [key for key, row in was.items() if now.get(key) != row])
    _add(connection, BENCH_STREAM, [row for key, row in now.items() if was.get(key) != row])


def rewrite(connection: Connection, stream: str, rows: Iterable[Words]) -> None:
    """Write every row of an item, or of the bench, anew."""
    ids = select(search_entry.c.id).where(search_entry.c.stream == stream)
    _drop(connection, list(connection.execute(ids).scalars()))
    _add(connection, stream, list(rows))


def clear(connection: Connection) -> None:
    """Forget every row."""
    connection.exec_driver_sql("DELETE FROM search_index")
    connection.execute(delete(search_entry))


def stored(connection: Connection, stream: str) -> list[tuple[Any, ...]]:
    """Every row of a stream, for comparing with what the journal says."""
    found = connection.execute(select(search_entry).where(search_entry.c.stream == stream))
    return sorted(
        (row.collection, row.key, row.place, row.heading, row.words, row.about, bool(row.private))
        for row in found
    )


def fresh(rows: Iterable[Words]) -> list[tuple[Any, ...]]:
    """Rows as :func:`stored` gives them, in order."""
    return sorted(astuple(row) for row in rows)


def index_faults(connection: Connection) -> list[str]:
    """Where the engine's index and the rows do not match, in a sentence; empty when they do."""
    name = "rowid" if _is_sqlite(connection) else "id"
    lost = connection.exec_driver_sql(
        f"SELECT count(*) FROM search_entry e LEFT JOIN search_index i ON i.{name} = e.id "
        f"WHERE i.{name} IS NULL"
    ).scalar_one()
    indexed = connection.exec_driver_sql("SELECT count(*) FROM search_index").scalar_one()
    kept = connection.execute(select(func.count()).select_from(search_entry)).scalar_one()
    return ["the index of words does not match the records"] if lost or indexed != kept else []


def _forget(connection: Connection, stream: str, keys: Sequence[tuple[str, str]]) -> None:
    ids = [
        connection.execute(
            select(search_entry.c.id).where(
                search_entry.c.stream == stream,
                search_entry.c.collection == collection,
                search_entry.c.key == key,
            )
        ).scalar()
        for collection, key in keys
    ]
    _drop(connection, [one for one in ids if one is not None])


def _drop(connection: Connection, ids: Sequence[int]) -> None:
    name = "rowid" if _is_sqlite(connection) else "id"
    out = text(f"DELETE FROM search_index WHERE {name} = :id")
    if ids:
        connection.execute(out, [{"id": one} for one in ids])
    for begin in range(0, len(ids), _BATCH):
        some = ids[begin : begin + _BATCH]
        connection.execute(delete(search_entry).where(search_entry.c.id.in_(some)))


def _add(connection: Connection, stream: str, rows: Sequence[Words]) -> None:
    if not rows:
        return
    last = connection.execute(select(func.max(search_entry.c.id))).scalar() or 0
    numbered = list(enumerate(rows, last + 1))
    connection.execute(
        insert(search_entry),
        [
            {
                "id": number, "stream": stream, "collection": row.collection, "key": row.key,
                "place": row.place, "heading": row.heading, "words": row.words,
                "about": row.about, "private": int(row.private),
            }
            for number, row in numbered
        ],
    )  # fmt: skip
    fold = search_words.folded
    connection.execute(
        text(_ADD_FTS5 if _is_sqlite(connection) else _ADD_VECTOR),
        [
            {"id": number, "h": fold(row.heading), "w": fold(row.words), "a": fold(row.about)}
            for number, row in numbered
        ],
    )


# --- finding --------------------------------------------------------------------------------


def find(
    connection: Connection,
    typed: str,
    *,
    private: bool,
    limit: int = PAGE,
    offset: int = 0,
    item: str = "",
    each: int = ROWS_OF_ITEM,
) -> Found:
    """Records in which every word stands, or begins a word, grouped by item, best first.

    The words of an item's title count for each of its records, but a record is found only when
    one of the words stands in it itself. ``private`` lets names and money be found too; ``item``
    looks in one item only; ``each`` is how many records of an item are given.
    """
    words = search_words.asked(typed)
    if not words:
        return Found(())
    sqlite = _is_sqlite(connection)
    asked: dict[str, Any] = {
        "records": _fts5(words) if sqlite else _tsquery(words),
        "headings": _fts5_heading(words) if sqlite else _tsquery_heading(words),
        "private": int(private), "limit": limit, "offset": offset, "each": each,
        "most": MOST_ROWS,
    }  # fmt: skip
    within = ""
    if item:
        asked["item"] = item
        within = _WITHIN.format(name="+rowid" if sqlite else "id")
    hits = _HITS_FTS5 if sqlite else _HITS_VECTOR
    both = {
        name: hits.format(query=name, twice=twice, within=within)
        for name, twice in (("records", 1), ("headings", 2))
    }
    rows = connection.execute(text(_FOUND.format(**both)), asked).all()
    grouped: dict[str, list[Any]] = {}
    for row in rows:
        grouped.setdefault(row.stream, []).append(row)
    items = tuple(
        HitItem(stream, int(mine[0].many), tuple(_hit(row, words) for row in mine))
        for stream, mine in grouped.items()
    )
    if not rows:
        return Found(words)
    records = int(rows[0].records)
    return Found(words, items, int(rows[0].items), records, records >= MOST_ROWS)


def _hit(row: Any, words: tuple[str, ...]) -> Hit:
    shown = " · ".join(part for part in (row.heading, row.words) if part)
    return Hit(row.collection, row.key, row.place, search_words.marked(shown, words))


def _fts5(words: tuple[str, ...]) -> str:
    """Words of letters and digits only, each quoted, as FTS5 reads it."""
    begun = [f'"{word}"*' for word in words]
    own = " OR ".join(begun)
    return f"({' AND '.join(begun)}) AND ({{heading words}}: ({own}))"


def _tsquery(words: tuple[str, ...]) -> str:
    """The same as PostgreSQL reads it; A and B are the weights of the record's own words."""
    every = " & ".join(f"'{word}':*" for word in words)
    own = " | ".join(f"'{word}':*AB" for word in words)
    return f"({every}) & ({own})"


def _fts5_heading(words: tuple[str, ...]) -> str:
    return "{heading}: (" + " AND ".join(f'"{word}"*' for word in words) + ")"


def _tsquery_heading(words: tuple[str, ...]) -> str:
    return " & ".join(f"'{word}':*A" for word in words)


def _is_sqlite(connection: Connection) -> bool:
    return connection.dialect.name == "sqlite"
