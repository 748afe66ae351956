"""Afterwards, in the report: checks against the end of treatment and what came of it.

No money and no names: what a claim was about, its sums, and who bought it stay in the record.
"""

from __future__ import annotations

from typing import Any

from quirewell.record.next_check import ended_on
from quirewell.record.nouns import ItemState
from quirewell.report.content import day
from quirewell.report.model import TYPED, typed
from quirewell.stages.afterwards import AfterView, CheckRow, Series, after_view
from quirewell.stages.claims import public_words
from quirewell.stages.results import NOTHING, Shown, shown, shown_reading, shown_smallest

HEAD = ("Day", "Where", "At the end of treatment", "Now", "What it says")
YEARS_HEAD = ("By a straight line through all checks", "Change in a year", "Surely seen from")
ANEW = "A reading at the end of treatment was changed since; not compared anew yet."


def afterwards_part(state: ItemState) -> dict[str, Any]:
    """Checks as rows, and change in a year, and lines: the next check, what came of it."""
    view = after_view(state, ended_on(state) or "1970-01-01")
    held = {later.id: one for one in view.series for later in one.laters}
    return {
        "title": "Afterwards", "head": list(HEAD),
        "rows": [_row(row, held.get(row.later.id), state) for row in view.rows],
        "years": _trends(view), "years_head": list(YEARS_HEAD),
        "lines": [*_due(view), *_came(state)],
    }  # fmt: skip


def _row(row: CheckRow, series: Series | None, state: ItemState) -> list[Any]:
    later = row.later
    where = f"{row.where[:1].upper()}{row.where[1:]}"
    if later.value is None:
        return [day(later.on), where, "", typed(later.words, later.id), ""]
    now = Shown(row.now, (later.id,), "record:value", float(later.value), None, later.unit)
    says: Any = row.says
    if series is not None and row.change is not None:
        says = ANEW
        if series.kept:
            index = [one.id for one in series.run.findings].index(row.change.id) + 1
            says = shown(series.run.findings[index])
    if later.words:
        return [day(later.on), f"{where}: {later.words}", _then(row, state), now, says]
    return [day(later.on), where, _then(row, state), now, says]


def _then(row: CheckRow, state: ItemState) -> Shown:
    if not row.then_refs:
        return NOTHING
    if len(row.then_refs) == 1:
        return shown_reading(state.readings[row.then_refs[0]])
    return Shown(row.then, row.then_refs, TYPED)


def _trends(view: AfterView) -> list[list[Any]]:
    return [
        [one.name, shown(one.trend), shown_smallest(one.trend)]
        for one in view.series
        if one.trend is not None and one.kept
    ]


def _due(view: AfterView) -> list[Shown]:
    """The next check, by what its day is reckoned from: asked for, the last check or step."""
    if not view.due.on:
        return []
    why = "as asked for" if view.due.why.startswith("asked for") else view.due.why
    says = f"The next check is due on {day(view.due.on)}, {why}."
    return [typed(says, *view.due.refs)]


def _came(state: ItemState) -> list[Any]:
    out: list[Any] = []
    for one in state.returned.values():
        on = f" on {day(one.on)}" if one.on else ""
        if one.grade is not None:
            out.append(Shown(f"A grade came back{on}: {one.grade:f}", (one.id,), "record:grade",
                             float(one.grade)))  # fmt: skip
    sold = state.sold.get("sold")
    if sold is not None:
        out.append(typed(f"It was sold{f' on {day(sold.on)}' if sold.on else ''}.", "sold"))
    return [*out, *(typed(public_words(one), one.id) for one in state.claims.values())]
