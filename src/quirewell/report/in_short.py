"""The first page of the report in six lines: what came, what was done, what changed, what did not
and within what, what remains, and how to check."""

from __future__ import annotations

from collections import Counter
from typing import Any

from quirewell.record.nouns import ItemState
from quirewell.report.damage import NOTED
from quirewell.report.evidence import evidence_part
from quirewell.report.model import typed
from quirewell.stages.prove import Total, prove_view
from quirewell.stages.results import Shown
from quirewell.stages.step_table import STEP_KINDS

HOW = (
    "Touch a number: it leads to its source in the last chapter, and from there to its picture. "
    "Whoever holds the studio has all of them computed again with quirewell recheck."
)
NOTHING_MEASURED = "nothing was measured both before and after"
NOT_KNOWN = "not known: no page was compared"
COUNTS = ("Size held within the limit set beforehand", "No change of size seen", "Size changed",
          "Cannot tell")  # fmt: skip
MOST_REMAINING = 3


def in_short(state: ItemState) -> list[list[Any]]:
    """Rows of a label and the parts of its sentence, in their order."""
    totals = prove_view(state).totals
    stood = [row for row in totals if _stood(row)]
    changed = [row for row in totals if not _stood(row) and row.says != "Pages compared"]
    over = evidence_part(state)["rows"]
    moved = [[f"{_small(row[0])} ", row[1]] for row in over if row[4].text.startswith("changed")]
    still = [[f"{_small(row[0])}, on average over all leaves, ", row[4]]
             for row in over if row[4].text.startswith("unchanged")]  # fmt: skip
    return [
        ["What came", _came(state)],
        ["What was done", _done(state)],
        ["What changed", _joined(moved + _told(changed)) or [NOTHING_MEASURED]],
        ["What did not", _joined(still + _told(stood)) or [NOT_KNOWN]],
        ["What remains", _remains(state)],
        ["How to check", [HOW]],
    ]


def _stood(row: Total) -> bool:
    return row.says.startswith(("Size held", "No ")) or "surely seen" in row.says


def _told(rows: list[Total]) -> list[list[Any]]:
    """The rows as parts: a name and its value, or a count of pages and what it says of them."""
    out = []
    for row in rows:
        says = _small(row.says)
        if row.says in COUNTS:
            out.append([f"{says}: ", row.value, " pages"])
        else:
            out.append([f"{says} ", row.value, *([f" ({row.where})"] if row.where else [])])
    return out


def _small(words: str) -> str:
    """Words as they stand within a sentence; pH stays pH."""
    return words if words[1:2].isupper() else f"{words[:1].lower()}{words[1:]}"


def _joined(rows: list[list[Any]]) -> list[Any]:
    """The parts of all rows, parted by semicolons."""
    parts: list[Any] = []
    for row in rows:
        parts += ["; ", *row] if parts else row
    return parts


def _counted(ids: list[str], noun: str) -> Shown:
    plural = "" if len(ids) == 1 else "s"
    return Shown(f"{len(ids)} {noun}{plural}", tuple(ids), NOTED, float(len(ids)))


def _came(state: ItemState) -> list[Any]:
    parts: list[Any] = [state.item.form or "its form is not noted"]
    if state.gathering is not None:
        pages = state.gathering.pages
        parts += [", ", Shown(f"{pages} pages", ("gathering",), "record:pages", float(pages))]
    before = [one.id for one in state.defects.values() if one.moment == "before"]
    return [*parts, "; ", _counted(before, "defect") if before else "no defect", " noted"]


def _done(state: ItemState) -> list[Any]:
    done = [step for step in state.steps.values() if step.state == "done"]
    if not done:
        return ["no step of treatment is recorded as done"]
    kinds = Counter(step.kind for step in done)
    named = [STEP_KINDS[kind].name if kind in STEP_KINDS else kind for kind in kinds]
    words = [f"{name.lower()} (in {n} steps)" if n > 1 else name.lower()
             for name, n in zip(named, kinds.values(), strict=True)]  # fmt: skip
    return [_counted([step.id for step in done], "step"), ": ", ", ".join(words)]


def _remains(state: ItemState) -> list[Any]:
    left = list(state.remaining.values())
    if not left:
        return ["nothing is noted as still wrong"]
    parts: list[Any] = []
    for one in left[:MOST_REMAINING]:
        parts += ["; "] if parts else []
        parts.append(typed(one.words, one.id))
    more = [one.id for one in left[MOST_REMAINING:]]
    return [*parts, "; ", _counted(more, "thing"), " more"] if more else parts
