"""A bench plan written by hand, as its page reads it: a cover and nine wraps over five evenings.

Monday: taken apart and cleaned. Tuesday and Wednesday: washed by twos in one tray, the cover by
itself, laid on the rack to dry. Thursday: mended. Friday: put together again.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

ZONE = "Europe/Lisbon"
ITEM = "copperbeck-garden-annual"
WRAPS = [f"w{n:02d}" for n in range(1, 10)]
ZERO = datetime(2026, 11, 30, 18, 0, tzinfo=ZoneInfo(ZONE))
LYING = "Weeks, dry in its folder."


def at(day: int, clock: str) -> datetime:
    """A moment of the plan: evening 0 is Monday."""
    hour, minute = map(int, clock.split(":"))
    return ZERO.replace(hour=hour, minute=minute) + timedelta(days=day)


def row(
    sheets: list[str], step: str, name: str, begin: datetime, minutes: int, **more: Any
) -> dict[str, Any]:
    """One step of the plan."""
    end = begin + timedelta(minutes=minutes)
    start_min = int((begin - ZERO) / timedelta(minutes=1))
    return {
        "id": f"{ITEM}/{'+'.join(sheets) or '-'}/{step}",
        "works": [f"{ITEM}/{sheet}/{step}" for sheet in sheets or ["-"]],
        "item": "Copperbeck Garden Annual", "item_id": ITEM, "sheets": sheets,
        "recipe": "wash-two-baths@1", "step": step, "kind": step, "name": name,
        "start": begin.isoformat(timespec="minutes"), "end": end.isoformat(timespec="minutes"),
        "start_min": start_min, "end_min": start_min + minutes, "minutes": minutes,
        "likely_minutes": None, "hands": True, "equipment": [], "tray": "", "slack_min": 0,
        "wet": False, "can_wait": "", "safe_stop": False, "most_min": None, "state": "planned",
    } | more  # fmt: skip


def tray(sheets: list[str], number: int, begin: datetime) -> list[dict[str, Any]]:
    """Sheets through two baths and onto the rack: 65 minutes, hands for three times five."""
    wet: dict[str, Any] = {"tray": f"tray {number}", "equipment": ["tray"], "wet": True}

    def after(minutes: int) -> datetime:
        return begin + timedelta(minutes=minutes)

    soon = "Ten minutes, in the bath."
    return [
        row(sheets, "lay-in", "Lay in the bath", begin, 5, **wet, slack_min=30),
        row(sheets, "wash", "Wash", after(5), 30, **wet, hands=False, most_min=45,
            can_wait=soon),
        row(sheets, "change", "Change the bath", after(35), 5, **wet),
        row(sheets, "rinse", "Second bath", after(40), 20, **wet, hands=False, can_wait=soon),
        row(sheets, "lift", "Lift to the rack", after(60), 5, **wet),
        row(sheets, "dry", "Dry", after(65), 600, hands=False, wet=True, safe_stop=True,
            likely_minutes=420, equipment=["rack"], slack_min=120),
    ]  # fmt: skip


def steps() -> list[dict[str, Any]]:
    """All steps, in the order of time."""
    out = [row([], "apart", "Take apart", at(0, "18:00"), 45, safe_stop=True, can_wait=LYING)]
    for n, sheet in enumerate(["c", *WRAPS]):
        begin = at(0, "18:45") + timedelta(minutes=10 * n)
        out.append(row([sheet], "clean", "Clean the surface", begin, 10, safe_stop=True,
                       slack_min=60, can_wait=LYING))  # fmt: skip
    out += tray(["w01", "w02"], 1, at(1, "18:00"))
    out += tray(["w03", "w04"], 2, at(1, "19:10"))
    out += tray(["w05", "w06"], 3, at(1, "20:20"))
    out += tray(["w07", "w08"], 4, at(2, "18:00"))
    out += tray(["w09"], 5, at(2, "19:10"))
    out += tray(["c"], 6, at(2, "20:20"))
    for n, sheet in enumerate(["c", *WRAPS]):
        begin = at(3, "18:00") + timedelta(minutes=20 * n)
        out.append(row([sheet], "mend", "Mend", begin, 20, safe_stop=True, slack_min=40))
    out.append(row([], "together", "Put together", at(4, "18:00"), 90, safe_stop=True))
    out.append(row([], "press", "Press cold", at(4, "19:30"), 720, hands=False, safe_stop=True,
                   equipment=["press"]))  # fmt: skip
    return sorted(out, key=lambda one: one["start_min"])


def told(**changes: Any) -> dict[str, Any]:
    """The plan; ``changes`` replace what stands in its head."""
    rows = steps()
    hours = [[at(day, "18:00").isoformat(), at(day, "22:00").isoformat()] for day in range(5)]
    finish = max(rows, key=lambda one: one["end_min"])
    return {
        "status": "proved", "says": "Proved best: everything is done on Saturday at 07:30.",
        "makespan_min": finish["end_min"], "bound_min": finish["end_min"],
        "start": ZERO.isoformat(), "finish": finish["end"], "soonest": finish["end"],
        "now": ZERO.isoformat(), "zone": ZONE, "by": "solver", "wet_wait_min": 0,
        "attended_min": sum(one["minutes"] for one in rows if one["hands"]), "conflict": [],
        "assumes": [], "hours": hours, "items": {"Copperbeck Garden Annual": ITEM}, "steps": rows,
        "late": [],
    } | changes  # fmt: skip


def gone(plan: dict[str, Any], until: datetime, under_way: bool = True) -> dict[str, Any]:
    """The same plan with all that ended by ``until`` done, and what then goes on begun."""
    for one in plan["steps"]:
        begin, end = (datetime.fromisoformat(one[name]) for name in ("start", "end"))
        if end <= until:
            one |= {"state": "done", "begun_at": one["start"], "done_at": one["end"]}
        elif begin <= until and under_way:
            one |= {"state": "started", "begun_at": one["start"], "done_at": ""}
    return plan
