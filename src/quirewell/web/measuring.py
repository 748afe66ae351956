"""Measuring and comparing from a page: calls in workers, each run recorded as it comes in."""

from __future__ import annotations

from quirewell.jobs.batch import Job
from quirewell.record.nouns import ItemState
from quirewell.stages import survey
from quirewell.web.house import House

MEASURING, COMPARING = "Measuring the scans", "Comparing before and after"


def start_measuring(house: House, state: ItemState) -> bool:
    """Measure every scan that has no measurement yet; False when nothing was started."""
    calls = survey.to_measure(state, house.studio.blobs.path)
    return house.desk.start(state.id, MEASURING, calls, Recorder(house, state.id))


def start_comparing(house: House, state: ItemState) -> bool:
    """Compare every page that has both scans and no comparison; False when nothing was started."""
    calls = survey.to_compare(state, house.studio.blobs.path)
    return house.desk.start(state.id, COMPARING, calls, Recorder(house, state.id))


class Recorder:
    """Appends the run of a finished call; called in this process, one after another."""

    def __init__(self, house: House, item_id: str) -> None:
        self.house = house
        self.item_id = item_id

    def __call__(self, job: Job) -> None:
        studio = self.house.studio
        drafts = survey.recorded(studio.state(self.item_id), job.result)
        studio.append(self.item_id, None, drafts, actor="measuring")
