"""Inks in a comparison: findings ``ink.<name>.<what>``, where they lie, and their JSON."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from quirewell.record.finding import Finding, Run
from quirewell.record.measured import Term
from quirewell.science.colour.spaces import light_of
from quirewell.science.colour.target_use import TargetUse
from quirewell.science.colour.ways import K3, ways
from quirewell.science.imaging.halftone import Cover
from quirewell.science.imaging.inks import TARGET_INKS, InkChange
from quirewell.science.imaging.page_inks import FINE, Ink, PageInks, ink_key, page_inks
from quirewell.science.imaging.paper_change import LightChange
from quirewell.stages.pair_pictures import Pair, lay_pair, lit_alike, to_known_greys

INKS_PX = 2000
COVER = "cover."
_SOURCES = ("sharma2005", "garcia2010")
_AS_SEEN = "as this scanner sees colours; its own error is not in u"
_TARGETED = (
    f"as the fitted target has it; its error, {TARGET_INKS:g} times that of a paper tone, is in u"
)
_SURELY = "in 95 of 100 cases from smallest_seen on"
_MODEL = "a transparent ink on paper that changed, channel by channel"


@dataclass(frozen=True, slots=True)
class InkFindings:
    """Findings of all inks of a page, sentences of warning, and boxes to draw."""

    findings: tuple[Finding, ...] = ()
    warnings: tuple[str, ...] = ()
    drawing: str = ""


def compare_inks(
    pair: Pair,
    light: LightChange | None,
    target: TargetUse | None = None,
    *,
    detail_changed: bool = False,
) -> InkFindings:
    """Compare the inks of a registered pair; ``light`` is what the strip's grey steps say, with
    a fitted ``target`` colours are as it has them; ``detail_changed`` (one scan was sharpened or
    softened) withholds the verdicts.

    Raises:
        ValueError: when the two could not be registered, with the reason.
    """
    laid = lay_pair(pair, INKS_PX)
    um = float(np.mean(pair.before.um_guess)) * laid.shrink
    before, after = light_of(laid.before), light_of(laid.after)
    withheld = light is not None and light.withheld
    before, after = lit_alike(pair, light, before, after, target)
    profiled = bool(pair.before.picture.profile and pair.after.picture.profile)
    profiled = profiled or to_known_greys(pair, target)
    found = page_inks(
        before, after, laid.seen, um, profiled=profiled, exposure_changed=withheld,
        detail_changed=detail_changed, target=target,
    )  # fmt: skip
    if found is None:
        return InkFindings(warnings=(_NO_PAPER,))
    findings = [entry for ink in found.inks for entry in ink_findings(ink, target is not None)]
    return InkFindings(tuple(findings), (), _boxes_text(found, laid.shrink))


_NO_PAPER = (
    "Too little bare paper is seen to take the paper's own change out of the inks' colours: "
    "inks were not compared."
)


def ink_findings(ink: Ink, targeted: bool = False) -> list[Finding]:
    """What is left of one ink: its own change, what is seen, bleed, and the verdict.

    ``targeted`` says that colours are as a fitted target has them.
    """
    own, name = ink.own, f"ink.{ink.key}"
    what = "average of places of 10 mm, ink and paper together" if ink.name == FINE else "solids"
    kept = ", ".join(f"{value:.2f}" for value in own.kept)
    out = [
        Finding(
            "", f"{name}.dE00", "", own.de00, own.u_de00, "1",
            low90=max(0.0, own.de00 - 1.645 * own.u_de00),
            high90=own.de00 + 1.645 * own.u_de00, smallest_seen=own.smallest_de00,
            terms=tuple(Term(*term) for term in own.terms), sources=_SOURCES,
            note=f"{ink.name}: CIEDE2000 between what is seen after and what {_MODEL} would "
            f"show ({kept} CIELAB D50); {what}, {own.places} places, {own.area_mm2:.0f} mm2; "
            f"called a change above {own.limit_de00:.2f}, {_SURELY}",
        ),
        Finding(
            "", f"{name}.seen_dE00", "", own.seen_de00, own.u_de00, "1", sources=_SOURCES,
            note=f"as seen, with the paper's change in it ({own.paper_de00:.2f} of paper alone)",
        ),
    ]  # fmt: skip
    out += _own_ways(name, own)
    for moment, lab in (("before", own.before), ("after", own.after)):
        for axis, value, u in zip("Lab", lab, own.u_seen, strict=True):
            note = _TARGETED if targeted else _AS_SEEN
            out.append(Finding("", f"{name}.{axis}_{moment}", "", value, u, "1", note=note))
    out += [
        Finding("", f"{name}.places", "", float(own.places), 0.0, "1", note="counted: exact"),
        Finding("", f"{name}.area_mm2", "", own.area_mm2, 0.02 * own.area_mm2, "mm2"),
    ]
    if ink.bleed is not None:
        ring = ink.bleed.change
        out.append(
            Finding(
                "", f"{name}.bleed_dE00", "", ring.de00, ring.u_de00, "1",
                low90=max(0.0, ring.de00 - 1.645 * ring.u_de00),
                high90=ring.de00 + 1.645 * ring.u_de00, smallest_seen=ring.smallest_de00,
                terms=tuple(Term(*term) for term in ring.terms), sources=_SOURCES,
                note="CIEDE2000 of the paper 0.3 to 1.5 mm outside the ink against paper "
                f"farther off; {'towards' if ink.bleed.bled else 'not towards'} the ink's "
                "colour beyond chance",
            )
        )  # fmt: skip
    out += [_cover_finding(name, of, cover) for of, cover in ink.covers]
    out.append(Finding("", f"{name}.verdict", "", text=f"{ink.name}: {ink.verdict}"))
    return out


def _own_ways(name: str, own: InkChange) -> list[Finding]:
    """``ink.<name>.own_dL``, ``own_dC``, ``own_dH``: its own change, the paper's taken out, in
    lightness, strength of colour and hue."""
    moved = ways(own.kept, own.after, own.u_lab)
    return [
        Finding(
            "", f"{name}.own_d{part}", "", value, u, "1", low90=value - 1.645 * u,
            high90=value + 1.645 * u, smallest_seen=(K3 + 1.645) * u, sources=("cie15", "jcgm100"),
            note=f"{says}, seen less what {_MODEL} would show",
        )
        for part, value, u, says in (
            ("L", moved.dL, moved.u_dL, "lightness L*"),
            ("C", moved.dC, moved.u_dC, "strength of colour C*ab"),
            ("H", moved.dH, moved.u_dH, "hue, the distance dH*ab, + as the hue angle grows"),
        )
    ]  # fmt: skip


def _cover_finding(fine: str, of: str, cover: Cover) -> Finding:
    """``ink.fine_print.cover.<ink>``: change of the share of paper that an ink covers [%]."""
    value, u = 100 * cover.change, 100 * cover.u
    return Finding(
        "", f"{fine}.{COVER}{ink_key(of)}", "", value, u, "%", low90=value - 1.645 * u,
        high90=value + 1.645 * u, smallest_seen=100 * cover.smallest,
        standing="measured here", sources=("yule1951", "jcgm100"),
        terms=tuple(Term(term, 100 * part, basis) for term, part, basis in cover.terms),
        note=f"points of the paper that the {of} in fine print covers, after less before (before "
        f"{100 * cover.before:.1f} %), by its solids before treatment; {int(cover.used.sum())} "
        f"tiles in {cover.places} places; called a change above {100 * cover.limit:.2f}, {_SURELY}",
    )  # fmt: skip


def _boxes_text(found: PageInks, shrink: float) -> str:
    """Boxes of each ink [px of the before picture]: "red_ink:x,y,w,h x,y,w,h;dark_ink:...".

    Fine print has no boxes: it is everywhere else.
    """
    parts = []
    for ink in found.inks:
        if ink.name != FINE:
            boxes = (",".join(f"{round(v * shrink)}" for v in box) for box in ink.boxes)
            parts.append(f"{ink.key}:{' '.join(boxes)}")
    return ";".join(parts)


def inks_json(run: Run) -> list[dict[str, Any]]:
    """The inks of a comparison for the command line, largest first.

    ``Lab_before`` and ``Lab_after`` are what is seen (CIELAB D50), ``dE00`` the ink's own
    change with the paper's taken out, ``seen_dE00`` the change as seen.
    """
    groups: dict[str, dict[str, Finding]] = {}
    for finding in run.findings:
        if is_ink(finding):
            _, key, what = finding.quantity.split(".", 2)
            groups.setdefault(key, {})[what] = finding
    return [_ink_json(key, entries) for key, entries in groups.items()]


def is_ink(finding: Finding) -> bool:
    """Whether a finding belongs to an ink."""
    return finding.quantity.startswith("ink.")


def _ink_json(key: str, entries: dict[str, Finding]) -> dict[str, Any]:
    name, _, verdict = entries["verdict"].text.partition(": ")
    bleed = entries.get("bleed_dE00")
    return {
        "name": name,
        "key": key,
        "Lab_before": [entries[f"{axis}_before"].value for axis in "Lab"],
        "Lab_after": [entries[f"{axis}_after"].value for axis in "Lab"],
        "u_Lab": [entries[f"{axis}_before"].u for axis in "Lab"],
        "dE00": entries["dE00"].measured().as_json(),
        "seen_dE00": entries["seen_dE00"].measured().as_json(),
        "own": {part: entries[f"own_{part}"].measured().as_json() for part in ("dL", "dC", "dH")},
        "bleed": None if bleed is None else bleed.measured().as_json(),
        "cover": {
            what.removeprefix(COVER): finding.measured().as_json()
            for what, finding in entries.items()
            if what.startswith(COVER)
        },
        "places": int(entries["places"].value or 0),
        "area_mm2": entries["area_mm2"].measured().as_json(),
        "verdict": verdict,
    }
