"""The owner's two pages: what came, what was done, what changed and what did not, what remains.

Short by leaving out, never by rounding: each table says how many rows more the full record has.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from quirewell.record.nouns import ItemState, Step
from quirewell.report import paper_parts as parts
from quirewell.report.content import STORAGE, day
from quirewell.report.evidence import evidence_part
from quirewell.report.paper_parts import Part, part, words
from quirewell.stages.damage_schedule import schedule
from quirewell.stages.outlooking import METHOD as OUTLOOK
from quirewell.stages.prove import not_measured, prove_view
from quirewell.stages.results import Shown, in_order, listed, page_results, shown
from quirewell.stages.step_table import STEP_KINDS

# How many rows each table keeps, from the fullest that is tried to the shortest; steps go last.
FILLS = (
    {"found": 8, "done": 14, "changed": 10, "remains": 8, "photos": 3, "unknown": 6, "keep": 5},
    {"found": 4, "done": 14, "changed": 6, "remains": 6, "photos": 3, "unknown": 2, "keep": 3},
    {"found": 3, "done": 14, "changed": 6, "remains": 3, "photos": 3, "unknown": 1, "keep": 2},
    {"found": 3, "done": 7, "changed": 6, "remains": 3, "photos": 3, "unknown": 1, "keep": 2},
    {"found": 2, "done": 4, "changed": 4, "remains": 2, "photos": 0, "unknown": 0, "keep": 1},
)
_CELL = 110


def short_parts(state: ItemState, fill: int, photos: list[dict[str, str]]) -> list[Part]:
    """The parts of the two pages, by a row of :data:`FILLS`; ``photos`` as a paper has them."""
    keep = FILLS[fill]
    return [
        part("facts", "", rows=_facts(state)),
        *_photos(photos[: keep["photos"]]),
        *_found(state, keep["found"]),
        *_done(state, keep["done"]),
        *_changed(state, keep["changed"]),
        *_remains(state, keep["remains"]),
        *_outlook(state),
        *_unknown(state, keep["unknown"]),
        part("list", "Keeping it", words=list(STORAGE[: keep["keep"]])),
        *words("How to check", CHECK, kind="soft"),
    ]


CHECK = (
    "Every number here has an uncertainty of about 95 % beside it where it was measured, and comes "
    "from a picture, a reading or a stated calculation of the record. The full record names them; "
    "whoever holds the studio can have each computed again with: quirewell recheck."
)


def _facts(state: ItemState) -> list[list[Any]]:
    days = sorted(
        stamp
        for step in state.steps.values() if step.state == "done"
        if (stamp := step.started_at or step.done_at)
    )  # fmt: skip
    made = state.gathering
    how = ""
    if made is not None:
        many = "one wrap" if made.wraps == 1 else f"{made.wraps} wraps"
        how = f"{many}{', a cover' if made.cover else ''}, {made.staples} staples"
    return [
        ["Item", state.item.title],
        ["Year", state.item.year],
        ["Made of", Shown(how, ("gathering",), "record:wraps", float(made.wraps)) if made else ""],
        ["Treated", "" if not days else day(days[0]) if day(days[0]) == day(days[-1])
         else f"{day(days[0])} to {day(days[-1])}"],
        ["Record", state.id],
    ]  # fmt: skip


def _photos(photos: list[dict[str, str]]) -> list[Part]:
    return [part("photos", "", photos=photos)] if photos else []


def _found(state: ItemState, most: int) -> list[Part]:
    rank = {"severe": 0, "moderate": 1, "slight": 2}
    found = [one for one in schedule(state) if one.moment == "before"]
    found.sort(key=lambda one: rank.get(one.severity, 3))
    rows = [
        [one.where, one.term, one.severity,
         Shown(one.said, (one.id,), "extent") if one.said else cut(one.extent)]
        for one in found
    ]  # fmt: skip
    if not rows:
        return words("What came", "No defect was noted before treatment.", kind="soft")
    head = ("Where", "What", "How much", "Extent")
    return _some("What came", head, (3, 2.4, 1.5, 3), rows, most)


def _done(state: ItemState, most: int) -> list[Part]:
    by_kind: dict[str, list[Step]] = {}
    done = [step for step in state.steps.values() if step.state == "done"]
    for step in sorted(done, key=lambda one: (one.started_at or one.done_at, one.id)):
        by_kind.setdefault(step.kind, []).append(step)
    rows = []
    for key, steps in by_kind.items():
        kind = STEP_KINDS.get(key)
        places = listed(in_order(place for step in steps for place in step.places))
        with_ = ", ".join(dict.fromkeys(lot.material for step in steps for lot in step.lots))
        rows.append([
            kind.name if kind else key, cut(places), cut(with_),
            kind.permanence if kind else "not known",
        ])  # fmt: skip
    if not rows:
        return words("What was done", "No treatment step is recorded as done.", kind="soft")
    head = ("Step", "Where", "With what", "Left behind")
    out = _some("What was done", head, (2.2, 3, 3, 1.5), rows, most)
    return [*out, *words("", PERMANENCE, kind="soft")]


PERMANENCE = (
    "Removable can be taken off again; re-treatable can be done over by the next person; permanent "
    "cannot be taken back."
)


def _changed(state: ItemState, most: int) -> list[Part]:
    title = "What changed, and what did not"
    rows: list[list[Any]] = [[row[0], row[1], row[4]] for row in evidence_part(state)["rows"]]
    rows += [[one.says, one.value, one.where] for one in prove_view(state).totals]
    if not rows:
        return words(
            title, "Nothing was measured both before and after, so no change can be given."
        )
    return _some(
        title, ("In short", "Value", "Verdict, or where"), (3, 2.2, 2.8), rows, most, right=(1,)
    )


def _remains(state: ItemState, most: int) -> list[Part]:
    told = parts.remaining(state) + parts.mishaps(state)
    return [
        {**one, "rows": one["rows"][:most]} if one["kind"] == "table" else one for one in told
    ] + _more(sum(max(0, len(one["rows"]) - most) for one in told if one["kind"] == "table"))


def _outlook(state: ItemState) -> list[Part]:
    run = state.newest_run(OUTLOOK, "item")
    if run is None:
        return []
    by_name = {one.quantity: one for one in run.findings}
    says = by_name.get("outlook.says") or by_name["outlook.words"]
    return [part("words", "How long it keeps", words=[shown(says)])]


def _unknown(state: ItemState, most: int) -> list[Part]:
    if not most:
        return []
    rows = not_measured(state, page_results(state))
    kept = list(rows[:most])
    return [part("list", "What was not measured", words=kept), *_more(len(rows) - len(kept))]


def _some(
    title: str, head: Iterable[str], widths: tuple[float, ...], rows: list[list[Any]], most: int,
    right: tuple[int, ...] = (),
) -> list[Part]:  # fmt: skip
    kept = parts.table(title, tuple(head), widths, rows[:most], right)
    return [*kept, *_more(len(rows) - most)]


def _more(count: int) -> list[Part]:
    if count <= 0:
        return []
    return words("", f"The full record has {count} more.", kind="soft")


def cut(text: str) -> str:
    """Text short enough for a cell.

    >>> len(cut("brown " * 90)) <= 110
    True
    """
    return text if len(text) <= _CELL else text[: _CELL - 1].rstrip(" ,;") + "…"
