"""A bath as leaves go through it: its ledger kept by the record, and when it is spent.

The ledger begins with what a person kept (or nothing) and a wrap is added for each sheet of a step
finished in the bath. When it is spent is judged on the low end of the ledger's band, never on one
number: see :mod:`quirewell.science.bath.ledger_band`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.finding import Run
from quirewell.record.nouns import Bath, ItemState, Step
from quirewell.stages.ledger_view import wrap_lines
from quirewell.stages.ledgering import METHOD
from quirewell.stages.methods import run_method
from quirewell.stages.objecting import Objection
from quirewell.stages.refusal import no

Form = Mapping[str, str]
RULE = "bath-spent"
FRESH = "fresh"


@dataclass(frozen=True, slots=True)
class BathState:
    """Where a bath stands: ``wraps`` since it was fresh, after how many it is changed at the low
    and the high end of the band, whether that is ``now``, and all of it in words."""

    wraps: int
    change_low: int
    change_high: int
    now: bool
    says: str


def bath_state(state: ItemState, bath: Bath) -> BathState | None:
    """Where a bath stands by the record; None before a sheet went in."""
    run = _worked(state, bath)
    return None if run is None else _stands(run)


def _worked(state: ItemState, bath: Bath, more: Sequence[str] = ()) -> Run | None:
    """The ledger, or None where it cannot be worked out (its page says why)."""
    try:
        return ledger_now(state, bath, more)
    except ValueError:
        return None


def ledger_now(state: ItemState, bath: Bath, more: Sequence[str] = ()) -> Run | None:
    """The bath's ledger with every sheet the record put through it, and ``more`` lines; None
    without a line."""
    kept = state.newest_run(METHOD, bath.id)
    lines = _lines(kept)
    recorded = wrap_lines(state, bath)
    missing = recorded[_wraps(lines) :]
    entries = [*lines, *missing, *more]
    if not _wraps(entries):
        return None
    if kept is not None and entries == lines:
        return kept
    usual = {
        "strength": str(bath.strength), "litres": str(bath.litres),
        "temperature_c": str(bath.temperature_c), "leaf": "drained", "open": "no",
    }  # fmt: skip
    params = {**(dict(kept.params) if kept is not None else usual), "entries": ";".join(entries)}
    return run_method(METHOD, bath.id, {}, params=params)


def _lines(kept: Run | None) -> list[str]:
    text = kept.params.get("entries", "") if kept is not None else ""
    return [line.strip() for line in text.replace("\n", ";").split(";") if line.strip()]


def _wraps(lines: Sequence[str]) -> int:
    return sum(line.lower().startswith("wrap") for line in lines)


def _stands(run: Run) -> BathState:
    lines = _lines(run)
    since: list[str] = []
    for line in lines:
        since = [] if line.lower() == FRESH else [*since, line]
    change = next(one for one in run.findings if one.quantity == "bath.replace_after_wrap")
    low, high = int(change.low90 or 0), int(change.high90 or 0)
    used = _wraps(since)
    gone = f"{used} {'wrap has' if used == 1 else 'wraps have'} gone through since it was fresh"
    band = f"change it after {low} (the low end of the band, {low} to {high} wraps)"
    if used >= low:
        return BathState(used, low, high, True, f"Replace now: {gone}; {band}.")
    left = low - used
    more = f"{left} more {'goes' if left == 1 else 'go'} in before it is replaced"
    return BathState(used, low, high, False, f"{gone[:1].upper()}{gone[1:]}; {more}: {band}.")


def bath_objections(
    state: ItemState, step: Step | None, sheets: Sequence[str]
) -> tuple[Objection, ...]:
    """Why no further sheet goes into this bath: what it held is used up, or will be on the way."""
    bath = state.baths.get(step.bath) if step is not None and step.bath else None
    if bath is None or step is None:
        return ()
    begun = replace(step, state="started", places=tuple(sheets))
    lines = wrap_lines(replace(state, steps={step.id: begun}), bath)
    before = _worked(state, bath)
    if before is not None and (now := _stands(before)).now:
        return (Objection(RULE, f"{now.says} {_after()}"),)
    run = _worked(state, bath, lines)
    if run is None or not lines:
        return ()
    then = _stands(run)
    fit = len(lines) - (then.wraps - then.change_low)
    if then.wraps <= then.change_low:
        return ()
    says = (
        f"This bath serves {fit} more of these {len(lines)} wraps: change it after "
        f"{then.change_low} (the low end of the band, {then.change_low} to {then.change_high} "
        f"wraps). {_after()}"
    )
    return (Objection(RULE, says),)


def _after() -> str:
    return (
        "The next one may get too little: pour fresh liquid and say so in the bath's ledger, or "
        "start it all the same with a reason."
    )


def ledger_advanced(state: ItemState, done: Step) -> tuple[Draft, ...]:
    """The ledger's new run once a step in a bath is done; nothing where a person's ledger holds
    its sheets already, or it cannot be worked out."""
    bath = state.baths.get(done.bath) if done.bath else None
    if bath is None:
        return ()
    after = replace(state, steps={**state.steps, done.id: done})
    kept = state.newest_run(METHOD, bath.id)
    run = _worked(after, bath)
    if run is None or (kept is not None and run.id == kept.id):
        return ()
    return (Draft(state.id, "run.recorded", to_body(run)),)


def pour_fresh(state: ItemState, form: Form) -> tuple[Draft, ...]:
    """Say that the bath ``bath`` was poured anew, to the same recipe: its ledger goes on fresh.

    Raises:
        Refusal: no such bath, or no sheet has been in it.
    """
    bath = state.baths.get(form.get("bath", "").strip())
    if bath is None:
        raise no(form, "bath", "There is no such bath here; mix it first.")
    now = bath_state(state, bath)
    if now is None or now.wraps == 0:
        raise no(form, "bath", "No sheet has been in it since it was fresh.")
    run = ledger_now(state, bath, (FRESH,))
    assert run is not None
    return (Draft(state.id, "run.recorded", to_body(run)),)
