"""What the treat stage shows: plain data that page, command line and report read alike."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Any

from quirewell.record.bench import BenchState
from quirewell.record.finding import Run
from quirewell.record.nouns import Bath, ItemState, Reading, SpotTest, Step
from quirewell.stages.asking import as_read, beside
from quirewell.stages.bath_state import bath_state
from quirewell.stages.bathing import CHEAP_TOOL, JSON_KEYS, METHOD
from quirewell.stages.by_course import followed_words
from quirewell.stages.cautions import LIME_BATH, LOCAL_CODES, plain, protective
from quirewell.stages.gates import (
    Objection,
    ink_tests_of,
    is_damp,
    objections,
    pointers,
    sheets_of,
)
from quirewell.stages.naming import place_words, time_words
from quirewell.stages.reading_entry import PH_METHODS, QUANTITIES
from quirewell.stages.step_table import PERMANENCE_WORDS, STEP_KINDS, StepKind

# A meter read a pH beyond its buffers strays by about 5 % of the slope (from memory).
U_BEYOND = 0.05
_STATES = {"planned": "planned", "started": "under way", "done": "done"}


def view(state: ItemState, bench: BenchState | None = None) -> dict[str, Any]:
    """Everything the treat stage knows of an item, as text, numbers, lists and mappings.

    Keys: ``steps`` (in the order they were recorded), ``readings``, ``spot_tests``, ``baths``,
    ``materials``, ``untested`` (sheets no ink test speaks for), ``wet_now``, ``permanent`` (what
    was done for good and the evidence it took), ``cautions`` of the steps not yet done,
    ``local_codes``, ``cheap_tool``, and ``kinds``, ``quantities``, ``ph_methods`` for the forms.
    """
    steps = [_step(state, step, bench) for step in state.steps.values()]
    return {
        "steps": steps,
        "readings": [reading_row(state, reading) for reading in state.readings.values()],
        "spot_tests": [_test(state, test) for test in state.spot_tests.values()],
        "baths": [_bath(state, bath) for bath in state.baths.values()],
        "materials": _materials(state),
        "untested": _untested(state),
        "wet_now": [sheet for sheet in _known_sheets(state) if is_damp(state, sheet)],
        "permanent": [
            {"name": row["name"], "where": row["where"], "evidence": row["evidence"]}
            for row in steps
            if row["permanence"] == "permanent" and row["state"] != "planned"
        ],
        "cautions": _cautions(state),
        "local_codes": LOCAL_CODES,
        "cheap_tool": cheap_tool(state),
        "kinds": [kind_row(kind) for kind in STEP_KINDS.values()],
        "quantities": [
            {"key": kind.key, "name": kind.name, "unit": kind.unit, "hint": kind.hint}
            for kind in QUANTITIES.values()
        ],
        "ph_methods": [{"key": method.key, "name": method.name} for method in PH_METHODS.values()],
    }


def kind_row(kind: StepKind) -> dict[str, Any]:
    """A row of the step table as plain data, with its cautions in words."""
    return {
        "key": kind.key,
        "name": kind.name,
        "does": kind.does,
        "wets": kind.wets,
        "wets_paper": kind.wets_paper,
        "aqueous": kind.aqueous,
        "alkaline": kind.alkaline,
        "heat": kind.heat,
        "permanence": kind.permanence,
        "permanence_says": PERMANENCE_WORDS[kind.permanence],
        "evidence": kind.evidence,
        "materials": list(kind.materials),
        "ways": list(kind.ways),
        "cautions": plain(kind.cautions),
        "protective": list(protective(kind.key)),
        "standing": kind.standing,
        "source": kind.source,
    }


def _step(state: ItemState, step: Step, bench: BenchState | None) -> dict[str, Any]:
    kind = STEP_KINDS.get(step.kind)
    heat = None if step.temperature_c is None else float(step.temperature_c)
    planned = step.state == "planned"
    against: tuple[Objection, ...] = ()
    mind: tuple[str, ...] = ()
    if kind is not None and planned:
        against = objections(state, kind, step.places, heat, step=step)
        mind = pointers(state, kind, step.places, heat, step=step)
    wetted = (kind is None or kind.wets_paper) and step.state != "planned"
    row = {
        "id": step.id,
        "kind": step.kind,
        "places": list(step.places),
        "where": ", ".join(place_words(place) for place in step.places),
        "state": step.state,
        "state_says": _STATES[step.state],
        "who": step.who,
        "minutes": _plain_number(step.minutes),
        "time": "" if step.minutes is None else time_words(step.minutes),
        "temperature_c": _plain_number(step.temperature_c),
        "lots": [
            {"material": lot.material, "lot": lot.lot, "amount": lot.amount} for lot in step.lots
        ],
        "bath": step.bath,
        "way": step.way,
        "course": followed_words(step, bench),
        "started_at": step.started_at,
        "done_at": step.done_at,
        "note": step.note,
        "before": [objection.says for objection in against],
        "mind": list(mind),
        "overrides": [
            {"rule": entry.rule, "reason": entry.reason}
            for entry in state.overrides.values()
            if entry.step == step.id
        ],
        "can": _can(step, wetted),
        "touched": state.touched.get(step.id, 0),
    }
    if kind is None:
        unknown = {"name": step.kind, "permanence": "permanent", "evidence": "not known"}
        return {
            **row,
            **unknown,
            "ways": [],
            "permanence_says": PERMANENCE_WORDS["permanent"],
            "cautions": [],
            "protective": [],
        }
    shared = {key: value for key, value in kind_row(kind).items() if key != "key"}
    return {**shared, **row}


def _can(step: Step, wetted: bool) -> list[str]:
    moves = {"planned": ["start"], "started": ["finish"], "done": []}[step.state]
    return [*moves, "correct", *([] if wetted else ["set aside"])]


def _plain_number(value: Decimal | None) -> float | int | None:
    if value is None:
        return None
    return int(value) if value == value.to_integral_value() else float(value)


def reading_row(state: ItemState, reading: Reading) -> dict[str, Any]:
    """A reading as plain data with its standard uncertainty and on what that stands."""
    u, basis = reading_u(reading)
    sign = {"below": "below ", "above": "above ", None: ""}[reading.off_scale]
    return {
        "id": reading.id,
        "place": reading.place,
        "where": place_words(reading.place),
        "quantity": reading.quantity,
        "name": _reading_name(reading),
        "value": float(reading.value),
        "u": u,
        "u_basis": basis,
        "unit": reading.unit,
        "said": f"{sign}{as_read(reading.value, reading.unit)}",
        "off_scale": reading.off_scale or "",
        "method": reading.method,
        "temperature_c": _plain_number(reading.temperature_c),
        "buffers": [float(one) for one in reading.buffers],
        "moment": reading.moment or "",
        "instrument": reading.instrument,
        "as_typed": reading.as_typed,
        "note": reading.note,
        "touched": state.touched.get(reading.id, 0),
    }


def _reading_name(reading: Reading) -> str:
    """A reading's name; a pH says how it was read, for the kinds are no one number."""
    kind = QUANTITIES.get(reading.quantity)
    name = kind.name if kind else reading.quantity
    return f"{name} ({reading.method})" if reading.quantity == "pH" and reading.method else name


def reading_u(reading: Reading) -> tuple[float | None, str]:
    """Standard uncertainty of a reading and its basis; None for a reading off the scale.

    A step of the instrument counts as step / sqrt(12) (``jcgm100``, 4.3.7); a pH adds the usual
    spread of its method (common practice, no source).
    """
    if reading.off_scale:
        return None, "off the instrument's scale: a limit, not a value"
    kind = QUANTITIES.get(reading.quantity)
    step = reading.resolution or (kind.step if kind else None)
    u = 0.0 if step is None else float(step) / math.sqrt(12)
    basis = "" if step is None else f"smallest step {beside(str(step), reading.unit)}"
    method = PH_METHODS.get(reading.method) if reading.quantity == "pH" else None
    if method is not None:
        u = math.hypot(u, float(method.u))
        basis = f"{method.name}, {method.u} (common practice, no source); {basis}"
        beyond = _beyond_buffers(reading)
        if beyond:
            u = math.hypot(u, beyond * U_BEYOND)
            basis += f"; {beyond:.1f} beyond its buffers (from memory: {U_BEYOND} for each pH)"
    return u, basis


def _beyond_buffers(reading: Reading) -> float:
    """How far [pH] a reading lies outside the buffers the meter was set on; 0 within half a pH."""
    if not reading.buffers:
        return 0.0
    value = float(reading.value)
    low, high = float(min(reading.buffers)), float(max(reading.buffers))
    beyond = max(low - value, value - high, 0.0)
    return beyond if beyond > 0.5 else 0.0


def _test(state: ItemState, test: SpotTest) -> dict[str, Any]:
    return {
        "id": test.id,
        "place": test.place,
        "where": place_words(test.place),
        "colour": test.colour,
        "liquid": test.liquid,
        "result": test.result,
        "minutes": _plain_number(test.minutes),
        "temperature_c": _plain_number(test.temperature_c),
        "note": test.note,
        "capture": test.capture,
        "touched": state.touched.get(test.id, 0),
    }


def _bath(state: ItemState, bath: Bath) -> dict[str, Any]:
    run = state.runs.get(bath.run)
    strength = float(bath.strength)
    stands = bath_state(state, bath)
    return {
        "id": bath.id,
        "strength": strength,
        "says": "saturated lime water" if strength == 1 else f"{100 * strength:g} % lime water",
        "temperature_c": float(bath.temperature_c),
        "litres": float(bath.litres),
        "note": bath.note,
        "run": bath.run,
        "findings": [] if run is None else _findings(run),
        "warnings": [] if run is None else list(run.warnings),
        "stands": "" if stands is None else stands.says,
        "spent": stands is not None and stands.now,
        "cautions": plain(LIME_BATH),
        "steps": [step.id for step in state.steps.values() if step.bath == bath.id],
        "touched": state.touched.get(bath.id, 0),
    }


def _findings(run: Run) -> list[dict[str, Any]]:
    keys = {quantity: key for key, quantity in JSON_KEYS}
    return [
        {
            "id": finding.id,
            "key": keys[finding.quantity],
            "quantity": finding.quantity,
            **finding.measured().as_json(),
            "standing": finding.standing,
            "sources": list(finding.sources),
            "note": finding.note,
        }
        for finding in run.findings
        if finding.quantity in keys
    ]


def _materials(state: ItemState) -> list[dict[str, Any]]:
    out: dict[tuple[str, str], dict[str, Any]] = {}
    for step in state.steps.values():
        for lot in step.lots:
            row = out.setdefault(
                (lot.material, lot.lot), {"material": lot.material, "lot": lot.lot, "steps": []}
            )
            if step.id not in row["steps"]:
                row["steps"].append(step.id)
    return list(out.values())


def _known_sheets(state: ItemState) -> tuple[str, ...]:
    described = state.gathering.sheets() if state.gathering else ()
    touched = (place for step in state.steps.values() for place in step.places)
    return tuple(dict.fromkeys((*described, *sheets_of(state, touched))))


def _untested(state: ItemState) -> list[str]:
    return [sheet for sheet in _known_sheets(state) if not ink_tests_of(state, sheet)]


def _cautions(state: ItemState) -> list[dict[str, str]]:
    """Cautions of every step not yet done, each once; of the ink test while nothing is planned."""
    ids = {
        id: None
        for step in state.steps.values()
        if step.state != "done" and step.kind in STEP_KINDS
        for id in STEP_KINDS[step.kind].cautions
    }
    return plain(ids or {"ink-first": None, "mould": None, "disclose": None})


def cheap_tool(state: ItemState) -> str:
    """The one cheap tool that would narrow what is recorded most, in a sentence."""
    runs = [state.runs[bath.run] for bath in state.baths.values() if bath.run in state.runs]
    if any(run.method == METHOD and not run.params.get("pickup_g_per_g") for run in runs):
        return CHEAP_TOOL
    ph = [reading for reading in state.readings.values() if reading.quantity == "pH"]
    if ph and all(PH_METHODS[r.method].strip for r in ph if r.method in PH_METHODS):
        return (
            "Narrow-range pH strips (6 to 8 in steps of 0.3) beside the wide ones: about half "
            "the uncertainty of a wide strip. A strip still reads the surface only."
        )
    if ph and any(reading.temperature_c is None for reading in ph):
        return (
            "A kitchen thermometer: a pH without its temperature cannot be compared with another."
        )
    return (
        "A pocket scale that reads 0.01 g: a leaf weighed dry, wet and dry again shows what it "
        "carried from the bath and what stayed in it."
    )
