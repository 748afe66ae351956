"""A plan for the bench laid out: one row for each step, sheets that share a tray in one row."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

from quirewell.science.planning.bench_shop import Answer, Fixed, Placed, Wait, Work
from quirewell.stages.plan_text import PlanText


def laid(read: PlanText, answer: Answer) -> dict[str, Any]:
    """The plan as plain data; its minutes count from its own start."""
    frame, problem = read.frame, read.problem
    zero = frame.minute(read.start)
    works = {work.id: work for work in problem.works}
    fixed = {one.work: one for one in problem.fixed}
    steps = [
        _step(read, [works[one.work] for one in group], group, answer, fixed, zero)
        for group in _groups(answer.placed, works)
    ]
    _link(steps, problem.waits)
    end = answer.makespan
    last = (end if end is not None else problem.now) + 1440
    return {
        "status": answer.status,
        "says": "",
        "makespan_min": None if end is None else end - zero,
        "bound_min": None if answer.bound is None else answer.bound - zero,
        "start": frame.iso(zero),
        "finish": None if end is None else frame.iso(end),
        "soonest": None if answer.bound is None else frame.iso(answer.bound),
        "now": frame.iso(problem.now),
        "zone": frame.zone.key,
        "by": answer.by,
        "wet_wait_min": answer.wet_wait,
        "attended_min": sum(row["minutes"] for row in steps if row["hands"]),
        "conflict": [_named(read, rule) for rule in answer.conflict],
        "assumes": list(read.notes),
        "hours": [
            [frame.iso(a), frame.iso(b)] for a, b in problem.shop.hours if a < last and b > zero
        ],
        "items": {one.name: one.id for one in read.items},
        "steps": steps,
    }


_AFTER = re.compile(r"(\S+) (at once|at most \d+ min|at least \d+ min) after (\S+)")
_TAKES = re.compile(r"; (\S+) takes")


def _named(read: PlanText, rule: str) -> str:
    """A rule that names steps by their keys, with the names a person knows."""
    names = {step.key: step.name for entry in read.items for step in entry.course.steps}

    def name(key: str) -> str:
        return f"\u201c{names[key]}\u201d" if key in names else key

    found = _AFTER.fullmatch(rule)
    if found is not None:
        return f"{name(found[1])} {found[2]} after {name(found[3])}"
    return _TAKES.sub(lambda takes: f"; {name(takes[1])} takes", rule)


def _groups(placed: Iterable[Placed], works: Mapping[str, Work]) -> list[list[Placed]]:
    """Works of one item that share a tray, and each other by itself; in the order of time."""
    groups: dict[tuple[str, ...], list[Placed]] = {}
    for one in placed:
        work = works[one.work]
        key = (one.together, work.item, work.step, str(one.start)) if one.together else (one.work,)
        groups.setdefault(key, []).append(one)
    for group in groups.values():
        group.sort(key=lambda one: works[one.work].sheet)
    return sorted(groups.values(), key=lambda group: (group[0].start, group[0].end, group[0].work))


def _link(steps: list[dict[str, Any]], waits: Iterable[Wait]) -> None:
    """Give each step ``after``, the ids of the steps it waits for."""
    of = {work: row["id"] for row in steps for work in row["works"]}
    after: dict[str, dict[str, None]] = {row["id"]: {} for row in steps}
    for wait in waits:
        first, then = of.get(wait.before), of.get(wait.after)
        if first and then and first != then:
            after[then][first] = None
    for row in steps:
        row["after"] = list(after[row["id"]])


def _step(
    read: PlanText, works: list[Work], group: list[Placed], answer: Answer,
    fixed: Mapping[str, Fixed], zero: int,
) -> dict[str, Any]:  # fmt: skip
    work, frame = works[0], read.frame
    entry = read.entry(work.item)
    key = work.id.rpartition("/")[2]
    step = entry.course.step(key)
    begin, end = group[0].start, max(one.end for one in group)
    sheets = [one.sheet for one in works if one.sheet]
    likely = [one.likely_minutes for one in works if one.likely_minutes is not None]
    return {
        "id": f"{work.item}/{'+'.join(sheets) or '-'}/{key}",
        "works": [one.work for one in group],
        "item": entry.name,
        "item_id": entry.id,
        "sheets": sheets,
        "recipe": entry.course.id,
        "step": key,
        "kind": step.kind if step else "",
        "name": step.name if step else key,
        "start": frame.iso(begin),
        "end": frame.iso(end),
        "start_min": begin - zero,
        "end_min": end - zero,
        "minutes": end - begin,
        "likely_minutes": max(likely) if likely else None,
        "hands": work.hands,
        "equipment": _equipment(read, work),
        "tray": group[0].together,
        "slack_min": _slack(answer, group),
        "wet": bool(step and step.wet),
        "can_wait": step.can_wait if step else "",
        "safe_stop": bool(step and step.safe_stop),
        "most_min": _most(step),
        "state": _state(group, fixed),
    }  # fmt: skip


def _slack(answer: Answer, group: list[Placed]) -> int | None:
    held = [answer.slack[one.work] for one in group if one.work in answer.slack]
    return min(held) if held else None


def _most(step: Any) -> int | None:
    return None if step is None or not step.most_minutes else int(step.most_minutes)


def _state(group: list[Placed], fixed: Mapping[str, Fixed]) -> str:
    held = [fixed[one.work] for one in group if one.work in fixed]
    if not held:
        return "planned"
    return "done" if len(held) == len(group) and all(x.end is not None for x in held) else "started"


def _equipment(read: PlanText, work: Work) -> list[str]:
    """What a work occupies: its own equipment, its tray, and what is held over it."""
    problem = read.problem
    names = dict.fromkeys(work.uses)
    for tray in problem.trays:
        if work.step in tray.steps and work.sheet:
            names[tray.equipment] = None
    for hold in problem.holds:
        if work.id in (hold.first, hold.last):
            names[hold.equipment] = None
    return list(names)
