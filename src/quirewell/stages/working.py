"""Computations asked for on a page: one command to keep what a form asks, one view to show it.

The forms are the rows of :mod:`.working_rows`. What was typed is parsed here, so that
Fahrenheit, decimal commas and units are read the same everywhere; limits are the method's own.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.finding import Finding, Input, Run
from quirewell.record.nouns import ItemState
from quirewell.stages import (
    ledgering,
    treating_heat,
    typed,
)
from quirewell.stages.asking import Asked, ask_all
from quirewell.stages.cautions import plain
from quirewell.stages.grade_entry import damage_table
from quirewell.stages.methods import run_method
from quirewell.stages.naming import sheet_words
from quirewell.stages.outlook_entry import KINDS, usual_ph
from quirewell.stages.refusal import Problem, Refusal
from quirewell.stages.working_rows import FILES, SUBJECTS, WORKINGS, Box, Working


@dataclass(frozen=True, slots=True)
class WorkingView:
    """A computation as a page shows it: its form filled, and its newest answer with everything
    that can be asked of it, in the record of ``item``."""

    working: Working
    values: Mapping[str, str]
    cautions: tuple[dict[str, str], ...]
    says: str
    asked: tuple[Asked, ...]
    warnings: tuple[str, ...]
    run: Run | None
    note: str = ""
    offers: Mapping[str, tuple[tuple[str, str], ...]] = field(default_factory=dict)
    opened: bool = False
    item: str = ""

    def held(self, name: str) -> str:
        """The file given before for a box, by the name it came with; empty for none."""
        return (
            next((one.ref for one in self.run.inputs if one.role == name), "") if self.run else ""
        )


def working_view(
    state: ItemState, key: str, laid: Mapping[str, str] | None = None,
    offers: Mapping[str, tuple[tuple[str, str], ...]] | None = None, opened: bool = False,
    known: Mapping[str, str] | None = None,
) -> WorkingView:  # fmt: skip
    """The newest answer of a computation, and its form as it would begin now: with ``laid`` as
    the bench keeps it, its boxes' ``offers``, and ``opened`` where a stack was just chosen;
    ``known`` is what the books say, which gives way to what was typed before."""
    working = WORKINGS[key]
    run = newest(state, working)
    values = {box.name: box.usual for box in working.boxes if box.kind not in FILES}
    begun, note = begins(state, key)
    values |= begun | {name: text for name, text in (known or {}).items() if name in values}
    if run is not None:
        values |= {name: text for name, text in run.params.items() if name in values}
    values |= {name: text for name, text in (laid or {}).items() if name in values}
    for box in working.boxes:
        if box.kind == "lines":
            values[box.name] = "\n".join(
                part.strip() for part in re.split(r"[;\n]", values[box.name]) if part.strip()
            )
    return WorkingView(
        working, values, tuple(plain(working.cautions)), said(run, working),
        _asked(run, working, state), () if run is None else run.warnings, run, note, offers or {},
        opened, state.id,
    )  # fmt: skip


def newest(state: ItemState, working: Working) -> Run | None:
    """The newest run of a computation; None where it was never asked for."""
    return state.newest_run(working.method, working.subject)


def said(run: Run | None, working: Working) -> str:
    """The answer's own sentence; empty where there is none."""
    if run is None:
        return ""
    return next((one.text for one in run.findings if one.quantity in working.says), "")


def _asked(run: Run | None, working: Working, state: ItemState) -> tuple[Asked, ...]:
    if run is None:
        return ()
    shown = [
        one for one in run.findings
        if one.quantity not in working.says and not one.quantity.endswith("_sha256")
    ]  # fmt: skip
    named = replace(run, findings=tuple(shown))
    return tuple(
        one if one.subject in SUBJECTS else replace(one, name=f"{one.name}: {one.subject}")
        for one in ask_all([named], state)
    )


def begins(state: ItemState, key: str) -> tuple[dict[str, str], str]:
    """What the record already knows of a form's boxes, and a sentence where that needs one."""
    out: dict[str, str] = {}
    if key in ("dose", "water") and state.baths:
        bath = list(state.baths.values())[-1]
        out["temperature_c"] = str(bath.temperature_c)
        if key == "dose":
            out["litres"] = str(bath.litres)
    if key in ("dose", "water"):
        found = _tray(state)
        if found is not None and found.value is not None:
            out["pickup_g_per_g"] = f"{found.value:.2f}"
            return out, "Pick-up as this bench's tray readings have it."
    if key == "grade":
        out["defects"] = damage_table(state)
    if key == "worth":
        out["ph_before"] = usual_ph(state, "before")
    if key == "reserve":
        out["ph"] = "\n".join(_ph_lines(state))
    if key in ("press", "chamber") and state.gathering is not None:
        out["wraps"] = str(state.gathering.wraps)
    if key == "heat":
        sheet, out["stays"] = treating_heat.stays_of(state)
        if sheet:
            return (
                out,
                f"Begun with the steps of the sheet they reached most: {sheet_words(sheet)}.",
            )
    return out, ""


def _tray(state: ItemState) -> Finding | None:
    found = [
        one
        for run in state.runs.values()
        if run.method == ledgering.METHOD
        for one in run.findings
        if one.quantity == "bench.pickup_g_per_g"
    ]
    return found[-1] if found else None


def _ph_lines(state: ItemState) -> Iterable[str]:
    for reading in state.readings.values():
        if reading.quantity == "pH" and reading.moment == "after" and reading.method in KINDS:
            off = f"{reading.off_scale} " if reading.off_scale else ""
            at = f" @ {reading.temperature_c}" if reading.temperature_c is not None else ""
            yield f"{KINDS[reading.method]} {off}{reading.value}{at}"


def keep(key: str) -> Callable[[ItemState, dict[str, str]], tuple[Draft, ...]]:
    """The command that works a computation out from its form and keeps the run."""

    def command(state: ItemState, form: dict[str, str]) -> tuple[Draft, ...]:
        return work_out(state, key, form, {}, ())

    return command


def keep_form(state: ItemState, form: dict[str, str]) -> tuple[Draft, ...]:
    """The same for a form that names its computation itself, as ``working``.

    Raises:
        Refusal: no such computation, or as :func:`work_out`.
    """
    key = form.get("working", "")
    if key not in WORKINGS:
        raise Refusal((Problem("working", f"There is no computation {key!r}."),), values=form)
    return work_out(state, key, form, {}, ())


def work_out(
    state: ItemState, key: str, form: Mapping[str, str], files: Mapping[str, Path],
    inputs: tuple[Input, ...], run_by: Callable[..., Run] = run_method,
) -> tuple[Draft, ...]:  # fmt: skip
    """Parse a form, run its method (by ``run_by``), and the event that keeps the run.

    Raises:
        Refusal: with a sentence at the box, nothing typed lost.
    """
    working = WORKINGS[key]
    params: dict[str, str] = {}
    if key == "chamber" and form.get("salt", "").strip():
        form = {**form, "rh_pct": ""}  # The salt holds it, whatever stood in the box before.
    for box in working.boxes:
        text = form.get(box.name, "").strip()
        if not text or box.kind in FILES:
            continue
        params[box.name] = _parsed(box, text, form)
    try:
        run = run_by(working.method, working.subject, files, inputs, params)
    except ValueError as error:
        says = re.sub(r" \([^()]*--[^()]*\)", "", f"{error}").rstrip(".")
        says += "" if says.endswith("?") else "."
        raise Refusal((Problem(_box_of(working, says), says),), values=dict(form)) from error
    return (Draft(state.id, "run.recorded", to_body(run)),)


def _parsed(box: Box, text: str, form: Mapping[str, str]) -> str:
    if box.kind == "lines":
        return "; ".join(line.strip(" ;") for line in text.splitlines() if line.strip(" ;"))
    if box.kind == "table":
        return "\n".join(line.strip() for line in text.splitlines() if line.strip())
    if box.kind == "choice" and text not in {value for value, _ in box.options}:
        raise Refusal((Problem(box.name, f"There is no choice {text!r}."),), values=dict(form))
    if box.parse is None:
        return text
    try:
        return str(box.parse(text))
    except typed.Unreadable as error:
        raise Refusal((Problem(box.name, f"{box.label}: {error}."),), values=dict(form)) from error


# Words of a refusal that tell which box it is about; the first box where none does.
_ABOUT = {
    "temperature": "temperature_c", "°C,": "temperature_c", "litre": "litres", " L": "litres",
    "minute": "minutes_per_wrap", "pick-up": "pickup_g_per_g", "acid": "acid_mol_per_kg",
    "reserve": "wanted_mol_per_kg", "store": "store_before", "humidity": "store_before",
    "sample": "sample", "titration": "titre", "per cent ": "by", "column": "columns",
    "unit": "unit", "mends": "mends", "day first": "day_first", "mass": "wrap_mass_g",
    "magnesium": "mg_mol_per_kg", "photograph of the head: ": "head",
}  # fmt: skip
_ABOUT_PRICE = {
    "grade lies": "grade", "which grade": "grade", "low": "low", "currency": "rates",
    "nothing says what one is": "rates", "sale": "sales", "line ": "sales", "table": "sales",
    "today": "today", "in which": "columns", "which column": "columns", "decimal": "decimal",
}  # fmt: skip


def _box_of(working: Working, says: str) -> str:
    names = [box.name for box in working.boxes]
    about = _ABOUT_PRICE if working.key == "price" else _ABOUT
    for word, name in about.items():
        if word in says and name in names:
            return name
    return names[0]
