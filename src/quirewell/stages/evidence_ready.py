"""When measuring ends: whether the evidence can be worked out by itself, and its runs.

It is worked out without being asked for only where nothing is left to choose: a margin stood in
the record before anything was measured after treatment, and every page scanned before is compared
with its scan after. Otherwise the page offers it, and a person says when.
"""

from __future__ import annotations

from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState
from quirewell.stages.evidence import asks, work_out
from quirewell.stages.examine import unmeasured
from quirewell.stages.refusal import Refusal
from quirewell.stages.results import page_results


def ready(state: ItemState) -> bool:
    """Whether the evidence can be worked out with nothing left to choose or to measure."""
    before = [page for page in page_results(state) if page.before is not None]
    if not before or any(page.pair is None for page in before) or unmeasured(state):
        return False
    return any(one.params.get("margin") for one in asks(state))


def once_measured(state: ItemState) -> tuple[Draft, ...]:
    """Runs of the evidence that are new or out of date where it is :func:`ready`; else none.

    What cannot be judged yet is left to the page, which says why when it is asked for.
    """
    if not ready(state):
        return ()
    try:
        return work_out(state, {})
    except Refusal:
        return ()
