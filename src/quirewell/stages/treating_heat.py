"""What the treatment's own heat and damp cost, as a registered method: equivalent days, summed.

``stays`` is a line or a part between ";" for each: "68 C, 50 %, 15 min: pressed"; the humidity is
that in the paper and may be left out where nobody knows it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from quirewell.record.finding import Finding, Run
from quirewell.record.measured import Term
from quirewell.record.nouns import ItemState, Step
from quirewell.science.paper.heat_dose import HeatDose, heat_dose
from quirewell.stages import typed
from quirewell.stages.gates import sheets_of
from quirewell.stages.methods import Outcome, method
from quirewell.stages.naming import time_words
from quirewell.stages.step_table import STEP_KINDS

METHOD = "outlook.treatment"
SOURCES = ("michalski2002", "strlic2015")
_Z90 = 1.6448536269514722
_COMMA = r"\s*(?:,\s+|(?<!\d),|,(?!\d))\s*"  # not one between digits: that is a decimal comma
_STAY = re.compile(
    rf"(?P<t>[^:%]+?){_COMMA}(?:(?P<h>[\d.,]+)\s*%{_COMMA})?(?P<m>[^:%]+?)\s*(?::\s*(?P<name>.*))?"
)
_MOST_STAYS = 200
# A chamber's air (common practice, no source), where a step wets by vapour and nothing is written.
_CHAMBER_PCT = "95"
ASSUMES = (
    "Days are those at 20 C and 50 % RH that age paper as much: an order of magnitude, with its "
    "band; activation energies and laws of humidity are from memory.",
    "It counts slow ageing only: gloss, blocking, melted adhesive and scorch are other dangers, "
    "and come first.",
    "The temperature is the paper's, not the plate's: what lies between slows and lowers it.",
)


@dataclass(frozen=True, slots=True)
class Stay:
    """So many hours of paper at a temperature [C] and a humidity [0..1]; None where not known."""

    name: str
    temperature_c: float
    rh: float | None
    hours: float


def read_stay(text: str) -> Stay:
    """A stay as typed.

    Raises:
        ValueError: with a sentence that says how it is written.

    >>> read_stay("154 F, 15 min: pressed").hours
    0.25
    """
    match = _STAY.fullmatch(text.strip())
    if match is None:
        raise ValueError(
            "a stay is temperature, humidity in the paper (if known) and time, as in '68 C, 50 %, "
            f"15 min: pressed'; got {text.strip()[:60]!r}"
        )
    rh = None
    if match["h"]:
        rh = float(typed.number(match["h"])) / 100
        if 0 < rh <= 0.01:
            raise ValueError(f"humidity is per cent here: was {match['h']} meant as a share of 1?")
        if rh > 1:
            raise ValueError(f"humidity goes up to 100 %, got {match['h']}")
    warm = float(typed.temperature_c(match["t"]))
    hours = float(typed.minutes(match["m"])) / 60
    if hours <= 0:
        raise ValueError(f"a stay lasts longer than nothing, got {match['m']!r}")
    return Stay((match["name"] or "").strip() or text.strip(), warm, rh, hours)


@method(METHOD, 1, "exact")
def treatment_heat(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Heat and damp of the treatment itself, as days at 20 C and 50 % RH."""
    unknown = sorted(set(params) - {"stays"})
    if unknown:
        raise ValueError(f"{METHOD} knows no parameter {unknown[0]!r}; it knows stays")
    texts = [part for part in re.split(r"[;\n]", params.get("stays", "")) if part.strip()]
    if not texts:
        raise ValueError("nothing was warm or damp: give a stay as '68 C, 50 %, 15 min: pressed'")
    if len(texts) > _MOST_STAYS:
        raise ValueError(f"at most {_MOST_STAYS} stays are summed, got {len(texts)}")
    stays = [read_stay(text) for text in texts]
    doses = [heat_dose(stay.hours, stay.temperature_c, stay.rh) for stay in stays]
    findings = [
        _found("heat.days", f"{number}. {stay.name}", dose, _note(stay))
        for number, (stay, dose) in enumerate(zip(stays, doses, strict=True), 1)
    ]
    whole = _together(doses)
    says = (
        f"Heat and damp of the treatment aged it by about {_days(whole.days)}, between "
        f"{_days(whole.low90_days)} and {_days(whole.high90_days)}."
    )
    return Outcome(
        (
            *findings,
            _found("heat.days_in_all", "item", whole, "all stays fully alike in what is unknown"),
            Finding("", "heat.says", "item", text=says, standing="from memory", sources=SOURCES),
        ),
        ASSUMES,
    )


def _note(stay: Stay) -> str:
    damp = "humidity not known, 40 to 90 %" if stay.rh is None else f"{100 * stay.rh:g} % RH"
    return f"{stay.hours * 60:g} min of paper at {stay.temperature_c:g} C, {damp}"


def _together(doses: list[HeatDose]) -> HeatDose:
    """The sum; what is unknown is the same unknown in all, so their uncertainties add up."""
    days = sum(one.days for one in doses)
    parts = {
        name: sum(one.days * one.parts.get(name, 0.0) for one in doses) / max(days, 1e-300)
        for name in {key: None for one in doses for key in one.parts}
    }
    log_u = math.hypot(*parts.values()) if parts else 0.0
    spread = math.exp(_Z90 * log_u)
    return HeatDose(days, days / spread, days * spread, log_u, parts)


def _days(days: float) -> str:
    if days < 1 / 24:
        return "less than an hour"
    if days < 1.5:
        return f"{24 * days:.2g} hours"
    return f"{float(f'{days:.2g}'):g} days"


def _found(quantity: str, subject: str, dose: HeatDose, note: str) -> Finding:
    return Finding(
        "", quantity, subject, dose.days, dose.days * dose.log_u, "d", low90=dose.low90_days,
        high90=dose.high90_days,
        terms=tuple(
            Term(name, dose.days * size, "as a share of the days")
            for name, size in dose.parts.items() if size > 1e-9
        ),
        standing="from memory", sources=SOURCES, note=note,
    )  # fmt: skip


def stays_of(state: ItemState) -> tuple[str, str]:
    """The sheet that heat and damp reached longest by the record, and its stays as lines; both
    empty where no warm or damp step was taken."""
    sheets: dict[str, list[Step]] = {}
    for step in state.steps.values():
        kind = STEP_KINDS.get(step.kind)
        if kind is None or step.state == "planned" or step.minutes is None:
            continue
        if kind.heat or kind.wets == "vapour":
            for sheet in sheets_of(state, step.places):
                sheets.setdefault(sheet, []).append(step)
    if not sheets:
        return "", ""
    lines = {sheet: [_line(step) for step in steps] for sheet, steps in sheets.items()}
    dosed = {sheet: _whole(stays) for sheet, stays in lines.items()}
    most = max(lines, key=lambda sheet: dosed[sheet])
    return most, "\n".join(lines[most])


def _whole(lines: list[str]) -> float:
    stays = [read_stay(line) for line in lines]
    return sum(heat_dose(one.hours, one.temperature_c, one.rh).days for one in stays)


def _line(step: Step) -> str:
    kind = STEP_KINDS[step.kind]
    warm = 21 if step.temperature_c is None else step.temperature_c
    air = f" {_CHAMBER_PCT} %," if kind.wets == "vapour" else ""
    assert step.minutes is not None  # as stays_of asks
    return f"{warm} C,{air} {time_words(step.minutes)}: {kind.name}"


def as_json(run: Run) -> dict[str, Any]:
    """The dose as the command line's JSON."""
    by_name = {one.quantity: one for one in run.findings}
    return {
        "days": by_name["heat.days_in_all"].measured().as_json(),
        "says": by_name["heat.says"].text,
        "stays": [
            {"stay": one.subject, "days": one.measured().as_json(), "note": one.note}
            for one in run.findings
            if one.quantity == "heat.days"
        ],
        "warnings": list(run.warnings),
        "standing": "from memory",
        "method": f"{run.method}@{run.version}",
    }
