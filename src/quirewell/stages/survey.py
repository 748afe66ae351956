"""What is still to be measured and compared, as calls for worker processes.

Page, command line and demo take their work from here, so that all leave the same runs. A call
carries paths, hashes and parameters, never pixels; its result is the body of a
``run.recorded`` event, which only the parent process appends.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from quirewell.jobs.batch import Call
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.finding import Input
from quirewell.record.nouns import Capture, ItemState
from quirewell.stages.examine import measurable, panel_of, unmeasured
from quirewell.stages.methods import run_method
from quirewell.stages.naming import place_words
from quirewell.stages.results import COMPARE, MEASURE

STRIP_STEP_MM = 0.1
RULE_LIMIT_MM = 0.05
TASK = "quirewell.stages.survey.carry_out"
PathOf = Callable[[str], Path]


def subject_of(capture: Capture) -> str:
    """Page a scan shows: its place with the panel, as "w03.outer.left"."""
    panel = panel_of(capture)
    whole = len(capture.place.split(".")) == 3 or panel == "whole"
    return capture.place if whole else f"{capture.place}.{panel}"


def to_measure(state: ItemState, path_of: PathOf) -> tuple[Call, ...]:
    """A call for each scan of a sheet that has no measurement yet."""
    return tuple(
        _call(
            MEASURE,
            subject_of(capture),
            {"image": capture},
            path_of,
            measure_params(state, capture),
        )
        for capture in unmeasured(state)
    )


def to_compare(state: ItemState, path_of: PathOf) -> tuple[Call, ...]:
    """A call for each page scanned before and after whose latest two scans are not compared."""
    compared = {
        tuple(sorted((entry.role, entry.ref) for entry in run.inputs))
        for run in state.runs.values()
        if run.method == COMPARE
    }
    calls = []
    for subject, pair in pairs(state).items():
        wanted = tuple(sorted((role, capture.id) for role, capture in pair.items()))
        if wanted not in compared:
            calls.append(_call(COMPARE, subject, pair, path_of, compare_params(state)))
    return tuple(calls)


def panel_params(capture: Capture) -> dict[str, str]:
    """Which half of an opened wrap a scan shows, as the measuring method takes it."""
    panel = panel_of(capture)
    return {} if panel == "whole" else {"panel": panel}


def measure_params(state: ItemState, capture: Capture) -> dict[str, str]:
    """All that is known beforehand of one scan: its half, and the measured bench strip."""
    return panel_params(capture) | strip_params(state)


def compare_params(state: ItemState) -> dict[str, str]:
    """All that is known beforehand of a pair: margin, bench strip, humidity at both scans."""
    length = {key: text for key, text in strip_params(state).items() if key == "strip_length_mm"}
    return margin_params(state) | length | humidity_params(state)


def strip_params(state: ItemState) -> dict[str, str]:
    """Mean length of the bench strip from the readings of it, and its standard uncertainty [mm].

    Three parts: the step of each reading, the scatter among them, and the rule itself
    (+-0.05 mm over the strip for a good steel rule, rectangular, from memory).
    """
    readings = [entry for entry in state.readings.values() if entry.quantity == "strip_length"]
    if not readings:
        return {}
    lengths = [float(entry.value) for entry in readings]
    step = max(float(entry.resolution or STRIP_STEP_MM) for entry in readings)
    scatter = statistics.stdev(lengths) if len(lengths) > 1 else 0.0
    each = max(step / math.sqrt(12), scatter)
    u = math.hypot(each / math.sqrt(len(lengths)), RULE_LIMIT_MM / math.sqrt(3))
    return {
        "strip_length_mm": f"{statistics.fmean(lengths):.4f}",
        "strip_length_u_mm": f"{u:.4f}",
    }


def humidity_params(state: ItemState) -> dict[str, str]:
    """Latest humidity [% RH] read in the room at each moment; none unless both are known."""
    read: dict[str, str] = {}
    for entry in sorted(state.readings.values(), key=lambda one: state.touched.get(one.id, 0)):
        if entry.quantity == "humidity" and entry.moment and entry.off_scale is None:
            read[f"rh_{entry.moment}_pct"] = str(entry.value)
    return read if len(read) == 2 else {}


def margin_params(state: ItemState) -> dict[str, str]:
    """The margin locked before measuring, as the comparing method takes it."""
    margin = state.margins.get("margin.change.width_pct")
    return {"margin_pct": str(margin.value)} if margin and margin.unit in ("%", "pct") else {}


def pairs(state: ItemState) -> dict[str, dict[str, Capture]]:
    """Latest scans before and after of each page that has both, by the page's place.

    "before" always comes first: the order of its inputs is part of a run's identity.
    """
    found: dict[str, dict[str, Capture]] = {}
    ordered = sorted(state.captures.values(), key=lambda entry: state.touched.get(entry.id, 0))
    for capture in ordered:
        if measurable(capture):
            found.setdefault(subject_of(capture), {})[capture.moment or "before"] = capture
    return {
        subject: {"before": pair["before"], "after": pair["after"]}
        for subject, pair in found.items()
        if len(pair) == 2
    }


def _call(
    method: str,
    subject: str,
    captures: Mapping[str, Capture],
    path_of: PathOf,
    params: Mapping[str, str] | None = None,
) -> Call:
    files = {role: str(path_of(capture.sha256)) for role, capture in captures.items()}
    inputs = tuple((role, capture.id, capture.sha256) for role, capture in captures.items())
    moments = " and ".join(capture.moment or "before" for capture in captures.values())
    label = f"{place_words(subject)}, {moments}"
    return Call(TASK, (method, subject, files, inputs, dict(params or {})), label)


def carry_out(
    method: str,
    subject: str,
    files: Mapping[str, str],
    inputs: tuple[tuple[str, str, str], ...],
    params: Mapping[str, str],
) -> dict[str, Any]:
    """Run a method in a worker; the run as the body of its event."""
    paths = {role: Path(path) for role, path in files.items()}
    run = run_method(method, subject, paths, tuple(Input(*entry) for entry in inputs), params)
    return to_body(run)


def recorded(state: ItemState, body: dict[str, Any]) -> tuple[Draft, ...]:
    """The event a finished call leaves in the journal; nothing when the run is there already."""
    if body["id"] in state.runs:
        return ()
    return (Draft(state.id, "run.recorded", body),)
