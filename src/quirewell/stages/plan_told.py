"""A plan for the bench in words: how sure it is, day by day, what is late."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from typing import Any

Told = Mapping[str, Any]
OUT_OF_DATE = timedelta(hours=12)


def day_words(moment: datetime) -> str:
    """A day in words: "Tuesday 1 December 2026"."""
    return f"{moment:%A} {moment.day} {moment:%B %Y}"


def length(minutes: int) -> str:
    """Minutes in words.

    >>> length(45), length(135), length(1440), length(3 * 1440 + 90)
    ('45 min', '2 h 15 min', '24 h', '3 d 1 h 30 min')
    """
    if minutes >= 2880:
        days, rest = divmod(minutes, 1440)
        return f"{days} d {length(rest)}" if rest else f"{days} d"
    hours, rest = divmod(minutes, 60)
    if not hours:
        return f"{rest} min"
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def when(iso: str) -> str:
    """A moment of a plan in words, its local time."""
    moment = datetime.fromisoformat(iso)
    return f"{day_words(moment)} at {moment:%H:%M}"


def says(told: Told) -> str:
    """A plan in a sentence: how sure it is, and when everything is done."""
    status, conflict = told["status"], told["conflict"]
    if status == "impossible":
        rules = "; ".join(conflict) or "the search gave no smallest set of them"
        return f"Cannot be done: these rules conflict: {rules}."
    if status == "unknown":
        more = (
            "let the solver look for one"
            if told["by"] == "rule"
            else "give it more time, or plan by the plain rule"
        )
        return f"No plan was found, and none is excluded: {more}."
    done = f"everything is done on {when(told['finish'])}"
    if status == "proved":
        return f"Proved best: {done}."
    return f"Best found: {done}; {not_excluded(told)}."


def not_excluded(told: Told) -> str:
    """What a plan that is not proved leaves open, in days first: nights make ends jump."""
    if told["bound_min"] is None or told["makespan_min"] <= 0:
        return "how much sooner it might be is not known"
    sooner = told["makespan_min"] - told["bound_min"]
    part = 100 * sooner / told["makespan_min"]
    if sooner <= 0:
        return "nothing sooner is possible"
    share = f"at most {part:.0f} % better" if part >= 1 else "less than 1 % better"
    days = (
        datetime.fromisoformat(told["finish"]).date()
        - datetime.fromisoformat(told["soonest"]).date()
    ).days
    if days <= 0:
        return f"no day earlier is possible, at most {length(sooner)} sooner on that day ({share})"
    if days == 1:
        return f"one day earlier is not excluded ({share})"
    return f"up to {days} days earlier is not excluded ({share})"


def days(told: Told) -> list[tuple[str, list[Mapping[str, Any]]]]:
    """Steps by the local day they begin on, days in words."""
    out: dict[str, list[Mapping[str, Any]]] = {}
    for row in told["steps"]:
        out.setdefault(day_words(datetime.fromisoformat(row["start"])), []).append(row)
    return list(out.items())


def until(row: Mapping[str, Any]) -> str:
    """When a step ends: the time, with the day where it is another one."""
    begin, end = (datetime.fromisoformat(row[name]) for name in ("start", "end"))
    if begin.date() == end.date():
        return f"{end:%H:%M}"
    return f"{end:%a} {end.day} {end:%b %H:%M}"


def sheets_words(sheets: Iterable[str]) -> str:
    """Sheets as a person says them; runs of wraps drawn together.

    >>> sheets_words(["c", "w01", "w02", "w03", "w07"])
    'cover, wraps 1-3, 7'
    >>> sheets_words(["scrap"]), sheets_words([])
    ('the scrap', '')
    """
    held = list(sheets)
    numbers = sorted(int(code[1:]) for code in held if code[:1] == "w")
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    said = ["cover"] if "c" in held else []
    said += ["the scrap"] if "scrap" in held else []
    parts = [f"{run[0]}-{run[-1]}" if len(run) > 1 else f"{run[0]}" for run in runs]
    if parts:
        said.append(f"wrap{'' if len(numbers) == 1 else 's'} {', '.join(parts)}")
    return ", ".join(said)


def table(told: Told) -> list[str]:
    """The plan by day, a line a step, as plain text."""
    lines: list[str] = []
    several = len({row["item_id"] for row in told["steps"]}) > 1
    for day, rows in days(told):
        hands = sum(row["minutes"] for row in rows if row["hands"])
        lines += ["", f"{day}: {length(hands)} of work with hands"]
        for row in _alike(rows):
            where = f"{row['item']}, " if several else ""
            what = f"{where}{sheets_words(row['sheets']) or 'the item'}"
            span = f"{datetime.fromisoformat(row['start']):%H:%M} to {until(row)}"
            tail = [] if row["hands"] else ["goes on by itself"]
            if row["likely_minutes"] is not None and row["likely_minutes"] != row["minutes"]:
                tail.append(f"likely {length(row['likely_minutes'])}")
            if row["slack_min"]:
                tail.append(f"may end {length(row['slack_min'])} later")
            if row["state"] != "planned":
                tail.append(row["state"])
            lines.append(f"  {span:<27}{row['name'][:30]:<32}{what}")
            if tail:
                lines.append(f"  {'':<27}{'; '.join(tail)}")
    return lines


def _alike(rows: Iterable[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Rows of one day; what goes on by itself alike on several sheets at once is one."""
    out: dict[tuple[Any, ...], Mapping[str, Any]] = {}
    for row in rows:
        shown = ("item_id", "step", "start", "end", "slack_min", "state", "likely_minutes")
        key = (row["id"],) if row["hands"] else tuple(row[name] for name in shown)
        held = out.get(key)
        out[key] = row if held is None else {**row, "sheets": [*held["sheets"], *row["sheets"]]}
    return list(out.values())


def late(told: Told, now: datetime) -> list[str]:
    """What has not begun though its time has come, or has not ended though it should have."""
    out = []
    for row in told["steps"]:
        begin, end = (datetime.fromisoformat(row[name]) for name in ("start", "end"))
        what = f"{row['name']}, {sheets_words(row['sheets']) or row['item']}"
        if row["state"] == "planned" and row["hands"] and begin < now - timedelta(minutes=1):
            out.append(f"{what}: should have begun {over_words(now - begin)} ago")
        elif row["state"] == "started" and end < now - timedelta(minutes=1):
            verb = "should have ended" if row["hands"] else "its time was over"
            out.append(f"{what}: {verb} {over_words(now - end)} ago")
    return out


def over(told: Told, now: datetime) -> bool:
    """Whether a plan should have been done half a day ago and has steps by hand left: then it is
    not late, it is out of date, and what is left is to be worked out anew."""
    left = any(row["state"] == "planned" and row["hands"] for row in told["steps"])
    return left and datetime.fromisoformat(told["finish"]) + OUT_OF_DATE <= now


def over_words(gap: timedelta) -> str:
    """A span of time in words, a minute at least."""
    return length(max(1, int(gap / timedelta(minutes=1))))
