"""Commands of what comes after: a check, the day of the next one, a claim, and setting aside."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

from quirewell.record.afterwards import (
    AGAINST,
    CHECKED,
    CLAIM_STATES,
    Checked,
    Claim,
    Later,
    NextCheck,
)
from quirewell.record.codec import from_body, to_body
from quirewell.record.event import Draft
from quirewell.record.next_check import ended_on
from quirewell.record.nouns import ItemState, Reading, Retract
from quirewell.stages import typed
from quirewell.stages.afterwards import series_of
from quirewell.stages.one_box import read_box
from quirewell.stages.places import read_places
from quirewell.stages.reading_entry import record_reading
from quirewell.stages.refusal import no
from quirewell.stages.sale_entry import clean

Form = Mapping[str, str]


def keep_check(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Keep a check made on the day ``on`` (today where empty): ``value`` as typed, with its
    ``method``, on a ``place``, or ``words`` alone; ``capture`` a picture of the item.

    Raises:
        Refusal: neither value nor words, a day that cannot be, or a value that cannot.
    """
    on = _day(form, "on") or form["at"][:10]
    _in_order(state, form, on)
    words, note = clean(form.get("words", ""), 500), clean(form.get("note", ""), 500)
    capture = form.get("capture", "").strip()
    if capture and capture not in state.captures:
        raise no(form, "capture", "There is no such picture in this item; choose another or none.")
    id = _id(state, form, "later", state.laters)
    if not form.get("value", "").strip():
        if not words:
            raise no(form, "value", "Type what was read, or say in words what was seen.")
        place = read_places(state, form, field="place", otherwise="item")[0]
        later = Later(id, on, place, words=words, capture=capture, note=note)
        return _with_runs(replace(state, laters={**state.laters, id: later}), later)
    reading = _read(state, form)
    later = Later(
        id, on, reading.place, _checked(form, reading), reading.value, reading.unit,
        reading.method, reading.resolution, words, capture, note, reading.temperature_c,
        reading.off_scale, reading.as_typed,
    )  # fmt: skip
    return _with_runs(replace(state, laters={**state.laters, id: later}), later)


def _read(state: ItemState, form: Form) -> Reading:
    """The first reading typed; a size is two, and no size is checked."""
    asked = read_box({**form, "moment": ""}, form.get("expected", ""))
    return from_body(Reading, record_reading(state, asked)[0].body)


def _checked(form: Form, reading: Reading) -> Checked:
    for one in CHECKED:
        if one == reading.quantity:
            return one
    raise no(
        form, "value",
        "A check reads tone step, L* or pH (write tone 6, L* 78 or pH 7.9); anything else is "
        "said in words.",
    )  # fmt: skip


def _with_runs(after: ItemState, later: Later) -> tuple[Draft, ...]:
    return (Draft(after.id, "later.noted", to_body(later)), *_runs(after))


def _runs(after: ItemState) -> tuple[Draft, ...]:
    return tuple(
        Draft(after.id, "run.recorded", to_body(one.run)) for one in series_of(after) if (
            not one.kept)
    )  # fmt: skip


def compare_anew(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Keep every comparison that the record does not hold as it would be made now."""
    return _runs(state)


def _in_order(state: ItemState, form: Form, on: str) -> None:
    ended, today = ended_on(state), form["at"][:10]
    if on > today:
        raise no(form, "on", f"A check is told once it was made; {on} is after today, {today}.")
    if ended and on < ended:
        says = f"A check comes after the treatment, which ended on {ended}; which day is wrong?"
        raise no(form, "on", says)


def ask_for_check(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Ask for the next check on another day (``on``), with a ``note`` why.

    Raises:
        Refusal: no day, or one that the calendar does not have.
    """
    on = _day(form, "on")
    if not on:
        raise no(form, "on", "Give the day of the next check, as 2027-03-31.")
    noun = NextCheck(on, clean(form.get("note", ""), 200))
    return (Draft(state.id, "next_check.set", to_body(noun)),)


def keep_claim(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Keep a claim: ``against``, ``on``, ``what``, ``amount``, ``currency``, ``state``, ``paid``,
    ``closed_on``, ``note``, ``name``; with ``id`` it corrects one.

    Raises:
        Refusal: a day, amount or state that cannot be.
    """
    against, ended = form.get("against", ""), form.get("state", "") or "open"
    if against not in AGAINST:
        raise no(form, "against", f"Choose one of: {', '.join(AGAINST)}.")
    if ended not in CLAIM_STATES:
        raise no(form, "state", f"Choose one of: {', '.join(CLAIM_STATES)}.")
    texts = {name: clean(form.get(name, ""), 500) for name in ("what", "currency", "note", "name")}
    amount, paid = _amount(form, "amount"), _amount(form, "paid")
    on, closed = _day(form, "on") or form["at"][:10], _day(form, "closed_on")
    if on > form["at"][:10]:
        raise no(form, "on", f"A claim is told once it was made; {on} is after today.")
    try:
        noun = Claim(
            _id(state, form, "claim", state.claims), against, on, texts["what"], amount,
            texts["currency"], ended, paid, closed, texts["note"], texts["name"],
        )  # fmt: skip
    except ValueError as error:
        says = str(error)
        field = next((name for word, name in _FIELDS if word in says), "what")
        raise no(form, field, f"{says[:1].upper()}{says[1:]}.") from error
    return (Draft(state.id, "claim.kept", to_body(noun)),)


_FIELDS = (
    ("closed", "closed_on"),
    ("paid", "paid"),
    ("what for", "what"),
    ("claim lies", "amount"),
)


def aside(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Set a check, the day asked for, or a claim aside; it stays in the journal.

    Raises:
        Refusal: there is none.
    """
    id = form.get("id", "")
    if id not in {**state.laters, **state.next_checks, **state.claims}:
        raise no(form, "id", "That record is already set aside.")
    drafts = (Draft(state.id, "record.retracted", to_body(Retract(id))),)
    if id not in state.laters:
        return drafts
    left = {key: one for key, one in state.laters.items() if key != id}
    return (*drafts, *_runs(replace(state, laters=left)))


def _id(state: ItemState, form: Form, stem: str, held: Mapping[str, Any]) -> str:
    old = form.get("id", "")
    return old if old in held else f"{stem}-{state.version + 1}"


def _day(form: Form, name: str) -> str:
    text = form.get(name, "").strip()
    if not text:
        return ""
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError as error:
        raise no(form, name, f"A day is written as 2027-03-31, got {text[:40]!r}.") from error


def _amount(form: Form, name: str) -> Decimal | None:
    text = form.get(name, "").strip()
    if not text:
        return None
    try:
        return typed.number(text)
    except typed.Unreadable as error:
        raise no(form, name, f"{error}.") from error
