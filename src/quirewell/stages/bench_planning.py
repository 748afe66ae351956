"""A plan for the bench, a registered method.

Parameters are text: ``plan`` (a plan file, :mod:`.plan_text`); ``start`` and ``zone`` (where it
says none); ``now``; ``done`` (what really happened, a JSON list of rows as ``[[done]]``);
``seconds`` and ``by`` (before what the text says); ``hint`` (starts of a former plan, JSON, for the
search alone); ``found`` (what a search found).

The method is of the kind "search". With ``found`` it searches nothing: it holds the plan against
the rules by a checker that knows no solver, and adds it up anew, so that a recheck gives the same
findings. :func:`ask` searches first and then calls it so; what cannot be checked so, the bound, the
slack and a conflict, is called stated.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from quirewell.record.bench import EMPTY_BENCH, BenchState
from quirewell.record.finding import Finding, Run
from quirewell.science.planning.bench_check import broken
from quirewell.science.planning.bench_model import plan as find_plan
from quirewell.science.planning.bench_shop import Answer, Placed, Problem
from quirewell.stages.methods import Outcome, method, run_method
from quirewell.stages.plan_laid import laid
from quirewell.stages.plan_text import PlanText, read_plan, with_recipes
from quirewell.stages.plan_told import says
from quirewell.stages.typed_params import number, one_of, refuse_unknown

METHOD, SUBJECT = "bench.plan", "bench"
_KNOWN = ("plan", "start", "zone", "now", "done", "seconds", "by", "hint", "found")
_ASSUMES = (
    "Minutes of a step are the recipe's, or your own where you gave them; drying is planned with "
    "the time by which nine sheets in ten are dry, its likely time stands beside.",
    "What needs hands lies within working hours and never across a break; a bath or a drying sheet "
    "goes on through the night, and what follows a bath in time needs somebody there.",
)


@method(METHOD, 1, "search")
def bench_plan(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """When each step is done at the bench, proved the soonest or with what is not excluded."""
    read = _asked(params)
    if params.get("found", "").strip():
        return _outcome(read, from_text(params["found"], read.problem))
    return _outcome(read, _search(read, params))


def ask(params: Mapping[str, str], bench: BenchState = EMPTY_BENCH) -> Run:
    """Search, then keep what was found as the method's own parameters, the recipes embedded.

    Raises:
        ValueError: for a plan that cannot be read.
    """
    whole = {**params, "plan": with_recipes(params.get("plan", ""), bench)}
    read = _asked(whole)
    found = to_text(_search(read, whole))
    kept = {key: text for key, text in whole.items() if key != "hint"}
    return run_method(METHOD, SUBJECT, {}, params={**kept, "found": found})


def check(params: Mapping[str, str], bench: BenchState = EMPTY_BENCH) -> PlanText:
    """Read what is asked without searching.

    Raises:
        ValueError: for a plan that cannot be read.
    """
    return _asked({**params, "plan": with_recipes(params.get("plan", ""), bench)})


def as_json(run: Run) -> dict[str, Any]:
    """A plan as plain data, as the page and the command line read it."""
    held: dict[str, Any] = json.loads(run.drawing["told"])
    return {**held, "warnings": list(run.warnings), "method": f"{run.method}@{run.version}"}


def _asked(params: Mapping[str, str]) -> PlanText:
    refuse_unknown(params, _KNOWN, f"{METHOD} knows no parameter")
    one_of(params, "by", ("solver", "rule"), "solver")
    if not 0.1 <= number(params, "seconds", 10) <= 3600:
        raise ValueError(f"seconds lie between 0.1 and 3600, got {params['seconds']}")
    return read_plan(
        params.get("plan", ""), start=params.get("start", ""), zone=params.get("zone", ""),
        now=params.get("now", ""), done=_rows(params, "done"),
    )  # fmt: skip


def _rows(params: Mapping[str, str], name: str) -> list[dict[str, Any]]:
    try:
        held = json.loads(params.get(name, "") or "[]")
    except ValueError as error:
        raise ValueError(f"{name} cannot be read: {error}") from error
    if not isinstance(held, list) or not all(isinstance(row, dict) for row in held):
        raise ValueError(f"{name} is a list of rows with work, start and end")
    return held


def _search(read: PlanText, params: Mapping[str, str]) -> Answer:
    known = {work.id for work in read.problem.works}
    hint = {id: start for id, start in _hint(params).items() if id in known}
    by = one_of(params, "by", ("solver", "rule"), "rule" if read.by == "rule" else "solver")
    answer = Answer("unknown")
    for problem in (read.hurried, read.problem):
        if problem is not None and not answer.placed:
            answer = find_plan(
                problem, time_limit_s=number(params, "seconds", read.time_limit_s), by=by,
                hint=hint or None,
            )  # fmt: skip
    return answer


def _hint(params: Mapping[str, str]) -> dict[str, int]:
    try:
        held = json.loads(params.get("hint", "") or "{}")
        return {str(id): int(start) for id, start in held.items()}
    except (ValueError, AttributeError, TypeError) as error:
        raise ValueError(f"hint holds starts by work, and cannot be read: {error}") from error


def to_text(answer: Answer) -> str:
    """What was found as text."""
    return json.dumps(
        {
            "status": answer.status, "by": answer.by, "bound": answer.bound,
            "conflict": list(answer.conflict), "wet_wait": answer.wet_wait,
            "placed": [[one.work, one.start, one.end, one.together] for one in answer.placed],
            "slack": dict(answer.slack),
        },
        sort_keys=True, separators=(",", ":"),
    )  # fmt: skip


def from_text(text: str, problem: Problem) -> Answer:
    """Read back what was found; a plan is held against the rules and added up again.

    Raises:
        ValueError: for what is no such text, or a plan that breaks a rule.
    """
    try:
        held = json.loads(text)
        if held["status"] not in ("proved", "found", "impossible", "unknown"):
            raise ValueError(f"there is no status {held['status']!r}")
        placed = tuple(Placed(str(w), int(s), int(e), str(t)) for w, s, e, t in held["placed"])
        bound = None if held["bound"] is None else int(held["bound"])
        wet = None if held["wet_wait"] is None else int(held["wet_wait"])
        answer = Answer(
            held["status"], placed, max((one.end for one in placed), default=None), bound, wet,
            tuple(map(str, held["conflict"])),
            {str(k): int(v) for k, v in held["slack"].items()},
            "rule" if held["by"] == "rule" else "solver",
        )  # fmt: skip
    except (KeyError, TypeError, AttributeError, ValueError) as error:
        raise ValueError(f"what was found cannot be read back: {error}") from error
    if answer.status in ("proved", "found"):
        rules = broken(problem, answer)
        if rules:
            raise ValueError(f"a plan that was kept breaks a rule: {'; '.join(rules[:5])}")
        assert answer.makespan is not None
        if bound is not None and bound > answer.makespan:
            raise ValueError("a plan that was kept passes the bound it was kept with")
        if answer.status == "proved" and bound != answer.makespan:
            raise ValueError("a plan kept as proved does not meet its bound")
    elif placed:
        raise ValueError("a plan that was kept as not found places works all the same")
    return answer


def _outcome(read: PlanText, answer: Answer) -> Outcome:
    told = laid(read, answer)
    told["says"] = says(told)
    findings = [Finding("", "bench.says", SUBJECT, text=told["says"])]
    stated = "stated by the search; not computed again"
    for quantity, value, note in (
        ("bench.makespan", told["makespan_min"], "from the plan's start to its end"),
        ("bench.bound", told["bound_min"], stated),
        ("bench.attended", told["attended_min"], "with hands, sheets that share a tray once"),
        ("bench.wet_wait", told["wet_wait_min"], "over all sheets"),
    ):
        if value is not None:
            findings.append(
                Finding(
                    "",
                    quantity,
                    SUBJECT,
                    float(value),
                    None,
                    "min",
                    note=note,
                    standing="common practice",
                )
            )
    told["assumes"] = [*read.notes, *_ASSUMES]
    drawing = {"told": json.dumps(told, sort_keys=True, ensure_ascii=False)}
    return Outcome(tuple(findings), (*read.notes, *_ASSUMES), drawing)
