"""Creep from flat widths and a fore-edge's steps, the fore-edge to come: a registered method.

Parameters are text: ``widths`` (the table of :mod:`.width_table`), ``leaf_mm`` with ``leaf_u_mm``
(a leaf's thickness), ``cover_mm`` (the cover's, 0.12), ``before`` (a table of widths from before),
``steps`` (a table of a fore-edge) with ``leaves`` (in all, cover left out).
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from quirewell.record.finding import Finding, Run, Standing
from quirewell.record.measured import Term
from quirewell.science.booklet.creep import (
    COVER,
    KAPPA,
    LEAF,
    Creep,
    Kappa,
    TooFew,
    check_leaf,
    compare,
    fit_widths,
    nesting,
)
from quirewell.science.booklet.fore_edge import Steps, fit_steps, predict, roll_of_ramp
from quirewell.science.booklet.reading import Reading
from quirewell.science.booklet.roll import block_thickness
from quirewell.stages.methods import Outcome, method
from quirewell.stages.naming import places_words
from quirewell.stages.typed_params import number, refuse_unknown, whole
from quirewell.stages.width_table import Flat, halves, read_steps, read_widths, widths

METHOD = "creep.fit"
SOURCES = ("imposition_creep",)
FITTED = ("belsley1980", "rousseeuw1984")
_KNOWN = ("widths", "leaf_mm", "leaf_u_mm", "cover_mm", "before", "steps", "leaves")
ASSUMES = (
    "All wraps of one paper, trimmed in one cut after stitching, and measured flat at one "
    "humidity: 10 % more makes newsprint about 0.1 to 0.2 mm wider.",
    "u of a width is as you gave it, or 0.25 mm as read from a steel rule; where wraps scatter "
    "more than that, the band is theirs.",
)
NARROWS_LEAF = (
    "What would narrow it most: a caliper or feeler of 0.1 mm over ten leaves together, divided by "
    "ten, for a leaf's thickness."
)
NARROWS_WIDTH = (
    "What would narrow it most: each width read twice, to 0.1 mm with a scan or a loupe."
)
OUT_OF_FIT = "The cover is of another paper and takes no part in the line."


@method(METHOD, 1, "exact")
def creep_fit(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Creep from wrap to wrap, wraps that do not belong, and where each reading edge will stand."""
    refuse_unknown(params, _KNOWN, f"{METHOD} knows no parameter")
    if not params.get("widths", "").strip():
        raise ValueError("give the widths: a table with a row to each sheet, wrap and width_mm")
    sheets = read_widths(params["widths"])
    leaf, given = _leaf(params)
    out: list[Finding] = []
    warnings: list[str] = []
    creep: Creep | None
    try:
        creep = fit_widths(widths(sheets))
    except TooFew as few:
        creep = None
        kappa_t = Reading(KAPPA.value * leaf.value, _product_u(leaf))
        said = f"{few}"
        says = f"{said[0].upper()}{said[1:]}. Creep is taken from the leaf and the trade's factor."
        out.append(Finding("", "creep.kappa_t_mm", "item", kappa_t.value, kappa_t.u, "mm",
                           standing="common practice", sources=SOURCES,
                           note="not measured here: too few wraps"))  # fmt: skip
    else:
        kappa_t = creep.kappa_t
        factor = nesting(creep, leaf)
        out += _fitted(creep, factor, leaf, given)
        says = _sentence(creep, factor)
        warnings += [] if creep.agree else [
            "The wraps lie on no line as well as their u says: look at their order, at u, and "
            "whether all were measured at one humidity."
        ]  # fmt: skip
    if params.get("before", "").strip():
        out.append(_changed(params["before"], creep))
    if params.get("steps", "").strip():
        out += _fore_edge(params, leaf, len(widths(sheets)))
    out += _to_come(sheets, kappa_t, params, leaf)
    if any(one.name == "c" for one in sheets):
        warnings.append(OUT_OF_FIT)
    if not all(one.halved for one in sheets):
        warnings.append(
            "Where no halves were given the fold is taken to lie in the middle, to 0.15 mm."
        )
    out.append(Finding("", "creep.says", "item", text=says, sources=SOURCES))
    return Outcome(
        tuple(out), (*warnings, *ASSUMES, NARROWS_WIDTH if given else NARROWS_LEAF),
        {"cover": "c" if sheets[0].name == "c" else sheets[0].name},
    )  # fmt: skip


def _leaf(params: Mapping[str, str]) -> tuple[Reading, bool]:
    given = bool(params.get("leaf_mm", "").strip())
    value = number(params, "leaf_mm", LEAF.value)
    # A caliper of 0.1 mm over ten leaves: a step of 0.01 mm a leaf, and as much for the squeeze.
    leaf = Reading(value, number(params, "leaf_u_mm", 0.005 if given else LEAF.u))
    check_leaf(leaf)
    return leaf, given


def _product_u(leaf: Reading) -> float:
    return float(((KAPPA.u * leaf.value) ** 2 + (KAPPA.value * leaf.u) ** 2) ** 0.5)


def _fitted(creep: Creep, factor: Kappa, leaf: Reading, given: bool) -> list[Finding]:
    standing: Standing = "measured here" if given else "from memory"
    thin = Term("leaf", abs(factor.value) * leaf.u / leaf.value,
                "a leaf's thickness, as given" if given else "0.085 mm assumed")  # fmt: skip
    line = Term("line", creep.u_kappa_t_mm / leaf.value, f"{len(creep.wraps)} widths")
    return [
        Finding("", "creep.kappa_t_mm", "item", creep.kappa_t_mm, creep.u_kappa_t_mm, "mm",
                low90=creep.low90, high90=creep.high90, sources=FITTED,
                note="each wrap further in stands out by this, and was trimmed by it"),
        Finding("", "creep.kappa", "item", factor.value, factor.u, "", factor.says,
                factor.low90, factor.high90, terms=(line, thin), standing=standing,
                sources=SOURCES),
        Finding("", "creep.scatter_mm", "item", creep.scatter_mm, None, "mm",
                note="of a wrap's width about the line"),
        Finding("", "creep.width_mm", "item", creep.width_mm, creep.u_width_mm, "mm",
                note="of the outermost wrap, on the line"),
        *(
            Finding("", "creep.off_mm", f"w{wrap:02d}", off, None, "mm",
                    note="wider than the others leave room for (+)")
            for wrap, off in zip(creep.wraps, creep.off_mm, strict=True)
        ),
        *(
            Finding("", "creep.odd", f"w{one.wrap:02d}", one.times, None, "", one.says,
                    sources=FITTED, note="times the others' scatter")
            for one in creep.odd
        ),
    ]  # fmt: skip


def _sentence(creep: Creep, factor: Kappa) -> str:
    falls = creep.kappa_t_mm > 0
    says = (
        f"Each wrap further in is {abs(2 * creep.kappa_t_mm):.2f} mm "
        f"{'narrower' if falls else 'wider'} (90 % band of the fall {2 * creep.low90:.2f} to "
        f"{2 * creep.high90:.2f} mm), a nesting factor of {factor.value:.2f} "
        f"({factor.low90:.2f} to {factor.high90:.2f}): {factor.says}."
    )
    if creep.odd:
        says += f" Look at {places_words(f'w{one.wrap:02d}' for one in creep.odd)}."
    return says


def _changed(text: str, after: Creep | None) -> Finding:
    if after is None:
        raise ValueError("a comparison with before needs four wraps or more now; there are fewer")
    change = compare(fit_widths(widths(read_widths(text))), after)
    return Finding(
        "", "creep.change_mm", "item", change.kappa_t.value, change.kappa_t.u, "mm", change.says,
        note=f"of creep from wrap to wrap; the outermost width {change.width.value:+.2f} mm",
        terms=(Term("line", change.kappa_t.u, "both lines"),),
    )  # fmt: skip


def _fore_edge(params: Mapping[str, str], leaf: Reading, sheets: int) -> list[Finding]:
    read = read_steps(params["steps"])
    leaves = whole(params, "leaves", 2 * sheets)
    steps: Steps = fit_steps([one for one, _ in read], [depth for _, depth in read], leaves)
    roll = roll_of_ramp(steps.ramp, leaves, block_thickness(leaves, leaf, None))
    out = [
        Finding("", "creep.roll_deg", "item", roll.value, roll.u, "deg",
                note="the front stands out (+): the ramp of the fore-edge"),
        Finding("", "creep.vee_mm", "item", steps.vee.value, steps.vee.u, "mm",
                note="from leaf to leaf away from the middle: the middle stands out (+)"),
    ]  # fmt: skip
    if steps.step is not None:
        out.append(Finding("", "creep.step_mm", "item", steps.step.value, steps.step.u, "mm",
                           note="the fold off its place: the front stands out (+)"))  # fmt: skip
    return out


def _to_come(
    sheets: list[Flat], kappa_t: Reading, params: Mapping[str, str], leaf: Reading
) -> list[Finding]:
    every = halves(sheets)
    cover = next((one for one in every if one.name == "c"), None)
    wraps = [one for one in every if one.name != "c"]
    if not wraps:
        raise ValueError("the table holds the cover only; give the width of at least one wrap")
    thick = number(params, "cover_mm", COVER.value)
    if not 0 < thick <= 2:
        raise ValueError(f"a cover is above 0 and up to 2 mm thick, got {thick:g}")
    stands = predict(wraps, cover, kappa_t, thick / leaf.value)
    against = "the cover's" if cover else "the outermost wrap's"
    return [
        Finding("", f"creep.{side}_mm", one.name, reading.value, reading.u, "mm",
                note=f"its {side} reading edge beyond {against} (+) once folded")
        for one in stands
        for side, reading in (("front", one.front), ("back", one.back))
    ]  # fmt: skip


def as_json(run: Run) -> dict[str, Any]:
    """A fit as the command line's JSON."""
    item = {one.quantity: one for one in run.findings if one.subject == "item"}
    sheets: dict[str, dict[str, Finding]] = {}
    for one in run.findings:
        if one.subject != "item":
            sheets.setdefault(one.subject, {})[one.quantity] = one
    out: dict[str, Any] = {"says": item["creep.says"].text}
    for key in ("kappa_t_mm", "kappa", "scatter_mm", "width_mm", "roll_deg", "vee_mm", "step_mm",
                "change_mm"):  # fmt: skip
        held = item.get(f"creep.{key}")
        if held is not None:
            out[key] = held.measured().as_json() | ({"says": held.text} if held.text else {})
    out["outliers"] = [
        {"wrap": name, "off_mm": mine["creep.off_mm"].value, "times": mine["creep.odd"].value,
         "says": mine["creep.odd"].text}
        for name, mine in sheets.items() if "creep.odd" in mine
    ]  # fmt: skip
    out["wraps"] = [
        {
            "name": name,
            "off_mm": mine["creep.off_mm"].value if "creep.off_mm" in mine else None,
            **{f"{side}_mm": mine[f"creep.{side}_mm"].measured().as_json()
               for side in ("front", "back")},
        }
        for name, mine in sorted(sheets.items())
    ]  # fmt: skip
    return out | {
        "against": run.drawing["cover"], "warnings": list(run.warnings),
        "method": f"{run.method}@{run.version}",
    }  # fmt: skip
