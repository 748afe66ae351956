"""One day of the bench plan to print: what, when, which leaves, and blanks to tick and write.

Cautions with what to wear stand at the top, once each, as the recipes' steps of that day name
them; the times are the plan's.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from quirewell.record.bench import BenchState
from quirewell.report.typeset import typeset
from quirewell.stages.asking import quantity_name
from quirewell.stages.cautions import LOCAL_CODES, plain, protective
from quirewell.stages.course import CourseStep
from quirewell.stages.plan_told import day_words, length, sheets_words, until
from quirewell.stages.recipe_keep import course_of

TEMPLATE = "day.typ"
TIMER = (
    "Set a kitchen timer for every bath too: a screen sleeps, a machine may stop, and this sheet "
    "does not ring."
)
# Cautions named by no step of the table, which stand on every sheet with a bath.
_ALWAYS_WET = ("ink-first", "wet-weak")


def day_sheet_pdf(told: Mapping[str, Any], day: date, bench: BenchState, at: datetime) -> bytes:
    """The sheet of one day as PDF/A-2a and PDF/UA-1.

    Raises:
        ValueError: the plan has nothing to do or to look after on that day.
        ReportError: the typesetter refused.
    """
    return typeset(TEMPLATE, day_sheet(told, day, bench), {}, at)


def day_sheet(told: Mapping[str, Any], day: date, bench: BenchState) -> dict[str, Any]:
    """What the sheet of one day holds, as plain data.

    Raises:
        ValueError: the plan has nothing on that day.
    """
    mine = [row for row in told["steps"] if _on(row, "start") == day]
    over = [row for row in told["steps"] if _on(row, "start") < day == _on(row, "end")]
    if not mine and not over:
        raise ValueError("the plan has nothing on that day")
    steps = {id(row): _step(row, bench) for row in mine}
    hands = sum(row["minutes"] for row in mine if row["hands"])
    several = len(told["items"]) > 1
    title = day_words(datetime.combine(day, datetime.min.time()))
    to_object, to_person, wear = _cautions(mine, [one for one in steps.values() if one])
    return {
        "title": f"At the bench: {title}",
        "day": title,
        "items": ", ".join(dict.fromkeys(row["item"] for row in [*over, *mine])),
        "facts": [
            ["Work with hands", length(hands) if hands else "none"],
            ["Hours", _hours(told, day)],
            ["Times are local to", str(told["zone"])],
            ["The plan", str(told["says"])],
        ],
        "wear": wear, "object": to_object, "person": to_person, "timer": TIMER,
        "over": [_over(row, several) for row in over],
        "rows": [_row(row, steps[id(row)], several) for row in mine],
        "local": LOCAL_CODES,
    }  # fmt: skip


def _on(row: Mapping[str, Any], name: str) -> date:
    return datetime.fromisoformat(row[name]).date()


def _step(row: Mapping[str, Any], bench: BenchState) -> CourseStep | None:
    course = course_of(bench, row["recipe"])
    return course.step(row["step"]) if course else None


def _hours(told: Mapping[str, Any], day: date) -> str:
    spans = [tuple(map(datetime.fromisoformat, span)) for span in told["hours"]]
    here = [f"{a:%H:%M} to {b:%H:%M}" for a, b in spans if a.date() == day]
    return ", ".join(here) or "nobody is at the bench"


def _cautions(
    rows: Sequence[Mapping[str, Any]], steps: Sequence[CourseStep]
) -> tuple[list[str], list[str], list[str]]:
    """Cautions to the object and to the person, and what to wear, each once."""
    ids = dict.fromkeys(hazard for step in steps for hazard in step.hazards)
    if any(row["wet"] and row["hands"] for row in rows):
        ids = dict.fromkeys([*_ALWAYS_WET, *ids])
    held = plain(ids)
    kinds = [row["kind"] for row in rows if row["hands"] and row["kind"]]
    wear = dict.fromkeys(one for kind in kinds for one in protective(kind)) | dict.fromkeys(
        protective("", ids)
    )
    return (
        [one["says"] for one in held if one["to"] == "object"],
        [one["says"] for one in held if one["to"] == "person"],
        list(wear),
    )


def _over(row: Mapping[str, Any], several: bool) -> str:
    where = f" ({row['item']})" if several else ""
    return f"{row['name']}{where}, {_leaves(row)}: over at {until({**row, 'start': row['end']})}"


def _leaves(row: Mapping[str, Any]) -> str:
    return sheets_words(row["sheets"]) or "the whole item"


def _row(row: Mapping[str, Any], step: CourseStep | None, several: bool) -> dict[str, Any]:
    begin = datetime.fromisoformat(row["start"])
    notes = []
    if row["can_wait"]:
        notes.append(f"Then it can wait: {row['can_wait'].rstrip('.')}.")
    if row["most_min"]:
        notes.append(f"Not longer than {length(row['most_min'])}.")
    if row["slack_min"]:
        notes.append(f"May end {length(row['slack_min'])} later.")
    reading = step.reading if step else ""
    return {
        "time": f"{begin:%H:%M}", "until": until(row), "name": row["name"],
        "item": row["item"] if several else "",
        "leaves": _leaves(row), "tray": row["tray"], "hands": bool(row["hands"]),
        "notes": " ".join(notes), "done": row["state"] == "done",
        "reading": quantity_name(reading) if reading else "",
    }  # fmt: skip
