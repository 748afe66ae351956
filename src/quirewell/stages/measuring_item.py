"""Measure every scan of an item that is not measured yet, and compare every pair.

What is to be done is found by comparing the pictures with the runs in the journal (see
:mod:`quirewell.stages.survey`), so work cut short by a crash is simply still to be done.
"""

from __future__ import annotations

from collections.abc import Iterable

from quirewell.jobs.batch import Batch, Call, Job, OnProgress, Progress
from quirewell.jobs.runner import Runner
from quirewell.record.nouns import Capture
from quirewell.stages import evidence_ready, survey
from quirewell.studio.faults import StudioError
from quirewell.studio.studio import Studio


def start_measuring(
    studio: Studio,
    item: str,
    runner: Runner,
    progress: OnProgress | None = None,
    actor: str = "measuring",
) -> Batch:
    """Begin measuring and comparing what is still to be done; comes back at once.

    With the last of it the evidence is worked out, where nothing is left to choose (see
    :mod:`quirewell.stages.evidence_ready`).
    """
    state, bench = studio.state(item), studio.bench()
    calls = survey.to_measure(state, studio.blobs.path, bench)
    calls += survey.to_compare(state, studio.blobs.path, bench)

    def record(job: Job) -> None:
        drafts = survey.recorded(studio.state(item), job.result)
        studio.append(item, None, drafts, actor)

    def conclude() -> None:
        drafts = evidence_ready.once_measured(studio.state(item))
        if drafts:
            studio.append(item, None, drafts, actor)

    return runner.start(f"Measuring {state.item.title}", calls, record, progress, conclude)


def measure_item(
    studio: Studio,
    item: str,
    runner: Runner,
    progress: OnProgress | None = None,
    actor: str = "measuring",
) -> Progress:
    """Measure and compare what is still to be done, and wait for it."""
    return start_measuring(studio, item, runner, progress, actor).wait()


def prepare_tiles(studio: Studio, captures: Iterable[Capture], runner: Runner) -> Batch:
    """Cut deep-zoom tiles of pictures that have none yet; comes back at once."""
    calls = []
    for capture in captures:
        folder = studio.derived / "tiles" / capture.sha256
        if not (folder / "info.json").is_file():
            try:
                arguments = (str(studio.blobs.path(capture.sha256)), str(folder))
            except StudioError:
                continue  # Asked for again, and said, when somebody looks at the picture.
            calls.append(Call("quirewell.stages.tasks.cut_tiles", arguments, capture.filename))
    return runner.start("Preparing pictures for the viewer", calls)
