"""The outlook on the prove page: from the pH that was read before and after, and two stores."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.finding import Run
from quirewell.record.nouns import ItemState, Reading
from quirewell.stages.asking import Asked, ask_all
from quirewell.stages.methods import run_method
from quirewell.stages.outlooking import ASSUMES, METHOD
from quirewell.stages.refusal import Problem, Refusal

# How a reading's method is called where the outlook takes it; the best kind first.
KINDS = {
    "cold extract": "cold extract",
    "electrode on the paper": "surface electrode",
    "strip on the paper": "surface strip",
}
FIELDS = ("ph_before", "ph_after", "store_before", "store_after")


@dataclass(frozen=True, slots=True)
class OutlookView:
    """What the newest outlook says, its values, and what the form begins with."""

    says: str
    asked: tuple[Asked, ...]
    assumes: tuple[str, ...]
    warnings: tuple[str, ...]
    begins: dict[str, str]


def outlook_view(state: ItemState) -> OutlookView:
    """The outlook of an item as a page shows it; nothing said where none was worked out."""
    run = state.newest_run(METHOD, "item")
    begins = {
        "ph_before": usual_ph(state, "before"), "ph_after": usual_ph(state, "after"),
        "store_before": "", "store_after": "",
    }  # fmt: skip
    if run is None:
        return OutlookView("", (), ASSUMES, (), begins)
    begins |= {key: run.params.get(key, "") for key in FIELDS}
    says = next(
        one.text for one in run.findings if one.quantity in ("outlook.says", "outlook.words")
    )
    return OutlookView(
        says, _asked(run, state), ASSUMES,
        tuple(line for line in run.warnings if line not in ASSUMES), begins,
    )  # fmt: skip


def _asked(run: Run, state: ItemState) -> tuple[Asked, ...]:
    """Its values to be asked about; the sentence stands above them already."""
    said = ("outlook.says", "outlook.words")
    return tuple(one for one in ask_all([run], state) if one.quantity not in said)


def usual_ph(state: ItemState, moment: str) -> str:
    """The best pH of the paper that was read at a moment, as the outlook takes it; "" for none."""
    for method, kind in KINDS.items():
        mine = [
            reading
            for reading in state.readings.values()
            if reading.quantity == "pH" and reading.method == method and reading.moment == moment
        ]
        if mine:
            return _typed(_middle(mine), kind)
    return ""


def _middle(readings: Iterable[Reading]) -> Reading:
    ordered = sorted(readings, key=lambda one: one.value)
    return ordered[(len(ordered) - 1) // 2]


def _typed(reading: Reading, kind: str) -> str:
    off = f"{reading.off_scale} " if reading.off_scale else ""
    at = f" @ {reading.temperature_c}" if reading.temperature_c is not None else ""
    return f"{kind} {off}{reading.value}{at}"


def keep_outlook(state: ItemState, form: dict[str, str]) -> tuple[Draft, ...]:
    """Work the outlook out from ``ph_before``, ``ph_after``, ``store_before``, ``store_after``.

    Raises:
        Refusal: with a sentence, nothing typed lost.
    """
    params = {key: form.get(key, "").strip() for key in FIELDS}
    kept = {key: text for key, text in params.items() if text}
    try:
        run = run_method(METHOD, "item", {}, params=kept)
    except ValueError as error:
        says = f"{error}".rstrip(".") + "."
        field = "store_before" if "store" in says else "ph_before"
        raise Refusal((Problem(field, says),), values=dict(form)) from error
    return (Draft(state.id, "run.recorded", to_body(run)),)
