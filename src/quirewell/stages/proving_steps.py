"""Whether the paper's tone moved by steps of a card: method ``evidence.steps``.

Steps are ranks, not lengths: they are counted and ordered, never averaged over leaves. Parameters
as :mod:`.proving_change`: ``values`` a line a leaf with the steps read before and after, ``step``
the card's step (1), ``margin`` in steps. Several readings of one leaf give their middle.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from statistics import median

from quirewell.record.finding import Finding
from quirewell.science.evidence.equivalence import sign_test
from quirewell.science.evidence.ordinal import Moved, SignedRank, moved, signed_rank
from quirewell.stages.evidence_table import EVIDENCE
from quirewell.stages.methods import Outcome, method
from quirewell.stages.proving_change import KNOWN, MOST_ROWS, EvidenceError, number
from quirewell.stages.proving_said import places_said
from quirewell.stages.typed_params import refuse_unknown

METHOD = "evidence.steps"
SOURCES = ("clopper1934",)
ALPHA = 0.05


@method(METHOD, 1, "exact")
def steps(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Steps of a card before and after: which leaves moved, by how many, and how surely."""
    refuse_unknown(params, KNOWN, f"{METHOD} knows no parameter")
    key = params.get("quantity", "")
    if key not in EVIDENCE or not EVIDENCE[key].steps:
        raise EvidenceError(f"{key[:40]!r} is not read in steps of a card")
    units, before, after = _values(params.get("values", ""))
    step = float(number(params.get("step") or "1", "step"))
    margin = float(number(params["margin"], "margin")) if params.get("margin") else None
    for name, size in (("step", step), ("margin", margin)):
        if size is not None and not size > 0:
            raise EvidenceError(f"the {name} is above 0, got {size:g}")
    told = tuple(line for line in params.get("told", "").splitlines() if line.strip())
    marks = " ".join(
        f"{unit},{b - a},leaf" for unit, a, b in zip(units, before, after, strict=True)
    )
    if len(units) < 2:
        says = (
            f"cannot tell: {places_said(units)} alone was read at both moments; it would take five "
            "leaves or more"
        )
        out = (
            Finding("", "evidence.verdict", key, text=f"{says}.", sources=SOURCES),
            Finding("", "evidence.change", key, after[0] - before[0], None, "step",
                    note=f"of {places_said(units)} only; {params.get('source', '')}"),
        )  # fmt: skip
        return Outcome(out, told, {"marks": marks, "word": "cannot tell"})
    ranks, signs = signed_rank(before, after), sign_test(before, after)
    went = moved(before, after, margin or step)
    word, says = _verdict(ranks, went, margin, len(units))
    n = len(units)
    findings = (
        Finding("", "evidence.verdict", key, text=says, sources=SOURCES),
        Finding("", "evidence.shift", key, ranks.middle, None, "step", sources=SOURCES,
                note=f"middle shift of {n} leaves; down is darker or lighter as the card counts"),
        Finding("", "evidence.p_ranks", key, ranks.p, None, "1", sources=SOURCES,
                note="signed ranks, exact over all flips of the signs, two-sided"),
        Finding("", "evidence.p_signs", key, signs.p, None, "1", sources=SOURCES,
                note=f"exact sign test: {signs.down} down, {signs.same} the same, {signs.up} up"),
        Finding("", "evidence.moved", key, 100 * went.share, None, "%",
                low90=100 * went.low90, high90=100 * went.high90, sources=SOURCES,
                note=f"{went.down} down and {went.up} up by {margin or step:g} "
                     f"{'step' if (margin or step) == 1 else 'steps'} or more, of {n}"),
    )  # fmt: skip
    more = "Steps are ranks: two steps at one end of a card are not two at the other."
    return Outcome(findings, (*told, more), {"marks": marks, "word": word})


def _verdict(
    ranks: SignedRank, went: Moved, margin: float | None, n: int
) -> tuple[str, str]:  # fmt: skip
    """Changed where the ranks say so; unchanged only where few leaves can have moved at all."""
    count = went.down + went.up
    share = (
        f"{count} of {n} leaves moved a step or more (90 %: {100 * went.low90:.0f} to "
        f"{100 * went.high90:.0f} of 100 such leaves)"
    )
    shift = f"the middle shift is {ranks.middle:+g} steps".replace("-", "\u2212")
    if ranks.p <= 2 * ALPHA and ranks.middle:
        return "changed", f"changed: {shift}; {share}"
    if margin is not None and went.high90 < 0.5:
        return "unchanged", (
            f"unchanged within {margin:g} {'step' if margin == 1 else 'steps'} on most leaves: "
            f"{share}, margin set beforehand"
        )
    return "cannot tell", (
        f"cannot tell: {share}; {shift}. It would take more leaves read at both moments, best by "
        "a second pair of eyes too."
    )


def _values(text: str) -> tuple[list[str], list[float], list[float]]:
    units: list[str] = []
    sides: tuple[list[float], list[float]] = ([], [])
    lines = [line for line in text.splitlines() if line.strip()]
    if not lines or len(lines) > MOST_ROWS:
        raise EvidenceError(f"values hold a line a leaf, 1 to {MOST_ROWS}, got {len(lines)}")
    for line in lines:
        unit, *parts = (part.strip() for part in line.split("|"))
        if len(parts) != 2 or not all(parts) or not unit or unit in units:
            raise EvidenceError(f"{line[:60]!r} is no line of steps; write: leaf | before | after")
        units.append(unit)
        for side, part in zip(sides, parts, strict=True):
            side.append(float(median(number(one, line) for one in part.split())))
    return units, sides[0], sides[1]
