"""Two tabs, one record: a save made on an old version shows both values; other saves merge."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress

from sqlalchemy import Connection

from quirewell.record.apply import RecordError, fold, key_of
from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState
from quirewell.studio import journal
from quirewell.studio.faults import Stale
from quirewell.studio.undoing import record_of


def refuse_stale(
    connection: Connection,
    stream: str,
    state: ItemState | None,
    expected: int | None,
    drafts: Sequence[Draft],
    touched: Mapping[str, int] | None,
) -> None:
    """Whether drafts made on an earlier version may still be written.

    Raises:
        Stale: a record they touch was changed meanwhile; carries both values.
        RecordError: they were made on a version that is still to come.
    """
    current = state.version if state else 0
    if expected is not None and expected > current:
        raise RecordError(
            f"{stream!r} is at version {current}, which is before version {expected} that "
            "this save was made on; was a backup restored meanwhile? Load the page again"
        )
    if state is None:
        return
    numbers = dict(touched or {})
    if expected is not None and expected < current:
        for draft in drafts:
            with suppress(RecordError):
                numbers.setdefault(key_of(draft.kind, draft.body), expected)
    for key, seen in numbers.items():
        now_at = state.touched.get(key, 0)
        exact = touched is not None and key in touched
        if now_at == seen or (not exact and now_at <= seen):
            continue
        then = fold(journal.read(connection, stream, seen)) if seen else None
        raise Stale(
            stream, key, record_of(then, key) if then else None, record_of(state, key),
            now_at, tuple(drafts),
        )  # fmt: skip
