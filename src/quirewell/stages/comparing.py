"""Comparing a page before with the same page after: method ``pair.compare``.

What counts is the whole paper seen in both pictures (a half-wrap scan holds the fold and a
strip of the page beyond it; both belong to the same sheet and are matched). Size is compared
by registration; where there is nothing to match by, by the outlines alone.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from quirewell.record.finding import Finding, Run, Standing
from quirewell.record.measured import Term
from quirewell.record.shapes import read_shapes
from quirewell.science.colour.exposure import greys_from_text
from quirewell.science.colour.target_use import TargetUse, target_from_text
from quirewell.science.evidence.uncertainty import BudgetTerm
from quirewell.science.imaging.change import (
    AxisChange,
    Verdict,
    axis_change,
    judge,
    scanner_term,
)
from quirewell.science.imaging.difference import affine_text
from quirewell.science.imaging.paper_change import LightChange, PaperChange
from quirewell.science.imaging.register import NoRegistration, Registration
from quirewell.science.imaging.scale_ratio import ScaleRatio, scale_ratio
from quirewell.science.imaging.strain import SheetStrain, sheet_strain
from quirewell.science.paper.expansion import Grain, across_grain, humidity_term
from quirewell.stages.comparing_exposure import exposure_findings
from quirewell.stages.comparing_field import field_drawing, field_findings, layers_json
from quirewell.stages.comparing_inks import compare_inks, inks_json, is_ink
from quirewell.stages.comparing_light import light_findings
from quirewell.stages.comparing_said import (
    inks_hold,
    match_warnings,
    paper_warnings,
    picture_warnings,
)
from quirewell.stages.methods import Outcome, method
from quirewell.stages.pair_pictures import Pair, open_pair
from quirewell.stages.pair_tones import compare_paper

METHOD = "pair.compare"
PARAMS = (
    "panel", "dpi", "dpi_before", "dpi_after", "strip_length_mm", "rh_before_pct", "rh_after_pct",
    "same_day", "same_scanner", "margin_pct", "grain", "target", "ignore_before", "ignore_after",
    "scanner_u_um", "scanner_repeat_um", "greys",
)  # fmt: skip
SOURCES = ("isprs1996", "printwiki_moisture", "jcgm100")
_OUTLINE_U_MM = 0.08
_MOST_POINTS = 1500


@dataclass(frozen=True, slots=True)
class Asked:
    """The parameters of a comparison, read from text."""

    rh_before_pct: float | None = None
    rh_after_pct: float | None = None
    same_day: bool = False
    same_scanner: bool = True
    margin_pct: float | None = None
    grain: Grain = "height"
    target: TargetUse | None = None
    scanner_u_um: float | None = None
    scanner_repeat_um: float | None = None


def read_params(params: Mapping[str, str]) -> Asked:
    """Read the text parameters; empty ones count as not given.

    Raises:
        ValueError: an unknown parameter or a value that is not allowed, in a sentence.
    """
    unknown = sorted(set(params) - set(PARAMS))
    if unknown:
        raise ValueError(
            f"{METHOD} knows no parameter {unknown[0]!r}; it knows {', '.join(PARAMS)}"
        )
    for name in ("dpi", "dpi_before", "dpi_after"):
        dpi = _number(params, name)
        if dpi is not None and not 50 <= dpi <= 4800:
            raise ValueError(f"{name} must lie between 50 and 4800, got {dpi:g}")
    length = _number(params, "strip_length_mm")
    if length is not None and not 100 <= length <= 220:
        raise ValueError(f"strip_length_mm must lie between 100 and 220 mm, got {length:g} mm")
    for name in ("ignore_before", "ignore_after"):
        try:
            read_shapes(params.get(name, ""))
        except ValueError as error:
            raise ValueError(f"{name}: {error}") from None
    if params.get("greys"):
        greys_from_text(params["greys"])
    grain = params.get("grain") or "height"
    if grain not in ("height", "width", "unknown"):
        raise ValueError(f"grain must be height, width or unknown, got {grain!r}")
    return Asked(
        _number(params, "rh_before_pct"),
        _number(params, "rh_after_pct"),
        _yes(params, "same_day", False),
        _yes(params, "same_scanner", True),
        _number(params, "margin_pct"),
        grain,  # type: ignore[arg-type]
        target_from_text(params["target"]) if params.get("target") else None,
        *(_above_zero(params, name) for name in ("scanner_u_um", "scanner_repeat_um")),
    )


def _above_zero(params: Mapping[str, str], name: str) -> float | None:
    value = _number(params, name)
    if value is not None and not 0 <= value <= 5000:
        raise ValueError(f"{name} must lie between 0 and 5000 um, got {value:g} um")
    return value


def _number(params: Mapping[str, str], name: str) -> float | None:
    text = params.get(name) or ""
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        raise ValueError(f"{name} must be a number, got {text!r}") from None
    if not math.isfinite(value):
        raise ValueError(f"{name} must be a number, got {text!r}")
    return value


def _yes(params: Mapping[str, str], name: str, unsaid: bool) -> bool:
    text = (params.get(name) or "").lower()
    if text not in ("", "yes", "no"):
        raise ValueError(f"{name} must be yes or no, got {text!r}")
    return unsaid if not text else text == "yes"


@method(METHOD, 3, "seeded")
def compare(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Change of size and of paper colour between two pictures of one page, and what was missed."""
    asked = read_params(params)
    pair = open_pair(files, params)
    warnings = picture_warnings(pair)
    if isinstance(pair.match, NoRegistration):
        return _unmatched(pair, pair.match, asked, warnings)
    ratio = _ratio(pair, asked)
    strain = _strain(pair, pair.match, ratio)
    warnings += match_warnings(pair, pair.match, strain, ratio)
    axes = _axes(pair, pair.match, strain, ratio, asked)
    verdict = judge(*axes, margin_pct=asked.margin_pct)
    told = compare_paper(pair, asked.target)
    paper, light = told.change, told.light
    warnings += paper_warnings(paper, light, pair.exposed is not None)
    findings = [*_size_findings(axes), *_paper_findings(paper, light)]
    findings += [*light_findings(told.split), *exposure_findings(pair, asked.target)]
    inks = compare_inks(pair, light, asked.target, detail_changed=not inks_hold(pair))
    warnings += inks.warnings
    moved_mm = _moved_mm(pair, pair.match, ratio)
    findings += field_findings(
        pair, pair.match, moved_mm, asked.scanner_u_um, asked.scanner_repeat_um
    )
    findings += [*_match_findings(pair, pair.match), _words(verdict), *inks.findings]
    drawing = _drawing(pair, pair.match)
    drawing["field"] = field_drawing(pair, pair.match, ratio)
    drawing |= {"inks": inks.drawing} if inks.drawing else {}
    drawing |= {"tones": told.tones} if told.tones else {}
    return Outcome(tuple(findings), tuple(warnings), drawing)


def scale_of(pair: Pair, params: Mapping[str, str]) -> ScaleRatio:
    """Micrometres a pixel, after over before, as the comparison takes them."""
    return _ratio(pair, read_params(params))


def _ratio(pair: Pair, asked: Asked) -> ScaleRatio:
    breath = humidity_term(False, asked.rh_before_pct, asked.rh_after_pct, asked.same_day)
    dpi = [side.dpi[0] if side.dpi else None for side in (pair.before, pair.after)]
    return scale_ratio(
        pair.before.strip, pair.after.strip, dpi[0], dpi[1],
        same_scanner=asked.same_scanner, u_strip_breath=breath.u_pct / 100,
    )  # fmt: skip


def _strain(pair: Pair, match: Registration, ratio: ScaleRatio) -> SheetStrain:
    angle = pair.before.angle_deg if pair.before.ground else 0.0
    return sheet_strain(match.fit, (1.0, 1.0), (ratio.x, ratio.y), angle)


def _axes(
    pair: Pair, match: Registration, strain: SheetStrain, ratio: ScaleRatio, asked: Asked
) -> tuple[AxisChange, AxisChange]:
    points = len(match.points)
    um = np.asarray(pair.before.um_guess)
    across = across_grain(asked.grain)
    moved_mm = _moved_mm(pair, match, ratio)
    out = []
    for index, (name, value, u) in enumerate(
        (("width", strain.exx, strain.u_exx), ("height", strain.eyy, strain.u_eyy))
    ):
        length_mm = float(pair.before.box_px[index] * um[index] / 1000)
        scale = BudgetTerm("scale", 100 * (ratio.u_x, ratio.u_y)[index], basis=ratio.basis)
        out.append(
            axis_change(
                name, 100 * value, 100 * u, scale,
                _scanner(asked, length_mm, moved_mm, match.turn != "upright"),
                humidity_term(
                    across[index], asked.rh_before_pct, asked.rh_after_pct, asked.same_day
                ),
                f"scatter of {points} matched points",
            )
        )  # fmt: skip
    return out[0], out[1]


def _scanner(asked: Asked, length_mm: float, moved_mm: float, turned: bool) -> BudgetTerm:
    return scanner_term(length_mm, moved_mm, turned, asked.scanner_u_um, asked.scanner_repeat_um)


def _moved_mm(pair: Pair, match: Registration, ratio: ScaleRatio) -> float:
    """How far the leaf lay from its first place on the glass [mm], pictures' corners aligned."""
    there = match.found * (ratio.x, ratio.y)
    move = (there - match.points).mean(axis=0) * np.asarray(pair.before.um_guess) / 1000
    return float(np.hypot(*move))


def _unmatched(pair: Pair, reason: NoRegistration, asked: Asked, warnings: list[str]) -> Outcome:
    """Nothing to match by: compare the outlines of a blank leaf, or say that nothing can be."""
    warnings.append(reason.says)
    blank = reason.reason in ("blank before", "blank after")
    if not (blank and pair.before.ground and pair.after.ground):
        cure = "" if not blank else " It would take a scan with ground showing all round the leaf."
        text = f"cannot tell: {reason.says[0].lower()}{reason.says[1:]}{cure}"
        return Outcome((_words(Verdict("cannot tell", text)),), tuple(warnings))
    ratio = _ratio(pair, asked)
    across = across_grain(asked.grain)
    axes = []
    for index, name in enumerate(("width", "height")):
        before = pair.before.box_px[index]
        after = pair.after.box_px[index] * (ratio.x, ratio.y)[index]
        length_mm = before * pair.before.um_guess[index] / 1000
        axes.append(
            axis_change(
                name, 100 * (after / before - 1), 100 * math.sqrt(2) * _OUTLINE_U_MM / length_mm,
                BudgetTerm("scale", 100 * (ratio.u_x, ratio.u_y)[index], basis=ratio.basis),
                _scanner(asked, length_mm, math.inf, turned=False),
                humidity_term(
                    across[index], asked.rh_before_pct, asked.rh_after_pct, asked.same_day
                ),
                "outlines compared, nothing printed to match by",
            )
        )  # fmt: skip
    verdict = judge(axes[0], axes[1], margin_pct=asked.margin_pct)
    return Outcome((*_size_findings((axes[0], axes[1])), _words(verdict)), tuple(warnings))


def _size_findings(axes: tuple[AxisChange, AxisChange]) -> list[Finding]:
    findings = [
        Finding(
            "", f"change.{axis.name}_pct", "", axis.value_pct, axis.u_pct, "%",
            low90=axis.value_pct - 1.645 * axis.u_pct, high90=axis.value_pct + 1.645 * axis.u_pct,
            smallest_seen=axis.smallest_pct, standing=_STANDING, sources=SOURCES,
            terms=tuple(Term(term.name, term.u, term.basis) for term in axis.budget.terms),
            note=f"with scale, scanner and humidity held, {axis.smallest_match_pct:.3f} % would "
            "have been seen",
        )
        for axis in axes
    ]  # fmt: skip
    says = (
        "smallest true change called changed in 95 of 100 cases, at 5 false alarms in 100 over "
        "width and height: about (2.24 + 1.64) u"
    )
    for quantity, values in (
        ("change.smallest_detectable_pct", [axis.smallest_pct for axis in axes]),
        ("change.smallest_detectable_match_pct", [axis.smallest_match_pct for axis in axes]),
    ):
        findings.append(
            Finding(
                "", quantity, "", max(values), None, "%", standing=_STANDING, sources=SOURCES,
                note=f"{says}; width {values[0]:.4f} %, height {values[1]:.4f} %",
            )
        )  # fmt: skip
    return findings


_STANDING: Standing = "measured here"


def _match_findings(pair: Pair, match: Registration) -> list[Finding]:
    count = float(len(match.points))
    findings = [
        Finding("", "registration.points", "", count, 0.0, "1", note="counted: exact"),
        Finding("", "registration.agreeing_pct", "", 100 * match.share, 0.0, "%",
                note="one count by another: exact"),
    ]  # fmt: skip
    um = pair.after.um_per_px
    if um is not None:
        size = match.residual_px * math.sqrt(um[0] * um[1])
        findings.insert(
            0,
            Finding(
                "", "registration.residual_um", "", size, size / math.sqrt(2 * count), "um",
                note="root mean square distance of the matched points from one even stretch; "
                f"neighbours agree to {match.scatter_px * um[0]:.1f} um",
            ),
        )  # fmt: skip
    return findings


def _paper_findings(paper: PaperChange | None, light: LightChange | None) -> list[Finding]:
    if light is not None and light.withheld:
        return [Finding("", "paper.dE00", "", unit="1", text="withheld: lit differently")]
    if paper is None:
        return []
    findings = [
        Finding(
            "", "paper.dE00", "", paper.de00, paper.u_de00, "1",
            low90=max(0.0, paper.de00 - 1.645 * paper.u_de00),
            high90=paper.de00 + 1.645 * paper.u_de00, smallest_seen=paper.smallest_de00,
            terms=tuple(Term(*term) for term in paper.terms), sources=("sharma2005",),
            note=f"CIEDE2000 of the median bare paper, {paper.tiles} tiles of 1.5 mm seen in both",
        )
    ]  # fmt: skip
    for name, change, u, one, two in zip(
        "Lab", paper.change, paper.u_lab, paper.before, paper.after, strict=True
    ):
        findings.append(
            Finding(
                "", f"paper.d{name}", "", change, u, "1",
                note=f"{name}* {one:.2f} before, {two:.2f} after, CIELAB D50",
            )
        )  # fmt: skip
    return findings


def _words(verdict: Verdict) -> Finding:
    return Finding("", "verdict", "", text=verdict.says, sources=SOURCES)


def _drawing(pair: Pair, match: Registration) -> dict[str, str]:
    """Geometry for the viewer: the affine before to after, the points, both pictures' sizes."""
    used = match.points[match.fit.weights > 0]
    few = used[:: max(1, -(-len(used) // _MOST_POINTS))]
    points = " ".join(f"{x:.0f},{y:.0f}" for x, y in few)
    sizes = [f"{side.grey.shape[1]} {side.grey.shape[0]}" for side in (pair.before, pair.after)]
    um = pair.before.um_per_px
    return {
        "before_to_after_px": affine_text(match.fit.affine),
        "before_size_px": sizes[0],
        "after_size_px": sizes[1],
        "points_px": points,
        "turn": match.turn,
    } | ({"before_um_per_px": f"{um[0]:.6g} {um[1]:.6g}"} if um else {})


def as_json(run: Run) -> dict[str, Any]:
    """A comparison as the command line's JSON: dotted quantities nested, verdict, warnings.

    A size that could not be given is null; the verdict says why.
    """
    out: dict[str, Any] = {
        "change": {"width_pct": None, "height_pct": None, "smallest_detectable_pct": None},
        "paper": {"dE00": None},
        "registration": {"residual_um": None},
        "field": {"rms_um": None},
    }
    for finding in run.findings:
        if finding.value is not None and not is_ink(finding):
            group, name = finding.quantity.split(".", 1)
            out.setdefault(group, {})[name] = finding.measured().as_json()
    words = next(f.text for f in run.findings if f.quantity == "verdict")
    return {
        **out,
        "inks": inks_json(run),
        "layers": layers_json(run),
        "verdict": words,
        "warnings": list(run.warnings),
        "notes": {f.quantity: f.note for f in run.findings if f.note},
        "inputs": {entry.role: {"name": entry.ref, "sha256": entry.sha256} for entry in run.inputs},
        "params": dict(run.params),
        "method": f"{run.method}@{run.version}",
    }
