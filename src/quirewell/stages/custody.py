"""An item taken into custody for its owner and given back, with the limits agreed.

A limit is a line: from there on nothing is done before the owner was rung. The suggestions are
common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from quirewell.record.bench import BenchState
from quirewell.record.codec import to_body
from quirewell.record.dealing import Custody
from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState
from quirewell.stages.amounts import Form, amount_in, currency_in, day_in, line_in, words_in
from quirewell.stages.refusal import no

LIMITS = (
    "Stop and ring if ink bleeds in a test or in the bath.",
    "Stop and ring if a tear lengthens or something comes off.",
    "Stop and ring if hours or costs pass the quote.",
    "Stop and ring before anything that cannot be taken back.",
    "Stop and ring if mould or insects are found.",
    "Nothing is treated before the proposal is signed.",
)
MOST_LIMITS = 20
_KEY = "custody"


@dataclass(frozen=True, slots=True)
class Owner:
    """Who a thing belongs to, as papers name them; empty where nobody was named."""

    name: str = ""
    reach: str = ""


def held_of(state: ItemState) -> Custody | None:
    """What was agreed with the owner; None where the item was not taken into custody."""
    return state.custodies.get(_KEY)


def owner_of(state: ItemState, bench: BenchState) -> Owner:
    """The owner: the client it is kept for, or the name on the item's own card."""
    held = held_of(state)
    client = bench.clients.get(held.client) if held else None
    if client is not None:
        return Owner(client.name, client.reach)
    return Owner(state.item.owner)


def take_custody(state: ItemState, bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """Take an item into custody, or change what was agreed: ``client`` (id), ``received_on``,
    ``insured``, ``currency``, ``limit-0`` .. (the suggestions ticked), ``limits`` (own, a line
    each), ``came_with``, ``condition``, ``note``.

    Raises:
        Refusal: a client who is not kept, a day that is none, or an amount that cannot be.
    """
    held = held_of(state)
    client = form.get("client", "")
    if client and client not in bench.clients:
        raise no(form, "client", "That client was set aside meanwhile; choose another.")
    insured = amount_in(form, "insured", "an insured value")
    rate = bench.rate()
    unit = currency_in(form, otherwise=rate.currency if rate else "")
    if insured and not unit:
        raise no(form, "currency", "Say in which currency it is insured, as GBP or EUR.")
    received = day_in(form, "received_on", "the day it was received")
    _in_order(form, "received_on", received, held.returned_on if held else "")
    made = Custody(
        client, received, insured, unit if insured is not None else "", _limits(form),
        words_in(form, "came_with", "what it came with"),
        words_in(form, "condition", "its condition"),
        held.returned_on if held else "", held.returned_how if held else "",
        words_in(form, "note", "a note"),
    )  # fmt: skip
    return (_draft(state, made, form),)


def _limits(form: Form) -> tuple[str, ...]:
    ticked = [says for n, says in enumerate(LIMITS) if form.get(f"limit-{n}")]
    own = [" ".join(line.split()) for line in form.get("limits", "").splitlines()]
    lines = tuple(dict.fromkeys(line for line in (*ticked, *own) if line))
    if len(lines) > MOST_LIMITS or any(len(line) > 300 for line in lines):
        says = f"Up to {MOST_LIMITS} limits of up to 300 signs each can be kept, a line each."
        raise no(form, "limits", says)
    return lines


def give_back(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Give an item back: ``returned_on``, ``returned_how`` ("collected", "by insured post").

    Raises:
        Refusal: it was not in custody, or the day is none.
    """
    held = held_of(state)
    if held is None:
        raise no(form, "returned_on", "It was not taken into custody here; enter that first.")
    day = day_in(form, "returned_on", "the day it was returned")
    if not day:
        raise no(form, "returned_on", "Write the day it was given back, as 2026-03-31.")
    _in_order(form, "returned_on", held.received_on, day)
    how = line_in(form, "returned_how", "how it was given back")
    return (_draft(state, replace(held, returned_on=day, returned_how=how), form),)


def _in_order(form: Form, field: str, received: str, returned: str) -> None:
    if received and returned and returned < received:
        says = f"It cannot be given back ({returned}) before it was received ({received})."
        raise no(form, field, says)


def _draft(state: ItemState, made: Custody, form: Form) -> Draft:
    try:
        return Draft(state.id, "custody.taken", to_body(made))
    except ValueError as error:
        raise no(form, "note", f"{error}.") from error
