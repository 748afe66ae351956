"""A plan for parcels in a worker: told while it is looked for, and stopped with the best so far."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path

from quirewell.jobs.batch import Batch, Call, Job
from quirewell.record.codec import from_body
from quirewell.record.finding import Run
from quirewell.stages import parcel_job
from quirewell.web.desk import Work
from quirewell.web.house import House

PLAN, WHAT_IF = "parcels:plan", "parcels:what-if"
QUICK_S = 2.5


class Planning:
    """One search for a plan; ``run`` when it went well, ``asked`` what a what-if changed."""

    task, told = parcel_job.TASK, staticmethod(parcel_job.told)

    def __init__(
        self, house: House, title: str, params: Mapping[str, str],
        keep: Callable[[Run], None] = lambda run: None,
        asked: tuple[str, ...] = (), base: str = "",
    ) -> None:  # fmt: skip
        self.title, self.asked, self.base = title, asked, base
        self.run: Run | None = None
        self._keep = keep
        self._stopped = False
        self._folder = Path(tempfile.mkdtemp(prefix="plan-", dir=house.studio.derived))
        call = Call(self.task, (dict(params), str(self._folder)), "the plan")
        self._batch: Batch = house.runner.start(title, [call], self._done)

    def _done(self, job: Job) -> None:
        run = from_body(Run, job.result)
        self._keep(run)
        self.run = run
        shutil.rmtree(self._folder, ignore_errors=True)

    def stop(self) -> None:
        """Ask for the best plan so far."""
        self._stopped = True
        if self._folder.is_dir():
            (self._folder / parcel_job.STOP).touch()

    def wait(self, seconds: float = QUICK_S) -> None:
        """Wait a little: a small plan is there before the page would be."""
        self._batch.wait(seconds)

    def end(self, timeout_s: float) -> None:
        """The workers are ended by their own runner."""

    def work(self) -> Work:
        """Where it stands now."""
        now = self._batch.progress
        running = now.state == "running"
        says = self.title
        if running:
            best = self.told(self._folder)
            says = f"{self.title}: {best}" if best else f"{self.title}: looking"
            says += "; taking the best so far" if self._stopped else ""
        errors = tuple(one.removeprefix("the plan: ") for one in now.errors)
        return Work(says, now.done, now.total, running, errors)
