"""What a person notes while examining: defects, the owner's own estimate, what is still wrong,
and the margins locked before measuring. Commands only; the views stand in ``examine``."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal, InvalidOperation
from typing import Any

from quirewell.record import nouns
from quirewell.record.codec import from_body, to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import Defect, ItemState
from quirewell.stages.refusal import no

# A sheet that changed by more than this is another sheet; a margin beyond it is a slip of the pen.
MOST_MARGIN_PCT = 10


def note_defect(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """Note a defect, or change the one whose ``id`` the form carries.

    Raises:
        Refusal: no term, or a place that is not on the object.
    """
    term = form.get("term", "").strip() or form.get("other_term", "").strip()
    if not term:
        raise no(form, "term", "Choose or write a word for the defect.")
    known = form.get("id", "")
    if known and known not in state.defects:
        raise no(form, "term", "This defect was set aside meanwhile; note it anew.")
    capture = form.get("capture", "")
    if capture and capture not in state.captures:
        raise no(form, "capture", "That picture is not in this item; choose another or none.")
    drawn = state.defects.get(known)
    return _draft(
        state,
        form,
        "defect.noted",
        Defect,
        id=known or f"defect-{state.version + 1}",
        place=form.get("place", "") or "item",
        term=term,
        extent=form.get("extent", ""),
        severity=form.get("severity") or "moderate",
        moment=form.get("moment") or "before",
        capture=capture,
        note=form.get("note", ""),
        region=drawn.region if drawn else "",
        u_mm=drawn.u_mm if drawn else None,
        proposal=drawn.proposal if drawn else "",
    )


def estimate_grade(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """The owner's own estimate before or after, as a number, words, or both.

    Raises:
        Refusal: neither number nor words, or a number off the ten-point scale.
    """
    value = decimal_or_none(form, "value")
    if value is None and not form.get("words", "").strip():
        raise no(form, "value", "Give a number from 0.5 to 10, or a few words, or both.")
    return _draft(
        state,
        form,
        "grade.estimated",
        nouns.GradeEstimate,
        moment=form.get("moment") or "before",
        value=value,
        words=form.get("words", ""),
        by=form.get("by", ""),
    )


def note_remaining(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """What is still wrong after treatment.

    Raises:
        Refusal: no words.
    """
    words = form.get("words", "").strip()
    if not words:
        raise no(form, "words", "Say in a few words what is still wrong.")
    return _draft(
        state,
        form,
        "remaining.noted",
        nouns.Remaining,
        id=form.get("id") or f"remaining-{state.version + 1}",
        place=form.get("place", "") or "item",
        words=words,
    )


def retract(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """Set a defect or a remaining fault aside; it stays in the journal.

    Raises:
        Refusal: there is no such record.
    """
    known = form.get("id", "")
    if known not in state.defects and known not in state.remaining:
        raise no(form, "id", "That record is already set aside.")
    return _draft(
        state, form, "record.retracted", nouns.Retract, id=known, reason=form.get("reason", "")
    )


def lock_margin(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """Lock an equivalence margin before measuring; it cannot be moved afterwards.

    The same margin once more (a button pressed twice) changes nothing and is no fault.

    Raises:
        Refusal: no number, not above zero, too large to be a margin, or locked at another value.
    """
    quantity, unit = form.get("quantity") or "change.width_pct", form.get("unit") or "%"
    value = decimal_or_none(form, "value")
    held = state.margins.get(f"margin.{quantity}")
    if held is not None:
        if (held.value, held.unit) == (value, unit):
            return ()
        says = f"This margin is locked already at {held.value} {held.unit} and cannot be moved."
        raise no(form, "value", says)
    if value is None or value <= 0:
        raise no(form, "value", "Give the largest change you would still call none, above 0.")
    if value > MOST_MARGIN_PCT and unit == "%":
        says = (
            f"A change of {form['value'].strip()} per cent is no margin: it would call any change "
            f"none, for good. Give at most {MOST_MARGIN_PCT} per cent, as in 0.5."
        )
        raise no(form, "value", says)
    return _draft(
        state,
        form,
        "margin.locked",
        nouns.Margin,
        quantity=quantity,
        value=value,
        unit=unit,
        reason=form.get("reason", ""),
        at=form.get("at", ""),
    )


def decimal_or_none(form: Mapping[str, str], name: str) -> Decimal | None:
    """The number in a field as typed (a comma counts as a point); None when left empty.

    Raises:
        Refusal: when it is not a number.
    """
    text = form.get(name, "").strip().replace(",", ".")
    if not text:
        return None
    try:
        number = Decimal(text)
    except InvalidOperation as error:
        raise no(form, name, f"{form[name]!r} is not a number; write it as 7.5.") from error
    if not number.is_finite():
        raise no(form, name, f"{form[name]!r} is not a number; write it as 7.5.")
    return number


def _draft(
    state: ItemState, form: Mapping[str, str], kind: str, noun: type, **values: Any
) -> tuple[Draft, ...]:
    try:
        body = to_body(noun(**values))
        made: Any = from_body(noun, body)
        if getattr(made, "place", ""):
            nouns.check_place(made.place)
    except ValueError as error:
        raise no(form, "place" if "place" in str(error) else "value", f"{error}.") from error
    return (Draft(state.id, kind, body),)
