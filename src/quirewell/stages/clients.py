"""The people things are treated for: kept with the studio, private, told only to who needs them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from quirewell.record.bench import BenchState
from quirewell.record.books import Client
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState, Retract
from quirewell.stages.amounts import Form, line_in, words_in
from quirewell.stages.refusal import no
from quirewell.studio.studio import STUDIO

PRIVATE = (
    "Names and addresses are personal data. They are kept in this studio only, and they stand on "
    "the papers that need them (receipts, quote, invoice): never in a treatment report, where only "
    "the owner typed on the item's own card stands. A backup of the studio holds them too. Keep no "
    "more than you need; what is set aside is shown no more but stays in the journal."
)


@dataclass(frozen=True, slots=True)
class ItemOf:
    """An item of a client: where it is."""

    id: str
    title: str
    says: str


@dataclass(frozen=True, slots=True)
class ClientView:
    """A client with the items in custody or given back."""

    id: str
    name: str
    reach: str
    note: str
    items: tuple[ItemOf, ...]


def clients_view(bench: BenchState, items: Iterable[ItemState]) -> tuple[ClientView, ...]:
    """Every client by name, with their items."""
    theirs: dict[str, list[ItemOf]] = {}
    for state in items:
        held = state.custodies.get("custody")
        if held is not None and held.client:
            says = f"given back {held.returned_on}" if held.returned_on else "in custody"
            if held.received_on and not held.returned_on:
                says += f" since {held.received_on}"
            theirs.setdefault(held.client, []).append(ItemOf(state.id, state.item.title, says))
    kept = sorted(bench.clients.values(), key=lambda one: one.name.casefold())
    return tuple(
        ClientView(one.id, one.name, one.reach, one.note, tuple(theirs.get(one.id, ())))
        for one in kept
    )


def named(bench: BenchState, name: str) -> Client | None:
    """The client of that name, capitals aside; None where none is kept."""
    wanted = " ".join(name.split()).casefold()
    return next((one for one in bench.clients.values() if one.name.casefold() == wanted), None)


def keep_client(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """Keep a client, or change the one whose ``id`` the form carries: ``name``, ``reach``,
    ``note``.

    Raises:
        Refusal: no name, one that is kept already, or one too long for a paper.
    """
    known = form.get("id", "")
    if known and known not in bench.clients:
        raise no(form, "name", "This client was set aside meanwhile; enter the name anew.")
    name = line_in(form, "name", "a name", 120)
    if not name:
        raise no(form, "name", "Write a name; any that you will know.")
    same = named(bench, name)
    if same is not None and same.id != known:
        says = f"{same.name} is kept already; add something that tells the two apart."
        raise no(form, "name", says)
    made = Client(
        known or f"client-{bench.version + 1}", name,
        words_in(form, "reach", "how to reach them"), words_in(form, "note", "a note"),
    )  # fmt: skip
    try:
        return (Draft(STUDIO, "client.kept", to_body(made)),)
    except ValueError as error:
        raise no(form, "name", f"{error}.") from error


def set_client_aside(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """Set a client aside: shown no more, but still in the journal.

    Raises:
        Refusal: there is no such client.
    """
    known = form.get("id", "")
    if known not in bench.clients:
        raise no(form, "id", "That client is already set aside.")
    return (Draft(STUDIO, "record.retracted", to_body(Retract(known))),)
