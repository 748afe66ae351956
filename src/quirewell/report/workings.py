"""What was computed beside the measurements: baths weighed against each other, paste, worth, heat
and store; each with its sentence, its numbers and what it assumes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from quirewell.record.finding import Finding, Run
from quirewell.record.nouns import ItemState
from quirewell.stages.asking import ask, quantity_name
from quirewell.stages.results import Shown
from quirewell.stages.working import newest, said
from quirewell.stages.working_rows import PLAN, SUBJECTS, WORKINGS

BEFORE_KEYS = ("dose", "water", "worth", "paste", "dry")
LONG_S = 180.0
AFTER_KEYS = ("reserve", "heat", "store")


def workings_part(
    state: ItemState, keys: Sequence[str], told: Sequence[str] = ()
) -> list[dict[str, Any]]:
    """The newest answer of each computation that was asked for, as plain data for the report;
    quantities ``told`` elsewhere are left out of its table."""
    out = []
    for key in keys:
        working = WORKINGS[key]
        run = newest(state, working)
        if run is None:
            continue
        out.append(
            {
                "title": working.title,
                "says": _sentence(run, said(run, working)),
                **(
                    _options(run, state)
                    if key == "dose"
                    else _rows(run, (*working.says, *told), state)
                ),
                "notes": [
                    *(_to_mind(run) if key == "dose" else ()),
                    *(Shown(says, (f"run:{run.id}",), "sentence") for says in run.warnings),
                ],
            }
        )
    return out


def _sentence(run: Run, text: str) -> Any:
    if not text:
        return ""
    found = next(one for one in run.findings if one.text == text)
    return Shown(text, (found.id,), found.quantity)


def _rows(run: Run, says: Sequence[str], state: ItemState) -> dict[str, Any]:
    shown = [
        one
        for one in run.findings
        if one.quantity not in says and not one.quantity.endswith("_sha256")
    ]
    return {
        "head": ["What", "Value"],
        "rows": [[_name(one), _value(one, run, state)] for one in shown],
    }


def _name(finding: Finding) -> str:
    name = quantity_name(finding.quantity)
    return name if finding.subject in SUBJECTS else f"{name}: {finding.subject}"


def _value(finding: Finding, run: Run, state: ItemState) -> Shown:
    said_ = ask(_readable(finding), run, state).said
    return Shown(
        said_, (finding.id,), finding.quantity, finding.value, finding.u, finding.unit
    )  # fmt: skip


def _readable(finding: Finding) -> Finding:
    """A long time in minutes, as a person reads it; the record keeps its seconds."""
    if finding.unit != "s" or finding.value is None or abs(finding.value) < LONG_S:
        return finding
    if "seconds" in quantity_name(finding.quantity):
        return finding
    parts = {name: getattr(finding, name) for name in ("value", "u", "low90", "high90")}
    turned = {name: one / 60 for name, one in parts.items() if one is not None}
    return replace(finding, unit="min", **turned)


def _options(run: Run, state: ItemState) -> dict[str, Any]:
    """The baths beside each other, a row each."""
    rows: dict[str, list[Any]] = {}
    for one in run.findings:
        if one.subject not in ("item", PLAN):
            rows.setdefault(one.subject, [one.subject]).append(_value(one, run, state))
    return {
        "head": ["Bath", "pH", "One leaves, as chalk", "Baths"],
        "rows": list(rows.values()),
    }


def _to_mind(run: Run) -> list[Shown]:
    """What each bath does besides, those alike in one line."""
    alike: dict[str, list[Finding]] = {}
    for one in run.findings:
        if one.quantity == "dose.baths":
            alike.setdefault(one.note, []).append(one)
    return [
        Shown(
            f"{'; '.join(one.subject for one in mine)}: {note}.", tuple(one.id for one in mine),
            "dose.baths",
        )
        for note, mine in alike.items()
    ]  # fmt: skip
