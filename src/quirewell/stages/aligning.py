"""All sheets laid on one another by their staple holes, as a registered method.

Parameters are text: ``holes`` (the table of :mod:`.hole_table`), ``wire_mm`` (0.5), and what edges
allow where they were measured: ``head_tail_mm`` (0.25), ``fold_mm`` (0.5), ``beyond_mm`` (0.5, over
the cover's reading edge), ``turn_mrad`` (2), ``trim_u_mm`` (0.3).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from quirewell.record.finding import Finding, Run
from quirewell.record.measured import Term
from quirewell.science.booklet.align import Alignment, Placed, align
from quirewell.science.booklet.limits import Limits
from quirewell.stages.hole_table import read_holes
from quirewell.stages.methods import Outcome, method
from quirewell.stages.naming import places_words
from quirewell.stages.typed_params import number, refuse_unknown

METHOD = "rejoin.align"
SOURCES = ("gower2004", "kabsch1976", "lawson1974")
_LIMITS = ("head_tail_mm", "fold_mm", "beyond_mm", "turn_mrad", "trim_u_mm")
_KNOWN = ("holes", "wire_mm", *_LIMITS)
IF_NOT_TURNED = "as if it were not turned: one hole says nothing of a turn"
OWN_PART = "of this sheet's holes against the pattern; between two sheets both add in squares"
LEFT_OUT = (
    "u leaves out the pattern's own uncertainty, which all sheets share, what limits hold back, "
    "and paper that is not flat."
)


@method(METHOD, 1, "exact")
def rejoin_align(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Shift and turn of every sheet so that its staple holes lie on one pattern."""
    refuse_unknown(params, _KNOWN, f"{METHOD} knows no parameter")
    if not params.get("holes", "").strip():
        raise ValueError("give the holes: a table with a row to each hole of each sheet")
    usual = Limits()
    limits = Limits(**{name: number(params, name, getattr(usual, name)) for name in _LIMITS})
    laid = align(read_holes(params["holes"]), number(params, "wire_mm", 0.5), limits)
    return Outcome(
        (
            _fit("rejoin.rms_mm", laid.rms_mm, "holes from their places, rms; no torn ones"),
            _fit("rejoin.max_mm", laid.max_mm, "the farthest hole off; no torn ones"),
            Finding("", "rejoin.outside_slack", "item", laid.outside_slack, 0.0, "",
                    note="holes that lie farther off than their slack round the wire allows"),
            *(finding for sheet in laid.sheets for finding in _of(sheet)),
            Finding("", "rejoin.says", "item", text=_sentence(laid), sources=SOURCES),
        ),
        (*laid.warnings, LEFT_OUT),
        _drawing(laid),
    )  # fmt: skip


def _fit(quantity: str, value: float, note: str) -> Finding:
    return Finding("", quantity, "item", value, None, "mm", sources=SOURCES, note=note)


def _of(sheet: Placed) -> list[Finding]:
    out = []
    for quantity, value, u, unit in (
        ("rejoin.dx_mm", sheet.dx_mm, sheet.u_dx_mm, "mm"),
        ("rejoin.dy_mm", sheet.dy_mm, sheet.u_dy_mm, "mm"),
        ("rejoin.turn_mrad", sheet.turn_mrad, sheet.u_turn_mrad, "mrad"),
    ):
        if u is None and unit == "mm" and any(one is not None for one in sheet.residual_mm):
            out.append(
                Finding("", quantity, sheet.name, value + 0.0, None, unit, sources=SOURCES,
                        note=IF_NOT_TURNED)
            )  # fmt: skip
            continue
        if u is None:
            says = "nothing holds it"
            out.append(Finding("", quantity, sheet.name, unit=unit, text=says, sources=SOURCES))
            continue
        out.append(
            Finding(
                "", quantity, sheet.name, value + 0.0, u, unit, sources=SOURCES, note=OWN_PART,
                terms=(Term("holes", u, "u of its holes, their slack as a disc"),),
            )
        )  # fmt: skip
    if sheet.edge_excess_mm is not None:
        says = "its worst head or tail corner off the reference sheet's edges"
        out.append(
            Finding("", "rejoin.edge_excess_mm", sheet.name, sheet.edge_excess_mm, None, "mm",
                    sources=SOURCES, note=says)
        )  # fmt: skip
    if sheet.flags:
        out.append(Finding("", "rejoin.flags", sheet.name, text="\n".join(sheet.flags)))
    return out


def _sentence(laid: Alignment) -> str:
    says = (
        f"{len(laid.sheets)} sheets lie on one pattern of {len(laid.numbers)} holes, "
        f"{laid.rms_mm:.2f} mm off it (rms), {laid.max_mm:.2f} mm at worst."
    )
    wrong = [
        f"hole {sheet.wrong_hole} of {places_words([sheet.name])}"
        for sheet in laid.sheets
        if sheet.wrong_hole is not None
    ]
    if wrong:
        says += f" Set aside as wrong: {', '.join(wrong)}."
    minded = [sheet.name for sheet in laid.sheets if sheet.flags and sheet.wrong_hole is None]
    return says + (f" Look at {places_words(minded)}." if minded else "")


def _drawing(laid: Alignment) -> dict[str, str]:
    """Pattern and holes as text: "number:x,y .." in mm; slack used and what limits cost."""
    places = zip(laid.numbers, laid.pattern, strict=True)
    out = {
        "pattern": " ".join(f"{one}:{x:.6f},{y:.6f}" for one, (x, y) in places),
        "centre": "{:.6f},{:.6f}".format(*laid.centre_mm),
        "reference": laid.reference,
        "infeasible": " ".join(laid.infeasible),
    }
    for sheet in laid.sheets:
        off = zip(sheet.holes, sheet.off_mm, strict=True)
        slack = zip(sheet.holes, sheet.slack_used, strict=True)
        for key, text in (
            ("holes", " ".join(map(str, sheet.holes))),
            ("off", " ".join(f"{n}:{one[0]:.9f},{one[1]:.9f}" for n, one in off if one)),
            ("slack", " ".join(f"{n}:{one:.4f}" for n, one in slack if one is not None)),
            ("costs", " ".join(f"{k.replace(' ', '_')}:{v:.4f}" for k, v in sheet.costs.items())),
            ("scale", "" if sheet.scale is None else f"{sheet.scale:.6f} {sheet.u_scale:.6f}"),
            ("wrong", "" if sheet.wrong_hole is None else str(sheet.wrong_hole)),
            ("beyond", "" if sheet.beyond_cover_mm is None else f"{sheet.beyond_cover_mm:.4f}"),
            ("gives", sheet.infeasible),
        ):
            if text:
                out[f"{key}.{sheet.name}"] = text
    return out


def _pairs(text: str) -> dict[str, str]:
    return dict(word.split(":", 1) for word in text.split())


def as_json(run: Run) -> dict[str, Any]:
    """An alignment as the command line's JSON: shifts and turns with their u; figures of the fit,
    distances and costs as plain numbers [mm]."""
    item = {one.quantity: one for one in run.findings if one.subject == "item"}
    sheets: dict[str, dict[str, Finding]] = {}
    for one in run.findings:
        if one.subject != "item":
            sheets.setdefault(one.subject, {})[one.quantity] = one
    drawing = run.drawing
    return {
        "says": item["rejoin.says"].text,
        "rms_mm": item["rejoin.rms_mm"].value,
        "max_mm": item["rejoin.max_mm"].value,
        "outside_slack": int(item["rejoin.outside_slack"].value or 0),
        "reference": drawing["reference"],
        "infeasible": drawing["infeasible"].split(),
        "pattern": [
            {"hole": int(one), "x_mm": float(at.split(",")[0]), "y_mm": float(at.split(",")[1])}
            for one, at in _pairs(drawing["pattern"]).items()
        ],
        "wraps": [_wrap(name, mine, drawing) for name, mine in sheets.items()],
        "warnings": list(run.warnings),
        "method": f"{run.method}@{run.version}",
    }


def _wrap(name: str, mine: Mapping[str, Finding], drawing: Mapping[str, str]) -> dict[str, Any]:
    def text(key: str) -> str:
        return drawing.get(f"{key}.{name}", "")

    off, slack = _pairs(text("off")), _pairs(text("slack"))
    holes = text("holes").split()
    excess = mine.get("rejoin.edge_excess_mm")
    flags = mine.get("rejoin.flags")
    scale = text("scale").split()
    return {
        "name": name,
        **{key: _measured(mine[f"rejoin.{key}"]) for key in ("dx_mm", "dy_mm", "turn_mrad")},
        "holes": [int(one) for one in holes],
        "residual_mm": [_away(off[one]) if one in off else None for one in holes],
        "slack_used": [float(slack[one]) if one in slack else None for one in holes],
        "edge_excess_mm": None if excess is None else excess.value,
        "beyond_cover_mm": float(text("beyond")) if text("beyond") else None,
        "costs": {k.replace("_", " "): float(v) for k, v in _pairs(text("costs")).items()},
        "scale": {"value": float(scale[0]), "u": float(scale[1]), "unit": "1"} if scale else None,
        "wrong_hole": int(text("wrong")) if text("wrong") else None,
        "infeasible": text("gives") or None,
        "flags": flags.text.split("\n") if flags else [],
    }


def _away(text: str) -> float:
    return math.hypot(*map(float, text.split(",")))


def _measured(one: Finding) -> dict[str, Any]:
    if one.value is None:
        return {"value": None, "u": None, "unit": one.unit, "text": one.text}
    return one.measured().as_json()
