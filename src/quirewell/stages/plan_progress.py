"""What really happened, held against a plan: steps of the record by their ``task``, what is late,
and the plan asked for anew from there.

A step of an item whose ``task`` is a plan step's id (or one of its works) and that was started or
done, with its instant, fixes those works. A sheet found dry before its time ends there.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from typing import Any

from quirewell.record.benchwork import BenchPlan
from quirewell.record.nouns import ItemState, Step
from quirewell.stages.bench_planning import as_json
from quirewell.stages.course import PILOT_LOOK
from quirewell.stages.plan_time import moment_of, zone_of
from quirewell.stages.plan_told import late, over_words

Told = Mapping[str, Any]


def happened(told: Told, states: Iterable[ItemState]) -> list[dict[str, str]]:
    """Works of a plan that were begun or are over, as rows of ``[[done]]`` with instants."""
    by_task = {row["id"]: row for row in told["steps"]}
    by_task |= {work: row for row in told["steps"] for work in row["works"]}
    out: dict[str, dict[str, str]] = {}
    for state in states:
        for step in state.steps.values():
            row = by_task.get(step.task)
            if row is None or row["item_id"] != state.id or step.state == "planned":
                continue
            begun = _begun(step, row)
            if not begun:
                continue
            for work in _works(step, row):
                out[work] = {"work": work, "start": begun}
                if step.state == "done" and step.done_at:
                    out[work]["end"] = max(begun, step.done_at, key=_instant)
        for row in told["steps"]:
            if row["item_id"] == state.id:
                out = {**_pilots(state, row), **out}
    return list(out.values())


def _pilots(state: ItemState, row: Mapping[str, Any]) -> dict[str, dict[str, str]]:
    """What the record of the pilot says of a row: the look at it, and a scrap that is dry."""
    out: dict[str, dict[str, str]] = {}
    for pilot in state.pilots.values():
        mine = [pilot.place.partition(".")[0]] if pilot.place else ["scrap"]
        if row["sheets"] != mine:
            continue
        begun, end = "", ""
        if row["step"] == PILOT_LOOK:
            end = pilot.looked_at
        elif row["kind"] == "dry" and not row["hands"] and not pilot.place:
            begun, end = pilot.washed_at, pilot.dried_at
        if end:
            begun = begun or (_instant(end) - timedelta(minutes=row["minutes"])).isoformat()
            held = {"start": min(begun, end, key=_instant), "end": end}
            out |= {work: {"work": work, **held} for work in row["works"]}
    return out


def standing(told: Told, states: Iterable[ItemState], now: str = "") -> dict[str, Any]:
    """A plan with the state each step has by the record: ``state``, ``begun_at``, ``done_at``, and
    ``taken`` where it follows from what is noted of others; ``late`` in words at the instant
    ``now``."""
    held = {row["work"]: row for row in happened(told, states)}
    steps = [{**row, **_noted(row, held)} for row in told["steps"]]
    _take(steps, now)
    out = {**told, "steps": steps, "late": []}
    if now:
        out["late"] = late(out, _instant(now))
    return out


def _noted(row: Mapping[str, Any], held: Mapping[str, Mapping[str, str]]) -> dict[str, Any]:
    mine = [held[work] for work in row["works"] if work in held]
    if not mine:
        return {"begun_at": "", "done_at": "", "taken": False}
    ends = [one.get("end", "") for one in mine]
    over = len(mine) == len(row["works"]) and all(ends)
    return {
        "begun_at": min((one["start"] for one in mine), key=_instant),
        "done_at": max(ends, key=_instant) if over else "",
        "state": "done" if over else "started",
        "taken": False,
    }


def _take(steps: list[dict[str, Any]], now: str) -> None:
    """What goes before a step that has begun is over; what needs no hand has begun once all before
    it is over and its time has come."""
    by_id = {row["id"]: row for row in steps}
    stack = [row for row in steps if row["state"] != "planned"]
    while stack:
        for id in stack.pop()["after"]:
            if by_id[id]["state"] != "done":
                by_id[id].update(state="done", taken=True)
                stack.append(by_id[id])
    for row in sorted(steps, key=lambda one: (one["start_min"], one["end_min"])):
        before = [by_id[id] for id in row["after"]]
        ready = before and all(one["state"] == "done" for one in before)
        if (
            row["state"] == "planned"
            and not row["hands"]
            and ready
            and now
            and (_instant(row["start"]) <= _instant(now))
        ):
            ends = [one["done_at"] for one in before if one["done_at"]]
            begun = max(ends, key=_instant) if ends else row["start"]
            row.update(state="started", begun_at=begun, taken=True)


def replan(plan: BenchPlan, states: Iterable[ItemState], now: str) -> dict[str, str]:
    """Parameters of the same plan from what really happened, at the instant ``now``; the starts of
    the former plan are a hint for the search.

    Raises:
        ValueError: the pilot of an item in it was looked at and not accepted.
    """
    told, known = as_json(plan.run), list(states)
    for name, id in told["items"].items():
        pilots = [one for state in known if state.id == id for one in state.pilots.values()]
        if pilots and pilots[-1].accepted == "no":
            raise ValueError(
                f"the pilot of {name} was not accepted, so the others are not wetted by this plan: "
                "try another way on another pilot, and make a new plan"
            )
    rows = {row["work"]: row for row in json.loads(plan.run.params.get("done", "") or "[]")}
    rows |= {row["work"]: row for row in happened(told, known)}
    found = json.loads(plan.run.params.get("found", "") or '{"placed": []}')
    kept = {key: text for key, text in plan.run.params.items() if key not in ("found", "hint")}
    return {
        **kept,
        "now": now,
        "done": json.dumps(list(rows.values()), sort_keys=True),
        "hint": json.dumps({work: start for work, start, _, _ in found["placed"]}),
    }  # fmt: skip


def moved(before: Told, after: Told) -> str:
    """How a plan worked out anew differs from the one before, in a sentence."""
    if not after["finish"]:
        return str(after["says"])
    if not before["finish"]:
        return "There was no plan before."
    gap = datetime.fromisoformat(after["finish"]) - datetime.fromisoformat(before["finish"])
    if not gap:
        return "Everything is done when it was to be before."
    return (
        f"Everything is done {over_words(abs(gap))} {'later' if gap > timedelta() else 'sooner'} "
        "than in the plan before."
    )


def _begun(step: Step, row: Mapping[str, Any]) -> str:
    """When a step began; where only its end is known, as long before as it took or was to take."""
    if step.started_at or not step.done_at:
        return step.started_at
    took = float(step.minutes) if step.minutes is not None else float(row["minutes"])
    return (_instant(step.done_at) - timedelta(minutes=took)).isoformat()


def _works(step: Step, row: Mapping[str, Any]) -> list[str]:
    """The works a step of the record is about: those of its sheets, where it names some."""
    if step.task in row["works"]:
        return [step.task]
    named = {place.partition(".")[0] for place in step.places}
    if not named & set(row["sheets"]):
        return list(row["works"])
    return [work for work in row["works"] if work.split("/")[1] in named]


def _instant(text: str) -> datetime:
    return moment_of(text, zone_of("UTC"), "a step's time")
