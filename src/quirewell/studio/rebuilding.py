"""Making every projection again from the journal, and saying where they differ from it."""

from __future__ import annotations

from collections.abc import Callable

from sqlalchemy import Connection, select

from quirewell.record.apply import fold
from quirewell.record.apply_bench import fold_bench
from quirewell.record.nouns import ItemState
from quirewell.studio import journal, projection, search
from quirewell.studio.search_words import BENCH_STREAM, bench_words, words_of
from quirewell.studio.tables import documents, search_entry, summary

Tell = Callable[[int, int], None]


def quiet(done: int, total: int) -> None:
    """Tell nobody."""


def rebuild(connection: Connection, tell: Tell = quiet) -> None:
    """Make every table of projections again; ``tell`` hears (items done, of how many)."""
    connection.execute(documents.delete())
    connection.execute(summary.delete())
    search.clear(connection)
    streams = [one for one in journal.streams(connection) if one != BENCH_STREAM]
    for done, stream in enumerate(streams, 1):
        events = journal.read(connection, stream)
        if (state := fold(events)) is not None:
            projection.rewrite(connection, state, events[0].at, events[-1].at)
        tell(done, len(streams))
    bench = fold_bench(journal.read(connection, BENCH_STREAM))
    search.rewrite(connection, BENCH_STREAM, bench_words(bench))


def differs(connection: Connection, folder: object) -> list[str]:
    """Items whose stored tables differ from what the journal says, in sentences; one is read at a
    time, so that a big studio takes no more memory."""
    again = f"run: quirewell studio check --rebuild {folder}"
    said = []
    lines = {line.id: line for line in projection.summaries(connection)}
    known = journal.streams(connection)
    for stream in known:
        found = search.stored(connection, stream)
        if stream == BENCH_STREAM:
            bench = fold_bench(journal.read(connection, stream))
            if found != search.fresh(bench_words(bench)):
                said.append(f"the words found of the bench differ from its journal; {again}")
            continue
        state = fold(journal.read(connection, stream))
        same = _same(state, projection.stored_rows(connection, stream), lines.get(stream))
        if not same or found != (search.fresh(words_of(state)) if state else []):
            said.append(f"the tables of {stream} differ from its journal; {again}")
    lost = sorted(_streams_in_tables(connection) - set(known))
    said += [f"the tables hold {name}, which the journal does not know" for name in lost]
    return said + [f"{fault}; {again}" for fault in search.index_faults(connection)]


def _streams_in_tables(connection: Connection) -> set[str]:
    return {
        row.stream
        for table in (documents, summary, search_entry)
        for row in connection.execute(select(table.c.stream).distinct())
    }


def _same(
    state: ItemState | None,
    rows: list[projection.Row],
    line: projection.ItemSummary | None,
) -> bool:
    if state is None:
        return not rows and line is None
    if line is None or sorted(rows) != sorted(projection.rows_of(state)):
        return False
    return line == projection.summary_of(state, line.opened_at, line.changed_at)
