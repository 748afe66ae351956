"""Two ways compared, in the report: pairs and sides as the lot fell, and the margin as locked."""

from __future__ import annotations

from typing import Any

from quirewell.record.nouns import ItemState
from quirewell.report.content import day
from quirewell.stages.naming import place_words
from quirewell.stages.results import Shown
from quirewell.stages.trials import Side, TrialView, trials_view


def trials_told(state: ItemState) -> list[dict[str, Any]]:
    """Every trial of an item, oldest first; a locked one stands whatever came of it."""
    return [_told(view) for view in reversed(trials_view(state))]


def _told(view: TrialView) -> dict[str, Any]:
    trial = view.trial
    locked = "not locked, so it proves nothing yet"
    if trial.locked_at:
        locked = f"{day(trial.locked_at)}, {trial.locked_at[11:16]} UTC, before measuring"
    margin: Any = ""
    if trial.margin is not None:
        margin = Shown(
            f"{trial.margin} {trial.unit}", (trial.id,), "record:margin", float(trial.margin),
            unit=trial.unit,
        )  # fmt: skip
    return {
        "title": f"{view.step}: two ways compared",
        "facts": [
            ["First way", trial.way_a], ["Second way", trial.way_b],
            ["Compared by", view.quantity], ["Margin", margin], ["Locked", locked],
            ["Seed of the lot", trial.seed],
        ],
        "rows": [[_said(one), _said(two)] for one, two in view.pairs],
        "notes": [says for says in view.says if "Not locked" not in says],
    }  # fmt: skip


def _said(side: Side) -> str:
    words = place_words(side.sheet)
    if not side.done:
        return f"{words}, not done"
    return words if side.done == side.way else f"{words}, went {side.done}"
