"""What an archive of one item gives, and what it withholds: names of owners, money, hours.

What may go out is listed; a kind of entry that a later program brings is withheld until it is
listed here. ``with_private`` gives everything of the item.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from quirewell.exchange.journal_file import Line
from quirewell.record.apply import key_of
from quirewell.record.event import Event

OPEN_KINDS = frozenset(
    {
        "item.opened", "item.described", "gathering.described", "capture.added",
        "capture.assigned", "reading.taken", "reading.corrected", "defect.noted",
        "grade.estimated", "remaining.noted", "spot_test.made", "override.made", "step.planned",
        "step.started", "step.done", "step.corrected", "bath.mixed", "margin.locked",
        "measuring.corrected", "staple.recorded", "sheet.found", "holes.marked", "wrap.joined",
        "mishap.noted", "entry.sent", "check.answered", "keep.noted", "pilot.kept", "trial.kept",
        "trial.locked", "run.recorded", "report.issued", "record.retracted", "event.undone",
    }
)  # fmt: skip
# First words of the methods that compute on paper, water, ink and geometry, and not on money.
OPEN_METHODS = frozenset(
    {
        "adhesive", "bath", "chamber", "condition", "creep", "dry", "evidence", "fold", "holes",
        "leaf", "order", "outlook", "pair", "paper", "press", "rejoin", "relief", "scanner",
        "target", "trial",
    }
)  # fmt: skip
OWNED = ("owner",)  # fields of an item that name a person
LEFT_OUT = (
    "other items and what is true of the bench",
    "owners' names, custody, quotes, invoices, costs, prices, hours and weighings",
    "the PDFs of reports, since they name the owner",
)


def lines_of(events: Iterable[Event], with_private: bool) -> Iterator[Line]:
    """The entries of one item as they go out; each that does not is there as withheld."""
    withheld: set[int] = set()
    kept: set[str] = set()
    for event in events:
        line = Line(event) if with_private else _line(event, withheld, kept)
        if line.withheld == ("all",):
            withheld.add(event.seq)
        elif event.kind not in ("record.retracted", "event.undone"):
            kept.add(key_of(event.kind, event.body))
        yield line


def _line(event: Event, withheld: set[int], kept: set[str]) -> Line:
    body = event.body
    shown = event.kind in OPEN_KINDS
    if event.kind == "run.recorded":
        shown = str(body["method"]).partition(".")[0] in OPEN_METHODS
    elif event.kind == "event.undone":
        shown = int(body["seq"]) not in withheld
    elif event.kind == "record.retracted":
        shown = body["id"] in kept
    if not shown:
        bare = Event(event.seq, event.stream, event.version, event.kind, {}, "", "", "", "", "")
        return Line(bare, ("all",))
    owned = tuple(name for name in OWNED if body.get(name)) if _describes(event) else ()
    if owned:
        less = {name: value for name, value in body.items() if name not in owned}
        return Line(replace(event, body=less, prev="", hash=""), owned)
    return Line(event)


def _describes(event: Event) -> bool:
    return event.kind in ("item.opened", "item.described")
