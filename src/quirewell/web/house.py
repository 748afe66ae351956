"""What the running server holds: the studio, the workers, and the work in hand."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import HTTPConnection

from quirewell.jobs.runner import Runner
from quirewell.record.nouns import ItemState
from quirewell.studio.faults import NoSuchItem
from quirewell.studio.studio import Studio
from quirewell.web.desk import Desk

STATIC = Path(__file__).parent / "static"


@dataclass(frozen=True, slots=True)
class House:
    """Everything a route needs."""

    studio: Studio
    runner: Runner
    desk: Desk
    islands: bool
    # By item: runs of its pressing that are done, of how many; only while one is worked out.
    runs_done: dict[str, tuple[int, int]] = field(default_factory=dict)

    def item(self, item_id: str) -> ItemState:
        """The item's state now.

        Raises:
            HTTPException: 404 with a sentence when the studio has no such item.
        """
        try:
            return self.studio.state(item_id)
        except NoSuchItem as error:
            raise HTTPException(404, "There is no such item in this studio.") from error

    async def call(self, task: str, *arguments: Any, key: str = "") -> Any:
        """The result of a task in a worker, before whatever waits there.

        Raises:
            HTTPException: 422 with the task's own sentence.
        """
        job = self.runner.submit(task, *arguments, key=key, urgent=True)
        await run_in_threadpool(job.wait)
        if job.state != "done":
            raise HTTPException(422, job.error or "The work was stopped; ask for it again.")
        return job.result


def house_of(request: HTTPConnection) -> House:
    """The house a request came to."""
    house: House = request.app.state.house
    return house


def islands_built() -> bool:
    """Whether the islands are built; without them every page still works."""
    return (STATIC / "built" / "islands.js").is_file()
