"""The work in hand: which long work belongs to which item, and how it stands.

State is told, not increments: whoever asks (or asks again after a sleep) learns where the work
stands now. Nothing is lost with the server but the count: what was measured is in the journal,
and what was not is offered again.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

from quirewell.jobs.batch import Batch
from quirewell.report.typeset import ReportError
from quirewell.studio import log
from quirewell.studio.faults import StudioError

Says = Callable[[str], None]
POLL_S = 0.2


@dataclass(frozen=True, slots=True)
class Work:
    """An item's work as a page shows it."""

    says: str
    done: int
    total: int
    running: bool
    failures: tuple[str, ...]

    @property
    def failed(self) -> bool:
        """Whether anything could not be done."""
        return bool(self.failures)


class InHand(Protocol):
    """Something that can be asked how it stands."""

    def work(self) -> Work: ...

    def end(self, timeout_s: float) -> None:
        """Begin nothing more, and wait for what is being written."""


class Measuring:
    """A batch of calls in the workers."""

    def __init__(self, batch: Batch) -> None:
        self._batch = batch

    def work(self) -> Work:
        """Where the batch stands now."""
        now = self._batch.progress
        running = now.state == "running"
        return Work(_words(now.says, now.left_s), now.done, now.total, running, now.errors)

    def end(self, timeout_s: float) -> None:
        """The workers are ended by their own runner."""


class Errand:
    """One piece of work in a thread of the server, told in words; ``result`` when it went well.

    It waits for the work before it (``after``), so that a report holds what is being measured.
    """

    def __init__(self, title: str, act: Callable[[Says], Any], after: InHand | None = None) -> None:
        self.title = title
        self.result: Any = None
        self._says = title
        self._failures: tuple[str, ...] = ()
        self._over = threading.Event()
        threading.Thread(target=self._run, args=(act, after), daemon=True).start()

    def _run(self, act: Callable[[Says], Any], after: InHand | None) -> None:
        try:
            if after is not None:
                self._wait_for(after)
            self.result = act(self._say)
        except (ReportError, StudioError, ValueError, LookupError, OSError) as error:
            self._failures += (f"{self.title}: {error}",)
        except Exception as error:
            number = log.fault(error, job="errand")
            known = f", fault {number}" if number else ""
            says = f"{self.title}: a fault of the program ({type(error).__name__}{known})"
            self._failures += (says,)
            raise
        finally:
            self._over.set()

    def _wait_for(self, before: InHand) -> None:
        while (work := before.work()).running:
            self._says = f"{self.title} as soon as this is done: {work.says}"
            time.sleep(POLL_S)
        self._failures = work.failures

    def _say(self, words: str) -> None:
        self._says = f"{self.title}: {words}"

    def end(self, timeout_s: float) -> None:
        """Wait until it is over."""
        self._over.wait(timeout_s)

    def work(self) -> Work:
        """Where it stands now."""
        return Work(self._says, 0, 0, not self._over.is_set(), self._failures)


class Desk:
    """The last work of each item; one at a time for an item."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._held: dict[str, InHand] = {}

    def begin(self, item_id: str, start: Callable[[], InHand]) -> bool:
        """Begin work on an item; False when its desk is busy."""
        with self._lock:
            busy = self._held.get(item_id)
            if busy is not None and busy.work().running:
                return False
            self._held[item_id] = start()
        return True

    def errand(self, item_id: str, title: str, act: Callable[[Says], Any]) -> None:
        """Begin an errand, after the work in hand; the same errand is not begun twice."""
        with self._lock:
            now = self._held.get(item_id)
            running = now is not None and now.work().running
            if running and isinstance(now, Errand) and now.title == title:
                return
            self._held[item_id] = Errand(title, act, now if running else None)

    def held(self, item_id: str) -> InHand | None:
        """The item's last work itself."""
        return self._held.get(item_id)

    def last(self, item_id: str) -> Work | None:
        """Where the item's last work stands, finished or not."""
        held = self._held.get(item_id)
        return held.work() if held else None

    def view(self, item_id: str) -> Work | None:
        """The work a page shows: one that runs, or one in which something failed."""
        work = self.last(item_id)
        return work if work is not None and (work.running or work.failures) else None

    def clear(self, item_id: str) -> None:
        """Forget finished work, so that its failures are shown no more."""
        with self._lock:
            held = self._held.get(item_id)
            if held is not None and not held.work().running:
                del self._held[item_id]

    def settle(self, timeout_s: float = 30) -> None:
        """Begin nothing more, and wait for what writes."""
        for held in list(self._held.values()):
            held.end(timeout_s)


def _words(says: str, left_s: float | None) -> str:
    if left_s is None or left_s < 5:
        return says
    return f"{says}; about {left_s:.0f} s left" if left_s < 90 else f"{says}; a few minutes left"
