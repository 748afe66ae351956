"""The evidence of an item as page, command line and report show it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from quirewell.record.finding import Finding, Run
from quirewell.record.nouns import ItemState
from quirewell.stages.asking import Asked, ask_all, beside, quantity_name
from quirewell.stages.evidence import newest, out_of_date
from quirewell.stages.evidence_picture import Picture, picture_of
from quirewell.stages.evidence_power import Power, power_before
from quirewell.stages.evidence_table import EVIDENCE
from quirewell.stages.margins import Offer, about_of, beforehand, offers
from quirewell.stages.proving_readings import METHOD as REPEAT
from quirewell.stages.reading_entry import QUANTITIES

FIRST = (
    "Nothing was measured before and after treatment yet. Read the width and height of a few "
    "leaves with a steel rule at both moments, or scan them; lock the margins before."
)
FEW_DUPLICATES = 10


@dataclass(frozen=True, slots=True)
class Figure:
    """One quantity: its verdict, picture, numbers to open, and the one cheap tool."""

    key: str
    name: str
    word: str
    verdict: str
    picture: Picture | None
    asked: tuple[Asked, ...]
    warnings: tuple[str, ...]
    flagged: str
    without: str
    tool: str
    run: Run

    @property
    def brief(self) -> str:
        """The verdict in one sentence for other pages."""
        return f"{self.name}: {self.verdict}"


@dataclass(frozen=True, slots=True)
class Instrument:
    """One of the user's own instruments: how it repeats, and what more duplicates would give."""

    name: str
    says: str
    duplicates: int
    more: str
    asked: tuple[Asked, ...]
    warnings: tuple[str, ...]
    run: Run


@dataclass(frozen=True, slots=True)
class Locked:
    """A margin in the record, and whether it stood there in time."""

    name: str
    text: str
    reason: str
    at: str
    counts: bool


@dataclass(frozen=True, slots=True)
class EvidenceView:
    """The evidence page: verdicts, what is out of date, instruments, margins, power beforehand."""

    figures: tuple[Figure, ...]
    stale: int
    instruments: tuple[Instrument, ...]
    locked: tuple[Locked, ...]
    offers: tuple[Offer, ...]
    powers: tuple[Power, ...]
    first: str

    @property
    def presets(self) -> tuple[Offer, ...]:
        """Margins that one touch locks."""
        return tuple(one for one in self.offers if one.preset)


def evidence_view(state: ItemState) -> EvidenceView:
    """All that is known of the evidence now."""
    figures = tuple(
        _figure(state, run, about.name, about.tool)
        for about in EVIDENCE.values()
        if (run := newest(state, about)) is not None
    )
    stale = len(out_of_date(state))
    return EvidenceView(
        figures, stale, _instruments(state), _locked(state), offers(state), power_before(state),
        "" if figures or stale else FIRST,
    )  # fmt: skip


def _figure(state: ItemState, run: Run, name: str, tool: str) -> Figure:
    found = {one.quantity: one for one in run.findings}
    apart, without = found.get("evidence.flagged"), found.get("evidence.without_flagged")
    less = ""
    if without is not None:
        (one,) = ask_all([replace(run, findings=(without,))], state)
        less = f"{one.said} (90 %: {one.spread}); {without.note}"
    told = ("evidence.verdict", "evidence.narrows")
    kept = tuple(one for one in run.findings if one.quantity not in told)
    if "evidence.narrows" in found:
        tool = found["evidence.narrows"].text
    return Figure(
        run.subject, name, run.drawing.get("word", "cannot tell"),
        found["evidence.verdict"].text, picture_of(run, name),
        ask_all([replace(run, findings=kept)], state), run.warnings,
        f"{apart.text}: {apart.note}" if apart else "", less, tool, run,
    )  # fmt: skip


def _instruments(state: ItemState) -> tuple[Instrument, ...]:
    subjects = dict.fromkeys(run.subject for run in state.runs.values() if run.method == REPEAT)
    out = []
    for subject in subjects:
        run = state.newest_run(REPEAT, subject)
        assert run is not None
        found = {one.quantity: one for one in run.findings}
        count = int(found["repeat.duplicates"].value or 0)
        evening = found["repeat.one_more_evening"]
        more = (
            f"One more evening of ten duplicates: known to {evening.value:.0f} %. {_now(evening)}"
        )
        kept = tuple(one for one in run.findings if one.quantity != "repeat.says")
        out.append(
            Instrument(
                _tool(run),
                found["repeat.says"].text,
                count,
                more if count < 200 else "",
                ask_all([replace(run, findings=kept)], state),
                run.warnings,
                run,
            )
        )
    return tuple(out)


def _now(evening: Finding) -> str:
    return evening.note.rpartition("; ")[2].capitalize() + "."


def _tool(run: Run) -> str:
    kind = QUANTITIES.get(run.params["quantity"])
    name = kind.name if kind else run.params["quantity"]
    tool = run.params.get("instrument", "")
    return f"{name}, {tool}" if tool else name


def _locked(state: ItemState) -> tuple[Locked, ...]:
    out = []
    for margin in state.margins.values():
        about = about_of(margin.quantity)
        name = about.name if about and about.key == margin.quantity else ""
        out.append(
            Locked(
                name or quantity_name(margin.quantity),
                beside(str(margin.value), margin.unit),
                margin.reason,
                margin.at[:10],
                beforehand(state, margin),
            )
        )
    return tuple(out)


def as_json(view: EvidenceView) -> dict[str, Any]:
    """The same for a script: every number a band of its own."""
    return {
        "evidence": [
            {
                "quantity": figure.key,
                "name": figure.name,
                "word": figure.word,
                "verdict": figure.verdict,
                "numbers": _numbers(figure.run),
                "warnings": list(figure.warnings),
                "narrows": figure.tool,
            }
            for figure in view.figures
        ],
        "out_of_date": view.stale,
        "instruments": [
            {
                "name": one.name, "says": one.says, "duplicates": one.duplicates,
                "numbers": _numbers(one.run), "more": one.more, "warnings": list(one.warnings),
            }
            for one in view.instruments
        ],
        "margins": [
            {"name": one.name, "margin": one.text, "reason": one.reason, "locked_at": one.at,
             "in_time": one.counts}
            for one in view.locked
        ],
        "can_lock": [
            {"quantity": one.key, "unit": one.unit, "preset": one.preset} for one in view.offers
        ],
        "before_measuring": [
            {
                "quantity": one.key, "way": one.way, "margin_mm": one.margin, "wraps": one.wraps,
                "chance_alike": one.alike, "chance_differing": one.differing,
                "needed": one.needed, "says": one.says,
            }
            for one in view.powers
        ],
        "first": view.first,
    }  # fmt: skip


def _numbers(run: Run) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for one in run.findings:
        name = one.quantity.split(".", 1)[1]
        if one.value is not None:
            out[name] = one.measured().as_json() | ({"note": one.note} if one.note else {})
        elif name != "verdict":
            out[name] = one.text
    return out
