"""The work in hand: which batch of long computations belongs to which item, and how it stands.

State is told, not increments: whoever asks (or asks again after a sleep) learns where the work
stands now. Nothing is lost with the server but the count: what was measured is in the journal,
and what was not is offered again.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from quirewell.jobs.batch import Batch, Call, Job
from quirewell.jobs.runner import Runner


@dataclass(frozen=True, slots=True)
class Work:
    """An item's batch as a page shows it."""

    title: str
    says: str
    done: int
    total: int
    running: bool
    failures: tuple[str, ...]

    @property
    def failed(self) -> bool:
        """Whether anything could not be done."""
        return bool(self.failures)


class Desk:
    """The last batch of each item; one at a time for an item."""

    def __init__(self, runner: Runner) -> None:
        self._runner = runner
        self._lock = threading.Lock()
        self._batches: dict[str, Batch] = {}

    def start(
        self, item_id: str, title: str, calls: Sequence[Call], on_result: Callable[[Job], None]
    ) -> bool:
        """Begin a batch; False when the item is busy or there is nothing to do."""
        with self._lock:
            busy = self._batches.get(item_id)
            if not calls or (busy is not None and not busy.over.is_set()):
                return False
            self._batches[item_id] = self._runner.start(title, calls, on_result)
        return True

    def last(self, item_id: str) -> Work | None:
        """Where the item's last batch stands, finished or not."""
        batch = self._batches.get(item_id)
        if batch is None:
            return None
        now = batch.progress
        return Work(
            now.title, _words(now.says, now.left_s), now.done, now.total,
            now.state == "running", now.errors,
        )  # fmt: skip

    def view(self, item_id: str) -> Work | None:
        """The batch a page shows: one that runs, or one in which something failed."""
        work = self.last(item_id)
        return work if work is not None and (work.running or work.failures) else None

    def clear(self, item_id: str) -> None:
        """Forget a finished batch, so that its failures are shown no more."""
        with self._lock:
            batch = self._batches.get(item_id)
            if batch is not None and batch.over.is_set():
                del self._batches[item_id]


def _words(says: str, left_s: float | None) -> str:
    if left_s is None or left_s < 5:
        return says
    return f"{says}; about {left_s:.0f} s left" if left_s < 90 else f"{says}; a few minutes left"
