"""A batch of calls and where it stands; state, never increments."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any, Literal

from quirewell.jobs.worker import Answer
from quirewell.studio import log

LONGEST_S = 7200.0
State = Literal["waiting", "running", "done", "failed", "cancelled"]
BatchState = Literal["running", "done", "cancelled"]


@dataclass(frozen=True, slots=True)
class Call:
    """One call of a task by its dotted name, on plain arguments (paths, hashes, parameters).

    ``label`` is what a person calls it; calls with the same ``key`` are one job. A call that takes
    longer than ``limit_s`` is ended.
    """

    task: str
    arguments: tuple[Any, ...]
    label: str = ""
    key: str = ""
    limit_s: float = LONGEST_S


@dataclass(slots=True)
class Job:
    """One call and what became of it."""

    id: str
    call: Call
    state: State = "waiting"
    result: Any = None
    error: str = ""
    expected: bool = True
    deaths: int = 0
    began_s: float = 0.0
    over: threading.Event = field(default_factory=threading.Event)

    def wait(self, timeout_s: float | None = None) -> Job:
        """Wait until it is over."""
        self.over.wait(timeout_s)
        return self


@dataclass(frozen=True, slots=True)
class Progress:
    """Where a batch stands. ``says`` is one line for a person; ``left_s`` a rough guess, None
    at first."""

    id: str
    title: str
    state: BatchState
    done: int
    total: int
    failed: int
    says: str
    left_s: float | None = None
    errors: tuple[str, ...] = ()


OnResult = Callable[[Job], None]
OnProgress = Callable[[Progress], None]
OnEnd = Callable[[], None]


class Batch:
    """Calls that belong together: one bar, one cancel."""

    def __init__(
        self,
        id: str,
        title: str,
        on_result: OnResult | None,
        on_progress: OnProgress | None,
        on_end: OnEnd | None = None,
    ) -> None:
        self.id = id
        self.title = title
        self.jobs: list[Job] = []
        self.over = threading.Event()
        self._on_result = on_result
        self._on_progress = on_progress
        self._on_end = on_end
        self._lock = threading.RLock()
        self._settled = 0
        self._failed = 0
        self._errors: list[str] = []
        self._last = ""
        self._cancelled = False
        self._began_s = time.monotonic()

    def add(self, jobs: Iterable[Job]) -> None:
        """Take jobs in; before any of them starts."""
        self.jobs.extend(jobs)

    def settle(self, job: Job) -> None:
        """Take note that a job is over: hand its result on, then show progress."""
        with self._lock:
            if job.state == "done" and self._on_result is not None:
                self._hand_on(job, self._on_result)
            self._settled += 1
            self._last = job.call.label
            if job.state == "failed":
                self._failed += 1
                self._errors.append(f"{job.call.label or job.call.task}: {job.error}")
            last = self._settled >= len(self.jobs)
            if last:
                self._end()
            if self._on_progress is not None:
                self._on_progress(self.progress)
            if last:
                self.over.set()

    def _hand_on(self, job: Job, on_result: OnResult) -> None:
        try:
            on_result(job)
        except Exception as error:
            job.state, job.error = "failed", str(error) or type(error).__name__

    def _end(self) -> None:
        """What is to be done once all calls are over; not where any was stopped."""
        if self._on_end is None or any(job.state == "cancelled" for job in self.jobs):
            return
        try:
            self._on_end()
        except Exception as error:
            self._errors.append(str(error) or type(error).__name__)

    def end_if_empty(self) -> None:
        """A batch without calls is over at once."""
        if not self.jobs:
            self._end()
            self.over.set()

    def mark_cancelled(self) -> None:
        """Remember that a person stopped it."""
        self._cancelled = True

    def wait(self, timeout_s: float | None = None) -> Progress:
        """Wait until every call is over."""
        self.over.wait(timeout_s)
        return self.progress

    @property
    def progress(self) -> Progress:
        """Where it stands now."""
        with self._lock:
            over = self._settled >= len(self.jobs)
            state: BatchState = "running"
            if over:
                state = "cancelled" if self._cancelled else "done"
            return Progress(
                self.id, self.title, state, self._settled, len(self.jobs), self._failed,
                self._words(over), self._left_s(over), tuple(self._errors),
            )  # fmt: skip

    def _words(self, over: bool) -> str:
        words = f"{self.title}: {self._settled} of {len(self.jobs)}"
        if self._failed:
            words += f", {self._failed} could not be done"
        if self._cancelled:
            return f"{words}, stopped"
        return words if over or not self._last else f"{words}, last {self._last}"

    def _left_s(self, over: bool) -> float | None:
        if over or not self._settled:
            return None
        spent_s = time.monotonic() - self._began_s
        return spent_s / self._settled * (len(self.jobs) - self._settled)


def take_answer(job: Job, answer: Answer) -> None:
    """Put a worker's answer into its job."""
    job.state = "done" if answer.ok else "failed"
    job.result, job.error, job.expected = answer.result, answer.error, answer.expected
    if not answer.ok and not answer.expected:
        number = log.fault_of(answer.kind, answer.stack, task=job.call.task, job=job.id)
        job.error += f" (fault {number})" if number else ""
