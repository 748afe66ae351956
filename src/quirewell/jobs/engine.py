"""Where calls are carried out: one small protocol, for this machine's pool and for a cluster.

A survey of tens of thousands of pictures hands calls in a few at a time and takes answers as
they come; it never knows which engine it works with. Calls are dotted names with plain
arguments, answers are :class:`~quirewell.jobs.worker.Answer`, and no error is ever raised for
a single call.
"""

from __future__ import annotations

import queue
from types import TracebackType
from typing import Any, Protocol, Self

from quirewell.jobs.batch import Call, Job, Progress
from quirewell.jobs.runner import Runner
from quirewell.jobs.worker import Answer, carry_out


class EngineLost(RuntimeError):
    """The engine cannot go on (its scheduler went away); the message is a sentence."""


class Engine(Protocol):
    """Three things to do with calls: hand one in, take an answer, end.

    ``workers`` is how many calls are carried out at once, as far as is known now.
    """

    @property
    def workers(self) -> int: ...

    def submit(self, key: str, task: str, arguments: tuple[Any, ...]) -> None:
        """Hand one call in; ``key`` comes back with its answer and is never used again."""

    def take(self, timeout_s: float) -> tuple[str, Answer] | None:
        """The next answer, whichever call it is of; None when none came within ``timeout_s``.

        Raises:
            EngineLost: nothing can be answered any more.
        """

    def close(self) -> None:
        """End at once; what is not answered is given up."""


class Closing:
    """An engine as a ``with`` block."""

    def close(self) -> None:
        """End; made real by each engine."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


class SerialEngine(Closing):
    """Carries a call out when its answer is asked for, in this very process."""

    workers = 1

    def __init__(self) -> None:
        self._waiting: list[tuple[str, str, tuple[Any, ...]]] = []

    def submit(self, key: str, task: str, arguments: tuple[Any, ...]) -> None:
        """Keep the call until it is asked for."""
        self._waiting.append((key, task, arguments))

    def take(self, timeout_s: float) -> tuple[str, Answer] | None:
        """Carry the oldest call out."""
        if not self._waiting:
            return None
        key, task, arguments = self._waiting.pop(0)
        return key, carry_out(task, arguments)


class PoolEngine(Closing):
    """The pool of worker processes that the studio uses (:class:`Runner`)."""

    def __init__(self, workers: int = 2) -> None:
        self._runner = Runner(workers)
        self._over: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._jobs: dict[str, Job] = {}

    @property
    def workers(self) -> int:
        """Processes of the pool."""
        return self._runner.workers

    def submit(self, key: str, task: str, arguments: tuple[Any, ...]) -> None:
        """A batch of one, so that its end is told."""

        def ended(_: Progress) -> None:
            self._over.put(key)

        batch = self._runner.start("", [Call(task, arguments)], on_progress=ended)
        self._jobs[key] = batch.jobs[0]

    def take(self, timeout_s: float) -> tuple[str, Answer] | None:
        """The next call that is over."""
        try:
            key = self._over.get(timeout=max(timeout_s, 1e-3))
        except queue.Empty:
            return None
        job = self._jobs.pop(key)
        return key, Answer(job.result, job.error, job.expected, job.state == "done")

    def close(self) -> None:
        """End the pool."""
        self._runner.close()
