"""A trial played through: twelve wraps, planned, locked, washed as the lot fell, and read."""

from __future__ import annotations

from decimal import Decimal

from quirewell.record.benchwork import Trial
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import Reading, Step
from quirewell.stages.overview import open_item
from quirewell.stages.trials import lock_trial, plan_trial
from quirewell.studio.studio import Studio

ITEM = "copperbeck-garden-annual"
AT = "2026-03-20T17:00:00Z"
COLD, WARM = "cold, one wrap at a time", "warm, two wraps at a time"
PLAN = {"kind": "wash", "way_a": COLD, "way_b": WARM, "seed": "dice 4 2 6"}


def played(studio: Studio, gain: dict[str, int], lock: bool = True, wraps: str = "12") -> Trial:
    """Tone steps before and after: each sheet begins at 9 and loses ``gain`` of its way's steps,
    keyed by way; a sheet may be named for itself."""
    form = {"title": "Copperbeck Garden Annual", "year": "1936", "wraps": wraps}
    studio.append(ITEM, 0, open_item(ITEM, form))
    studio.append(ITEM, None, plan_trial(studio.state(ITEM), PLAN))
    (trial,) = studio.state(ITEM).trials.values()
    if lock:
        studio.append(ITEM, None, lock_trial(studio.state(ITEM), {"id": trial.id, "at": AT}))
    drafts = []
    for pair in trial.pairs:
        for sheet, way in zip(pair.split(), (COLD, WARM), strict=True):
            step = Step(f"step-{sheet}", "wash", (sheet,), "done", way=way, done_at=AT)
            drafts.append(Draft(ITEM, "step.done", to_body(step)))
            drafts += [
                Draft(ITEM, "reading.taken", to_body(reading))
                for reading in (
                    _step(sheet, "before", 9), _step(sheet, "after", 9 - gain.get(sheet, gain[way]))
                )
            ]  # fmt: skip
    studio.append(ITEM, None, tuple(drafts))
    return trial


def _step(sheet: str, moment: str, step: int) -> Reading:
    return Reading(
        f"{moment}-{sheet}", sheet, "tone_step", Decimal(step), "step", resolution=Decimal(1),
        moment=moment,  # type: ignore[arg-type]
    )  # fmt: skip
