"""Keeping a bath's ledger: what went through it and what it read, as typed on a page."""

from __future__ import annotations

from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState
from quirewell.stages import typed
from quirewell.stages.ledgering import METHOD
from quirewell.stages.methods import run_method
from quirewell.stages.refusal import no

_NUMBERS = {
    "pickup_g_per_g": typed.number, "tray_area_m2": typed.number,
    "water_in_g_per_g": typed.number, "change_at": typed.number,
}  # fmt: skip


def keep_ledger(state: ItemState, form: dict[str, str]) -> tuple[Draft, ...]:
    """Work out the ledger of the bath ``bath``: ``entries`` and ``readings``, a line each, and
    whether the tray stood ``open``; optional numbers as ``bath.ledger`` takes them.

    Raises:
        Refusal: with a sentence for what cannot be, nothing typed lost.
    """
    known = form.get("bath", "").strip()
    if known not in state.baths:
        raise no(form, "bath", "There is no such bath here; mix it first.")
    bath = state.baths[known]
    params = {
        "strength": str(bath.strength), "litres": str(bath.litres),
        "temperature_c": str(bath.temperature_c), "leaf": "drained",
        "open": "yes" if form.get("open", "") in ("yes", "on") else "no",
    }  # fmt: skip
    for name in ("entries", "readings"):
        lines = [line.strip() for line in form.get(name, "").splitlines() if line.strip()]
        if lines:
            params[name] = ";".join(lines)
    if "entries" not in params:
        raise no(form, "entries", "Write what went through the bath, as 'wrap 4.7 g 15 min'.")
    for name, parse in _NUMBERS.items():
        text = form.get(name, "").strip()
        if text:
            try:
                params[name] = str(parse(text))
            except typed.Unreadable as error:
                raise no(form, name, f"{error}.") from error
    try:
        run = run_method(METHOD, bath.id, {}, params=params)
    except ValueError as error:
        says = f"{error}".rstrip(".") + "."
        raise no(form, "readings" if "reading" in says else "entries", says) from error
    return (Draft(state.id, "run.recorded", to_body(run)),)
