"""Two ways compared, in the report: pairs and sides as the lot fell, and the margin as locked."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from quirewell.record.finding import Finding
from quirewell.record.nouns import ItemState
from quirewell.report.content import day
from quirewell.report.limbs import PRINT
from quirewell.report.model import typed
from quirewell.report.trial_drawing import drawable, trial_alt, trial_svg
from quirewell.stages.asking import band_text
from quirewell.stages.naming import place_words
from quirewell.stages.results import Shown, shown
from quirewell.stages.trial_measured import PairRow, VerdictView, cells_words, verdict_views
from quirewell.stages.trial_verdict import PLACES
from quirewell.stages.trials import Side

# Findings of the verdict that stand as facts, and what each is called.
_FACTS = (
    ("trial.verdict", "Verdict"), ("trial.moved", "Pair by pair"),
    ("trial.surely_seen", "Difference surely seen from"),
    ("trial.power_found", "Chance of showing them alike, if they are"),
    ("trial.margin_passed", "Least margin that would have passed"),
    ("trial.pairs_needed", "Pairs it would take"), ("trial.with_all", "With all pairs in"),
)  # fmt: skip
READ = "trial.read"  # what was read on a side of a pair
STALE = "The verdict is out of date: what was measured or done has changed since."


def trials_told(state: ItemState) -> list[dict[str, Any]]:
    """Every trial of an item, oldest first; a locked one stands whatever came of it."""
    return [_told(view) for view in reversed(verdict_views(state))]


def trial_files(state: ItemState) -> dict[str, bytes]:
    """The picture of each trial that has a verdict, by file name."""
    return {
        _file(held): trial_svg(held, PRINT).encode()
        for held in verdict_views(state)
        if drawable(held)
    }


def _file(held: VerdictView) -> str:
    return f"{held.view.trial.id}.svg"


def _told(held: VerdictView) -> dict[str, Any]:
    view = held.view
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
        "title": f"{view.step}: two ways compared, by {_small(view.quantity)}",
        "facts": [
            ["First way", typed(trial.way_a, trial.id)],
            ["Second way", typed(trial.way_b, trial.id)],
            ["Compared by", typed(view.quantity, trial.id)], ["Margin", margin],
            ["Locked", typed(locked, trial.id)],
            ["Seed of the lot", typed(trial.seed, trial.id)], *_facts(held),
        ],
        "head": ["First way", "Second way", "First less second"],
        "rows": [_pair(held, one, two) for one, two in view.pairs],
        "file": _file(held) if drawable(held) else "",
        "alt": trial_alt(held) if drawable(held) else "",
        "figures": _figures(held, margin) if drawable(held) else [],
        "notes": [
            *(typed(says, trial.id) for says in view.says if "Not locked" not in says),
            *_notes(held),
        ],
    }  # fmt: skip


def _facts(held: VerdictView) -> list[list[Any]]:
    if held.run is None:
        return []
    out: list[list[Any]] = [["Read by", Shown(held.source, (f"run:{held.run.id}",), "text")]]
    return out + [
        [name, _count(found) if found.unit == "pairs" else _sized(found)]
        for quantity, name in _FACTS
        if (found := held.finding(quantity)) is not None
    ]


def _small(words: str) -> str:
    return words if words[1:2].isupper() else f"{words[:1].lower()}{words[1:]}"


def _sized(found: Finding) -> Shown:
    """A difference to the places its quantity is judged in; what else there is as it stands."""
    if found.value is None or found.unit not in PLACES:
        return shown(found)
    text = f"{found.value + 0.0:.{PLACES[found.unit]}f}".replace("-", "\u2212")
    text = text.lstrip("\u2212") if not float(text.replace("\u2212", "-")) else text
    unit = "steps" if found.unit == "step" and text not in ("1.0", "\u22121.0") else found.unit
    words = f"{text} {unit}" if found.unit != "pH" else text
    return Shown(words, (found.id,), found.quantity, found.value, found.u, found.unit)


def _count(found: Finding) -> Shown:
    assert found.value is not None
    words = f"{found.value:.0f} pairs"
    return Shown(words, (found.id,), found.quantity, found.value, unit=found.unit)


def _pair(held: VerdictView, one: Side, two: Side) -> list[Any]:
    """Both sides of a pair, each by what was read on it, and their difference."""
    row = next((row for row in held.rows if row.pair == f"{one.sheet} {two.sheet}"), None)
    return [_side(held, one, row, 0), _side(held, two, row, 1), _less(held, row)]


def _side(held: VerdictView, side: Side, row: PairRow | None, at: int) -> Shown:
    """A side with what was read on it; one without a reading leads to its step, or the trial."""
    trial = held.view.trial
    read = row.read.get(side.sheet, ()) if row is not None else ()
    if row is None or not read:
        return typed(_said(side), side.step or trial.id)
    cells = cells_words(row.b if at else row.a, PLACES.get(trial.unit, 2))
    return Shown(f"{_said(side)}: {cells}" if cells else _said(side), read, READ)


def _less(held: VerdictView, row: PairRow | None) -> Any:
    """The difference of a pair, or why it is left out."""
    if row is None or held.run is None:
        return ""
    found = next((one for one in held.run.findings if one.id == row.ref), None)
    if found is None or found.value is None:
        ref = (f"run:{held.run.id}",)
        return Shown(f"left out: {row.out}", ref, "text") if row.out else ""
    return _sized(found)


def _figures(held: VerdictView, margin: Any) -> list[list[Any]]:
    """What the drawing shows beside the pairs above it: the bar, and the margin it is set to."""
    found = held.finding("trial.difference")
    assert found is not None
    bar = _sized(found)
    if found.low90 is not None and found.high90 is not None:
        _, low, high = band_text(found.value or 0.0, found.low90, found.high90)
        bar = replace(bar, text=f"{bar.text} ({low} to {high} with 90 %)")
    return [["first less second", bar], *([["margin", margin]] if margin else [])]


def _notes(held: VerdictView) -> list[Any]:
    if held.run is None:
        return []
    said = [Shown(says, (f"run:{held.run.id}",), "sentence") for says in held.run.warnings]
    return [*((STALE,) if held.stale else ()), *said]


def _said(side: Side) -> str:
    words = place_words(side.sheet)
    if not side.done:
        return f"{words}, not done"
    return words if side.done == side.way else f"{words}, went {side.done}"
