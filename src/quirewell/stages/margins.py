"""Margins locked beforehand: what they are offered at, and until when they can be locked.

A margin counts only when it stood in the record before the first scan or reading after treatment:
one chosen afterwards proves nothing, for it can be chosen so that it passes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from quirewell.record.event import Draft
from quirewell.record.nouns import Capture, ItemState, Margin, Reading
from quirewell.stages import noting
from quirewell.stages.evidence_table import EVIDENCE, Evidence
from quirewell.stages.naming import place_words, sheet_of
from quirewell.stages.refusal import no

BECAUSE = "the step an eye sees (common practice, no source)"


@dataclass(frozen=True, slots=True)
class Offer:
    """A margin that can still be locked: ``preset`` is what one touch locks, empty for none."""

    key: str
    name: str
    unit: str
    preset: str


def about_of(quantity: str) -> Evidence | None:
    """The row a margin belongs to, by its own name or an older one in per cent."""
    return EVIDENCE.get(quantity) or next(
        (row for row in EVIDENCE.values() if row.pct == quantity), None
    )


def first_after(state: ItemState, quantity: str) -> Capture | Reading | None:
    """What first measured ``quantity`` after treatment; None while nothing has."""
    about = about_of(quantity)
    found: list[Capture | Reading] = []
    if about is None or about.pair or about.leaf:
        found += [
            one for one in state.captures.values()
            if one.moment == "after" and one.view == "scan" and sheet_of(one.place)
        ]  # fmt: skip
    if about is not None:
        found += [
            one for one in state.readings.values()
            if one.moment == "after" and one.quantity == about.reading and counts(one)
        ]  # fmt: skip
    return min(found, key=lambda one: state.touched.get(one.id, 0), default=None)


def counts(reading: Reading) -> bool:
    """Whether a reading is of the object: a bath's pH is not."""
    return "in the bath" not in reading.method


def beforehand(state: ItemState, margin: Margin) -> bool:
    """Whether a margin was locked before its quantity was first measured after treatment."""
    after = first_after(state, margin.quantity)
    if after is None:
        return True
    locked = state.touched.get(f"margin.{margin.quantity}", 0)
    return locked < state.touched.get(after.id, 0)


def offers(state: ItemState) -> tuple[Offer, ...]:
    """Margins that are not locked and still can be."""
    return tuple(
        Offer(row.key, row.name, row.unit, "" if row.preset is None else str(row.preset))
        for row in EVIDENCE.values()
        if f"margin.{row.key}" not in state.margins and first_after(state, row.key) is None
    )


def lock(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """Lock one margin: ``quantity``, ``value``, ``unit``, ``reason``; ``at`` is the moment.

    Raises:
        Refusal: as :func:`.noting.lock_margin`, and when it is too late.
    """
    quantity = form.get("quantity") or "change.width_pct"
    about = EVIDENCE.get(quantity)
    unit = form.get("unit") or (about.unit if about else "%")
    if about is None and about_of(quantity) is None:
        known = ", ".join(EVIDENCE)
        raise no(form, "quantity", f"There is no margin of {quantity!r}; choose {known}.")
    drafts = noting.lock_margin(state, {**form, "quantity": quantity, "unit": unit})
    after = first_after(state, quantity)
    if drafts and after is not None:
        what = "scanned" if isinstance(after, Capture) else "read"
        raise no(
            form, "value",
            f"It is too late to lock this: {place_words(after.place)} was {what} after treatment "
            "already, and a margin chosen afterwards proves nothing. The evidence shows the "
            "margin that would have passed; lock it for the next item.",
        )  # fmt: skip
    return drafts


def lock_presets(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """Lock every margin that has a preset and can still be locked; none left is no fault."""
    out: list[Draft] = []
    for offer in offers(state):
        if offer.preset:
            given = {"quantity": offer.key, "value": offer.preset, "unit": offer.unit}
            out += lock(state, {**given, "reason": BECAUSE, "at": form.get("at", "")})
    return tuple(out)


def margin_for(
    state: ItemState, about: Evidence, size: float | None
) -> tuple[Decimal | None, str, str]:
    """The margin that counts in the quantity's unit, how it was set, and what is to be told.

    ``size``: mean of the quantity before, for an older margin in per cent of it.
    """
    own = state.margins.get(f"margin.{about.key}")
    pct = state.margins.get(f"margin.{about.pct}") if about.pct else None
    margin = own or pct
    if margin is None:
        return None, "", ""
    if not beforehand(state, margin):
        return None, "", (
            f"A margin of {margin.value} {margin.unit} was locked after the first measurement "
            "after treatment. A margin chosen afterwards proves nothing, so it is not used."
        )  # fmt: skip
    when = f", on {margin.at[:10]}" if margin.at else ""
    if own is not None:
        return own.value, f"locked before anything was measured after treatment{when}", ""
    if size is None:
        return None, "", ""
    value = (margin.value / 100 * Decimal(f"{size:.3f}")).quantize(Decimal("0.001"))
    return value, f"{margin.value} % of {size:.1f} {about.unit}, locked beforehand{when}", ""
