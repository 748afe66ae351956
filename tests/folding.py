"""Drafts folded into states without a studio, for tests of stages."""

from __future__ import annotations

from collections.abc import Iterable

from quirewell.record.apply import fold
from quirewell.record.event import Draft, Event
from quirewell.record.nouns import ItemState
from quirewell.stages.checks import answer_check
from quirewell.stages.pilot import choose_pilot, judge_pilot, tell_scrap

READY = {
    "staples-out": "yes", "dry-clean": "none", "mould-apart": "none", "repairs-mapped": "none",
    "keep-list": "none", "carrier": "yes",
}  # fmt: skip


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


def ready(bench: Bench) -> Bench:
    """The item with every check before water answered, and a scrap of like paper that has been
    through water and lime water, dried, and was accepted."""
    for key, answer in READY.items():
        bench.do(answer_check(bench.state, {"key": key, "answer": answer}))
    bench.do(choose_pilot(bench.state, {"scrap": "a blank margin of like paper"}))
    (pilot,) = bench.state.pilots
    told = {"washed_at": "2026-02-20T18:00Z", "dried_at": "2026-02-21T18:00Z"}
    bench.do(tell_scrap(bench.state, {"id": pilot, "through": "wash lime-bath", **told}))
    verdict = {"accepted": "yes", "measured": "tone step 8 to 7", "at": "2026-02-23T18:00:00Z"}
    bench.do(judge_pilot(bench.state, {"id": pilot, **verdict}))
    return bench
