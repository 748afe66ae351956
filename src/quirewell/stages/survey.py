"""What is still to be measured and compared, as calls for worker processes.

Page, command line and demo take their work from here, so that all leave the same runs. A call
carries paths, hashes and parameters, never pixels; its result is the body of a
``run.recorded`` event, which only the parent process appends.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from quirewell.jobs.batch import Call
from quirewell.record.bench import EMPTY_BENCH, BenchState
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.finding import Input
from quirewell.record.nouns import Capture, ItemState
from quirewell.stages.bench_params import (
    colour_params,
    greys_params,
    scanner_pair_params,
    scanner_params,
    strip_params,
    target_params,
)
from quirewell.stages.correcting import compare_correction, correction_params, fits
from quirewell.stages.examine import measurable, panel_of, unmeasured
from quirewell.stages.methods import run_method
from quirewell.stages.naming import place_words
from quirewell.stages.results import COMPARE, MEASURE

TASK = "quirewell.stages.survey.carry_out"
PathOf = Callable[[str], Path]


def subject_of(capture: Capture) -> str:
    """Page a scan shows: its place with the panel, as "w03.outer.left"."""
    panel = panel_of(capture)
    whole = len(capture.place.split(".")) == 3 or panel == "whole"
    return capture.place if whole else f"{capture.place}.{panel}"


def to_measure(
    state: ItemState, path_of: PathOf, bench: BenchState = EMPTY_BENCH
) -> tuple[Call, ...]:
    """A call for each scan of a sheet that has no measurement yet."""
    return tuple(
        _call(
            MEASURE,
            subject_of(capture),
            {"image": capture},
            path_of,
            measure_params(state, capture, bench),
        )
        for capture in unmeasured(state)
    )


def to_compare(
    state: ItemState, path_of: PathOf, bench: BenchState = EMPTY_BENCH
) -> tuple[Call, ...]:
    """A call for each page scanned before and after whose latest two scans are not compared
    (with what was painted out of them by now)."""
    compared = {
        tuple(sorted((entry.role, entry.ref) for entry in run.inputs))
        for run in state.runs.values()
        if run.method == COMPARE and fits(state, run)
    }
    calls = []
    for subject, pair in pairs(state).items():
        wanted = tuple(sorted((role, capture.id) for role, capture in pair.items()))
        if wanted not in compared:
            params = compare_params(state, pair, bench)
            calls.append(_call(COMPARE, subject, pair, path_of, params))
    return tuple(calls)


def panel_params(capture: Capture) -> dict[str, str]:
    """Which half of an opened wrap a scan shows, as the measuring method takes it."""
    panel = panel_of(capture)
    return {} if panel == "whole" else {"panel": panel}


def measure_params(
    state: ItemState, capture: Capture, bench: BenchState = EMPTY_BENCH
) -> dict[str, str]:
    """All that is known beforehand of one scan: half, bench strip, scanner, and what a person
    set right."""
    known = strip_params(state, bench) | scanner_params(bench, capture)
    known |= colour_params(bench, capture)
    return panel_params(capture) | known | correction_params(state, capture.id)


def compare_params(
    state: ItemState, pair: Mapping[str, Capture] | None = None, bench: BenchState = EMPTY_BENCH
) -> dict[str, str]:
    """All that is known beforehand of a pair: margin, strip and its greys, scanner, humidity at
    both scans."""
    known = strip_params(state, bench) | greys_params(bench)
    known.pop("strip_length_u_mm", None)
    if pair is not None:
        known |= scanner_pair_params(bench, pair["before"], pair["after"])
        known |= target_params(bench, pair["before"], pair["after"])
        ids = {role: capture.id for role, capture in pair.items()}
        known |= compare_correction(state, ids)
    return margin_params(state) | known | humidity_params(state)


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
