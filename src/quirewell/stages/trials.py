"""Two ways of one step set against each other on this item: pairs, sides by lot, a locked margin.

The pairs are neighbouring sheets; which of the two goes the first way falls by lot from a seed that
is kept, so that anybody can draw it again. The margin is locked, with its moment, before a sheet of
the trial is measured after treatment; the verdict belongs to proving.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from quirewell.record.benchwork import Trial
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.finding import Run
from quirewell.record.nouns import ItemState, Retract
from quirewell.stages.gates import sheets_of
from quirewell.stages.methods import run_method
from quirewell.stages.naming import place_words, sheet_of
from quirewell.stages.places import read_places
from quirewell.stages.refusal import no, refused
from quirewell.stages.sale_entry import clean
from quirewell.stages.step_table import STEP_KINDS
from quirewell.stages.trial_sizing import METHOD, SizingError
from quirewell.stages.typed import Unreadable, number

Form = Mapping[str, str]
# What is compared, its unit, a margin to begin with and a scatter of pair differences to begin
# with (assumed until a bench's own pairs say better).
QUANTITIES: Mapping[str, tuple[str, str, str, str]] = {
    "tone_step": ("Tone step on the card", "step", "1", "0.7"),
    "paper.L": ("Paper lightness L*", "L*", "2", "1.5"),
    "paper.dE00": ("Paper colour change, CIEDE2000", "dE00", "2", "1.2"),
    "pH": ("pH", "pH", "0.5", "0.5"),
}


@dataclass(frozen=True, slots=True)
class Side:
    """One sheet of a trial: the way it goes, whether its step was done that way, and in which
    ``step``."""

    sheet: str
    way: str
    done: str
    step: str = ""


@dataclass(frozen=True, slots=True)
class TrialView:
    """A trial as a page shows it."""

    trial: Trial
    quantity: str
    step: str
    pairs: tuple[tuple[Side, Side], ...]
    run: Run | None
    says: tuple[str, ...]
    can_lock: bool


def lot(seed: str, pair: str) -> int:
    """0 or 1: the first bit of SHA-256 over seed and pair, so that the lot can be drawn again.

    >>> [lot("larkmoor", pair) for pair in ("w01 w02", "w03 w04", "w05 w06")]
    [0, 0, 1]
    """
    return hashlib.sha256(f"{seed}\n{pair}".encode()).digest()[0] >> 7


def neighbours(sheets: Sequence[str]) -> tuple[str, ...]:
    """Pairs of neighbouring wraps, from the outside in; a last one without a partner is left out.

    >>> neighbours(["c", "w01", "w02", "w03"])
    ('w01 w02',)
    """
    wraps = [sheet for sheet in sheets if sheet != "c"]
    return tuple(f"{one} {two}" for one, two in zip(wraps[::2], wraps[1::2], strict=False))


def drawn(pairs: Sequence[str], seed: str) -> tuple[str, ...]:
    """The pairs with the sheet that goes the first way in front, as the lot fell."""
    out = []
    for pair in pairs:
        one, two = pair.split()
        out.append(f"{two} {one}" if lot(seed, pair) else f"{one} {two}")
    return tuple(out)


def plan_trial(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Plan a trial: ``kind`` of step, ``way_a``, ``way_b``, ``sheets`` (all wraps where empty),
    ``seed``, ``quantity``, ``margin``, ``sd``; what is left empty is begun with.

    Raises:
        Refusal: two ways that are one, no pair, or a seed missing.
    """
    step = STEP_KINDS.get(form.get("kind", "") or "wash")
    if step is None or len(step.ways) < 2:
        raise no(form, "kind", "Choose a step that can be done in two ways: wash or lime bath.")
    ways = [form.get(name, "").strip() for name in ("way_a", "way_b")]
    for name, way in zip(("way_a", "way_b"), ways, strict=True):
        if way not in step.ways:
            raise no(form, name, f"Choose one of: {'; '.join(step.ways)}.")
    if ways[0] == ways[1]:
        raise no(form, "way_b", "The two ways are the same; choose another for one of them.")
    seed = form.get("seed", "").strip()
    if not seed:
        raise no(form, "seed", "Write anything as a seed (thrown dice, a line of a book).")
    key = form.get("quantity", "").strip() or "tone_step"
    if key not in QUANTITIES:
        raise no(form, "quantity", f"Choose one of: {', '.join(QUANTITIES)}.")
    pairs = neighbours(_sheets(state, form))
    if not pairs:
        raise no(form, "sheets", "A trial needs two wraps or more to make a pair.")
    _, unit, margin, sd = QUANTITIES[key]
    trial = Trial(
        f"trial-{state.version + 1}", step.key, ways[0], ways[1], drawn(pairs, seed), seed[:80],
        key, unit, _decimal(form, "margin", margin), _decimal(form, "sd", sd),
        note=clean(form.get("note", ""), 500),
    )  # fmt: skip
    run = _sized(trial, form)
    return (
        Draft(state.id, "run.recorded", to_body(run)),
        Draft(state.id, "trial.kept", to_body(trial)),
    )


def change_trial(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Another ``margin`` or ``sd`` while it is not locked; the lot stays as it fell.

    Raises:
        Refusal: no such trial, or it is locked.
    """
    trial = _found(state, form)
    if trial.locked_at:
        raise no(form, "margin", "This trial is locked; a margin chosen afterwards proves nothing.")
    changed = replace(
        trial,
        margin=_decimal(form, "margin", str(trial.margin)),
        sd=_decimal(form, "sd", str(trial.sd)),
    )
    run = _sized(changed, form)
    return (
        Draft(state.id, "run.recorded", to_body(run)),
        Draft(state.id, "trial.kept", to_body(changed)),
    )


def lock_trial(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Lock a trial (``id``) at the moment ``at``: margin, pairs and sides stay from then on.

    Raises:
        Refusal: no such trial, locked already, or a sheet of it was measured after treatment.
    """
    trial = _found(state, form)
    if trial.locked_at:
        return ()
    seen = measured_after(state, trial)
    if seen:
        where = ", ".join(place_words(sheet) for sheet in seen)
        says = (
            f"The margin comes before the measuring, and {where} was measured after treatment "
            "already. Plan a new trial on sheets that were not."
        )
        raise no(form, "id", says)
    return (Draft(state.id, "trial.locked", to_body(replace(trial, locked_at=form["at"]))),)


def drop_trial(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Set a trial aside that is not locked; a locked one stays, whatever came of it.

    Raises:
        Refusal: no such trial, or it is locked.
    """
    trial = _found(state, form)
    if trial.locked_at:
        raise no(form, "id", "A locked trial is not set aside: what came of it is told either way.")
    return (Draft(state.id, "record.retracted", to_body(Retract(trial.id))),)


def measured_after(state: ItemState, trial: Trial) -> tuple[str, ...]:
    """Sheets of a trial with a reading or a picture after treatment."""
    mine = [sheet for pair in trial.pairs for sheet in pair.split()]
    seen = {sheet_of(one.place) for one in state.readings.values() if one.moment == "after"}
    seen |= {sheet_of(one.place) for one in state.captures.values() if one.moment == "after"}
    return tuple(sheet for sheet in mine if sheet in seen)


def trials_view(state: ItemState) -> tuple[TrialView, ...]:
    """All trials of an item, newest first."""
    return tuple(_view(state, trial) for trial in reversed(state.trials.values()))


def way_for(state: ItemState, kind: str, sheet: str) -> str:
    """The way a sheet goes by the lot of a trial; empty where no trial says so."""
    for trial in state.trials.values():
        if trial.kind == kind:
            for pair in trial.pairs:
                first, second = pair.split()
                if sheet in (first, second):
                    return trial.way_a if sheet == first else trial.way_b
    return ""


def _view(state: ItemState, trial: Trial) -> TrialView:
    run = state.newest_run(METHOD, trial.id)
    pairs = []
    for pair in trial.pairs:
        first, second = pair.split()
        pairs.append((_side(state, trial, first, trial.way_a),
                      _side(state, trial, second, trial.way_b)))  # fmt: skip
    says = []
    wrong = [side for two in pairs for side in two if side.done and side.done != side.way]
    for side in wrong:
        says.append(
            f"{place_words(side.sheet)} went {side.done or 'no named way'}, not as the lot fell; "
            "its pair proves nothing."
        )
    if not trial.locked_at:
        says.append("Not locked: lock it before the first sheet is measured after treatment.")
    return TrialView(
        trial, QUANTITIES[trial.quantity][0], STEP_KINDS[trial.kind].name, tuple(pairs), run,
        tuple(says), not trial.locked_at and not measured_after(state, trial),
    )  # fmt: skip


def _side(state: ItemState, trial: Trial, sheet: str, way: str) -> Side:
    done = [
        (step.way or "without a way named", step.id)
        for step in state.steps.values()
        if step.kind == trial.kind and step.state != "planned"
        and sheet in sheets_of(state, step.places)
    ]  # fmt: skip
    return Side(sheet, way, *(done[-1] if done else ("", "")))


def _sized(trial: Trial, form: Form) -> Run:
    params = {
        "pairs": str(len(trial.pairs)), "margin": str(trial.margin), "sd": str(trial.sd),
        "unit": trial.unit,
    }  # fmt: skip
    try:
        return run_method(METHOD, trial.id, {}, params=params)
    except SizingError as error:
        raise refused(form, "margin", f"{error}") from error


def _sheets(state: ItemState, form: Form) -> tuple[str, ...]:
    if not form.get("sheets", "").strip():
        if state.gathering is None:
            raise no(form, "sheets", "Say which wraps, or describe the gathering at Intake first.")
        pilots = {pilot.place for pilot in state.pilots.values()}
        return tuple(sheet for sheet in state.gathering.sheets() if sheet not in pilots)
    places = read_places(state, form, field="sheets")
    return tuple(dict.fromkeys(sheet for sheet in sheets_of(state, places)))


def _found(state: ItemState, form: Form) -> Trial:
    trial = state.trials.get(form.get("id", ""))
    if trial is None:
        raise no(form, "id", "There is no such trial; it may have been set aside meanwhile.")
    return trial


def _decimal(form: Form, name: str, otherwise: str) -> Decimal:
    text = form.get(name, "").strip() or otherwise
    try:
        value = number(text)
    except Unreadable as error:
        raise refused(form, name, f"{error}") from error
    if value <= 0:
        raise no(form, name, f"This must be above 0, got {text}.")
    return value
