"""Which bath for which aim as a registered method: options side by side, harm before the step."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal

from quirewell.record.finding import Finding, Run
from quirewell.record.measured import Term
from quirewell.science.bath import engine
from quirewell.science.bath.constants import MOLAR_MASS_CACO3
from quirewell.science.bath.dose import (
    GENTLE_PH,
    MOST_BATHS,
    MOST_MINUTES,
    PERMANENT,
    SMALL_RESERVE,
    Dose,
    Option,
    Paper,
    dose,
    usual_acid,
)
from quirewell.science.bath.lime_water import pick_up
from quirewell.science.bath.recipe import Recipe
from quirewell.stages.bathing import BATH_SOURCES, CHEAP_TOOL
from quirewell.stages.cautions import LIME_BATH, LOCAL_CODES, plain
from quirewell.stages.methods import Outcome, method

METHOD = "bath.dose"
WRAP_G, WATER_IN = 4.7, 1.8
_CARBONATE_SOURCES = ("plummer1982", "parkhurst2013")
_KNOWN = {
    "aim", "wanted_mol_per_kg", "temperature_c", "pickup_g_per_g", "leaf", "minutes_per_wrap",
    "acid_mol_per_kg", "wrap_mass_g", "litres", "water_in_g_per_g",
}  # fmt: skip
AIMS = {"small reserve": SMALL_RESERVE, "permanent": PERMANENT}
HARM = (
    "Getting to 0.4 mol/kg takes what groundwood does not stand: strong or repeated alkaline baths "
    "that darken it, swell it and make it more sensitive to light. The standard was written for "
    "new, unprinted paper.",
    "A deacidified groundwood paper yellows faster in light, not slower: store it dark.",
)


@method(METHOD, 2, "exact")
def bath_dose(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Lime water of several strengths and hydrogen carbonates beside each other, for one aim."""
    unknown = sorted(set(params) - _KNOWN)
    if unknown:
        raise ValueError(
            f"{METHOD} knows no parameter {unknown[0]!r}; it knows {', '.join(sorted(_KNOWN))}"
        )
    aim = params.get("aim", "small reserve")
    if aim not in AIMS:
        raise ValueError(f"the aim is one of {', '.join(AIMS)}, got {aim!r}")
    wanted = _number(params, "wanted_mol_per_kg", AIMS[aim])
    temperature_c = _number(params, "temperature_c", 20.0)
    paper, weighed = _paper(params, temperature_c)
    found = dose(
        wanted, temperature_c, paper, _number(params, "minutes_per_wrap", 15.0),
        permanent=aim == "permanent",
    )  # fmt: skip
    findings: list[Finding] = [_sentence(found)]
    for option in found.options:
        findings += _option_findings(option, paper)
    warnings = [row["says"] for row in plain(LIME_BATH) if row["to"] == "object"]
    warnings += list(HARM) if aim == "permanent" else [HARM[1]]
    warnings += [
        f"No more than {MOST_BATHS} baths and {MOST_MINUTES:g} minutes in all are proposed; a "
        "second bath adds only after drying.",
        LOCAL_CODES,
    ]
    if not weighed:
        warnings.append(CHEAP_TOOL)
    return Outcome(tuple(findings), tuple(warnings))


def _number(params: Mapping[str, str], name: str, usual: float) -> float:
    text = params.get(name, "")
    try:
        return float(text) if text else usual
    except ValueError as error:
        raise ValueError(f"{name} must be a number, got {text[:40]!r}") from error


def _paper(params: Mapping[str, str], temperature_c: float) -> tuple[Paper, bool]:
    """The paper and what it goes into, and whether its pick-up was weighed."""
    leaf: Literal["blotted", "drained"] = "drained"
    if params.get("leaf") == "blotted":
        leaf = "blotted"
    litres = _number(params, "litres", 4.0)
    weighed = _number(params, "pickup_g_per_g", 0.0) or None
    pick = pick_up(Recipe(1.0, temperature_c, litres, leaf, weighed))
    acid, log_sigma = usual_acid()
    own = params.get("acid_mol_per_kg", "")
    paper = Paper(
        pick.median_g_per_g, pick.log_sigma, _number(params, "acid_mol_per_kg", acid),
        # Acid that was titrated still differs by a tenth from wrap to wrap (common practice).
        0.1 if own else log_sigma, _number(params, "wrap_mass_g", WRAP_G), litres,
        _number(params, "water_in_g_per_g", WATER_IN),
    )  # fmt: skip
    return paper, weighed is not None


def _sentence(found: Dose) -> Finding:
    first = found.options[0]
    chalk = found.wanted_mol_per_kg * MOLAR_MASS_CACO3 / 20
    wanted = f"{found.wanted_mol_per_kg:g} mol/kg ({chalk:.2g} % as chalk)"
    if first.baths is None:
        says = f"{wanted} is not reachable with any of these baths within the caps."
    else:
        many = "one bath" if first.baths == 1 else f"{first.baths} baths, dried between,"
        says = f"For {wanted}: {many} of {first.name} ({first.minutes:g} minutes in all)."
    if not found.lime_reaches:
        full = next(one for one in found.options if one.name == "lime water, saturated")
        says += " Not reachable with lime water"
        if full.one_bath.value > 0:
            times = found.wanted_mol_per_kg / full.one_bath.value
            says += f": {times:.1f} times what one saturated bath leaves"
        says += "."
    return Finding(
        "", "dose.says", "item", text=says, standing="from memory", sources=BATH_SOURCES,
        note="judged on the low end of the band of pick-up and acid; the small reserve is common "
        f"practice, no source; database {engine.database_sha256()}",
    )  # fmt: skip


def _option_findings(option: Option, paper: Paper) -> list[Finding]:
    factor = MOLAR_MASS_CACO3 / 20
    band = option.one_bath
    baths = "not within the caps" if option.baths is None else f"{option.baths}"
    note = f"database {engine.database_sha256()}"
    basis = (
        f"pick-up by a factor of {math.exp(paper.pickup_log_sigma):.2f}; acid by a factor of "
        f"{math.exp(paper.acid_log_sigma):.2f}"
    )
    return [
        Finding(
            "", "dose.pH", option.name, option.ph, 0.03, "pH", standing="published",
            sources=BATH_SOURCES if option.kind == "lime water" else _CARBONATE_SOURCES, note=note,
        ),
        Finding(
            "", "dose.one_bath_pct", option.name, factor * band.value, factor * band.u, "% CaCO3",
            low90=factor * band.low90, high90=factor * band.high90, standing="from memory",
            sources=("sugarman1992",), note=note,
            terms=(Term("pick-up and acid", factor * band.u, basis),),
        ),
        Finding(
            "", "dose.baths", option.name, text=baths, standing="from memory",
            note=_to_mind(option),
        ),
    ]  # fmt: skip


def _to_mind(option: Option) -> str:
    if not option.meets_acid:
        return "may not even meet the paper's acid: more bath to the paper, or a stronger one"
    if option.kind == "lime water, then hydrogen carbonate":
        return (
            "strongly alkaline first, to meet the acid, then the reserve at a gentle pH; a trial "
            "on a scrap first"
        )
    if option.harsh:
        return "strongly alkaline: a trial on a scrap first"
    if option.kind == "magnesium hydrogen carbonate":
        return "gentle to groundwood, but takes sizing out; dries to magnesium carbonate"
    if option.ph <= GENTLE_PH:
        return "gentle to groundwood; dries to carbonate"
    return "mildly alkaline"


def as_json(run: Run) -> dict[str, Any]:
    """A dose as the command line's JSON: the sentence, and the options in order."""
    rows: dict[str, dict[str, Any]] = {}
    for finding in run.findings:
        if finding.subject == "item":
            continue
        row = rows.setdefault(finding.subject, {"bath": finding.subject})
        key = finding.quantity.removeprefix("dose.")
        if key == "baths":
            row["baths"] = int(finding.text) if finding.text.isdigit() else None
            row["to_mind"] = finding.note
        else:
            row[key] = finding.measured().as_json()
    says = next(one.text for one in run.findings if one.quantity == "dose.says")
    return {
        "says": says,
        "options": list(rows.values()),
        "cautions": list(run.warnings),
        "method": f"{run.method}@{run.version}",
    }
