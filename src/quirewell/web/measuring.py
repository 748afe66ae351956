"""Measuring and comparing, begun from a page."""

from __future__ import annotations

from quirewell.jobs.batch import Call
from quirewell.record.nouns import ItemState
from quirewell.stages import measuring_item, survey
from quirewell.web.fetching import begun, hashes_of
from quirewell.web.house import House


def waiting(house: House, state: ItemState) -> int:
    """Scans and pairs [-] that are still to be measured and compared."""
    return len(_calls(house, state))


def _calls(house: House, state: ItemState) -> tuple[Call, ...]:
    path_of = house.studio.blobs.place
    return survey.to_measure(state, path_of) + survey.to_compare(state, path_of)


def start_measuring(house: House, state: ItemState) -> bool:
    """Begin what is still to be done; False when nothing is, or the item's desk is busy."""
    if not (calls := _calls(house, state)):
        return False
    return house.desk.begin(
        state.id,
        lambda: begun(
            house,
            hashes_of(calls),
            lambda: measuring_item.start_measuring(house.studio, state.id, house.runner),
        ),
    )
