"""A grade estimated from a list of damage by rules anyone can change: a registered method.

Parameters are text: ``defects`` (the table of :mod:`.defect_table`), ``rules`` (own rows laid over
the built-in ones, :mod:`.rule_table`), ``scale`` (an own scale), ``returns`` (grades that came
back, with the damage noted before sending) and ``adding``: how deductions of several kinds of
damage add up, ``plain`` (usual) or ``root`` (by the root of their squares).
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from quirewell.record.finding import Finding, Run, Standing
from quirewell.record.measured import Term
from quirewell.science.condition.estimate import (
    Band,
    Damage,
    Deduction,
    Estimate,
    Grading,
    Limit,
    Unsure,
)
from quirewell.science.condition.returns import SELECTION, Calibration, calibrate, calibrated
from quirewell.science.condition.rules import Rule, Rules
from quirewell.science.condition.scale import TRADE, Scale, Step
from quirewell.stages.cautions import plain
from quirewell.stages.defect_table import read_defects, read_returns
from quirewell.stages.methods import Outcome, method
from quirewell.stages.repairs import NOTHING, REPAIRS, repairs_for
from quirewell.stages.rule_table import digest, read_scale, rules_in_force, write_rules
from quirewell.stages.typed_params import one_of, refuse_unknown

METHOD = "condition.grade"
POINTS = "points"
SOURCES = ("jcgm101",)
PRACTICE: Standing = "common practice"
_KNOWN = ("defects", "rules", "scale", "returns", "adding")
BY_ROOT = (
    "Deductions of several kinds of damage are added by the root of their squares, as asked for: "
    "many small ones weigh less than one large one (our own choice, no source)."
)
NOT_LEARNT = (
    "Grades that came back are left out: weights are learnt from them for deductions that simply "
    "add up."
)
ASSUMES = (
    "An estimate by rules that anyone can change (common practice, no source), not a grade: "
    "whoever grades looks with other eyes.",
    "Treatments that were done are told beside the number and never deducted.",
)
AT_MOST = (
    "What a repair would gain is the most it could: as if the damage were gone without trace. The "
    "number is no reason to treat; risk and permanence stand before it."
)
MOULD = (
    "With mould in it no mending is spoken of: set it apart first; what stays can be said after."
)
ALL_SEEN = (
    "All of it is taken to have been looked at; where that is not so, add a row not_looked_at with "
    "its location. What was too small to be seen is in no band."
)
_TOOLS = {
    "mm": "a steel rule (or a scan measured by `quirewell measure`)",
    "mm2": "a scan of the page, its missing area measured by `quirewell measure`",
    "pct": "a scan of the page, or a steel rule over it and over the whole",
    "step": "your tone card, held beside the paper twice in the same light",
    "dE": "both spots in one scan",
    "n": "a second count by raking light, with a phone's lamp",
    "flag": "a second look by raking light, with a phone's lamp",
}


@method(METHOD, 1, "seeded")
def grade(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """A grade estimated from a list of damage, with a band, what binds it and what repairs gain."""
    refuse_unknown(params, _KNOWN, f"{METHOD} knows no parameter")
    if not params.get("defects", "").strip():
        raise ValueError(
            "give the damage: a table with code, location, extent, u, unit and note, a row to "
            "each; a row none where nothing was found"
        )
    scale = read_scale(params["scale"]) if params.get("scale", "").strip() else TRADE
    rules = rules_in_force(params.get("rules", ""))
    damages = read_defects(params["defects"], rules)
    out: list[Finding] = []
    returns: Calibration | None = None
    by_root = one_of(params, "adding", ("plain", "root"), "plain") == "root"
    if params.get("returns", "").strip() and not by_root:
        returns = calibrate(read_returns(params["returns"], rules, scale), rules, scale)
        rules = calibrated(rules, returns)
    grading = Grading(damages, rules, scale, by_root)
    found = grading.estimate()
    drawing = {"rules": write_rules(rules)}
    out += [*_numbers(found), *_costs(found, drawing), *_repairs(grading, found, drawing)]
    out += _beside(found)
    out += [
        _words("condition.narrows", narrows(found.unsure)),
        _words("condition.rules", f"version {rules.version}, sha256 {digest(rules, scale)}"),
        _words("condition.says", _sentence(found)),
    ]
    if returns is not None:
        out += _returned(returns, grading)
    root = [BY_ROOT] if by_root else []
    if by_root and params.get("returns", "").strip():
        root.append(NOT_LEARNT)
    return Outcome(tuple(out), (*_warnings(out, damages), *root, *ASSUMES), drawing)


def _warnings(findings: list[Finding], damages: tuple[Damage, ...]) -> list[str]:
    out = []
    if any(one.code == "mould" and one.extent > 0 for one in damages):
        out.append(MOULD)
    elif any(one.quantity == "condition.gain" for one in findings):
        out.append(AT_MOST)
    if not any(one.code == "not_looked_at" for one in damages):
        out.append(ALL_SEEN)
    return out


def _words(quantity: str, text: str, subject: str = "item") -> Finding:
    return Finding("", quantity, subject, text=text, standing=PRACTICE)


def _points(quantity: str, subject: str, band: Band, text: str = "", note: str = "") -> Finding:
    return Finding("", quantity, subject, band.value, band.u, POINTS, text, band.low90, band.high90,
                   standing=PRACTICE, note=note)  # fmt: skip


def _numbers(found: Estimate) -> list[Finding]:
    raw, unsure = found.raw, found.unsure
    terms = tuple(
        Term(name, raw.u * share**0.5, basis)
        for name, share, basis in (
            ("extents", unsure.extents, "how the damage was measured or seen"),
            ("rules", unsure.rules, "how unsure the rules themselves are"),
            ("unseen", unsure.unseen, "what was not looked at"),
        )
        if share
    )
    return [
        Finding("", "condition.raw", "item", raw.value, raw.u, POINTS, "", raw.low90, raw.high90,
                terms=terms, standing=PRACTICE, sources=SOURCES),
        Finding("", "condition.grade", "item", found.grade.value, raw.u, POINTS, found.grade.words,
                found.low.value, found.high.value, standing=PRACTICE),
        _words("condition.between", f"from {found.low.words} to {found.high.words}"
               if found.low != found.high else found.low.words),
        *(Finding("", "condition.chance", f"{step.value:g}", chance, None, "", step.words,
                  standing=PRACTICE) for step, chance in found.chances),
    ]  # fmt: skip


def _costs(found: Estimate, drawing: dict[str, str]) -> list[Finding]:
    out = []
    for one in found.deductions:
        rule = one.rule
        drawing[f"deduction.{rule.id}"] = (
            f"{rule.code} {one.amount!r} {rule.unit} {'capped' if one.capped else 'open'}"
        )
        out.append(_points("condition.deduction", rule.id, one.points, _off(one)))
    for limit in found.limits:
        drawing[f"limit.{limit.rule.id}"] = f"{limit.rule.code} {limit.amount!r} {limit.rule.unit}"
        spread = limit.rule.spread
        out.append(Finding("", "condition.limit", limit.rule.id, limit.rule.value, spread, POINTS,
                           _held(limit), standing=PRACTICE))  # fmt: skip
    if found.binding is not None:
        out.append(_words("condition.binding", found.binding.rule.id))
    return out


def _much(rule: Rule, amount: float) -> str:
    if rule.unit == "flag":
        return named(rule)
    unit = {"pct": "%", "mm2": "mm²", "n": "", "step": ""}.get(rule.unit, rule.unit)
    step = "step " if rule.unit == "step" else ""
    return f"{named(rule)} {step}{amount:.3g} {unit}".rstrip()


def named(rule: Rule) -> str:
    """A code in words: "tear_cover" -> "tear cover"."""
    return rule.code.replace("_", " ")


def _off(one: Deduction) -> str:
    capped = ", the most this rule takes" if one.capped and one.rule.unit != "flag" else ""
    return f"{_much(one.rule, one.amount)}: {one.points.value:.2f} points off{capped}"


def _held(limit: Limit) -> str:
    return f"{_much(limit.rule, limit.amount)}: {limit.rule.value:g} at most"


def _repairs(grading: Grading, found: Estimate, drawing: dict[str, str]) -> list[Finding]:
    """What each repair would gain at most, and why nothing is proposed for the rest."""
    rules = [*(one.rule for one in found.deductions), *(one.rule for one in found.limits)]
    codes = frozenset(rule.code for rule in rules)
    out: list[Finding] = []
    # Mouldy paper is set apart and handled no further, so nothing else is spoken of.
    for repair, helped in () if "mould" in codes else repairs_for(codes):
        after = grading.without(helped)
        drawing[f"repair.{repair.step}"] = " ".join(helped)
        out += [
            _points("condition.gain", repair.step, after.gain, repair.kind.name),
            _points("condition.after_raw", repair.step, after.raw),
            Finding("", "condition.after_grade", repair.step, after.grade.value, after.raw.u,
                    POINTS, after.grade.words, grading.scale.floor(after.raw.low90).value,
                    grading.scale.floor(after.raw.high90).value, standing=PRACTICE),
        ]  # fmt: skip
    reached = {code for repair in REPAIRS for code in repair.codes}
    out += [
        _words("condition.stays", NOTHING.get(code, "No repair is known for it."), code)
        for code in sorted(codes - reached)
    ]
    return out


def _beside(found: Estimate) -> list[Finding]:
    return [
        *(_words("condition.flag", rule.note or named(rule), rule.id) for rule in found.flags),
        *(_words("condition.treatment", _told(one), one.code) for one in found.treatments),
        *(
            _words("condition.unrated", f"{one.code.replace('_', ' ')}: its rule is switched off "
                   "or counts another unit; it takes off nothing", one.code)
            for one in found.unrated
        ),
    ]  # fmt: skip


def _told(one: Damage) -> str:
    many = "" if one.unit == "flag" else f" {one.extent:g} {'' if one.unit == 'n' else one.unit}"
    return f"{one.code.replace('_', ' ')}{many.rstrip()}{f' ({one.note})' if one.note else ''}"


def narrows(unsure: Unsure) -> str:
    """The one cheap thing that would narrow the band most."""
    widest, extent = unsure.widest, unsure.by_extents
    if widest is None:
        return "Nothing in it is unsure: no damage was given and all is taken to be looked at."
    if isinstance(widest, Rule) and widest.kind == "unseen":
        return f"What would narrow it most: look at the {widest.location}; it costs nothing."
    tool = ""
    if extent is not None:
        tool = f"{extent.code.replace('_', ' ')}, with {_TOOLS[extent.unit]}"
    if isinstance(widest, Damage):
        return f"What would narrow it most: {tool}."
    says = (
        "The rules themselves are the least sure: ten grades that came back would "
        "narrow it most, or your own value and spread for "
        f"{named(widest) if widest.code else 'the offset'}."
    )
    return f"{says} Of what you can measure: {tool}." if tool else says


def _sentence(found: Estimate) -> str:
    raw = found.raw
    if found.binding is not None:
        why = f"A ceiling sets it: {_held(found.binding)}."
    elif found.deductions:
        most = "; ".join(_off(one) for one in found.deductions[:3])
        why = f"No ceiling holds it lower; most is taken off for: {most}."
    else:
        why = "Nothing is taken off."
    return (
        f"{_step(found.grade)} by {raw.value:.2f} of 10 points; 90 % band {raw.low90:.2f} to "
        f"{raw.high90:.2f}, steps {found.low.value:g} to {found.high.value:g}. {why}"
    )


def _step(step: Step) -> str:
    return f"{step.value:.1f} ({step.words})"


def _returned(found: Calibration, grading: Grading) -> list[Finding]:
    """What grades that came back say."""
    out = [
        Finding("", "condition.returns", "item", float(found.count), 0.0, "", found.says,
                note=f"{found.used} can be used", standing="measured here"),
        Finding("", "condition.bias", "item", found.bias, found.bias_u, POINTS,
                note="returned minus estimated, both as steps of the scale"),
    ]  # fmt: skip
    if found.agreement is not None:
        out.append(Finding("", "condition.agreement", "item", found.agreement, None, "",
                           sources=("krippendorff2011",), note="ordinal alpha"))  # fmt: skip
    if not found.enough or found.score_before is None or found.hits is None or not found.honest:
        return out
    for name, score in (("before", found.score_before), ("after", found.score_after)):
        out.append(Finding("", f"condition.score_{name}", "item", score, None, "",
                           sources=("epstein1969",), note="0 is best"))  # fmt: skip
    low, high = found.honest
    hits = (
        f"{found.hits} of {found.used} bands of 80 % or more (whole steps) held their return; of "
        f"honest ones so wide {low} to {high} do"
    )
    out += [
        Finding("", "condition.hits", "item", float(found.hits), 0.0, "", hits),
        Finding("", "condition.offset", "item", found.offset, found.offset_u, POINTS),
        *(Finding("", "condition.weight", code, weight, u, "", sources=("hoerl1970",))
          for code, weight, u in found.weights),
    ]  # fmt: skip
    if found.better:
        out += [
            Finding("", "condition.returned", f"{step.value:g}", chance, None, "", step.words)
            for step, chance in grading.returned(found.noise) if chance >= 0.005
        ]  # fmt: skip
    return out


def in_force(own: str, scale_text: str) -> tuple[Rules, Scale]:
    """Rules and scale that would hold, for writing them out without any damage.

    Raises:
        TableError: in a sentence with line and column.
    """
    return rules_in_force(own), read_scale(scale_text) if scale_text.strip() else TRADE


def as_json(run: Run) -> dict[str, Any]:
    """An estimate as the command line's JSON."""
    by: dict[str, list[Finding]] = {}
    for one in run.findings:
        by.setdefault(one.quantity.removeprefix("condition."), []).append(one)
    text = {key: held[0].text for key, held in by.items()}
    raw, step = by["raw"][0].measured().as_json(), by["grade"][0]
    version, _, sha = text["rules"].removeprefix("version ").rpartition(", sha256 ")
    binding = text.get("binding")
    limits = [_limit(one, run.drawing) for one in by.get("limit", [])]
    out: dict[str, Any] = {
        "says": text["says"],
        "raw": raw,
        "grade": step.measured().as_json() | {"words": step.text},
        "interval": {key: raw[key] for key in ("value", "u", "low90", "high90", "unit")} | {
            "steps": [step.low90, step.high90], "words": text["between"],
            "chances": [{"grade": float(one.subject), "words": one.text, "chance": one.value}
                        for one in by["chance"]],
        },
        "binding": next((one for one in limits if one["rule"] == binding), None),
        "limits": limits,
        "deductions": [_deduction(one, run.drawing) for one in by.get("deduction", [])],
        "if_mended": _mended(by, run.drawing),
        "stays": [{"code": one.subject, "says": one.text} for one in by.get("stays", [])],
        "flags": [{"rule": one.subject, "says": one.text} for one in by.get("flag", [])],
        "treatments": [{"code": one.subject, "says": one.text} for one in by.get("treatment", [])],
        "not_rated": [{"code": one.subject, "says": one.text} for one in by.get("unrated", [])],
        "narrows": text["narrows"],
        "rules": {"version": version, "sha256": sha},
    }  # fmt: skip
    if "returns" in by:
        out["returns"] = _returns(by)
    return out | {"warnings": list(run.warnings), "method": f"{run.method}@{run.version}"}


def _limit(one: Finding, drawing: Mapping[str, str]) -> dict[str, Any]:
    code, amount, unit = drawing[f"limit.{one.subject}"].split()
    return {"rule": one.subject, "code": code, "extent": float(amount), "extent_unit": unit,
            "at_most": one.measured().as_json(), "says": one.text}  # fmt: skip


def _deduction(one: Finding, drawing: Mapping[str, str]) -> dict[str, Any]:
    code, amount, unit, capped = drawing[f"deduction.{one.subject}"].split()
    return {"rule": one.subject, "code": code, "extent": float(amount), "extent_unit": unit,
            "points": one.measured().as_json(), "capped": capped == "capped",
            "says": one.text}  # fmt: skip


def _mended(by: Mapping[str, list[Finding]], drawing: Mapping[str, str]) -> list[dict[str, Any]]:
    repairs = {one.step: one for one in REPAIRS}
    out = []
    for gain, raw, step in zip(
        by.get("gain", []), by.get("after_raw", []), by.get("after_grade", []), strict=True
    ):
        repair = repairs[gain.subject]
        out.append({
            "step": repair.step, "name": gain.text, "does": repair.kind.does,
            "codes": drawing[f"repair.{repair.step}"].split(), "risk": repair.risk,
            "permanence": repair.permanence, "leaves": repair.leaves,
            "gain": gain.measured().as_json(), "raw": raw.measured().as_json(),
            "grade": step.measured().as_json() | {"words": step.text},
            "cautions": plain(repair.kind.cautions), "standing": "common practice, no source",
        })  # fmt: skip
    return sorted(out, key=lambda one: (-one["gain"]["value"], one["step"]))


def _returns(by: Mapping[str, list[Finding]]) -> dict[str, Any]:
    first = by["returns"][0]
    out: dict[str, Any] = {
        "says": first.text, "count": first.value, "used": int(first.note.split()[0]),
        "enough": "score_after" in by, "used_for_weights": "returned" in by, "selection": SELECTION,
        "bias": by["bias"][0].measured().as_json(),
    }  # fmt: skip
    for key in ("agreement", "score_before", "score_after", "hits", "offset"):
        if key in by:
            one = by[key][0]
            out[key] = one.measured().as_json() | ({"says": one.text} if one.text else {})
    out["weights"] = {one.subject: one.measured().as_json() for one in by.get("weight", [])}
    out["returned"] = [{"grade": float(one.subject), "words": one.text, "chance": one.value}
                       for one in by.get("returned", [])]  # fmt: skip
    return out
