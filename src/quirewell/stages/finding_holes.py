"""Looking for staple holes in every picture of an item that was not searched yet."""

from __future__ import annotations

from quirewell.jobs.batch import Batch, Job, OnProgress
from quirewell.jobs.runner import Runner
from quirewell.stages import hole_marking
from quirewell.studio.studio import Studio


def start_finding(
    studio: Studio,
    item: str,
    runner: Runner,
    progress: OnProgress | None = None,
    actor: str = "measuring",
) -> Batch:
    """Begin looking; comes back at once. What a person set by hand stays."""
    state = studio.state(item)
    calls = hole_marking.to_find(state, studio.blobs.path, studio.bench())

    def record(job: Job) -> None:
        drafts = hole_marking.found(studio.state(item), job.result)
        studio.append(item, None, drafts, actor)

    return runner.start(f"Looking for staple holes in {state.item.title}", calls, record, progress)
