"""The search for a bench plan in a worker, told and stopped through two small files.

A worker cannot speak while it works: it searches in slices, each twice as long as the one before
and begun from the best plan so far, and between them writes how good that is and looks for a file
called ``stop``, which asks it to take that plan. What one slice excludes, the next need not.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from quirewell.record.codec import to_body
from quirewell.record.finding import Run
from quirewell.stages import bench_planning
from quirewell.stages.methods import run_method

TASK = "quirewell.stages.plan_search.search"
TOLD, STOP = "told.json", "stop"
FIRST_S, LEAST_S = 2.0, 0.1
Ask = Callable[[Mapping[str, str]], Run]


def search(params: Mapping[str, str], folder: str) -> dict[str, Any]:
    """Search for a plan (in a worker); the run as a body."""
    place = Path(folder)

    def tell(run: Run) -> None:
        new = place / "told.new"
        new.write_text(json.dumps({"says": bench_planning.as_json(run)["says"]}), encoding="utf-8")
        new.replace(place / TOLD)

    total = bench_planning.check(params).time_limit_s
    if params.get("seconds", "").strip():
        total = float(params["seconds"])
    return to_body(in_slices(params, total, tell, (place / STOP).exists))


def in_slices(
    params: Mapping[str, str], total_s: float, tell: Callable[[Run], None],
    stop: Callable[[], bool], ask: Ask = bench_planning.ask,
) -> Run:  # fmt: skip
    """The best run of some slices of a search that last ``total_s`` [s] in all."""
    best: Run | None = None
    slice_s, left, hint, bound = FIRST_S, total_s, params.get("hint", ""), None
    while True:
        began = time.monotonic()
        seconds = f"{max(LEAST_S, min(slice_s, left)):.1f}"
        run = ask({**params, "seconds": seconds, **({"hint": hint} if hint else {})})
        left -= max(time.monotonic() - began, LEAST_S)
        found = json.loads(run.params["found"])
        if found["bound"] is not None and found["status"] in ("found", "proved"):
            bound = found["bound"] if bound is None else max(bound, found["bound"])
        if best is None or _key(run) < _key(best):
            best = run
        tell(best)
        over = found["status"] in ("proved", "impossible") or found["by"] == "rule"
        if over or left < LEAST_S or stop():
            return _bounded(best, bound)
        starts = {work: start for work, start, _, _ in json.loads(best.params["found"])["placed"]}
        hint = json.dumps(starts) if starts else hint
        slice_s *= 2


def _key(run: Run) -> tuple[int, int, int]:
    """Better runs are smaller: how sure, then the end, then how long wet sheets wait."""
    found = json.loads(run.params["found"])
    rank = {"proved": 0, "impossible": 0, "found": 1, "unknown": 2}[found["status"]]
    end = max((end for _, _, end, _ in found["placed"]), default=0)
    return rank, end, found["wet_wait"] or 0


def _bounded(best: Run, bound: int | None) -> Run:
    """The best plan with what any of the slices excluded."""
    found = json.loads(best.params["found"])
    if bound is None or found["status"] != "found" or bound <= (found["bound"] or 0):
        return best
    end = max(end for _, _, end, _ in found["placed"])
    found |= {"bound": bound, "status": "proved" if bound >= end else "found"}
    text = json.dumps(found, sort_keys=True, separators=(",", ":"))
    subject = bench_planning.SUBJECT
    return run_method(bench_planning.METHOD, subject, {}, params={**best.params, "found": text})


def told(folder: Path) -> str:
    """The best plan so far in words; empty before there is one."""
    try:
        held = json.loads((folder / TOLD).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return ""
    says = str(held["says"])
    return says[:1].lower() + says[1:].rstrip(".")
