"""Drying a washed wrap as a registered method: the window for restraint, blotters, the rack.

Parameters are text: ``wet_g_g``, ``sheet_g_m2``, ``temperature_c``, ``rh_pct``, ``faces``, ``fan``
(yes), ``blotter_g_m2``, ``blotter_g_g``, ``width_mm``, ``height_mm``,
``air_m_s``, ``press_c`` (a warm press, where there is one).
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from quirewell.record.finding import Finding, Run
from quirewell.record.measured import Term
from quirewell.science.evidence.normal import Z90
from quirewell.science.press.changes import DAMP_C
from quirewell.science.press.drying import (
    Change,
    Window,
    blotters,
    onset_water,
    warm_press,
    window,
)
from quirewell.science.press.evaporation import FAN, STILL, convection_at
from quirewell.stages.cautions import plain
from quirewell.stages.methods import Outcome, method
from quirewell.stages.naming import amount_words
from quirewell.stages.typed_params import celsius, humidity, number, refuse_unknown, whole

METHOD = "dry.plan"
SOURCES = ("sugarman1992", "ashrae2017")
CAUTIONS = ("dry-slow", "wet-weak", "tidelines")
_KNOWN = (
    "wet_g_g", "sheet_g_m2", "temperature_c", "rh_pct", "faces", "fan", "blotter_g_m2",
    "blotter_g_g", "width_mm", "height_mm", "press_c", "air_m_s",
)  # fmt: skip
# What stays after drying [%], across and along the grain: under restraint and free (from memory).
STAYS = {"under restraint": ((0.0, 0.5), (0.0, 0.15)), "free": ((-0.5, -0.2), (-0.1, 0.0))}
ASSUMES = (
    "The steady rate holds while the surface is wet; air as still (or as windy) as said, radiation "
    "of the room included. Rates stray by a third (from memory).",
    "Blotters share their water with the sheet at once, by mass; the middle of a thick one lags.",
    "Between two blotters a wrap is under restraint only with a light board on top.",
)
NARROWS = "What would narrow it most: a kitchen scale; weigh a wrap wet, and when it looks matt."
RESTRAIN = (
    "Under restraint it keeps a little of its wet size; free it shrinks and cockles. Restrain it "
    "while it is matt but still limp, before its edges lift."
)


@method(METHOD, 3, "exact")
def dry_plan(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Minutes until a washed sheet must be under restraint, blotters to change, hours to dry."""
    refuse_unknown(params, _KNOWN, f"{METHOD} knows no parameter")
    wet, sheet = number(params, "wet_g_g", 1.9), number(params, "sheet_g_m2", 52.7)
    fan = FAN if params.get("fan") == "yes" else STILL
    if params.get("air_m_s", "").strip():
        fan = convection_at(number(params, "air_m_s", 0.0))
    one = window(
        wet, sheet, celsius(params, "temperature_c", 20.0), humidity(params, "rh_pct", 50.0),
        whole(params, "faces", 2), fan,
    )  # fmt: skip
    changes = blotters(
        wet, sheet, number(params, "blotter_g_m2", 300.0), number(params, "blotter_g_g", 0.07)
    )
    return Outcome(
        (
            _window(one),
            _one("dry.rack_min", one.dry_min, 0.33 * one.dry_min, "min", "on a rack, to 8 %"),
            _one("dry.rate_g_m2_h", one.g_m2_h, 0.33 * one.g_m2_h, "g/(m2 h)", "from each face"),
            _one("dry.surface_c", one.surface_c, 0.7, "C", "of the wet surface"),
            _one("dry.changes", float(len(changes)), 0.5, "1", "sets of dry blotters, to 9 %"),
            *(_change(number, change) for number, change in enumerate(changes, 1)),
            *_pressed(params, wet, sheet),
            *_size(params),
            Finding("", "dry.says", "item", text=_sentence(one, changes), standing="from memory",
                    sources=SOURCES),
        ),
        (*_warm(params), RESTRAIN, *ASSUMES, NARROWS),
    )  # fmt: skip


def _pressed(params: Mapping[str, str], wet: float, sheet: float) -> list[Finding]:
    """In a warm press between blotters: minutes, beside the same in a cold one."""
    if not params.get("press_c", "").strip():
        return []
    # A wetter sheet is blotted first: what it holds at the onset is what goes into the press.
    water = min(wet, onset_water())
    out = []
    for subject, platen in (
        ("warm press", celsius(params, "press_c", DAMP_C)),
        ("cold press", celsius(params, "temperature_c", 20.0)),
    ):
        one = warm_press(
            water, sheet, platen, number(params, "blotter_g_m2", 300.0),
            number(params, "blotter_g_g", 0.07),
        )  # fmt: skip
        low, middle, high = one.minutes
        u = (high - low) / (2 * Z90)
        out.append(
            Finding(
                "", "dry.press_min", subject, middle, u, "min", low90=low, high90=high,
                terms=(Term("what nobody knows of the stack", u, "6 runs over the bounds"),),
                standing="from memory", sources=("tryding2022", "heikkila1993"),
                note=f"at {platen:g} °C from {100 * water:.0f} to {100 * one.shared_g_g:.0f} % "
                "water, one blotter each side; by vapour alone: blotters also draw by touch",
            )
        )  # fmt: skip
    return out


def _warm(params: Mapping[str, str]) -> list[str]:
    if not params.get("press_c", "").strip():
        return []
    out = [
        "A closed press dries into the blotters alone: what they cannot take stays. Change them, "
        "or let the wrap dry in air under a light board."
    ]
    if celsius(params, "press_c", DAMP_C) > DAMP_C:
        out.insert(0, f"Above {DAMP_C:g} °C damp paper glazes (from memory): stay below.")
    return out


def _window(one: Window) -> Finding:
    early, middle, late = one.restrain_min
    # Solids at the onset and the rate of drying, both.
    low, high = middle / (1 + 0.33) - (middle - early), middle * (1 + 0.33) + (late - middle)
    return Finding(
        "", "dry.restrain_min", "item", middle, (high - low) / (2 * Z90), "min",
        low90=max(0.0, low), high90=high, standing="from memory", sources=SOURCES,
        note="until 63 % solids, where every paper tried began to distort",
    )  # fmt: skip


def _one(quantity: str, value: float, u: float, unit: str, note: str) -> Finding:
    return Finding(
        "", quantity, "item", value, u, unit, standing="from memory", sources=SOURCES, note=note
    )


def _change(number: int, change: Change) -> Finding:
    return Finding(
        "", "dry.after_change_pct", f"{number}. set", 100 * change.sheet_g_g,
        15 * change.sheet_g_g, "%", standing="from memory", sources=SOURCES,
        note=f"water in the sheet when it comes out, after about {change.minutes:g} min (times: "
        "common practice, no source)",
    )  # fmt: skip


def _size(params: Mapping[str, str]) -> list[Finding]:
    """What the size may come to, by how it dried; the width across the grain, as is usual."""
    out = []
    for name, (across, along) in STAYS.items():
        for key, usual, (low, high) in (
            ("width_mm", 184.0, across), ("height_mm", 260.0, along),
        ):  # fmt: skip
            size = number(params, key, usual)
            middle = size * (low + high) / 200
            half = size * (high - low) / 200
            out.append(
                Finding(
                    "",
                    f"dry.{key.removesuffix('_mm')}_change_mm",
                    name,
                    middle,
                    half / Z90,
                    "mm",
                    low90=middle - half,
                    high90=middle + half,
                    standing="from memory",
                    note="grain along the spine taken for granted",
                )
            )
    return out


def _sentence(one: Window, changes: tuple[Change, ...]) -> str:
    early, _, _ = one.restrain_min
    sets = "one set" if len(changes) == 1 else f"{len(changes)} sets"
    low = max(0.0, early / 1.33)
    return (
        f"Get it under restraint within {amount_words(low, 'minute')}; {sets} of dry blotters "
        f"take it to 9 %, or about {one.dry_min / 60:.1f} hours on the rack."
    )


def as_json(run: Run) -> dict[str, Any]:
    """A plan as the command line's JSON."""
    whole = {one.quantity: one for one in run.findings if one.subject == "item"}
    return {
        "says": whole["dry.says"].text,
        **{
            key: whole[f"dry.{key}"].measured().as_json()
            for key in ("restrain_min", "rack_min", "rate_g_m2_h", "surface_c", "changes")
        },
        "blotters": [
            {"set": one.subject, "sheet_pct": one.measured().as_json(), "note": one.note}
            for one in run.findings
            if one.quantity == "dry.after_change_pct"
        ],
        "size": [
            {"dried": one.subject, "what": one.quantity.removeprefix("dry."),
             **one.measured().as_json()}
            for one in run.findings
            if one.quantity.endswith("_change_mm")
        ],
        "cautions": [row["says"] for row in plain(CAUTIONS)],
        "press": [
            {"way": one.subject, **one.measured().as_json(), "note": one.note}
            for one in run.findings
            if one.quantity == "dry.press_min"
        ],
        "warnings": list(run.warnings),
        "method": f"{run.method}@{run.version}",
    }  # fmt: skip
