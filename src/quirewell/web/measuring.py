"""Measuring and comparing, begun from a page."""

from __future__ import annotations

from quirewell.record.nouns import ItemState
from quirewell.stages import measuring_item, survey
from quirewell.web.desk import Measuring
from quirewell.web.house import House


def waiting(house: House, state: ItemState) -> int:
    """Scans and pairs [-] that are still to be measured and compared."""
    path_of = house.studio.blobs.path
    return len(survey.to_measure(state, path_of)) + len(survey.to_compare(state, path_of))


def start_measuring(house: House, state: ItemState) -> bool:
    """Begin what is still to be done; False when nothing is, or the item's desk is busy."""
    if not waiting(house, state):
        return False
    return house.desk.begin(
        state.id,
        lambda: Measuring(measuring_item.start_measuring(house.studio, state.id, house.runner)),
    )
