"""The states of items read lately, so that a server's memory does not grow with its studio."""

from __future__ import annotations

import threading
from collections import OrderedDict

from quirewell.record.apply import COLLECTIONS
from quirewell.record.nouns import ItemState

MOST, MOST_BYTES = 200, 64_000_000
# What a record and a finding take in memory (measured, CPython 3.11, 64 bits; a bound, not a mean).
_RECORD_BYTES, _FINDING_BYTES = 1200, 900


def weight(state: ItemState) -> int:
    """About how many bytes a state takes: its records, and the drawings of its runs."""
    records = sum(len(getattr(state, name)) for name in COLLECTIONS)
    size = _RECORD_BYTES * (1 + records)
    for run in state.runs.values():
        size += _FINDING_BYTES * len(run.findings)
        size += sum(len(text) for told in (run.params, run.drawing) for text in told.values())
    return size


class States:
    """At most :data:`MOST` states and :data:`MOST_BYTES`, the one not asked for longest going
    first; the last one stays, however big it is."""

    def __init__(self, most: int = MOST, most_bytes: int = MOST_BYTES) -> None:
        self._most, self._most_bytes = most, most_bytes
        self._lock = threading.Lock()
        self._held: OrderedDict[str, tuple[ItemState, int]] = OrderedDict()
        self._bytes = 0

    def get(self, stream: str) -> ItemState | None:
        """The state held of an item; None where none is."""
        with self._lock:
            if stream not in self._held:
                return None
            self._held.move_to_end(stream)
            return self._held[stream][0]

    def keep(self, state: ItemState) -> None:
        """Hold a state, and let go of the oldest where there are too many."""
        size = weight(state)
        with self._lock:
            self._bytes += size - self._held.pop(state.id, (None, 0))[1]
            self._held[state.id] = (state, size)
            while len(self._held) > self._most or (
                self._bytes > self._most_bytes and len(self._held) > 1
            ):
                self._bytes -= self._held.popitem(last=False)[1][1]

    def clear(self) -> None:
        """Let go of all."""
        with self._lock:
            self._held.clear()
            self._bytes = 0

    @property
    def bytes(self) -> int:
        """About how many bytes the states held take."""
        with self._lock:
            return self._bytes

    def __len__(self) -> int:
        with self._lock:
            return len(self._held)
