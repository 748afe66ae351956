"""The lime-water bath as a registered method, and its card in plain data."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from quirewell.record.finding import Finding, Run, Standing
from quirewell.record.measured import Term
from quirewell.science.bath.constants import CONSTANTS
from quirewell.science.bath.lime_water import Estimate, LimeWater, mix, pick_up
from quirewell.science.bath.recipe import Recipe
from quirewell.stages.cautions import LIME_BATH, LOCAL_CODES, plain
from quirewell.stages.methods import Outcome, method

METHOD = "bath.lime_water"
BATH_SOURCES = ("bates1956", "nist46", "minteqa2", "parkhurst2013")
JSON_KEYS = (
    ("pH", "bath.pH"),
    ("ca_mol_per_kg", "bath.ca_mol_per_kg"),
    ("caoh2_g_per_kg", "bath.caoh2_g_per_kg"),
    ("caoh2_g", "bath.caoh2_g"),
    ("ca_ppm", "bath.ca_ppm"),
    ("reserve_pct_caco3", "bath.reserve_pct_caco3"),
    ("reserve_mol_acid_per_kg", "bath.reserve_mol_acid_per_kg"),
)
CHEAP_TOOL = (
    "A pocket scale that reads 0.01 g: weigh one leaf dry, then wet as it leaves the bath; the "
    "pick-up is (wet - dry) / dry, and the reserve's band shrinks by about half."
)


@method(METHOD, 1, "exact")
def lime_water(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Composition, pH and expected reserve of a lime-water bath from strength, °C and litres."""
    bath = mix(recipe_of(params))
    return Outcome(_findings(bath), _warnings(bath))


def recipe_of(params: Mapping[str, str]) -> Recipe:
    """The recipe named by a method's text parameters.

    Raises:
        RecipeError: when it cannot be mixed, with a sentence per field.
        ValueError: a parameter that is no number, or an unknown one.
    """
    known = {"strength", "temperature_c", "litres", "leaf", "pickup_g_per_g",
             "pickup_u_g_per_g", "temperature_u_c"}  # fmt: skip
    unknown = sorted(set(params) - known)
    if unknown:
        raise ValueError(
            f"{METHOD} knows no parameter {unknown[0]!r}; it knows {', '.join(sorted(known))}"
        )
    values: dict[str, Any] = {}
    for name, text in params.items():
        if text != "":
            values[name] = text if name == "leaf" else float(text)
    return Recipe(**values)


def as_json(run: Run) -> dict[str, Any]:
    """A bath run as the command line's JSON: measured values, cautions, warnings, database."""
    by_name = {finding.quantity: finding for finding in run.findings}
    out: dict[str, Any] = {
        key: by_name[quantity].measured().as_json() for key, quantity in JSON_KEYS
    }
    strength, litres = (float(run.params.get(key) or 1) for key in ("strength", "litres"))
    return {
        **out,
        "strength": strength,
        "temperature_c": float(run.params.get("temperature_c") or 20),
        "litres": litres,
        "how": how_to_make(strength, litres, out["caoh2_g"]["value"]),
        "cautions": plain(LIME_BATH),
        "local_codes": LOCAL_CODES,
        "warnings": list(run.warnings),
        "cheap_tool": CHEAP_TOOL,
        "solver": by_name["bath.solver"].text,
        "database_sha256": by_name["bath.database_sha256"].text,
        "method": f"{run.method}@{run.version}",
    }


def how_to_make(strength: float, litres: float, grams: float) -> str:
    """How the bath is made up, in words (common practice, no source)."""
    clear = litres * strength
    jar = math.ceil(clear * 12) / 10
    excess = math.ceil(grams / clear * jar * 4 / 3)
    stock = (
        f"Stir about {excess} g of calcium hydroxide (a third more than dissolves) into {jar:g} L "
        "of water in a closed jar, let it settle overnight at the bath's temperature, and draw "
        f"off {clear:.2f} L of the clear liquid"
    )
    water = "" if strength == 1 else f", and mix it with {litres - clear:.2f} L of water"
    return f"{stock}{water}. (Common practice, no source.)"


def _findings(bath: LimeWater) -> tuple[Finding, ...]:
    pick = pick_up(bath.recipe)
    reserve_standing: Standing = "published" if pick.source else "from memory"
    if pick.kind == "weighed":
        reserve_standing = "measured here"
    reserve_sources = (*BATH_SOURCES, *((pick.source,) if pick.source else ()))
    note = f"database {bath.database_sha256}; solver {bath.solution.solver}"
    return (
        _number("bath.pH", bath.ph, note, sources=(*BATH_SOURCES, "hj1147")),
        _number("bath.ca_mol_per_kg", bath.ca_mol_per_kg, note),
        _number("bath.caoh2_g_per_kg", bath.caoh2_g_per_kg, note),
        _number("bath.caoh2_g", bath.caoh2_g, note),
        _number("bath.ca_ppm", bath.ca_ppm, note),
        _number(
            "bath.reserve_pct_caco3", bath.reserve_pct_caco3,
            f"median; {pick.kind} leaf, pick-up {pick.median_g_per_g:g} g/g; one immersion in a "
            f"fresh bath, all of it turned to carbonate; {note}", reserve_standing,
            reserve_sources,
        ),
        _number(
            "bath.reserve_mol_acid_per_kg", bath.reserve_mol_acid_per_kg,
            f"the same reserve counted as acid it can take up; {note}", reserve_standing,
            reserve_sources,
        ),
        _words("bath.effect", _effect(bath), ("burgess1990",)),
        _words("bath.solver", bath.solution.solver, ("parkhurst2013",)),
        _words("bath.database_sha256", bath.database_sha256, ("parkhurst2013", "minteqa2")),
    )  # fmt: skip


def _number(
    quantity: str,
    estimate: Estimate,
    note: str,
    standing: Standing = "published",
    sources: tuple[str, ...] = BATH_SOURCES,
) -> Finding:
    terms = tuple(Term(term.name, term.u, term.basis) for term in estimate.terms)
    return Finding(
        "", quantity, "item", estimate.value, estimate.u, estimate.unit,
        low90=estimate.low90, high90=estimate.high90, terms=terms, standing=standing,
        sources=sources, note=note,
    )  # fmt: skip


def _words(quantity: str, text: str, sources: tuple[str, ...]) -> Finding:
    return Finding("", quantity, "item", text=text, standing="published", sources=sources)


def reserve_digits(u: float) -> int:
    """Decimal places that show a reserve to one figure of its uncertainty, two at least.

    >>> reserve_digits(0.069), reserve_digits(0.0015)
    (2, 3)
    """
    return max(2, -math.floor(math.log10(u)))


def _effect(bath: LimeWater) -> str:
    limit = CONSTANTS["neutral_wash_ppm"].value
    if bath.ca_ppm.value < limit:
        return f"under {limit:g} mg/kg of calcium: it washes, it does not deacidify"
    return f"over {limit:g} mg/kg of calcium: it deacidifies"


def _warnings(bath: LimeWater) -> tuple[str, ...]:
    reserve = bath.reserve_pct_caco3
    wanted = CONSTANTS["permanent_reserve_pct"].value
    times = wanted / bath.reserve_saturated_pct
    digits = reserve_digits(reserve.u)
    about, low, high = (
        f"{value:.{digits}f}" for value in (reserve.value, reserve.low90, reserve.high90)
    )
    lost = air_loss_pct(bath.ca_mol_per_kg.value, bath.recipe.litres)
    out = [
        f"One immersion leaves about {about} % CaCO3 ({low} to {high}). The {wanted:g} % asked of "
        f"permanent paper cannot be reached this way: it would need {times:.0f} times what "
        "saturated lime water holds.",
        f"Carbon dioxide from the air is not in these numbers: an open tray of 0.2 m2 with "
        f"{bath.recipe.litres:g} L of this bath loses about {lost} % of its "
        "alkali an hour (within a factor of two, from memory), and its pH hardly shows it. "
        "Cover the tray.",
        "Write the temperature beside every pH: this bath reads about 0.03 to 0.04 lower for "
        "each degree warmer, and a meter's temperature correction does not remove that. Paper "
        "strips cannot tell saturated lime water from one diluted 1:3.",
        "The reserve is for a leaf that starts clean: acids in the paper use up a part of it, "
        "and calcium bound by the fibres is not counted.",
    ]
    if pick_up(bath.recipe).kind != "weighed":
        out.append(CHEAP_TOOL)
    return tuple(out)


def air_loss_pct(ca_mol_per_kg: float, litres: float) -> str:
    """Share of its alkali [%] that a bath in an open tray of 0.2 m2 loses to the air in an hour,
    in words.

    >>> air_loss_pct(0.0109, 5.0), air_loss_pct(0.02, 30.0), air_loss_pct(2e-4, 0.5)
    ('8', '0.7', '100')
    """
    lost = min(100.0, 100 * CONSTANTS["air_uptake"].value * 0.2 / (ca_mol_per_kg * litres))
    return f"{lost:.0f}" if lost >= 1 else f"{lost:.1g}"
