"""An entry that may be sent more than once and is saved once.

A device makes an id for each entry (``once``). The entry and what it did go into the journal in
one append, so that both are on the disk or neither is. The same id again saves nothing and is
answered as saved, whether the first answer was lost on the way, the button was pressed twice, or
two sendings arrived together.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass

from quirewell.record.apply import KINDS, key_of
from quirewell.record.benchwork import Entry
from quirewell.record.codec import to_body
from quirewell.record.event import Draft, Event
from quirewell.record.nouns import ItemState, Undo
from quirewell.stages.refusal import no
from quirewell.stages.treat import undo_guard
from quirewell.studio.faults import Stale
from quirewell.studio.studio import Studio

Form = Mapping[str, str]
Command = Callable[[ItemState, dict[str, str]], tuple[Draft, ...]]
_ID = re.compile(r"[0-9a-f]{16,64}")
_TRIES = 12


@dataclass(frozen=True, slots=True)
class Kept:
    """What an entry did: its events, and whether it was here before.

    ``undo`` says whether all of it can be countered now.
    """

    entry: Entry
    events: tuple[Event, ...]
    again: bool
    undo: bool

    @property
    def seq(self) -> int:
        """The number that stands for the entry: its last event's; 0 where it made none."""
        return self.events[-1].seq if self.events else 0


def once(
    state: ItemState, form: Form, command: Command, made: Collection[str] = ()
) -> tuple[Draft, ...]:
    """The drafts of ``command`` with the entry that made them; none where it is here already.
    ``made`` are ids of records that were made for it before (a picture's).

    Raises:
        Refusal: no proper id, or one that was used for something else.
    """
    known = entry_id(form)
    name = form.get("command", "")
    before = state.sent.get(known)
    if before is not None:
        if before.command != name:
            raise no(
                form, "once",
                "That entry's number was used for another entry. Reload the page and type it anew.",
            )  # fmt: skip
        return ()
    drafts = command(state, dict(form))
    keys = dict.fromkeys([*made, *(key_of(draft.kind, draft.body) for draft in drafts)])
    entry = Entry(known, form.get("at", ""), _device(form), name, " ".join(keys))
    return (*drafts, Draft(state.id, "entry.sent", to_body(entry)))


def entry_id(form: Form) -> str:
    """The id the device made.

    Raises:
        Refusal: none, or no 16 to 64 hexadecimal digits.
    """
    known = form.get("once", "").strip()
    if not _ID.fullmatch(known):
        raise no(
            form, "once",
            "This entry came without its own number, so it could not be told from a second "
            "sending. Reload the page and send it again.",
        )  # fmt: skip
    return known


def send(
    studio: Studio,
    item: str,
    form: dict[str, str],
    command: Command,
    actor: str = "bench",
    made: Collection[str] = (),
) -> Kept:
    """Save an entry once; on whatever was saved meanwhile, it is worked out anew.

    A form that edits one record (``record``, ``touched``) is not: two people's versions are
    shown instead.

    Raises:
        Refusal: as the command says.
        Stale: the record that the form edits was changed meanwhile.
        NotUndoable: an undo that may not be.
    """
    known = entry_id(form)
    edited = form.get("record", "")
    for _ in range(_TRIES):
        state = studio.state(item)
        drafts = once(state, form, command, made)
        if not drafts:
            return kept(studio, state, state.sent[known])
        seen = {known: 0}
        if edited and form.get("touched", "").isdigit():
            seen[edited] = int(form["touched"])
        try:
            events = studio.append(item, state.version, drafts, actor, seen, undo_guard)
        except Stale as stale:
            if stale.key == edited:
                raise
            continue
        now = studio.state(item)
        entry = now.sent[known]
        mine = kept(studio, now, entry).events if made else events[:-1]
        return _kept(now, entry, mine, again=False)
    raise no(form, "once", "Others were saving all the while; send it again.")


def kept(studio: Studio, state: ItemState, entry: Entry) -> Kept:
    """What an entry that is in the record did."""
    events = studio.events(state.id)
    gone = {int(event.body["seq"]) for event in events if event.kind == "event.undone"}
    return _kept(state, entry, events_of(state, entry, events), again=True, gone=gone)


def _kept(
    state: ItemState, entry: Entry, mine: Sequence[Event], *, again: bool,
    gone: Collection[int] = (),
) -> Kept:  # fmt: skip
    fixed = [
        event
        for event in mine
        if not KINDS[event.kind].undoable or undo_guard(state, event) or event.seq in gone
    ]
    return Kept(entry, tuple(mine), again, bool(mine) and not fixed)


def events_of(state: ItemState, entry: Entry, events: Sequence[Event]) -> tuple[Event, ...]:
    """The events an entry made: the last of each of its records before it, in order."""
    keys = set(entry.record.split())
    mine: list[Event] = []
    for event in reversed(events):
        if event.version < state.touched.get(entry.id, 0) and keys:
            key = key_of(event.kind, event.body)
            if key in keys:
                keys.discard(key)
                mine.append(event)
    return tuple(reversed(mine))


def undo_entry(studio: Studio, item: str) -> Command:
    """The command that counters all an entry (``entry``, its id) did."""

    def undo(state: ItemState, form: dict[str, str]) -> tuple[Draft, ...]:
        entry = state.sent.get(form.get("entry", ""))
        if entry is None:
            raise no(form, "entry", "There is no such entry here, so nothing was undone.")
        mine = events_of(state, entry, studio.events(item))
        for event in mine:
            if said := undo_guard(state, event):
                raise no(form, "entry", said)
        if not mine:
            raise no(form, "entry", "That entry left nothing that could be undone.")
        order = sorted(mine, key=lambda event: (event.kind != "override.made", -event.seq))
        reason = form.get("reason", "").strip()
        return tuple(Draft(item, "event.undone", to_body(Undo(one.seq, reason))) for one in order)

    return undo


def _device(form: Form) -> str:
    return "".join(sign for sign in form.get("device", "") if sign.isprintable()).strip()[:60]
