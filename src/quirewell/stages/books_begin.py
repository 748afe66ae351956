"""What the books of the practice already know of a form's boxes, computation by computation.

A row is a function of the item and the bench; what it gives stands behind what was typed before.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from quirewell.record.bench import BenchState
from quirewell.record.nouns import ItemState
from quirewell.stages.weigh_begin import weigh_begins

Begin = Callable[[ItemState, BenchState], dict[str, str]]


def grade_begins(state: ItemState, bench: BenchState) -> dict[str, str]:
    """The practice's own rules and scale."""
    own = bench.grading()
    if own is None:
        return {}
    return {"rules": own.rules, "scale": own.scale, "adding": own.adding}


BEGINS: Mapping[str, Begin] = {
    "grade": grade_begins,
    "weigh": weigh_begins,
}


def from_books(state: ItemState, bench: BenchState, key: str) -> dict[str, str]:
    """Boxes of the computation ``key`` that the books can fill; empty where there are none."""
    begin = BEGINS.get(key)
    return (
        {} if begin is None else {name: text for name, text in begin(state, bench).items() if text}
    )
