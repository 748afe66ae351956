"""What the books of the practice already know of a form's boxes, computation by computation.

A row is a function of the item and the bench; what it gives stands behind what was typed before.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from quirewell.record.bench import BenchState
from quirewell.record.books import GradeRules
from quirewell.record.nouns import ItemState
from quirewell.stages.grading import METHOD as GRADE
from quirewell.stages.weigh_begin import weigh_begins

Begin = Callable[[ItemState, BenchState], dict[str, str]]


def grade_begins(state: ItemState, bench: BenchState) -> dict[str, str]:
    """The practice's own rules and scale."""
    own = bench.grading()
    if own is None:
        return {}
    return {"rules": own.rules, "scale": own.scale, "adding": own.adding}


RENEWED = "The rules were set anew since this was worked out; work it out again to use them."


def renewed(state: ItemState, bench: BenchState, key: str) -> dict[str, str] | None:
    """Rules and scale in force, where a grade was worked out by an earlier version of them; None
    where it has the newest, or some of its own."""
    run = state.newest_run(GRADE, "plan") if key == "grade" else None
    if run is None:
        return None
    newest = _rules_of(bench.grading() or GradeRules(""))
    before = {_rules_of(one) for one in (*bench.grade_rules.values(), GradeRules(""))}
    used = tuple(_rows(run.params.get(name, "")) for name in ("rules", "scale", "adding"))
    if used == newest or used not in before:
        return None
    return dict(zip(("rules", "scale", "adding"), newest, strict=True))


def _rules_of(own: GradeRules) -> tuple[str, ...]:
    return _rows(own.rules), _rows(own.scale), own.adding


def _rows(table: str) -> str:
    return "\n".join(line.strip() for line in table.splitlines() if line.strip())


BEGINS: Mapping[str, Begin] = {
    "grade": grade_begins,
    "weigh": weigh_begins,
}


def from_books(state: ItemState, bench: BenchState, key: str) -> dict[str, str]:
    """Boxes of the computation ``key`` that the books can fill; empty where there are none."""
    begin = BEGINS.get(key)
    return (
        {} if begin is None else {name: text for name, text in begin(state, bench).items() if text}
    )
