"""Looking for staple holes in every picture of an item that was not searched yet."""

from __future__ import annotations

from quirewell.jobs.batch import Batch, Call, Job, OnProgress
from quirewell.jobs.runner import Runner
from quirewell.stages import hole_marking, hole_pictures
from quirewell.stages.naming import sheet_of
from quirewell.studio.studio import Studio


def start_finding(
    studio: Studio,
    item: str,
    runner: Runner,
    progress: OnProgress | None = None,
    actor: str = "measuring",
    only: str = "",
) -> Batch:
    """Begin looking; comes back at once. What a person set by hand stays. ``only`` is the capture
    to look in, whether it was searched before or not."""
    state = studio.state(item)
    path_of, bench = studio.blobs.path, studio.bench()
    if only:
        capture = state.captures[only]
        place = sheet_of(capture.place)
        calls: tuple[Call, ...] = (hole_pictures.search(state, place, capture, path_of, bench),)
    else:
        calls = hole_pictures.to_find(state, path_of, bench)

    def record(job: Job) -> None:
        drafts = hole_marking.found(studio.state(item), job.result)
        studio.append(item, None, drafts, actor)

    return runner.start(f"Looking for staple holes in {state.item.title}", calls, record, progress)
