"""Creep, roll and fold in the report: what the newest computation of each says, wrap by wrap, the
ways to fold beside each other, and what was read after folding against what was found."""

from __future__ import annotations

from typing import Any

from quirewell.record.finding import Finding, Run
from quirewell.record.nouns import ItemState
from quirewell.report.workings import workings_part
from quirewell.stages.asking import ask
from quirewell.stages.naming import sheet_words
from quirewell.stages.rejoining import FoldChoice, fold_choices
from quirewell.stages.results import Shown
from quirewell.stages.working import newest
from quirewell.stages.working_rows import WORKINGS

# Told in tables of their own, not among the numbers.
_WRAPS = ("creep.off_mm", "creep.odd", "creep.front_mm", "creep.back_mm")
_CHECKS = (
    ("Front overhang", ("fold.front_now_mm", "fold.front_mm", "fold.front_after_mm")),
    ("Back overhang", ("fold.back_now_mm", "fold.back_mm", "fold.back_after_mm")),
    ("The block's front beyond its back", ("fold.lead_mm", "", "fold.lead_after_mm")),
)
_AFTER = ("fold.off_mm", "fold.roll_change_mm", "fold.roll_seen_mm")
_FOLDS = ("fold.move_mm", "fold.line_mm")


def creep_part(state: ItemState) -> dict[str, Any]:
    """Creep with its numbers, each wrap's part in it, and the evidence where one is odd."""
    run = newest(state, WORKINGS["creep"])
    if run is None:
        return {}
    by_sheet: dict[str, dict[str, Finding]] = {}
    for one in run.findings:
        if one.subject != "item":
            by_sheet.setdefault(one.subject, {})[one.quantity] = one
    odd = [mine["creep.odd"] for mine in by_sheet.values() if "creep.odd" in mine]
    against = "the cover's" if run.drawing.get("cover") == "c" else "the outermost wrap's"
    return {
        **workings_part(state, ("creep",), _WRAPS)[0],
        "wraps_head": ["Sheet", "Off the line", "Front stands out", "Back stands out"],
        "wraps": [
            [
                sheet_words(place) + (" (does not belong)" if "creep.odd" in mine else ""),
                _off(mine.get("creep.off_mm")),
                *(_cell(mine, name, run, state) for name in ("creep.front_mm", "creep.back_mm")),
            ]
            for place, mine in sorted(by_sheet.items())
        ],
        "wraps_say": "Off the line: how much wider (+) than the others leave room for. Stands out: "
        f"its reading edge beyond {against} (+) once folded.",
        "odd": [
            Shown(f"{sheet_words(one.subject)}: {one.text}.", (one.id,), one.quantity)
            for one in odd
        ],
    }  # fmt: skip


def _off(one: Finding | None) -> Shown | str:
    if one is None or one.value is None:
        return ""
    text = f"{one.value:+.2f} mm".replace("-", "\u2212")
    return Shown(text, (one.id,), one.quantity, one.value, one.u, one.unit)


def fold_part(state: ItemState) -> dict[str, Any]:
    """The plan with its numbers and ways to fold, and the check after folding."""
    run = newest(state, WORKINGS["fold"])
    if run is None:
        return {}
    item = {one.quantity: one for one in run.findings if one.subject == "item"}
    checked = tuple(name for _, names in _CHECKS for name in names)
    return {
        **workings_part(state, ("fold",), (*checked, *_AFTER, *_FOLDS))[0],
        "ways_head": ["Way", "Front, mm", "Back, mm", "Fold moves, mm", "What it looks like"],
        "ways": [_way(one, run) for one in fold_choices(run)],
        "checks_head": ["", "As found", "As planned", "After folding"],
        "checks": [
            [name, *(_cell(item, quantity, run, state) for quantity in names)]
            for name, names in _CHECKS
            if any(quantity in item for quantity in names)
        ],
        "after": _after(item, run, state),
        "folds": _folds(run),
    }  # fmt: skip


def _way(one: FoldChoice, run: Run) -> list[Any]:
    state = " (planned)" if one.chosen else "" if one.possible else " (not possible)"
    ref = (f"run:{run.id}",)
    numbers = [
        Shown(text.replace("-", "\u2212"), ref, "text") for text in (one.front, one.back, one.shift)
    ]
    return [one.name.capitalize() + state, *numbers, Shown(one.looks, ref, "text")]


def _after(item: dict[str, Finding], run: Run, state: ItemState) -> list[Shown]:
    out = []
    for name, quantity in (("Fold off where it was meant", "fold.off_mm"),
                           ("Change of the roll", "fold.roll_change_mm")):  # fmt: skip
        one = item.get(quantity)
        if one is not None:
            said = f"{name}: {ask(one, run, state).said}; {one.text}."
            out.append(Shown(said, (one.id,), quantity, one.value, one.u, one.unit))
    seen = item.get("fold.roll_seen_mm")
    if seen is not None and item["fold.roll_change_mm"].text.startswith("the roll"):
        said = f"A change of the roll of {ask(seen, run, state).said} or more would surely have "
        out.append(Shown(said + "been seen.", (seen.id,), seen.quantity, seen.value, None, "mm"))
    return out


def _folds(run: Run) -> list[Shown]:
    """Folds that are worth working, one by one; how many are better left."""
    moved = [one for one in run.findings if one.quantity == "fold.move_mm"]
    crease = {one.subject: one for one in run.findings if one.quantity == "fold.line_mm"}
    worked = [one for one in moved if crease[one.subject].value]
    left = [one for one in moved if not crease[one.subject].value]
    out = [
        Shown(f"{sheet_words(one.subject)}: {one.text}.", (one.id,), one.quantity)
        for one in worked
    ]  # fmt: skip
    if left:
        folds = "One fold is" if len(left) == 1 else f"{len(left)} folds are"
        told = f"{folds} better left on the old crease: not far enough off the middle."
        out.append(Shown(told, tuple(one.id for one in left), "count", float(len(left))))
    return out


def _cell(mine: dict[str, Finding], quantity: str, run: Run, state: ItemState) -> Shown | str:
    one = mine.get(quantity)
    if one is None:
        return ""
    return Shown(ask(one, run, state).said, (one.id,), quantity, one.value, one.u, one.unit)
