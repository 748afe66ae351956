"""Whether one quantity of an item stayed as it was: method ``evidence.equivalence``.

Parameters, all text. ``quantity`` (a key of :mod:`.evidence_table`) and ``unit``; ``values``, a
line a unit of the object: ``w03.outer.right | 184.5 184.5 | 184.0`` (readings before, readings
after) or ``w03.outer.right | 0.02 0.03`` (changes of its pages). Readings and pages of one leaf are
averaged, in decimal, before anything is judged: a reading is no leaf. ``step`` is the
instrument's smallest step; ``shared`` a line a standard uncertainty that all leaves have in common,
``own`` one a leaf's own (told; the scatter holds it): ``name | u | basis``. ``margin`` with
``margin_says`` where one was locked beforehand; ``source`` in words; ``told`` lines to pass on.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Context, Decimal, InvalidOperation, localcontext
from pathlib import Path

from quirewell.record.finding import Finding, Standing
from quirewell.record.measured import Term
from quirewell.science.evidence.over_units import (
    MeanChange,
    chance_within,
    grouped,
    mean_change,
    units_needed,
)
from quirewell.science.evidence.uncertainty import BudgetTerm
from quirewell.stages.evidence_flags import Flagged, flagged
from quirewell.stages.evidence_table import EVIDENCE, Evidence
from quirewell.stages.methods import Outcome, method
from quirewell.stages.naming import sheet_of
from quirewell.stages.proving_said import cure, narrows, places_said, size_said, verdict_said
from quirewell.stages.typed_params import refuse_unknown

METHOD = "evidence.equivalence"
SOURCES = ("schuirmann1987", "jcgm100")
KNOWN = ("quantity", "unit", "values", "step", "shared", "own", "margin", "margin_says", "source",
         "told")  # fmt: skip
CHANCE = 0.80
MOST_ROWS, LONGEST = 400, 60_000
_DIGITS = Context(prec=40)


class EvidenceError(ValueError):
    """Values, terms or a margin that cannot be."""


@dataclass(frozen=True, slots=True)
class Given:
    """What was asked, read: change of each unit, and all that is known of it."""

    about: Evidence
    changes: Mapping[str, Decimal]
    readings: int
    step: float
    shared: tuple[BudgetTerm, ...]
    own: tuple[BudgetTerm, ...]
    margin: float | None
    margin_says: str
    source: str
    told: tuple[str, ...]

    @property
    def unit(self) -> str:
        """Unit of the changes."""
        return self.about.unit


@dataclass(frozen=True, slots=True)
class Judged:
    """The change over leaves; ``by_wrap`` over wraps where leaves come two to a wrap, and which
    of the two the verdict takes: the more cautious."""

    change: MeanChange
    by_leaf: MeanChange
    by_wrap: MeanChange | None


@method(METHOD, 1, "exact")
def equivalence(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Mean change over an item's leaves, with a verdict against a margin locked beforehand."""
    given = read(params)
    if len(given.changes) < 2:
        return _one(given)
    judged = judge(given)
    found = judged.change
    odd = flagged({unit: float(value) for unit, value in given.changes.items()}, given.step)
    findings = [
        Finding(
            "", "evidence.verdict", given.about.key,
            text=verdict_said(
                given.about, found, given.margin, cure(given, found), _beyond_said(given)
            ),
            standing="measured here", sources=SOURCES,
        ),
        Finding(
            "", "evidence.change", given.about.key, found.mean, found.budget.u, given.unit,
            low90=found.low, high90=found.high, smallest_seen=found.smallest_seen,
            terms=_terms(given, found), standing="measured here", sources=SOURCES,
            note=f"after less before, mean of {found.units} {found.noun}; {given.source}",
        ),
    ]  # fmt: skip
    findings += _numbers(given, judged)
    findings += _odd(given, odd, found)
    findings.append(
        Finding("", "evidence.narrows", given.about.key, text=narrows(given, found))
    )  # fmt: skip
    return Outcome(tuple(findings), _warnings(given, judged), _drawing(given, judged, odd))


def judge(given: Given) -> Judged:
    """The change over leaves, and over wraps where a wrap has two."""
    changes = {unit: float(value) for unit, value in given.changes.items()}
    by_leaf = mean_change(list(changes.values()), given.shared, given.step, given.about.units)
    sheets = {unit: sheet_of(unit) or unit for unit in changes}
    by_wrap = None
    count = len(set(sheets.values()))
    if 2 <= count < len(changes):
        by_wrap = mean_change(grouped(changes, sheets), given.shared, given.step, "wraps")
    wider = by_wrap is not None and by_wrap.high - by_wrap.low > by_leaf.high - by_leaf.low
    return Judged(by_wrap if by_wrap is not None and wider else by_leaf, by_leaf, by_wrap)


def _terms(given: Given, found: MeanChange) -> tuple[Term, ...]:
    cancels = [Term(f"{one.name}, of one leaf", one.u, one.basis) for one in given.own]
    return (*(Term(one.name, one.u, one.basis) for one in found.budget.terms), *cancels)


def _numbers(given: Given, judged: Judged) -> list[Finding]:
    found, key = judged.change, given.about.key
    shared = _size(given.shared)
    out = [
        _value("evidence.units", key, found.units, "1", note=found.noun, u=0.0),
        _value("evidence.scatter", key, found.sd, given.unit, note=f"from one of the "
               f"{found.noun} to another"),
        _value("evidence.would_pass", key, found.would_pass, given.unit,
               note="told for the next item; a margin chosen after measuring proves nothing"),
    ]  # fmt: skip
    if given.margin is not None:
        chance = chance_within(found.units, given.margin, found.sd, shared)
        out += [
            _value("evidence.margin", key, given.margin, given.unit, note=given.margin_says, u=0.0),
            _value("evidence.p", key, found.p(given.margin), "1",
                   note="the larger of two one-sided tests; 0.05 and less passes"),
            _value("evidence.power", key, 100 * chance, "%",
                   note=f"that {found.units} {found.noun} of this scatter pass the margin, if "
                        "nothing changed in truth"),
        ]  # fmt: skip
        beyond = _beyond(given)
        out.append(
            _value("evidence.beyond", key, len(beyond), "1", u=0.0,
                   note=f"of {len(given.changes)}: {places_said(beyond)}" if beyond else
                        f"of {len(given.changes)}")
        )  # fmt: skip
        if found.word(given.margin) == "cannot tell":
            needed = units_needed(given.margin, found.sd, shared, CHANCE)
            text = "" if needed else "no number would do, because of what all of them share"
            out.append(
                Finding("", "evidence.needed", key, needed, 0.0 if needed else None,
                        "1" if needed else "", text, standing="measured here", sources=SOURCES,
                        note=f"{found.noun} to pass in 80 of 100 cases, if nothing changed")
            )  # fmt: skip
    for name, other in (("by_leaf", judged.by_leaf), ("by_wrap", judged.by_wrap)):
        if other is not None and other is not found:
            out.append(
                Finding("", f"evidence.{name}", key, other.mean, other.budget.u, given.unit,
                        low90=other.low, high90=other.high, standing="measured here",
                        sources=SOURCES, note=f"{other.units} units")
            )  # fmt: skip
    return out


def _beyond(given: Given) -> list[str]:
    """Leaves whose own change reads beyond the margin."""
    margin = given.margin
    return [u for u, v in given.changes.items() if margin is not None and abs(float(v)) > margin]


def _beyond_said(given: Given) -> str:
    beyond = _beyond(given)
    if not beyond:
        return ""
    return (
        f". By themselves {len(beyond)} of {len(given.changes)} read beyond it: "
        f"{places_said(beyond)}"
    )


def _odd(given: Given, odd: Flagged, found: MeanChange) -> list[Finding]:
    """Leaves that stand apart, and the result without them; nothing is dropped."""
    if not odd.units:
        return []
    key = given.about.key
    out = [
        Finding("", "evidence.flagged", key, text=places_said(odd.units), note=odd.says,
                standing="measured here", sources=SOURCES)
    ]  # fmt: skip
    kept = {unit: value for unit, value in given.changes.items() if unit not in odd.units}
    if len(kept) >= 2:
        less = judge(_with(given, kept)).change
        out.append(
            Finding("", "evidence.without_flagged", key, less.mean, less.budget.u, given.unit,
                    low90=less.low, high90=less.high, standing="measured here", sources=SOURCES,
                    note=f"{less.word(given.margin)}; with them {found.word(given.margin)}, which "
                         "stands")
        )  # fmt: skip
    return out


def _with(given: Given, changes: Mapping[str, Decimal]) -> Given:
    return Given(
        given.about, changes, given.readings, given.step, given.shared, given.own, given.margin,
        given.margin_says, given.source, given.told,
    )  # fmt: skip


def _value(
    quantity: str, key: str, value: float, unit: str, note: str = "", u: float | None = None,
    standing: Standing = "measured here",
) -> Finding:  # fmt: skip
    return Finding("", quantity, key, float(value), u, unit, note=note, standing=standing,
                   sources=SOURCES)  # fmt: skip


def _warnings(given: Given, judged: Judged) -> tuple[str, ...]:
    out = list(given.told)
    if judged.change is judged.by_wrap:
        out.append(
            "The two leaves of a wrap were one sheet in the bath and changed alike, so wraps are "
            f"counted, not leaves: {judged.change.units} in place of {judged.by_leaf.units}."
        )
    if judged.change.hidden:
        out.append(
            f"All changes read the same. In steps of {size_said(given.step, given.unit)} the same "
            "small change may hide on every leaf, and more leaves would not show it; a finer rule "
            "or a scan would."
        )
    out.append("This holds for this item only, and not for what was not measured.")
    return tuple(out)


def _drawing(given: Given, judged: Judged, odd: Flagged) -> dict[str, str]:
    marks = " ".join(
        f"{unit},{value},{'odd' if unit in odd.units else 'leaf'}"
        for unit, value in given.changes.items()
    )
    return {"marks": marks, "word": judged.change.word(given.margin)}


def _one(given: Given) -> Outcome:
    """One leaf shows no scatter between leaves: its own change is told, and no verdict on all."""
    ((unit, change),) = given.changes.items()
    least = given.step / math.sqrt(6)
    terms = [*given.shared]
    if least:
        terms.append(BudgetTerm("resolution", least, basis=f"two readings to {given.step:g}"))
    terms += [one for one in given.own if one.name != "resolution"]
    u = _size(tuple(terms)) or None
    margin = f" within {size_said(given.margin, given.unit)}" if given.margin else ""
    says = (
        f"cannot tell: {places_said([unit])} alone was measured at both moments, and one leaf does "
        f"not say how leaves differ. It would take two or more{margin and ', better six'}."
    )
    findings = (
        Finding("", "evidence.verdict", given.about.key, text=says, sources=SOURCES),
        Finding("", "evidence.change", given.about.key, float(change), u, given.unit,
                terms=tuple(Term(one.name, one.u, one.basis) for one in terms), sources=SOURCES,
                note=f"of {places_said([unit])} only; {given.source}"),
    )  # fmt: skip
    drawing = {"marks": f"{unit},{change},leaf", "word": "cannot tell"}
    return Outcome(findings, given.told, drawing)


def _size(terms: tuple[BudgetTerm, ...]) -> float:
    return math.sqrt(sum(one.u**2 for one in terms))


def read(params: Mapping[str, str]) -> Given:
    """The parameters, read.

    Raises:
        EvidenceError: with the line that cannot be, and what is allowed.
    """
    refuse_unknown(params, KNOWN, f"{METHOD} knows no parameter")
    key = params.get("quantity", "")
    if key not in EVIDENCE:
        raise EvidenceError(f"quantity is one of {', '.join(EVIDENCE)}, got {key[:40]!r}")
    changes, readings = _changes(params.get("values", ""))
    margin = params.get("margin", "").strip()
    step = params.get("step", "").strip()
    return Given(
        EVIDENCE[key], changes, readings, _above(step, "step") if step else 0.0,
        terms_of(params.get("shared", "")), terms_of(params.get("own", "")),
        _above(margin, "margin") if margin else None, params.get("margin_says", ""),
        params.get("source", ""),
        tuple(line for line in params.get("told", "").splitlines() if line.strip()),
    )  # fmt: skip


def _changes(text: str) -> tuple[dict[str, Decimal], int]:
    lines = [line for line in text.splitlines() if line.strip()]
    if not lines:
        raise EvidenceError(
            "values hold nothing; give a line a leaf: w03.outer.right | 184.5 | 184"
        )
    if len(lines) > MOST_ROWS or len(text) > LONGEST:
        raise EvidenceError(f"values hold {len(lines)} lines; one item has {MOST_ROWS} at most")
    out: dict[str, Decimal] = {}
    readings = 0
    for line in lines:
        unit, *parts = (part.strip() for part in line.split("|"))
        if not unit or len(parts) not in (1, 2) or not all(parts):
            raise EvidenceError(
                f"{line[:60]!r} is no line of values: leaf | before | after, or leaf | change"
            )
        if unit in out:
            raise EvidenceError(f"{unit} stands twice; put readings of one leaf on one line")
        means = [_mean(part, line) for part in parts]
        readings += sum(len(part.split()) for part in parts)
        with localcontext(_DIGITS):
            out[unit] = means[-1] - (means[0] if len(means) == 2 else Decimal(0))
    return out, readings


def _mean(text: str, line: str) -> Decimal:
    values = [number(part, line) for part in text.split()]
    with localcontext(_DIGITS):
        return sum(values, Decimal(0)) / len(values)


def number(text: str, line: str) -> Decimal:
    """A finite decimal number.

    Raises:
        EvidenceError: for anything else, with the line it stands on.
    """
    try:
        value = Decimal(text.replace(",", "."))
    except InvalidOperation:
        value = Decimal("NaN")
    if not value.is_finite() or abs(value) > Decimal(10) ** 9:
        raise EvidenceError(f"{text[:20]!r} is not a number (in {line[:60]!r})")
    return value


def terms_of(text: str) -> tuple[BudgetTerm, ...]:
    """Lines ``name | u | basis`` as terms of a budget.

    Raises:
        EvidenceError: for a line that is none.
    """
    out = []
    for line in text.splitlines():
        if not line.strip():
            continue
        parts = [part.strip() for part in line.split("|", 2)]
        if len(parts) < 2:
            raise EvidenceError(f"{line[:60]!r} is no term; write: name | size | where from")
        size = float(number(parts[1], line))
        if size < 0:
            raise EvidenceError(f"an uncertainty is 0 or more, got {parts[1]} (in {line[:60]!r})")
        out.append(BudgetTerm(parts[0], size, basis=parts[2] if len(parts) > 2 else ""))
    return tuple(out)


def _above(text: str, name: str) -> float:
    value = float(number(text, f"{name} {text}"))
    if not value > 0:
        raise EvidenceError(f"the {name} is above 0, got {text[:20]}")
    return value
