"""Grades that came back, with the estimate they left with: rows for other computations.

An item counts where the estimate made before it left is known: the run its parcel or its returned
grade names. What was estimated after it came back says nothing about how well one foresees.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from quirewell.record.bench import BenchState
from quirewell.record.finding import Run
from quirewell.record.nouns import ItemState
from quirewell.stages.defect_table import COLUMNS, RETURN_COLUMNS
from quirewell.stages.grading import METHOD as GRADE
from quirewell.stages.parcel_items import names_of
from quirewell.stages.plain_table import TableError, read_rows


@dataclass(frozen=True, slots=True)
class CameBack:
    """One item that came back: its name, the grade, the estimate it left with (None: none)."""

    item: str
    name: str
    grade: Decimal
    parcel: str
    run: Run | None


def came_back(states: Iterable[ItemState], bench: BenchState) -> tuple[CameBack, ...]:
    """Every item with a returned grade as a number, the newest of each, by name."""
    held = list(states)
    names = names_of(held)
    out = []
    for state in held:
        graded = [one for one in state.returned.values() if one.grade is not None]
        if not graded:
            continue
        last = graded[-1]
        assert last.grade is not None
        parcel = bench.parcels.get(last.parcel)
        left_with = next(
            (one.run for one in parcel.entries if one.item == state.id) if parcel else iter(()), ""
        )
        run = state.runs.get(last.run or left_with)
        if run is not None and run.method != GRADE:
            run = None
        out.append(CameBack(state.id, names[state.id], last.grade, last.parcel, run))
    return tuple(sorted(out, key=lambda one: one.name))


def returns_table(states: Iterable[ItemState], bench: BenchState) -> str:
    """Returned grades with the damage noted before sending, as `condition.grade` reads them
    (CSV); empty where nothing came back."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    rows = 0
    for one in came_back(states, bench):
        for damage in _damages(one.run):
            table.writerow([one.name[:80], f"{one.grade:f}", *damage])
            rows += 1
    return ",".join(RETURN_COLUMNS) + "\n" + out.getvalue() if rows else ""


def newer_returns(run: Run | None, table: str) -> dict[str, str]:
    """The box of returns as the record has it now, where the last estimate's was no more than an
    earlier state of the record; empty where rows of one's own stood in it."""
    before = run.params.get("returns", "") if run is not None else ""
    if table and set(before.splitlines()) <= set(table.splitlines()):
        return {"returns": table}
    return {}


def _damages(run: Run | None) -> list[list[str]]:
    if run is None:
        return []
    try:
        rows = [row for _, row in read_rows(run.params.get("defects", ""), COLUMNS, ("code",),
                                            "a table of damage")]  # fmt: skip
    except TableError:
        return []
    return [[row.get(name, "") for name in COLUMNS] for row in rows]
