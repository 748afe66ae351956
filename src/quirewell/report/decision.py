"""What was decided and why, in the report: the option taken and what stood beside it. Its risks and
sums of money stand in the proposal, a paper between bench and owner."""

from __future__ import annotations

from typing import Any

from quirewell.record.finding import Finding, Run
from quirewell.record.nouns import ItemState
from quirewell.report.days import day
from quirewell.report.model import typed
from quirewell.stages.results import Shown

MONEY_APART = (
    "Risks of each, and what it was expected to gain or cost, stand in the proposal to its owner."
)


def decision_part(state: ItemState) -> dict[str, Any]:
    """The choice and the weighing it was taken from; empty where none was taken."""
    choice = state.choices.get("choice")
    if choice is None:
        return {}
    run = state.runs.get(choice.run)
    agreed = ""
    if choice.consent_on or choice.consent_by:
        by = f" by {choice.consent_by}" if choice.consent_by else ""
        agreed = f"{day(choice.consent_on) if choice.consent_on else ''}{by}".strip()
    return {
        "facts": [
            ["Taken", typed(choice.option, "choice")],
            ["Why", typed(choice.reason, "choice")],
            ["Consent", typed(agreed, "choice")],
        ],
        "options": [] if run is None else _options(run),
        "flag": [] if run is None else _words(run, "flag", choice.option),
        "money": MONEY_APART,
    }


def _options(run: Run) -> list[list[Any]]:
    """A row to each option: hours, chance of a mishap, and how long it lasts beside leaving it."""
    rows: list[list[Any]] = []
    for kind in (one for one in run.findings if one.quantity == "options.kind"):
        name, leaves = kind.subject, kind.text == "leave"
        lasts = "as it is" if leaves else _band(run, "life_ratio", name, "not worked out")
        named = Shown(name, (kind.id,), kind.quantity)
        rows.append([named, _band(run, "hours", name, "none"), _mishap(run, name), lasts])
    return rows


def _first(run: Run, key: str, name: str) -> Finding | None:
    return next(
        (one for one in run.findings
         if one.quantity == f"options.{key}" and one.subject == name and one.value is not None),
        None,
    )  # fmt: skip


def _band(run: Run, key: str, name: str, without: str) -> Any:
    one = _first(run, key, name)
    if one is None or not one.value:
        return without
    band = "" if one.low90 is None or one.low90 == one.high90 else (
        f" ({one.low90:.2g} to {one.high90:.2g})"
    )  # fmt: skip
    return Shown(f"{one.value:.2g}{band}", (one.id,), one.quantity, one.value, one.u, one.unit)


def _mishap(run: Run, name: str) -> Any:
    one = _first(run, "mishap", name)
    if one is None or not one.value:
        return "none"
    return Shown(f"{100 * one.value:.2g} %", (one.id,), one.quantity, one.value, one.u, one.unit)


def _words(run: Run, key: str, name: str) -> list[Shown]:
    return [
        Shown(one.text, (one.id,), one.quantity)
        for one in run.findings if one.quantity == f"options.{key}" and one.subject == name
    ]  # fmt: skip
