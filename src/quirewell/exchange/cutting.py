"""Pictures into tiles in worker processes, few at a time, handed on in the order asked for."""

from __future__ import annotations

import shutil
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, ExitStack
from dataclasses import dataclass
from pathlib import Path

from quirewell.exchange.iiif import Shown, images_path
from quirewell.jobs.batch import Job
from quirewell.jobs.runner import Runner
from quirewell.studio.faults import DiskFull, StudioError

TASK = "quirewell.exchange.iiif.cut"


@dataclass(frozen=True, slots=True)
class Cut:
    """One picture's tiles; the folder is gone when the next is asked for."""

    sha256: str
    folder: Path


class Cutter:
    """Cuts each picture once, whichever items it belongs to."""

    def __init__(self, folder: Path, base: str, workers: int) -> None:
        self._folder = folder
        self._base = base
        self._workers = workers
        self._runner: Runner | None = None
        self._known: set[str] = set()
        self.shown: dict[str, Shown] = {}
        self.notes: list[str] = []

    def cut(
        self, names: Mapping[str, str], held: Callable[[str], AbstractContextManager[Path]],
        progress: Callable[[str, int, int], None],
    ) -> Iterator[Cut]:  # fmt: skip
        """The tiles of each picture in turn; what is no picture is noted and passed over.

        ``held`` gives the path of an original while it is worked on.

        Raises:
            StudioError: tiles could not be written.
        """
        todo = deque(name for name in names if name not in self._known)
        self._known.update(todo)
        total, under_way = len(todo), deque[tuple[str, Job, ExitStack]]()
        try:
            while todo or under_way:
                while todo and len(under_way) <= self._workers:
                    under_way.append(self._begin(todo.popleft(), held))
                yield from self._cut_next(names, under_way)
                progress("pictures cut into tiles", total - len(todo) - len(under_way), total)
        finally:
            for _, _, holding in under_way:
                holding.close()

    def _cut_next(
        self, names: Mapping[str, str], under_way: deque[tuple[str, Job, ExitStack]]
    ) -> Iterator[Cut]:
        name, job, holding = under_way.popleft()
        with holding:
            job.wait()
        folder = self._folder / name
        if job.state == "done":
            self.shown[name] = Shown(*job.result)
            yield Cut(name, folder)
        elif "No space left" in job.error:
            raise DiskFull("the disk is full; no archive was made. Make room, do it once more")
        elif not job.expected:
            raise StudioError(f"{names[name]} could not be cut into tiles: {job.error}")
        else:
            self.notes.append(f"{names[name]} was not cut into tiles: {job.error}")
        shutil.rmtree(folder, ignore_errors=True)

    def _begin(
        self, name: str, held: Callable[[str], AbstractContextManager[Path]]
    ) -> tuple[str, Job, ExitStack]:
        if self._runner is None:
            self._runner = Runner(self._workers)
        with ExitStack() as stack:
            source = stack.enter_context(held(name))
            address = self._base + images_path(name)
            job = self._runner.submit(TASK, str(source), str(self._folder / name), address)
            return name, job, stack.pop_all()

    def close(self) -> None:
        """Stop the workers."""
        if self._runner is not None:
            self._runner.close()
