"""Adhesive batches as a registered method: what to weigh, how thick it gets, what a mend adds."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any, cast

from quirewell.record.finding import Finding, Run, Standing
from quirewell.record.measured import Term
from quirewell.science.paper.adhesive import (
    STARCH_G,
    STARCH_WATER_ML,
    THIN_ABOVE_MPAS,
    By,
    Kind,
    batch,
    coated_solids_g_m2,
    mend_load,
    other_way,
    viscosity_mpas,
)
from quirewell.stages.methods import Outcome, method

METHOD = "adhesive.batch"
KINDS = ("methyl cellulose", "wheat starch paste")
_NUMBERS = {
    "strength_pct": 2.5, "mends": 10.0, "ml_each": 0.5, "length_cm": 5.0, "width_mm": 8.0,
    "tissue_g_m2": 3.5, "leaf_g": 4.7, "wet_film_um": 100.0,
}  # fmt: skip
KEEPS = {
    "methyl cellulose": "Keeps for weeks cold and clean in a closed jar; throw it away when it "
    "smells, clouds or thins (common practice, no source).",
    "wheat starch paste": "Make it fresh: a few days cold at most; throw it away at the first "
    "smell or skin (common practice, no source).",
}
# A scale to 0.01 g; how evenly a wet film is laid; dry volume of the adhesive (all from memory).
U_SCALE_G, LAID, U_DRY_ML_PER_G, LITTLE_G = 0.003, 0.3, 0.1, 0.5
CHEAP_TOOL = (
    "What would narrow it most: a pocket scale that reads 0.01 g. Weigh a whole sheet of tissue "
    "bare and again coated and dry; what it gained, by its area, is what is really laid."
)
HEAT = "Methyl cellulose gels on warming, near 50 °C, and melts again as it cools (from memory)."


@method(METHOD, 2, "exact")
def adhesive_batch(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Grams and water for a number of mends, viscosity as an order of magnitude, load on a leaf."""
    known = {*_NUMBERS, "kind", "by", "grade"}
    unknown = sorted(set(params) - known)
    if unknown:
        raise ValueError(f"{METHOD} knows no parameter {unknown[0]!r}")
    kind = params.get("kind", "methyl cellulose")
    if kind not in KINDS:
        raise ValueError(f"the adhesive is one of {', '.join(KINDS)}, got {kind!r}")
    by = params.get("by", "")
    if by not in ("w/w", "w/v"):
        raise ValueError(
            "is the per cent by mass in mass (w/w) or grams in 100 mL (w/v)? Say which: at 12.5 % "
            "they differ by a twentieth"
        )
    usual = {**_NUMBERS, **({"strength_pct": 12.5} if kind == KINDS[1] else {})}
    n = {name: _number(params, name, value) for name, value in usual.items()}
    made = batch(cast(Kind, kind), n["strength_pct"], cast(By, by), int(n["mends"]), n["ml_each"])
    load = mend_load(
        int(n["mends"]), n["length_cm"], n["width_mm"], n["tissue_g_m2"], n["strength_pct"],
        n["leaf_g"], n["wet_film_um"],
    )  # fmt: skip
    strength = n["strength_pct"]
    other = other_way(strength, cast(By, by))
    solids = coated_solids_g_m2(n["wet_film_um"], strength)
    brushed = f"a wet film of {n['wet_film_um']:g} um, laid within a third"
    film = Term("wet film", LAID * solids, "how thick it is laid; from memory")
    adhesive_pct = 100 * load.adhesive_g / n["leaf_g"]
    findings = [
        _found("adhesive.dry_g", made.dry_g, math.hypot(U_SCALE_G, 0.01 * made.dry_g), "g",
               f"{strength:g} % {by}; on a scale to 0.01 g", "published"),
        _found("adhesive.water_g", made.water_g, 0.02 * made.water_g, "g",
               "a gram a millilitre, by a measuring cylinder", "published"),
        _found("adhesive.made_ml", made.made_ml, 0.02 * made.made_ml, "mL",
               "a quarter of it to spare", "common practice"),
        _found("adhesive.other_way_pct", other, U_DRY_ML_PER_G * other * strength / 100, "%",
               f"the same said {'w/v' if by == 'w/w' else 'w/w'}; dry, 0.65 mL/g"),
        _found("adhesive.coated_g_m2", solids, LAID * solids, "g/m2", f"dry, from {brushed}",
               terms=(film,)),
        _found("adhesive.load_pct", load.share_pct,
               math.hypot(LAID * adhesive_pct, 0.05 * (load.share_pct - adhesive_pct)), "%",
               f"adhesive and tissue by the wrap's mass; {brushed}"),
        _found("adhesive.water_mg_per_cm", load.water_mg_per_cm, LAID * load.water_mg_per_cm,
               "mg/cm", f"water along a mend, from {brushed}"),
    ]  # fmt: skip
    warnings = [KEEPS[kind]]
    if made.dry_g < LITTLE_G:
        warnings.append(
            f"{made.dry_g:.2g} g is little to weigh: a scale to 0.01 g is off by "
            f"{200 * U_SCALE_G / made.dry_g:.0f} %. Make "
            f"{math.ceil(LITTLE_G / strength * 100 / 10) * 10:g} mL or more and keep the rest."
        )
    if kind == KINDS[0]:
        findings += _thickness(params.get("grade", ""), n["strength_pct"])
        warnings.append(HEAT)
    else:
        warnings.append(
            f"Soak half an hour, cook for a quarter of an hour or more: {STARCH_G:g} g in "
            f"{STARCH_WATER_ML:g} mL of water is 12.5 % w/w (a national library's recipe)."
        )
    if load.water_mg_per_cm > 10:
        warnings.append(
            "So much water along a mend can leave a tideline in acid paper: brush it out on "
            "blotter first, or use coated tissue woken with as little water as will do."
        )
    if solids > n["tissue_g_m2"]:
        warnings.append("The dry adhesive would weigh more than the tissue: thin it, or lay less.")
    warnings.append(CHEAP_TOOL)
    return Outcome(tuple(findings), tuple(warnings))


def _thickness(grade: str, strength_pct: float) -> list[Finding]:
    if not grade:
        return []
    try:
        mpas = float(grade)
    except ValueError as error:
        raise ValueError(
            f"a grade is the mPa s of its 2 % solution, as the jar says, such as 4000; got "
            f"{grade[:20]!r}"
        ) from error
    value = viscosity_mpas(mpas, strength_pct)
    note = "an order of magnitude, at 20 °C"
    if value > THIN_ABOVE_MPAS:
        note += "; it thins under the brush"
    return [
        Finding(
            "", "adhesive.viscosity_mpas", "item", value, 0.5 * value, "mPa s",
            low90=value / 3, high90=3 * value, standing="from memory", note=note,
        )
    ]  # fmt: skip


def _found(
    quantity: str, value: float, u: float, unit: str, note: str,
    standing: Standing = "from memory", terms: tuple[Term, ...] = (),
) -> Finding:  # fmt: skip
    sources = ("locpaste2015",) if standing == "published" else ()
    return Finding(
        "", quantity, "item", value, u, unit, terms=terms, standing=standing, note=note,
        sources=sources,
    )  # fmt: skip


def _number(params: Mapping[str, str], name: str, usual: float) -> float:
    text = params.get(name, "")
    if not text:
        return usual
    try:
        return float(text)
    except ValueError as error:
        raise ValueError(f"{name} must be a number, got {text[:40]!r}") from error


def as_json(run: Run) -> dict[str, Any]:
    """A batch as the command line's JSON."""
    out: dict[str, Any] = {
        finding.quantity.removeprefix("adhesive."): {
            **finding.measured().as_json(), "note": finding.note, "standing": finding.standing,
        }
        for finding in run.findings
    }  # fmt: skip
    return {**out, "warnings": list(run.warnings), "method": f"{run.method}@{run.version}"}
