"""Long computations in worker processes: a spawn pool kept alive, one retry, cancel.

Tasks are dotted names, arguments and results are plain; only the parent writes to the studio.
A worker that dies takes its pool with it: the pool is made anew and the calls that were in it
are tried once more, one at a time, so that only the culprit fails.
"""

from __future__ import annotations

import itertools
import multiprocessing
import threading
import time
from collections import deque
from collections.abc import Iterable, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from types import TracebackType
from typing import Any

from quirewell.jobs.batch import (
    LONGEST_S,
    Batch,
    Call,
    Job,
    OnEnd,
    OnProgress,
    OnResult,
    Progress,
    take_answer,
)
from quirewell.jobs.limited import SLOW, LimitedWorkers
from quirewell.jobs.worker import Answer, carry_out, pin_threads, prepare
from quirewell.studio import log

KEPT_BATCHES = 50
DIED = (
    "the worker process died twice on this one, most likely for want of memory or time; "
    "scan it at a lower resolution"
)


class Runner:
    """Runs calls on ``workers`` processes. Safe to share between threads."""

    def __init__(self, workers: int = 2) -> None:
        if not 1 <= workers <= 64:
            raise ValueError(f"workers must be between 1 and 64, got {workers}")
        self.workers = workers
        self._lock = threading.RLock()
        self._pool: ProcessPoolExecutor | None = None
        self._waiting: deque[Job] = deque()
        self._running: dict[Future[Answer], Job] = {}
        self._batch_of: dict[str, Batch] = {}
        self._batches: dict[str, Batch] = {}
        self._by_key: dict[str, Job] = {}
        self._numbers = itertools.count(1)
        self._closed = False
        self.limited = LimitedWorkers(min(workers, 2), ["quirewell.studio.images"])
        """Where files from outside are opened."""

    # --- giving work --------------------------------------------------------------------

    def submit(
        self,
        task: str,
        *arguments: Any,
        key: str = "",
        label: str = "",
        urgent: bool = False,
        limit_s: float = LONGEST_S,
    ) -> Job:
        """Put one call in line; the same ``key`` while waiting, running or done is one job.
        ``urgent`` goes before what waits (a picture somebody is looking at); what takes longer
        than ``limit_s`` is ended with its worker and fails in words."""
        with self._lock:
            known = self._by_key.get(key) if key else None
            if known is not None and known.state in ("waiting", "running", "done"):
                return known
            job = self._new_job(Call(task, arguments, label, key, limit_s))
            if urgent:
                self._waiting.appendleft(job)
            else:
                self._waiting.append(job)
        self._pump()
        return job

    def start(
        self,
        title: str,
        calls: Iterable[Call],
        on_result: OnResult | None = None,
        on_progress: OnProgress | None = None,
        on_end: OnEnd | None = None,
    ) -> Batch:
        """Put calls in line as one batch and come back at once. ``on_result`` is called in this
        process, one job after another, for each call that went well; ``on_end`` once after the
        last one, unless the batch was stopped."""
        with self._lock:
            batch = Batch(f"b{next(self._numbers)}", title, on_result, on_progress, on_end)
            jobs = [self._new_job(call) for call in calls]
            batch.add(jobs)
            self._keep(batch)
            for job in jobs:
                self._batch_of[job.id] = batch
            self._waiting.extend(jobs)
        batch.end_if_empty()
        self._pump()
        return batch

    def map(
        self,
        task: str,
        argument_list: Sequence[tuple[Any, ...]],
        on_result: OnResult | None = None,
        on_progress: OnProgress | None = None,
        title: str = "",
    ) -> list[Job]:
        """Call one task on many arguments and wait; the jobs in the order given."""
        calls = [Call(task, arguments) for arguments in argument_list]
        batch = self.start(title or task.rpartition(".")[2], calls, on_result, on_progress)
        batch.wait()
        return list(batch.jobs)

    # --- looking and stopping -----------------------------------------------------------

    def batches(self) -> list[Progress]:
        """Where each batch stands, the newest first."""
        with self._lock:
            return [batch.progress for batch in reversed(self._batches.values())]

    def batch(self, id: str) -> Batch | None:
        """A batch by its id."""
        with self._lock:
            return self._batches.get(id)

    def cancel(self, id: str) -> None:
        """Stop a batch: what has begun ends, what has not begun never does."""
        with self._lock:
            batch = self._batches.get(id)
            if batch is None:
                return
            batch.mark_cancelled()
            stopped = [job for job in self._waiting if self._batch_of.get(job.id) is batch]
            for job in stopped:
                self._waiting.remove(job)
                job.state = "cancelled"
        for job in stopped:
            self._settle(job)

    def close(self) -> None:
        """Stop: nothing new begins, what runs is given up."""
        with self._lock:
            self._closed = True
            left = [*self._waiting, *self._running.values()]
            self._waiting.clear()
            pool, self._pool = self._pool, None
            for job in left:
                job.state = "cancelled"
            self._running.clear()
        if pool is not None:
            _end(pool)
        self.limited.close()
        for job in left:
            self._settle(job)

    def __enter__(self) -> Runner:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    # --- inside -------------------------------------------------------------------------

    def _new_job(self, call: Call) -> Job:
        if self._closed:
            raise RuntimeError("this runner is closed; start a new one")
        job = Job(f"j{next(self._numbers)}", call)
        if call.key:
            self._by_key[call.key] = job
        return job

    def _keep(self, batch: Batch) -> None:
        self._batches[batch.id] = batch
        over = [id for id, entry in self._batches.items() if entry.over.is_set()]
        for id in over[: max(0, len(self._batches) - KEPT_BATCHES)]:
            del self._batches[id]

    def _pump(self) -> None:
        """Start what may start now."""
        with self._lock:
            while self._waiting and not self._closed and self._room():
                job = self._waiting.popleft()
                try:
                    future = self._workers().submit(
                        carry_out, job.call.task, job.call.arguments, job.call.limit_s
                    )
                except BrokenProcessPool:
                    self._waiting.appendleft(job)
                    self._drop_pool()
                    continue
                job.state, job.began_s = "running", time.monotonic()
                log.told("job.begun", job=job.id, task=job.call.task)
                self._running[future] = job
                future.add_done_callback(self._ended)

    def _room(self) -> bool:
        """A call that was in a dying pool runs alone, so that the culprit shows itself."""
        suspects = any(job.deaths for job in self._running.values())
        if suspects or (self._waiting[0].deaths and self._running):
            return False
        return len(self._running) < self.workers

    def _workers(self) -> ProcessPoolExecutor:
        if self._pool is None:
            pin_threads()
            self._pool = ProcessPoolExecutor(
                self.workers, multiprocessing.get_context("spawn"), initializer=prepare
            )
        return self._pool

    def _drop_pool(self) -> None:
        pool, self._pool = self._pool, None
        if pool is not None:
            pool.shutdown(wait=False, cancel_futures=True)

    def _ended(self, future: Future[Answer]) -> None:
        with self._lock:
            job = self._running.pop(future, None)
            if job is None:
                return
            error = None if future.cancelled() else future.exception()
            if isinstance(error, BrokenProcessPool):
                self._drop_pool()
                job.deaths += 1
                if time.monotonic() - job.began_s >= job.call.limit_s:
                    take_answer(job, Answer(error=SLOW.format(limit=job.call.limit_s), ok=False))
                elif job.deaths < 2 and not self._closed:
                    job.state = "waiting"
                    self._waiting.appendleft(job)
                    job = None
                else:
                    take_answer(job, Answer(error=DIED, ok=False))
            elif error is not None:
                take_answer(job, Answer(error=str(error), expected=False, ok=False))
            else:
                take_answer(job, future.result())
        if job is not None:
            self._settle(job)
        self._pump()

    def _settle(self, job: Job) -> None:
        with self._lock:
            batch = self._batch_of.pop(job.id, None)
            if job.call.key and job.state != "done":
                self._by_key.pop(job.call.key, None)
        took = (time.monotonic() - job.began_s) * 1000 if job.began_s else 0.0
        log.told("job.ended", job=job.id, task=job.call.task, state=job.state, ms=round(took))
        if batch is not None:
            batch.settle(job)
        job.over.set()


def _end(pool: ProcessPoolExecutor) -> None:
    workers = list((getattr(pool, "_processes", None) or {}).values())
    pool.shutdown(wait=False, cancel_futures=True)
    for worker in workers:
        worker.terminate()
    pool.shutdown(wait=True)
