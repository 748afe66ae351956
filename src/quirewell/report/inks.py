"""The report's words on inks: those found changed, then what was looked at in vain, summed up."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from quirewell.record.finding import Finding
from quirewell.record.nouns import ItemState
from quirewell.stages.ink_lines import InkLine
from quirewell.stages.prove import PairView, ProveView
from quirewell.stages.results import Shown, shown, two_figures

_FINE, _COVER = "fine_print", "cover."
_UNTOLD = (
    "Paper that an ink covers in fine print: not told (that takes a solid of each ink on the "
    "page, and two inks at most in a place)"
)


@dataclass(frozen=True, slots=True)
class _Looked:
    """One look at an ink: at what (``kind``), on which page's run, and the finding it gave."""

    kind: str
    run: str
    finding: Finding


def inks_part(view: ProveView, state: ItemState) -> dict[str, Any]:
    """``found`` has a row for every ink that changed, ``none`` one for each kind of look at the
    others: on how many pages, how many, and the range of what would surely have been seen."""
    found: list[list[Any]] = []
    looked: list[_Looked] = []
    for pair in view.pairs:
        for line in pair.inks:
            findings = _of(pair, line, state)
            if line.changed:
                found.append(_row(pair, line, findings["verdict"]))
            else:
                looked += _looks(pair, line, findings)
    kinds = dict.fromkeys(one.kind for one in sorted(looked, key=_order))
    none = [_summed(kind, [one for one in looked if one.kind == kind]) for kind in kinds]
    return {"found": found, "none": none}


def _of(pair: PairView, line: InkLine, state: ItemState) -> dict[str, Finding]:
    """Findings of one ink by what follows its name."""
    prefix = f"ink.{line.key}."
    return {
        entry.quantity.removeprefix(prefix): entry
        for entry in state.runs[pair.run].findings
        if entry.quantity.startswith(prefix)
    }


def _row(pair: PairView, line: InkLine, verdict: Finding) -> list[Any]:
    return [pair.name, line.name, line.own, line.bleed, replace(shown(verdict), text=line.brief)]


_KINDS = (
    "Colour of an ink, printed solid (CIEDE2000)",
    "Fine print by area averages, ink and paper together (CIEDE2000)",
    "Paper that an ink covers in fine print",
    _UNTOLD,
    "Bare paper round an ink, for bleed (CIEDE2000)",
)


def _order(one: _Looked) -> int:
    return _KINDS.index(one.kind) if one.kind in _KINDS else len(_KINDS)


def _looks(pair: PairView, line: InkLine, findings: dict[str, Finding]) -> list[_Looked]:
    """What was looked at of an ink that was not found changed; why not, where it was withheld."""
    solid, fine, cover, untold, ring = _KINDS
    verdict = findings["verdict"]
    if line.verdict.startswith("cannot tell"):
        says = line.verdict[:1].upper() + line.verdict[1:]
        return [_Looked(says, pair.run, verdict)]
    out = [_Looked(fine if line.key == _FINE else solid, pair.run, findings.get("dE00", verdict))]
    covers = [entry for what, entry in findings.items() if what.startswith(_COVER)]
    out += [_Looked(cover, pair.run, entry) for entry in covers]
    if line.key == _FINE and not covers:
        out.append(_Looked(untold, pair.run, verdict))
    if "bleed_dE00" in findings:
        out.append(_Looked(ring, pair.run, findings["bleed_dE00"]))
    return out


def _summed(kind: str, looked: list[_Looked]) -> list[Any]:
    pages = dict.fromkeys(f"run:{one.run}" for one in looked)
    findings = [one.finding for one in looked]
    return [kind, _count(pages), _count(entry.id for entry in findings), _range(findings)]


def _count(refs: Iterable[str]) -> Shown:
    all_of = tuple(refs)
    return Shown(str(len(all_of)), all_of, "count", float(len(all_of)))


def _range(findings: list[Finding]) -> Shown | str:
    """From the smallest to the largest change that would surely have been seen."""
    told = [entry for entry in findings if entry.smallest_seen is not None]
    if not told:
        return ""
    values = sorted(entry.smallest_seen or 0.0 for entry in told)
    ends = dict.fromkeys(two_figures(value) for value in (values[0], values[-1]))
    unit = " points" if told[0].unit == "%" else ""
    return Shown(" to ".join(ends) + unit, tuple(entry.id for entry in told), "range")
