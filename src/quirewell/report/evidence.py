"""The report's evidence: each quantity over all leaves, with its margin and its verdict."""

from __future__ import annotations

from typing import Any

from quirewell.record.finding import Finding, Run
from quirewell.record.nouns import ItemState
from quirewell.report.days import day
from quirewell.stages.asking import band_text, beside
from quirewell.stages.evidence import newest, out_of_date
from quirewell.stages.evidence_table import EVIDENCE
from quirewell.stages.results import NOTHING, Shown, two_figures

STALE = (
    "Something was measured or read since this evidence was worked out; it stands as it was worked "
    "out then."
)


def evidence_part(state: ItemState) -> dict[str, Any]:
    """Rows of quantity, mean change with its 90 % interval, margin, what would have been seen, and
    the verdict; what to know of them, each once."""
    rows: list[list[Any]] = []
    notes: dict[str, Shown] = {}
    for about in EVIDENCE.values():
        run = newest(state, about)
        if run is None:
            continue
        found = {one.quantity: one for one in run.findings}
        rows.append(
            [
                about.name, _change(found), _margin(found, run), _seen(found),
                _words(found["evidence.verdict"]),
            ]
        )  # fmt: skip
        for says in run.warnings:
            notes.setdefault(says, Shown(says, (f"run:{run.id}",), "sentence"))
    stale = bool(rows) and bool(out_of_date(state))
    return {"rows": rows, "notes": list(notes.values()), "stale": STALE if stale else ""}


def _words(verdict: Finding) -> Shown:
    """The verdict without the numbers that stand beside it."""
    head = verdict.text.split(":")[0]
    return Shown(head, (verdict.id,), verdict.quantity)


def _change(found: dict[str, Finding]) -> Shown:
    one = found.get("evidence.change") or found.get("evidence.shift")
    if one is None or one.value is None:
        return NOTHING
    if one.low90 is None or one.high90 is None:
        text = two_figures(one.value)
    else:
        middle, low, high = band_text(one.value, one.low90, one.high90)
        text = f"{middle} ({low} to {high})"
    plus = "+" if one.value > 0 and text.split(" ")[0].strip("0.") else ""
    return Shown(
        beside(f"{plus}{text}", one.unit), (one.id,), one.quantity, one.value, one.u, one.unit
    )


def _margin(found: dict[str, Finding], run: Run) -> Shown:
    one = found.get("evidence.margin")
    if one is None or one.value is None:
        return NOTHING
    when = run.params.get("margin_says", "").rpartition(", on ")[2] if one.note else ""
    locked = f", locked {day(when)}" if when[:2] == "20" else ", locked beforehand"
    return Shown(
        beside(f"{one.value:.4g}", one.unit) + locked, (one.id,), one.quantity,
        one.value, one.u, one.unit,
    )  # fmt: skip


def _seen(found: dict[str, Finding]) -> Shown:
    one = found.get("evidence.change")
    if one is None or one.smallest_seen is None:
        return NOTHING
    text = beside(two_figures(one.smallest_seen), one.unit)
    quantity = f"{one.quantity}:smallest_seen"
    return Shown(text, (one.id,), quantity, one.smallest_seen, None, one.unit)
