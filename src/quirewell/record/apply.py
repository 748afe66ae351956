"""``apply(state, event)``: the one pure function that says what an event makes true.

Each kind of event has one row in :data:`KINDS`: the type of its body and where it lands in
the state. Undo is a counter-event: the state is folded again without the event it names, so
history is never edited (see :func:`fold`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from quirewell.record import afterwards, bench, benchwork, books, dealing, nouns, rejoining
from quirewell.record.codec import BodyError, from_body
from quirewell.record.event import Event
from quirewell.record.finding import Run
from quirewell.record.nouns import ItemState


class RecordError(ValueError):
    """An event that cannot follow the state it meets; the message says what is wrong."""


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of event: body type, the state's collection it enters, and the record's key.

    ``of`` says whether it is true of an item or of the studio's bench (``apply_bench``).
    """

    body: type
    into: str = ""
    key: Callable[[Any], str] = lambda noun: str(noun.id)
    undoable: bool = True
    of: Literal["item", "studio"] = "item"


def _fixed(name: str) -> Callable[[Any], str]:
    return lambda noun: name


KINDS: Mapping[str, Kind] = {
    "studio.opened": Kind(nouns.StudioOpened, undoable=False, of="studio"),
    "strip.measured": Kind(bench.StripReading, "strip_readings", undoable=False, of="studio"),
    "strip.greys_set": Kind(bench.StripGreys, "strip_greys", undoable=False, of="studio"),
    "scanner.calibrated": Kind(
        bench.ScannerCalibration, "calibrations", undoable=False, of="studio"
    ),
    "tone_card.measured": Kind(bench.ToneCard, "cards", undoable=False, of="studio"),
    "target.fitted": Kind(bench.FittedTarget, "targets", undoable=False, of="studio"),
    "press.calibrated": Kind(bench.PressCalibration, "presses", undoable=False, of="studio"),
    "stack.kept": Kind(bench.StackRecipe, "stacks", undoable=False, of="studio"),
    "materials.set": Kind(bench.OwnMaterials, "materials", undoable=False, of="studio"),
    "sale.recorded": Kind(books.Sale, "sales", undoable=False, of="studio"),
    "want.noted": Kind(books.Want, "wants", undoable=False, of="studio"),
    "stock.kept": Kind(books.StockLot, "stock", undoable=False, of="studio"),
    "rates.set": Kind(books.Rates, "rates", undoable=False, of="studio"),
    "disclosures.set": Kind(books.Disclosures, "disclosures", undoable=False, of="studio"),
    "grade_rules.set": Kind(books.GradeRules, "grade_rules", undoable=False, of="studio"),
    "client.kept": Kind(books.Client, "clients", undoable=False, of="studio"),
    "offer.looked_at": Kind(books.Offer, "offers", undoable=False, of="studio"),
    "service.kept": Kind(books.Service, "services", undoable=False, of="studio"),
    "parcels.planned": Kind(books.Plan, "plans", undoable=False, of="studio"),
    "parcel.kept": Kind(books.Parcel, "parcels", undoable=False, of="studio"),
    "recipe.kept": Kind(benchwork.Recipe, "courses", undoable=False, of="studio"),
    "shop.set": Kind(benchwork.Shop, "shops", undoable=False, of="studio"),
    "bench_plan.kept": Kind(benchwork.BenchPlan, "bench_plans", undoable=False, of="studio"),
    "item.opened": Kind(nouns.Item, "item", _fixed("item"), undoable=False),
    "item.described": Kind(nouns.Item, "item", _fixed("item")),
    "gathering.described": Kind(nouns.Gathering, "gathering", _fixed("gathering")),
    "capture.added": Kind(nouns.Capture, "captures"),
    "capture.assigned": Kind(nouns.Assign, "", lambda noun: str(noun.capture)),
    "reading.taken": Kind(nouns.Reading, "readings"),
    "reading.corrected": Kind(nouns.Reading, "readings"),
    "defect.noted": Kind(nouns.Defect, "defects"),
    "grade.estimated": Kind(nouns.GradeEstimate, "grades", lambda noun: f"grade.{noun.moment}"),
    "remaining.noted": Kind(nouns.Remaining, "remaining"),
    "spot_test.made": Kind(nouns.SpotTest, "spot_tests"),
    "override.made": Kind(nouns.Override, "overrides"),
    "step.planned": Kind(nouns.Step, "steps"),
    "step.started": Kind(nouns.Step, "steps"),
    "step.done": Kind(nouns.Step, "steps"),
    "step.corrected": Kind(nouns.Step, "steps"),
    "bath.mixed": Kind(nouns.Bath, "baths"),
    "margin.locked": Kind(
        nouns.Margin, "margins", lambda noun: f"margin.{noun.quantity}", undoable=False
    ),
    "measuring.corrected": Kind(
        nouns.Correction, "corrections", lambda noun: f"correction.{noun.capture}"
    ),
    "staple.recorded": Kind(rejoining.Staple, "staples"),
    "sheet.found": Kind(rejoining.SheetFound, "found", lambda noun: f"found.{noun.place}"),
    "holes.marked": Kind(rejoining.Holes, "holes", lambda noun: f"holes.{noun.place}"),
    "wrap.joined": Kind(rejoining.Joined, "joined", lambda noun: f"joined.{noun.place}"),
    "proposal.answered": Kind(dealing.Answered, "answered"),
    "cost.noted": Kind(dealing.Cost, "costs"),
    "time.noted": Kind(dealing.TimeSpent, "times"),
    "mishap.noted": Kind(dealing.Mishap, "mishaps"),
    "holding.set": Kind(dealing.Holding, "holdings", _fixed("holding")),
    "options.set": Kind(dealing.Options, "own_options", _fixed("options")),
    "choice.made": Kind(dealing.Choice, "choices", _fixed("choice")),
    "custody.taken": Kind(dealing.Custody, "custodies", _fixed("custody")),
    "quote.made": Kind(dealing.Quote, "quotes"),
    "invoice.written": Kind(dealing.Invoice, "invoices"),
    "grade.returned": Kind(dealing.Returned, "returned"),
    "item.sold": Kind(dealing.Sold, "sold", _fixed("sold")),
    "later.noted": Kind(afterwards.Later, "laters"),
    "next_check.set": Kind(afterwards.NextCheck, "next_checks", _fixed("next_check")),
    "claim.kept": Kind(afterwards.Claim, "claims"),
    "entry.sent": Kind(benchwork.Entry, "sent", undoable=False),
    "check.answered": Kind(benchwork.Check, "checks"),
    "keep.noted": Kind(benchwork.Keep, "keeps"),
    "pilot.kept": Kind(benchwork.Pilot, "pilots"),
    "trial.kept": Kind(benchwork.Trial, "trials"),
    "trial.locked": Kind(benchwork.Trial, "trials", undoable=False),
    "run.recorded": Kind(Run, "runs"),
    "report.issued": Kind(nouns.Report, "reports", undoable=False),
    "record.retracted": Kind(nouns.Retract, ""),
    "event.undone": Kind(nouns.Undo, "", lambda noun: f"event.{noun.seq}", undoable=False),
}

COLLECTIONS = (
    "captures",
    "readings",
    "defects",
    "grades",
    "remaining",
    "spot_tests",
    "overrides",
    "steps",
    "baths",
    "margins",
    "corrections",
    "staples",
    "found",
    "holes",
    "joined",
    "answered",
    "costs",
    "times",
    "mishaps",
    "holdings",
    "own_options",
    "choices",
    "custodies",
    "quotes",
    "invoices",
    "returned",
    "sold",
    "laters",
    "next_checks",
    "claims",
    "sent",
    "checks",
    "keeps",
    "pilots",
    "trials",
    "runs",
    "reports",
)


def noun_of(kind: str, body: Mapping[str, Any]) -> Any:
    """The body as its declared frozen value.

    Raises:
        RecordError: unknown kind, or a body that does not fit it.
    """
    if kind not in KINDS:
        raise RecordError(f"unknown kind of event {kind!r}; it knows {', '.join(sorted(KINDS))}")
    try:
        return from_body(KINDS[kind].body, body)
    except (BodyError, ValueError) as error:
        raise RecordError(f"{kind}: {error}") from error


def key_of(kind: str, body: Mapping[str, Any]) -> str:
    """The id of the record an event touches."""
    return KINDS[kind].key(noun_of(kind, body))


def apply(state: ItemState | None, event: Event) -> ItemState:
    """The state after ``event``; pure, and the only such function.

    Raises:
        RecordError: when the event cannot follow the state.
    """
    noun = noun_of(event.kind, event.body)
    if event.kind == "item.opened":
        if state is not None:
            raise RecordError(f"item {event.stream!r} is already open")
        return ItemState(event.stream, event.version, noun, touched={"item": event.version})
    if state is None:
        raise RecordError(f"{event.kind} came before item.opened for {event.stream!r}")
    if event.version != state.version + 1:
        raise RecordError(
            f"event {event.version} cannot follow version {state.version} of {event.stream!r}"
        )
    kind = KINDS[event.kind]
    if kind.of == "studio":
        raise RecordError(f"{event.kind} is true of the studio, not of {event.stream!r}")
    key = kind.key(noun)
    changes: dict[str, Any] = {
        "version": event.version,
        "touched": {**state.touched, key: event.version},
    }
    if event.kind == "capture.assigned":
        changes["captures"] = _assign(state, noun)
    elif event.kind == "record.retracted":
        changes.update(_retract(state, noun))
    elif kind.into in ("item", "gathering"):
        changes[kind.into] = noun
    elif kind.into:
        collection = getattr(state, kind.into)
        _check_new(event.kind, key, collection)
        if event.kind == "measuring.corrected" and noun.capture not in state.captures:
            raise RecordError(f"there is no picture {noun.capture!r} in this item to correct")
        changes[kind.into] = {**collection, key: noun}
    return replace(state, **changes)


def _check_new(kind: str, key: str, collection: Mapping[str, Any]) -> None:
    if kind == "margin.locked" and key in collection:
        raise RecordError(f"the margin for {key[7:]} is locked and cannot be moved")
    if kind in ("trial.kept", "trial.locked") and key in collection and collection[key].locked_at:
        raise RecordError("this trial is locked, with its margin and its sides, and stays as it is")
    if kind in ("reading.corrected", "step.corrected") and key not in collection:
        raise RecordError(f"there is no record {key!r} to correct")


def _assign(state: ItemState, noun: nouns.Assign) -> dict[str, nouns.Capture]:
    if noun.capture not in state.captures:
        raise RecordError(f"there is no picture {noun.capture!r} in this item")
    if noun.place:
        try:
            nouns.check_place(noun.place)
        except ValueError as error:
            raise RecordError(f"capture.assigned: {error}") from error
    capture = replace(
        state.captures[noun.capture],
        place=noun.place,
        panel=noun.panel,
        moment=noun.moment,
        view=noun.view,
    )
    return {**state.captures, noun.capture: capture}


def _retract(state: ItemState, noun: nouns.Retract) -> dict[str, Any]:
    for name in COLLECTIONS:
        collection = getattr(state, name)
        if noun.id in collection:
            return {name: {key: entry for key, entry in collection.items() if key != noun.id}}
    raise RecordError(f"there is no record {noun.id!r} to set aside")


def fold(events: Iterable[Event]) -> ItemState | None:
    """State of one stream from all its events, leaving out those that were undone.

    The record of an undone event counts as touched by the counter-event, so that a form
    opened before it is known to be stale.
    """
    kept = list(events)
    undone = {int(event.body["seq"]) for event in kept if event.kind == "event.undone"}
    keys = {event.seq: key_of(event.kind, event.body) for event in kept if event.seq in undone}
    state: ItemState | None = None
    for event in kept:
        if event.seq in undone:
            if state is not None:
                state = replace(state, version=event.version)
            continue
        state = apply(state, event)
        if event.kind == "event.undone" and (key := keys.get(int(event.body["seq"]))):
            state = replace(state, touched={**state.touched, key: event.version})
    return state
