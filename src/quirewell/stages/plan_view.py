"""The plan's page as data: what may be chosen, the plan that stands, its evening, pictures, table.

It knows no clock: the moment comes in. The plan is told with the state its steps have by the
record (:func:`.plan_progress.standing`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from quirewell.record.bench import BenchState
from quirewell.record.benchwork import BenchPlan
from quirewell.record.nouns import ItemState
from quirewell.stages import evening, gantt, plan_keeping, plan_progress
from quirewell.stages.course import Course
from quirewell.stages.naming import sheet_words
from quirewell.stages.parcel_items import names_of
from quirewell.stages.plan_hours import EVENINGS
from quirewell.stages.plan_time import zone_of
from quirewell.stages.plan_told import days as by_day
from quirewell.stages.plan_told import length, over, sheets_words, until
from quirewell.stages.recipe_keep import courses

# Hours a person may begin from; common practice, no source.
PRESETS: Sequence[tuple[str, Mapping[str, str]]] = (
    ("One person, weekday evenings", {"people": "1", "hours": EVENINGS[0]}),
    ("One person, evenings and Saturday",
     {"people": "1", "hours": f"{EVENINGS[0]}\nSa 09:00-12:30, 13:15-17:30"}),
    ("One person, weekdays", {"people": "1", "hours": "Mo-Fr 09:00-12:30, 13:15-17:30"}),
)  # fmt: skip
STATES = {"planned": "planned", "started": "under way", "done": "done"}
# What a person can change where rules cannot hold together.
CHANGES = (
    ("More or longer hours at the bench, or more trays and places on the rack", "#bench"),
    ("A course with shorter baths or longer waits, in an edition of your own", "/recipes"),
    ("Fewer items at once, or a later beginning", "#choose"),
)


@dataclass(frozen=True, slots=True)
class Choice:
    """An item that may be planned: ``why_not`` says what it lacks."""

    id: str
    name: str
    wraps: str
    pilots: tuple[tuple[str, str], ...]
    course: str
    chosen: bool
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """One step of the table, in words."""

    anchor: str
    time: str
    name: str
    item: str
    item_id: str
    sheets: str
    hands: str
    slack: str
    can_wait: str
    state: str
    late: bool
    done: bool


@dataclass(frozen=True, slots=True)
class Seen:
    """All the page shows."""

    choices: tuple[Choice, ...]
    courses: tuple[tuple[str, str], ...]
    shop: Mapping[str, str]
    places: tuple[tuple[str, str], ...]
    earlier: tuple[tuple[str, str, str], ...]
    plan: BenchPlan | None = None
    newest: bool = True
    told: Mapping[str, Any] | None = None
    evening: evening.Evening | None = None
    until: str = ""
    until_wrong: str = ""
    pictures: tuple[gantt.Day, ...] = ()
    shortened: bool = False
    table: tuple[tuple[str, str, str, tuple[Row, ...]], ...] = ()
    facts: tuple[tuple[str, str], ...] = ()
    over: bool = False

    @property
    def open_day(self) -> str:
        """The ISO date of the first day in the table with something left to do; "" for none."""
        return next((date for _, date, _, rows in self.table if not all(r.done for r in rows)), "")


def view(
    bench: BenchState, states: Sequence[ItemState], now: datetime, *, by: gantt.By = "sheets",
    until: str = "", plan_id: str = "",
) -> Seen:  # fmt: skip
    """The page at the moment ``now``; ``plan_id`` shows an earlier plan, ``until`` is the end a
    person gives for tonight."""
    newest = plan_keeping.newest(bench)
    plan = bench.bench_plans.get(plan_id, newest)
    held = courses(bench)
    form = plan_keeping.shop_form(bench)
    places = tuple(
        (name.removeprefix("place:"), count) for name, count in form.items()
        if name.startswith("place:")
    )  # fmt: skip
    base = Seen(
        _choices(states, held, newest), tuple((one.key, one.name) for one in held), form, places,
        _earlier(bench, plan),
    )  # fmt: skip
    return base if plan is None else _with_plan(base, plan, plan is newest, states, now, by, until)


def _with_plan(
    base: Seen, plan: BenchPlan, newest: bool, states: Sequence[ItemState], now: datetime,
    by: gantt.By, until_text: str,
) -> Seen:  # fmt: skip
    told = plan_progress.standing(plan_keeping.told_of(plan), states, now.isoformat())
    end, wrong = None, ""
    if until_text.strip():
        try:
            end = evening.until_of(until_text, now, told["zone"])
        except ValueError as error:
            wrong = f"{error}"
    pictures = gantt.days(told, now, by) if told["steps"] else ()
    return Seen(
        base.choices, base.courses, base.shop, base.places, base.earlier, plan, newest, told,
        evening.evening(told, now, end) if told["steps"] else None, until_text, wrong, pictures,
        any(one.shortened for one in pictures), _table(told, now), _facts(told, plan),
        newest and over(told, now),
    )  # fmt: skip


def _choices(
    states: Iterable[ItemState], held: Sequence[Course], plan: BenchPlan | None
) -> tuple[Choice, ...]:
    states = list(states)
    names = names_of(states)
    before: dict[str, str] = {}
    if plan is not None:
        rows = plan_keeping.told_of(plan)["steps"]
        before = {row["item_id"]: row["recipe"].partition("@")[0] for row in rows}
    out = []
    for state in states:
        sheets = state.gathering.sheets() if state.gathering else ()
        pilot = plan_keeping.pilot_of(state)
        first = f"by the record: {_pilot_words(pilot)}" if pilot else "no pilot"
        pilots = [("", first), *([("none", "no pilot")] if pilot else []),
                  ("scrap", "a scrap of like paper"),
                  *((code, sheet_words(code)) for code in sheets)]  # fmt: skip
        out.append(
            Choice(
                state.id, names[state.id], sheets_words(sheets), tuple(pilots),
                before.get(state.id, held[0].key if held else ""), state.id in before,
                "" if sheets else "say how many wraps it has, on its first page",
            )
        )  # fmt: skip
    return tuple(out)


def _pilot_words(pilot: str) -> str:
    return "a scrap of like paper" if pilot == "scrap" else sheet_words(pilot).lower()


def _earlier(bench: BenchState, shown: BenchPlan | None) -> tuple[tuple[str, str, str], ...]:
    out = []
    for one in reversed(bench.bench_plans.values()):
        if shown is None or one.id != shown.id:
            out.append((one.id, one.at, str(plan_keeping.told_of(one)["says"])))
    return tuple(out)


def _facts(told: Mapping[str, Any], plan: BenchPlan) -> tuple[tuple[str, str], ...]:
    out = []
    if told["makespan_min"] is not None:
        out = [
            ("From beginning to end", length(told["makespan_min"])),
            ("Work with hands", length(told["attended_min"])),
        ]
        if told["wet_wait_min"] is not None:
            out.append(("Wet sheets wait", f"{length(told['wet_wait_min'])}, over all sheets"))
    out.append(("Times are local to", told["zone"]))
    if plan.at:
        at = datetime.fromisoformat(plan.at.replace("Z", "+00:00"))
        local = at.astimezone(zone_of(told["zone"]))
        out.append(("Worked out", f"{local:%a} {local.day} {local:%b %H:%M}"))
    if plan.note:
        out.append(("Since the plan before", plan.note))
    return tuple(out)


def _table(
    told: Mapping[str, Any], now: datetime
) -> tuple[tuple[str, str, str, tuple[Row, ...]], ...]:
    """Steps by day: the day in words, its ISO date, its time with hands, its rows."""
    out = []
    for day, rows in by_day(told):
        hands = sum(row["minutes"] for row in rows if row["hands"])
        date = datetime.fromisoformat(rows[0]["start"]).date().isoformat()
        out.append((day, date, length(hands), tuple(_row(row, now) for row in rows)))
    return tuple(out)


def _row(row: Mapping[str, Any], now: datetime) -> Row:
    begin = datetime.fromisoformat(row["start"])
    likely = row["likely_minutes"]
    hands = "with hands" if row["hands"] else "by itself"
    if likely is not None and likely != row["minutes"]:
        hands += f", likely {length(likely)}"
    slack = row["slack_min"]
    late = gantt.is_late(row, now)
    return Row(
        gantt.anchor(row["id"]), f"{begin:%H:%M} to {until(row)}", row["name"], row["item"],
        row["item_id"], sheets_words(row["sheets"]) or "the whole item", hands,
        "not said" if slack is None else length(slack) if slack else "none",
        row["can_wait"] or "no word in the recipe",
        STATES[row["state"]] + (", late" if late else ""), late, row["state"] == "done",
    )  # fmt: skip
