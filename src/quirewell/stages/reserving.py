"""Alkali reserve and pH of the paper as a registered method: readings in, one estimate out.

Parameters are text: ``titre`` "HCl mL, mol/L, NaOH mL, mol/L, sample g[, water g/g]" (several
by ";"), ``sample`` scrap or like paper, ``ph`` readings by ";" as "surface strip above 7.5 @ 21".
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, cast

from quirewell.record.finding import Finding, Run
from quirewell.record.measured import Term
from quirewell.science.bath.paper_ph import SPREAD, Kind, OffScale, PaperPh, PhReading, paper_ph
from quirewell.science.bath.reserve import (
    PCT_PER_MOL,
    BackTitration,
    OneReserve,
    ReserveEstimate,
    as_one,
    back_titration,
)
from quirewell.science.evidence.normal import Z90
from quirewell.stages import typed
from quirewell.stages.methods import Outcome, method

METHOD = "paper.reserve"
SAMPLES = ("scrap", "like paper")
_KINDS = (*SPREAD, "bath")
_READING = re.compile(
    r"\s*(?P<kind>[a-z ]+?)\s+(?:(?P<off>above|below)\s+)?(?P<value>[-+\d.,]+)"
    r"(?:\s*@\s*(?P<at>[-+\d.,]+)\s*(?P<scale>[CFcf])?)?\s*"
)
ON_THE_OBJECT = (
    "A back-titration and a cold extract use their sample up. Take a scrap that has come loose and "
    "has no place to go back to, or like paper of no value; never cut the object for it."
)
SURFACE = (
    "A strip or a flat electrode reads the surface only; where carbonate is coarse it reads far "
    "too low. It is no cold extract."
)
APART_SAYS = "These contradict each other"


@method(METHOD, 2, "exact")
def paper_reserve(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Reserve of a sample by back-titration, and the paper's pH from readings of every kind."""
    unknown = sorted(set(params) - {"titre", "sample", "ph"})
    if unknown:
        raise ValueError(f"{METHOD} knows no parameter {unknown[0]!r}; it knows ph, sample, titre")
    titres = _titres(params.get("titre", ""), params.get("sample", ""))
    readings = [read_ph(text) for text in params.get("ph", "").split(";") if text.strip()]
    if not titres and not readings:
        raise ValueError(
            "nothing was read: give a titration of a scrap, or pH readings such as "
            "'surface strip 7.5' (a strip on the damp paper is enough for a first answer)"
        )
    findings: list[Finding] = []
    warnings: list[str] = []
    if titres:
        findings += _reserve(as_one(titres), titres)
        warnings += [ON_THE_OBJECT, *_said_apart(as_one(titres).apart)]
    paper = paper_ph(readings)
    if readings and paper is not None:
        findings += _ph(paper, readings)
        warnings += _said_apart(paper.apart)
        warnings += [SURFACE] if any(one.kind.startswith("surface") for one in readings) else []
    warnings += _bath_words(readings)
    if titres and paper is not None:
        warnings += _together(as_one(titres), paper)
    warnings += [_narrow(titres, readings)]
    return Outcome(tuple(findings), tuple(warnings))


def _titres(text: str, sample: str) -> list[ReserveEstimate]:
    rows = [row for row in text.split(";") if row.strip()]
    if rows and sample not in SAMPLES:
        raise ValueError(
            f"of what was the sample? Say one of {', '.join(SAMPLES)}, got {sample!r}. "
            + ON_THE_OBJECT
        )
    out = []
    for number, row in enumerate(rows, 1):
        try:
            values = [float(part) for part in row.split(",")]
        except ValueError:
            values = []
        if len(values) not in (5, 6):
            raise ValueError(
                "a titration is acid mL, acid mol/L, alkali mL, alkali mol/L, sample g and, if "
                f"known, its water g/g: as in 20,0.1,12,0.1,1; got {row.strip()[:60]!r}"
            )
        one = back_titration(BackTitration(*values))
        name = "back-titration" if len(rows) == 1 else f"back-titration {number}"
        out.append(ReserveEstimate(name, one.mol_per_kg, one.u, one.terms))
    return out


def read_ph(text: str) -> PhReading:
    """A pH reading as typed: kind, "above" or "below" for a strip off its scale, value, "@ C".

    Raises:
        ValueError: with a sentence that says how to write it.

    >>> read_ph("surface strip above 7,5 @ 70F")
    PhReading(kind='surface strip', ph=7.5, temperature_c=21.1, off_scale='above', u=None)
    """
    match = _READING.fullmatch(text.lower().replace("ph ", ""))
    kind = match["kind"].strip() if match else ""
    if match is None or kind not in _KINDS:
        raise ValueError(
            f"a pH is written with what was read: {', '.join(_KINDS)}; as in "
            f"'surface strip 7.5 @ 21' or 'surface strip above 9'; got {text.strip()[:60]!r}"
        )
    at = None
    if match["at"]:
        at = round(float(typed.temperature_c(match["at"] + (match["scale"] or ""))), 3)
    value = float(typed.number(match["value"]))
    return PhReading(cast(Kind, kind), value, at, cast("OffScale | None", match["off"]))


def _reserve(one: OneReserve, titres: Sequence[ReserveEstimate]) -> list[Finding]:
    note = "; ".join(f"{entry.name} {entry.mol_per_kg:.3f} ± {2 * entry.u:.3f}" for entry in titres)
    if one.widened > 1:
        note += f"; they scatter {one.widened:.1f} times more than they say, and u counts that"
    terms = tuple(Term(term.name, term.u, term.basis) for term in titres[0].terms)
    out = []
    for quantity, factor, unit in (
        ("reserve.mol_acid_per_kg", 1.0, "mol/kg"),
        ("reserve.pct_caco3", PCT_PER_MOL, "% CaCO3"),
    ):
        value, u = factor * one.mol_per_kg, factor * one.u
        out.append(
            Finding(
                "", quantity, "item", value, u, unit, low90=value - Z90 * u,
                high90=value + Z90 * u,
                terms=tuple(Term(t.name, factor * t.u, t.basis) for t in terms),
                standing="measured here", sources=("iso10716", "tappi553"), note=note,
            )
        )  # fmt: skip
    return out


def _ph(paper: PaperPh, readings: Sequence[PhReading]) -> list[Finding]:
    mine = [one for one in readings if one.kind != "bath"]
    note = "what a cold extract would give, from " + "; ".join(one.says for one in mine)
    if paper.bounded:
        note += f"; only strips off their scale speak, so all that is known is {paper.bounded}"
    if all(one.temperature_c is None for one in mine):
        note += "; no temperature was written down"
    terms = tuple(Term(one.says, one.own_u, "the reading; from memory") for one in mine)
    terms += tuple(
        Term(kind, offset, "about the cold extract, one for all of its kind; from memory")
        for kind, (_, offset) in SPREAD.items()
        if offset and any(one.kind == kind for one in mine)
    )
    return [
        Finding(
            "", "paper.pH", "item", paper.median, paper.u, "pH", low90=paper.low90,
            high90=paper.high90, terms=terms, standing="from memory",
            sources=("iso6588", "tappi529", "kelly1972"), note=note,
        )
    ]  # fmt: skip


def _said_apart(pairs: Sequence[tuple[str, str, float]]) -> list[str]:
    return [
        f"{APART_SAYS}: {one} and {other}, {gap:.1f} standard uncertainties apart. Read both "
        "again, or say which sample each was of."
        for one, other, gap in pairs
    ]


def _bath_words(readings: Sequence[PhReading]) -> list[str]:
    if not any(one.kind == "bath" for one in readings):
        return []
    return ["The pH of the bath says nothing of the paper and is kept apart."]


def _together(one: OneReserve, paper: PaperPh) -> list[str]:
    """What reserve and pH say beside each other."""
    if one.mol_per_kg > 2 * one.u and paper.high90 < 7:
        return [
            f"The titration finds a reserve of {one.mol_per_kg:.2f} mol/kg and the pH says acid. "
            "Both can be true where carbonate is coarse and the strip touched only fibres; else "
            "sample and page are not the same paper."
        ]
    if one.mol_per_kg < -2 * one.u and paper.low90 > 7:
        return [
            "The titration finds acid and the pH says none: was the surface wetted by lime water "
            "that never reached the inside, or are sample and page not the same paper?"
        ]
    return []


def _narrow(titres: Sequence[ReserveEstimate], readings: Sequence[PhReading]) -> str:
    if not titres and all(one.kind in ("surface strip", "bath") for one in readings):
        return (
            "What would narrow it most for little money: strips of a narrow range (steps of 0.3), "
            "two readings on different places, the drop left for 5 minutes under film."
        )
    if not titres:
        return (
            "What would narrow it most: a cold extract of 1 g of scrap or like paper in 50 mL of "
            "pure water for an hour, read with a meter set on two buffers about it."
        )
    return "What would narrow it most: a second titration of another gram of the same scrap."


def as_json(run: Run) -> dict[str, Any]:
    """A reserve run as the command line's JSON; null where nothing was read."""
    by_name = {finding.quantity: finding for finding in run.findings}
    found = {
        key: by_name[quantity].measured().as_json() if quantity in by_name else None
        for key, quantity in (
            ("reserve", "reserve.mol_acid_per_kg"),
            ("reserve_pct_caco3", "reserve.pct_caco3"),
            ("pH", "paper.pH"),
        )
    }
    return {
        **found,
        "contradictions": [says for says in run.warnings if says.startswith(APART_SAYS)],
        "warnings": list(run.warnings),
        "notes": {finding.quantity: finding.note for finding in run.findings},
        "standing": {finding.quantity: finding.standing for finding in run.findings},
        "method": f"{run.method}@{run.version}",
    }
