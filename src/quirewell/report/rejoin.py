"""Taking apart and putting together as a chapter: order, staples and what became of them, creep,
how the staple holes of all sheets fall on each other, and the fold."""

from __future__ import annotations

from typing import Any

from quirewell.record.finding import Finding, Run
from quirewell.record.nouns import ItemState
from quirewell.report.creep_fold import creep_part, fold_part
from quirewell.report.rejoin_drawing import match_svg
from quirewell.stages.asking import ask
from quirewell.stages.rejoining import guide, matched, newest_match
from quirewell.stages.results import Shown
from quirewell.stages.sheet_order import order_view
from quirewell.stages.taking_apart import staple_words

MATCH_FILE = "rejoin-match.svg"
TIMES = 30


def rejoin_part(state: ItemState) -> dict[str, Any]:
    """The chapter's data; empty parts where nothing of it was recorded."""
    run = newest_match(state)
    return {
        "order": _order(state),
        "staples": [
            Shown(f"Staple {one.number} from the head: {staple_words(one)}.", (one.id,), "staple")
            for one in sorted(state.staples.values(), key=lambda one: one.number)
        ],
        "disclosed": any(one.care in ("replace", "leave out") for one in state.staples.values()),
        "match": {} if run is None else _match(state, run),
        "laid": _laid(state),
        "creep": creep_part(state),
        "fold": fold_part(state),
    }


def rejoin_files(state: ItemState) -> dict[str, bytes]:
    """Pictures of the chapter by file name."""
    picture = matched(state).picture
    return {} if picture is None else {MATCH_FILE: match_svg(picture, TIMES).encode()}


def _order(state: ItemState) -> list[Shown]:
    shown = order_view(state)
    if shown.run is None:
        return []
    by_name = {one.quantity: one for one in shown.run.findings}
    said = by_name["order.says"]
    told = by_name.get("order.told")
    lines = [Shown(said.text, (said.id,), said.quantity)]
    if told is not None:
        lines += [Shown(line, (told.id,), told.quantity) for line in shown.flags]
    return lines


def _match(state: ItemState, run: Run) -> dict[str, Any]:
    shown = matched(state)
    by_sheet: dict[str, dict[str, Finding]] = {}
    for one in run.findings:
        by_sheet.setdefault(one.subject, {})[one.quantity] = one
    item = by_sheet.pop("item")
    says = item["rejoin.says"]
    rows = []
    for row, mine in zip(shown.rows, by_sheet.values(), strict=True):
        flags = mine.get("rejoin.flags")
        rows.append(
            [
                Shown(row.name, (f"run:{run.id}",), "text"),
                *(
                    _number(mine[f"rejoin.{name}"], run, state)
                    for name in ("dx_mm", "dy_mm", "turn_mrad")
                ),
                Shown("; ".join(row.flags), (flags.id,), "rejoin.flags") if flags else "",
            ]
        )
    picture = shown.picture
    return {
        "says": Shown(says.text, (says.id,), says.quantity),
        "file": MATCH_FILE if picture else "",
        "alt": "A panel for each staple hole: the common place a cross, the wire a dashed ring, "
        "the hole of each sheet a dot, larger than life.",
        "caption": Shown(
            f"The holes of all sheets on each other, {TIMES} times larger than they are. Dashed: "
            "the wire. Squares: sheets to mind.",
            (f"run:{run.id}",), "text",
        ),
        "head": ["Sheet", "Right", "Towards the tail", "Turn", "To mind"],
        "rows": rows,
        "notes": [Shown(line, (f"run:{run.id}",), "sentence") for line in run.warnings],
    }  # fmt: skip


def _number(finding: Finding, run: Run, state: ItemState) -> Shown:
    said = ask(finding, run, state).said
    return Shown(said, (finding.id,), finding.quantity, finding.value, finding.u, finding.unit)


def _laid(state: ItemState) -> Shown | str:
    if not state.joined:
        return ""
    now = guide(state)
    text = f"{now.laid} of {len(now.steps)} sheets are laid in their places again."
    return Shown(text, tuple(state.joined), "joined")
