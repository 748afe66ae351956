"""Pressed as planned: the step recorded with the computed course it followed, and its days summed.

The same door as any other step: what speaks against heat now is asked before, and may be passed
over with a reason.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from quirewell.record.codec import from_body, to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import ItemState, Step
from quirewell.stages.press_entry import read_pressing
from quirewell.stages.pressing import METHOD
from quirewell.stages.refusal import Problem, Refusal
from quirewell.stages.treat import start_step
from quirewell.stages.treating_heat import with_total
from quirewell.stages.working_rows import FINISH


def pressed(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """Record the newest planned pressing as done on the whole item: ``override`` a reason where
    something speaks against it, ``at``, ``who``, ``note``.

    Raises:
        Refusal: nothing was planned, or as :func:`.treat.start_step`.
    """
    run = state.newest_run(METHOD, FINISH)
    if run is None:
        says = "No pressing is planned; look inside the press first."
        raise Refusal((Problem("above", says),), values=dict(form))
    plan = read_pressing(run.params)
    given = {
        "kind": "press", "places": "item", "minutes": f"{plan.minutes:g}",
        "override": form.get("override", ""), "at": form.get("at", ""), "who": form.get("who", ""),
        "note": form.get("note", ""),
    }  # fmt: skip
    if plan.heat != "none":
        given["temperature_c"] = f"{plan.hottest_c:g}"
    *reasons, started = start_step(state, given)
    step = replace(
        from_body(Step, started.body), state="done", run=run.id, done_at=form.get("at", "")
    )
    return (*with_total(state, step), *reasons, Draft(state.id, "step.done", to_body(step)))
