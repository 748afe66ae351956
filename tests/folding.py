"""Drafts folded into states without a studio, for tests of stages."""

from __future__ import annotations

from collections.abc import Iterable

from quirewell.record.apply import fold
from quirewell.record.event import Draft, Event
from quirewell.record.nouns import ItemState


class Bench:
    """An item whose journal is a list: ``do`` appends what a command returns."""

    def __init__(self, *opening: Draft) -> None:
        self.events: list[Event] = []
        self.do(opening)

    @property
    def state(self) -> ItemState:
        state = fold(self.events)
        assert state is not None
        return state

    def do(self, drafts: Iterable[Draft]) -> tuple[Event, ...]:
        """Append drafts and check that they fold."""
        added = []
        for draft in drafts:
            number = len(self.events) + 1
            event = Event(
                number, draft.stream, number, draft.kind, draft.body, "2026-03-01T18:00:00Z",
                "UTC", "A. Bench", "0" * 64, "0" * 64,
            )  # fmt: skip
            self.events.append(event)
            added.append(event)
        if added:
            assert self.state.version == len(self.events)
        return tuple(added)


def annual(wraps: int = 9) -> Bench:
    """The Copperbeck Garden Annual, opened and described."""
    return Bench(
        Draft("annual", "item.opened", {"title": "Copperbeck Garden Annual", "year": "1936"}),
        Draft("annual", "gathering.described", {"wraps": str(wraps), "cover": True}),
    )
