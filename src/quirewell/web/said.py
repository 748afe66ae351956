"""What was just saved, in words, and whether it can be undone.

A saved form leads to its page with the number of the event it made; the words come from the
journal, so that a reload says the same and nothing needs to be remembered by the browser.
"""

from __future__ import annotations

from dataclasses import dataclass

from starlette.requests import Request

from quirewell.record.apply import KINDS
from quirewell.record.event import Event
from quirewell.stages.naming import place_words
from quirewell.stages.treat import undo_guard
from quirewell.web.house import House

WORDS = {
    "item.opened": "the item is open",
    "item.described": "title, owner and notes",
    "gathering.described": "how the item is made",
    "capture.added": "a picture",
    "capture.assigned": "where a picture belongs",
    "reading.taken": "a reading",
    "reading.corrected": "a corrected reading",
    "defect.noted": "a defect",
    "grade.estimated": "your estimate",
    "remaining.noted": "what is still wrong",
    "spot_test.made": "a spot test",
    "override.made": "a caution passed over, with its reason",
    "step.planned": "a planned step",
    "step.started": "a step has begun",
    "step.done": "a step is done",
    "step.corrected": "a corrected step",
    "bath.mixed": "a bath as mixed",
    "margin.locked": "a margin, locked",
    "measuring.corrected": "your correction of what was measured",
    "proposal.answered": "your answer to a proposal",
    "cost.noted": "a cost",
    "time.noted": "time spent",
    "mishap.noted": "a mishap, told openly",
    "holding.set": "what it is held for",
    "options.set": "your own options",
    "choice.made": "the option taken",
    "custody.taken": "what was agreed with its owner",
    "quote.made": "a quote",
    "invoice.written": "an invoice",
    "grade.returned": "a grade that came back",
    "item.sold": "the sale",
    "later.noted": "a check after treatment",
    "next_check.set": "the day of the next check",
    "claim.kept": "a claim",
    "check.answered": "your answer to a check",
    "keep.noted": "what is to be kept",
    "pilot.kept": "the pilot",
    "run.recorded": "what was worked out",
    "report.issued": "a report",
    "record.retracted": "a record is set aside",
    "event.undone": "the last change is undone",
}


@dataclass(frozen=True, slots=True)
class Said:
    """A saved change in words; ``undo`` when it can be countered."""

    seq: int
    says: str
    undo: bool


def said_of(request: Request, house: House) -> Said | None:
    """What the request's page says was saved: the event named by its query."""
    number = request.query_params.get("done", "")
    item_id = request.path_params.get("item", "")
    if not (number.isdigit() and len(number) < 12 and item_id):
        return None
    event = house.studio.event(int(number))
    if event is not None and event.stream == item_id:
        undo = KINDS[event.kind].undoable and not undo_guard(house.item(item_id), event)
        return Said(event.seq, _words(event), undo)
    return None


def _words(event: Event) -> str:
    words = WORDS.get(event.kind, event.kind)
    more = event.body.get("term") or event.body.get("words") or event.body.get("title") or ""
    place = event.body.get("place", "")
    if isinstance(more, str) and more:
        words += f" ({more})"
    return f"{words}, {place_words(place)}" if place else words
