"""Which bath for which aim as a registered method: options side by side, harm before the step."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal

from quirewell.record.finding import Finding, Run
from quirewell.record.measured import Term
from quirewell.science.bath.constants import MOLAR_MASS_CACO3
from quirewell.science.bath.dose import (
    GENTLE_PH,
    MOST_BATHS,
    MOST_MINUTES,
    PERMANENT,
    SMALL_RESERVE,
    Dose,
    Option,
    dose,
)
from quirewell.science.bath.lime_water import pick_up
from quirewell.science.bath.recipe import Recipe
from quirewell.stages.bathing import BATH_SOURCES, CHEAP_TOOL
from quirewell.stages.cautions import LIME_BATH, LOCAL_CODES, plain
from quirewell.stages.methods import Outcome, method

METHOD = "bath.dose"
_KNOWN = {
    "aim", "wanted_mol_per_kg", "temperature_c", "pickup_g_per_g", "leaf", "minutes_per_wrap",
}  # fmt: skip
AIMS = {"small reserve": SMALL_RESERVE, "permanent": PERMANENT}
HARM = (
    "Getting to 0.4 mol/kg takes what groundwood does not stand: strong or repeated alkaline baths "
    "that darken it, swell it and make it more sensitive to light. The standard was written for "
    "new, unprinted paper.",
    "A deacidified groundwood paper yellows faster in light, not slower: store it dark.",
)


@method(METHOD, 1, "exact")
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
    wanted = float(params.get("wanted_mol_per_kg") or AIMS[aim])
    text = params.get("pickup_g_per_g", "")
    leaf: Literal["blotted", "drained"] = "drained"
    if params.get("leaf") == "blotted":
        leaf = "blotted"
    temperature_c = float(params.get("temperature_c") or 20)
    recipe = Recipe(1.0, temperature_c, 4.0, leaf, float(text) if text else None)
    pick = pick_up(recipe)
    found = dose(
        wanted, temperature_c, pick.median_g_per_g, pick.log_sigma,
        float(params.get("minutes_per_wrap") or 15), permanent=aim == "permanent",
    )  # fmt: skip
    findings: list[Finding] = [_sentence(found)]
    for option in found.options:
        findings += _option_findings(option, pick.log_sigma)
    warnings = [row["says"] for row in plain(LIME_BATH) if row["to"] == "object"]
    warnings += list(HARM) if aim == "permanent" else [HARM[1]]
    warnings += [
        f"No more than {MOST_BATHS} baths and {MOST_MINUTES:g} minutes in all are proposed; a "
        "second bath adds only after drying.",
        LOCAL_CODES,
    ]
    if pick.kind != "weighed":
        warnings.append(CHEAP_TOOL)
    return Outcome(tuple(findings), tuple(warnings))


def _sentence(found: Dose) -> Finding:
    first = found.options[0]
    wanted = f"{found.wanted_mol_per_kg:g} mol/kg"
    if first.baths is None:
        says = f"{wanted} is not reachable with any of these baths within the caps."
    else:
        many = "one bath" if first.baths == 1 else f"{first.baths} baths, dried between,"
        says = f"For {wanted}: {many} of {first.name} ({first.minutes:g} minutes in all)."
        if not found.lime_reaches:
            says += " Not reachable with lime water."
    return Finding(
        "", "dose.says", "item", text=says, standing="from memory", sources=BATH_SOURCES,
        note="judged on the low end of the pick-up's band; the small reserve is common practice, "
        "no source",
    )  # fmt: skip


def _option_findings(option: Option, log_sigma: float) -> list[Finding]:
    factor = MOLAR_MASS_CACO3 / 20
    band = option.one_bath
    baths = "not within the caps" if option.baths is None else f"{option.baths}"
    return [
        Finding(
            "", "dose.pH", option.name, option.ph, 0.03, "pH", standing="published",
            sources=BATH_SOURCES,
        ),
        Finding(
            "", "dose.one_bath_pct", option.name, factor * band.value, factor * band.u, "% CaCO3",
            low90=factor * band.low90, high90=factor * band.high90, standing="from memory",
            sources=("sugarman1992",),
            terms=(
                Term("pick-up", factor * band.u, f"by a factor of {math.exp(log_sigma):.2f}"),
            ),
        ),
        Finding(
            "", "dose.baths", option.name, text=baths, standing="from memory",
            note=_harshness(option),
        ),
    ]  # fmt: skip


def _harshness(option: Option) -> str:
    if option.harsh:
        return "strongly alkaline: may darken groundwood; a trial on a scrap first"
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
