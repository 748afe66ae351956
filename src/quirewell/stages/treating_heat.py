"""What the treatment's own heat and damp cost, as a registered method: equivalent days, summed.

``stays`` is a line or a part between ";" for each: "68 C, 50 %, 15 min: pressed"; the humidity is
that in the paper and may be left out where nobody knows it. A stay whose course was computed says
its days instead: "0.6 d (0.2 to 1.9): pressed". The sum is worked out anew by itself whenever a
step of heat or damp is done (:func:`with_total`).
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.finding import Finding, Run
from quirewell.record.measured import Term
from quirewell.record.nouns import ItemState, Step
from quirewell.science.evidence.normal import Z90
from quirewell.science.paper.heat_dose import HeatDose, heat_dose
from quirewell.stages import typed
from quirewell.stages.gates import sheets_of
from quirewell.stages.methods import Outcome, method, run_method
from quirewell.stages.naming import time_words
from quirewell.stages.step_table import STEP_KINDS

METHOD = "outlook.treatment"
SOURCES = ("michalski2002", "strlic2015")
_COMMA = r"\s*(?:,\s+|(?<!\d),|,(?!\d))\s*"  # not one between digits: that is a decimal comma
_STAY = re.compile(
    rf"(?P<t>[^:%]+?){_COMMA}(?:(?P<h>[\d.,]+)\s*%{_COMMA})?(?P<m>[^:%]+?)\s*(?::\s*(?P<name>.*))?"
)
_MOST_STAYS = 200
# A chamber's air (common practice, no source), where a step wets by vapour and nothing is written.
_CHAMBER_PCT = "95"
ASSUMES = (
    "Days are those at 20 °C and 50 % RH that age paper as much: an order of magnitude, with its "
    "band; activation energies and laws of humidity are from memory.",
    "It counts slow ageing only: gloss, blocking, melted adhesive and scorch are other dangers, "
    "and come first.",
    "The temperature is the paper's, not the plate's: what lies between slows and lowers it.",
)


_DOSE = re.compile(
    r"(?P<mid>[\d.]+)\s*d\s*\((?P<low>[\d.]+)\s*to\s*(?P<high>[\d.]+)\)\s*(?::\s*(?P<name>.*))?"
)


@dataclass(frozen=True, slots=True)
class Stay:
    """So many hours of paper at a temperature [C] and a humidity [0..1]; None where not known.

    ``dose``: its days where a computed course gave them; then the rest is not used.
    """

    name: str
    temperature_c: float
    rh: float | None
    hours: float
    dose: HeatDose | None = None

    def days(self) -> HeatDose:
        """What it costs."""
        return self.dose or heat_dose(self.hours, self.temperature_c, self.rh)


def read_stay(text: str) -> Stay:
    """A stay as typed.

    Raises:
        ValueError: with a sentence that says how it is written.

    >>> read_stay("154 F, 15 min: pressed").hours
    0.25
    """
    computed = _DOSE.fullmatch(text.strip())
    if computed is not None:
        return _computed(computed, text.strip())
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


def _computed(match: re.Match[str], text: str) -> Stay:
    low, middle, high = (float(match[key]) for key in ("low", "mid", "high"))
    if not 0 < low <= middle <= high < 1e6:
        raise ValueError(
            "computed days are a middle and its band, as in '0.6 d (0.2 to 1.9)'; got "
            f"{text[:60]!r}"
        )
    log_u = math.log(high / low) / (2 * Z90)
    dose = HeatDose(middle, low, high, log_u, {"its course and ageing": log_u})
    return Stay((match["name"] or "").strip() or text, 0.0, None, 0.0, dose)


@method(METHOD, 1, "exact")
def treatment_heat(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Heat and damp of the treatment itself, as days at 20 °C and 50 % RH."""
    unknown = sorted(set(params) - {"stays"})
    if unknown:
        raise ValueError(f"{METHOD} knows no parameter {unknown[0]!r}; it knows stays")
    texts = [part for part in re.split(r"[;\n]", params.get("stays", "")) if part.strip()]
    if not texts:
        raise ValueError("nothing was warm or damp: give a stay as '68 C, 50 %, 15 min: pressed'")
    if len(texts) > _MOST_STAYS:
        raise ValueError(f"at most {_MOST_STAYS} stays are summed, got {len(texts)}")
    stays = [read_stay(text) for text in texts]
    doses = [stay.days() for stay in stays]
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
    if stay.dose is not None:
        return "by the course computed for it"
    damp = "humidity not known, 40 to 90 %" if stay.rh is None else f"{100 * stay.rh:g} % RH"
    return f"{stay.hours * 60:g} min of paper at {stay.temperature_c:g} °C, {damp}"


def _together(doses: list[HeatDose]) -> HeatDose:
    """The sum; what is unknown is the same unknown in all, so their uncertainties add up."""
    days = sum(one.days for one in doses)
    parts = {
        name: sum(one.days * one.parts.get(name, 0.0) for one in doses) / max(days, 1e-300)
        for name in {key: None for one in doses for key in one.parts}
    }
    log_u = math.hypot(*parts.values()) if parts else 0.0
    spread = math.exp(Z90 * log_u)
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
    lines = {sheet: [_line(state, step) for step in steps] for sheet, steps in sheets.items()}
    dosed = {sheet: _whole(stays) for sheet, stays in lines.items()}
    most = max(lines, key=lambda sheet: dosed[sheet])
    return most, "\n".join(lines[most])


def _whole(lines: list[str]) -> float:
    return sum(read_stay(line).days().days for line in lines)


def _line(state: ItemState, step: Step) -> str:
    kind = STEP_KINDS[step.kind]
    run = state.runs.get(step.run)
    days = next((one for one in run.findings if one.quantity == "press.dose_days"), None) if (
        run) else None  # fmt: skip
    if days is not None and days.value and days.low90 and days.high90:
        return f"{days.value:.3g} d ({days.low90:.3g} to {days.high90:.3g}): {kind.name}"
    warm = 21 if step.temperature_c is None else step.temperature_c
    air = f" {_CHAMBER_PCT} %," if kind.wets == "vapour" else ""
    assert step.minutes is not None  # as stays_of asks
    return f"{warm} °C,{air} {time_words(step.minutes)}: {kind.name}"


def with_total(state: ItemState, step: Step) -> tuple[Draft, ...]:
    """The drafts that bring the item's heat and damp up to date once ``step`` stands; none where
    it is neither warm nor damp, or nothing tells how long. Lines a person added stay."""
    kind = STEP_KINDS.get(step.kind)
    if kind is None or not (kind.heat or kind.wets == "vapour") or step.minutes is None:
        return ()
    _, before = stays_of(state)
    _, after = stays_of(replace(state, steps={**state.steps, step.id: step}))
    kept = state.newest_run(METHOD, "item")
    typed_in = [] if kept is None else re.split(r"[;\n]", kept.params.get("stays", ""))
    known = {line.strip() for line in before.splitlines()}
    added = [line.strip() for line in typed_in if line.strip() and line.strip() not in known]
    stays = "; ".join([*after.splitlines(), *added])
    if not stays:
        return ()
    run = run_method(METHOD, "item", {}, params={"stays": stays})
    return (Draft(state.id, "run.recorded", to_body(run)),)


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
