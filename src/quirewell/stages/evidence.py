"""The evidence of an item: what goes into each verdict, and the command that works it out.

Sizes and tones come from the comparison of scans, page by page, where pages were scanned at both
moments; else from readings of a rule. For one quantity one way of measuring is taken, the one that
reaches most leaves; what was left out is told. A run keeps all it was made of, so that it can be
made again, and is out of date once the record would make it otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from statistics import fmean

from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.finding import Finding, Input, Run
from quirewell.record.nouns import ItemState, Reading
from quirewell.science.evidence.repeatability import pooled
from quirewell.science.evidence.uncertainty import rectangular
from quirewell.science.paper.expansion import (
    HYGROMETER_LIMIT_PCT_RH,
    ROOM_SWING_PCT_RH,
    across_grain,
    humidity_term,
)
from quirewell.science.paper.isotherm import water_content
from quirewell.stages import proving_change, proving_readings, proving_steps
from quirewell.stages.evidence_table import EVIDENCE, Evidence
from quirewell.stages.margins import counts, margin_for
from quirewell.stages.methods import find_method, run_method
from quirewell.stages.naming import leaf_of
from quirewell.stages.reading_entry import PH_METHODS, QUANTITIES
from quirewell.stages.refusal import Problem, Refusal
from quirewell.stages.results import PageResult, page_results
from quirewell.stages.survey import humidity_params

METHODS = (proving_change.METHOD, proving_steps.METHOD, proving_readings.METHOD)
_OWN = frozenset(("match",))  # terms of a pair that are each page's own; all others may be common


@dataclass(frozen=True, slots=True)
class Ask:
    """A run to be made: method, subject, inputs and parameters."""

    method: str
    subject: str
    inputs: tuple[Input, ...]
    params: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Rows:
    """Values by unit, what they were read from, and what is known of their uncertainty.

    ``size`` is the mean before, where known; ``shared`` and ``own`` name, size and basis.
    """

    values: Mapping[str, str]
    inputs: tuple[Input, ...]
    source: str
    size: float | None = None
    step: Decimal | None = None
    shared: tuple[tuple[str, float, str], ...] = ()
    own: tuple[tuple[str, float, str], ...] = ()
    told: tuple[str, ...] = ()


def asks(state: ItemState) -> tuple[Ask, ...]:
    """Every run the record can make now: instruments, then each quantity in the table's order."""
    pages = page_results(state)
    found = [*_repeats(state)]
    for about in EVIDENCE.values():
        rows = rows_of(state, about, pages)
        if rows is not None:
            found.append(_ask(state, about, rows))
    return tuple(found)


def out_of_date(state: ItemState) -> tuple[Ask, ...]:
    """Runs that are not in the record as they would be made now."""
    out = []
    for one in asks(state):
        run = state.newest_run(one.method, one.subject)
        made = run and (dict(run.params), run.inputs, run.version)
        if made != (dict(one.params), one.inputs, find_method(one.method).version):
            out.append(one)
    return tuple(out)


def work_out(state: ItemState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """Work out all evidence that is new or out of date, and keep the runs.

    Raises:
        Refusal: nothing was measured before and after; or what cannot be judged.
    """
    if not asks(state):
        says = (
            "Nothing was measured before and after treatment yet. Read the width and height of a "
            "few leaves with a steel rule, or scan them, at both moments."
        )
        raise Refusal((Problem("", says),), values=dict(form))
    try:
        runs = [run_method(one.method, one.subject, {}, one.inputs, one.params)
                for one in out_of_date(state)]  # fmt: skip
    except ValueError as error:
        raise Refusal((Problem("", f"{error}."),), values=dict(form)) from error
    return tuple(Draft(state.id, "run.recorded", to_body(run)) for run in runs)


def newest(state: ItemState, about: Evidence) -> Run | None:
    """The newest verdict on a quantity; None where none was worked out."""
    return state.newest_run(_method(about), about.key)


def briefly(state: ItemState) -> tuple[tuple[str, str], ...]:
    """Each quantity that has a verdict, with it in one sentence."""
    out = []
    for about in EVIDENCE.values():
        run = newest(state, about)
        verdict = _finding(run, "evidence.verdict")
        if verdict is not None:
            out.append((about.name, verdict.text))
    return tuple(out)


def _method(about: Evidence) -> str:
    return proving_steps.METHOD if about.steps else proving_change.METHOD


def _ask(state: ItemState, about: Evidence, rows: Rows) -> Ask:
    margin, says, told = margin_for(state, about, rows.size)
    lines = [line for line in (*rows.told, told) if line]
    params = {
        "quantity": about.key,
        "unit": about.unit,
        "values": "\n".join(f"{unit} | {row}" for unit, row in rows.values.items()),
        "step": "" if rows.step is None else str(rows.step),
        "shared": _lines(rows.shared),
        "own": _lines(rows.own),
        "margin": "" if margin is None else str(margin),
        "margin_says": says,
        "source": rows.source,
        "told": "\n".join(lines),
    }
    known = {name: text for name, text in params.items() if text}
    return Ask(_method(about), about.key, rows.inputs, known)


def _lines(terms: Iterable[tuple[str, float, str]]) -> str:
    return "\n".join(f"{name} | {size:.6g} | {basis}" for name, size, basis in terms)


def rows_of(state: ItemState, about: Evidence, pages: tuple[PageResult, ...]) -> Rows | None:
    """What was measured of a quantity at both moments, the way that reaches most leaves."""
    ways = [
        rows
        for rows in (_pairs(about, pages), _leaves(state, about, pages), _typed(state, about))
        if rows is not None
    ]
    if not ways:
        return None
    best = max(ways, key=lambda rows: len(rows.values))
    others = [rows for rows in ways if rows is not best and rows.source != best.source]
    told = tuple(
        f"Beside this it was measured otherwise ({rows.source}) on {len(rows.values)} "
        f"{'place' if len(rows.values) == 1 else 'places'}, which is not mixed in."
        for rows in others
        if rows.source.startswith("read") or not about.pair
    )
    return Rows(
        best.values, best.inputs, best.source, best.size, best.step, best.shared, best.own,
        best.told + told,
    )  # fmt: skip


def _block(places: Mapping[str, object]) -> tuple[set[str], tuple[str, ...]]:
    """Units that count: a cover is another paper, and stands apart where there are wraps."""
    inside = {place for place in places if not place.startswith("c")}
    if not inside or len(inside) == len(places):
        return set(places), ()
    return inside, ("The cover is another paper and is not counted among the leaves.",)


def _pairs(about: Evidence, pages: tuple[PageResult, ...]) -> Rows | None:
    """Changes that the comparison of scans found, in the unit of the quantity."""
    found: dict[str, list[tuple[float, Finding, float]]] = {}
    for page in pages if about.pair else ():
        change = _finding(page.pair, about.pair)
        length = page.at("before", about.leaf).value if about.pct else 100.0
        if change is None or change.value is None or length is None:
            continue
        scale = length / 100
        found.setdefault(page.leaf, []).append((change.value * scale, change, scale))
    units, told = _block(found)
    found = {unit: rows for unit, rows in found.items() if unit in units}
    if not found:
        return None
    terms: dict[str, list[tuple[float, str]]] = {}
    for rows in found.values():
        for _, change, scale in rows:
            for name, size, basis in _terms(change):
                terms.setdefault(name, []).append((size * scale, basis))
    named = [
        (name, fmean(size for size, _ in parts), parts[0][1])
        for name, parts in terms.items()
    ]  # fmt: skip
    size = fmean(100 * scale for rows in found.values() for _, _, scale in rows)
    return Rows(
        {unit: " ".join(f"{value:.6f}" for value, _, _ in rows) for unit, rows in found.items()},
        tuple(Input("change", change.id) for rows in found.values() for _, change, _ in rows),
        "scans compared page by page, the pages of a leaf averaged",
        size if about.pct else None,
        shared=tuple(one for one in named if one[0] not in _OWN),
        own=tuple(one for one in named if one[0] in _OWN),
        told=told,
    )  # fmt: skip


def _terms(change: Finding) -> list[tuple[str, float, str]]:
    """A change's budget; one that names no terms may be off on every page alike."""
    if change.terms or not change.u:
        return [(term.name, term.u, term.basis) for term in change.terms]
    return [("colour", change.u, "the scanner's colour from one day to another, on every page")]


def _finding(run: Run | None, quantity: str) -> Finding | None:
    if run is None:
        return None
    return next((one for one in run.findings if one.quantity == quantity), None)


def _leaves(state: ItemState, about: Evidence, pages: tuple[PageResult, ...]) -> Rows | None:
    """Measured on single scans at both moments, where they were not compared (or cannot be)."""
    sides: dict[str, tuple[list[Finding], list[Finding]]] = {}
    for page in pages if about.leaf else ():
        one, two = (_finding(run, about.leaf) for run in (page.before, page.after))
        if one is None or two is None or one.value is None or two.value is None:
            continue
        before, after = sides.setdefault(page.leaf, ([], []))
        before.append(one)
        after.append(two)
    units, told = _block(sides)
    sides = {unit: both for unit, both in sides.items() if unit in units}
    if not sides:
        return None
    every = [one for both in sides.values() for side in both for one in side]
    size = fmean(one.value or 0.0 for one in every)
    shared = [
        (name, math.sqrt(2) * fmean(t.u for one in every for t in one.terms if t.name == name),
         f"of each of the two scans: {basis}")
        for name, basis in {t.name: t.basis for one in every for t in one.terms}.items()
        if name in ("scale", "scanner")
    ]  # fmt: skip
    return Rows(
        {
            unit: " | ".join(" ".join(f"{one.value:.6f}" for one in side) for side in both)
            for unit, both in sides.items()
        },
        tuple(Input("size", one.id) for one in every),
        "measured on single scans, the pages of a leaf averaged",
        size, shared=(*shared, *air_terms(state, about, size)),
        own=(("edges", _typical(every, ("edge", "edge bias")), "unevenness of the edges"),),
        told=told,
    )  # fmt: skip


def _typical(findings: list[Finding], names: tuple[str, ...]) -> float:
    squares = [sum(t.u**2 for t in one.terms if t.name in names) for one in findings]
    return math.sqrt(2 * fmean(squares))


def air_terms(
    state: ItemState, about: Evidence, size: float
) -> tuple[tuple[str, float, str], ...]:  # fmt: skip
    """What the air of the two moments may have done to all leaves alike."""
    read = {name: float(text) for name, text in humidity_params(state).items()}
    if about.key == "paper.mass_g":
        return (_water(read, size),)
    if not about.pct:
        return ()
    across = across_grain("height")[0 if "width" in about.key else 1]
    term = humidity_term(across, read.get("rh_before_pct"), read.get("rh_after_pct"))
    return (("humidity", term.u_pct / 100 * size, term.basis),)


def _water(read: Mapping[str, float], mass_g: float) -> tuple[str, float, str]:
    """Water that the air of the two moments puts into the paper [g]: the isotherm's slope between
    40 and 60 % RH times what the humidities may differ by; a difference that was read counts."""
    low, high = (float(water_content(20.0, rh)) for rh in (0.4, 0.6))
    each = (high - low) / 20 / (1 + (low + high) / 2)
    if read:
        apart = read["rh_after_pct"] - read["rh_before_pct"]
        differ = math.hypot(apart, math.sqrt(2) * rectangular(HYGROMETER_LIMIT_PCT_RH))
        basis = f"humidity read {read['rh_before_pct']:g} % and {read['rh_after_pct']:g} % RH"
    else:
        differ = rectangular(ROOM_SWING_PCT_RH)
        basis = f"humidity not recorded, +-{ROOM_SWING_PCT_RH:g} % RH assumed"
    return "humidity", mass_g * each * differ, basis


def _typed(state: ItemState, about: Evidence) -> Rows | None:
    """Readings as typed, of the same place at both moments, by the same way of reading."""
    groups: dict[tuple[str, bool], dict[str, tuple[list[Reading], list[Reading]]]] = {}
    off = 0
    for one in state.readings.values():
        if one.quantity != about.reading or one.moment is None or not counts(one):
            continue
        if one.off_scale:
            off += 1
            continue
        unit = leaf_of(one.place)
        group = groups.setdefault((one.method, len(unit.split(".")) == 3), {})
        group.setdefault(unit, ([], []))[one.moment == "after"].append(one)
    complete = [
        {unit: both for unit, both in group.items() if all(both)} for group in groups.values()
    ]
    sides = max(complete, key=len, default={})
    units, told = _block(sides)
    sides = {unit: both for unit, both in sides.items() if unit in units}
    if not sides:
        return None
    if off:
        told += (f"{off} off the instrument's scale: told, and no number to judge by.",)
    every = [one for both in sides.values() for side in both for one in side]
    tools = [sorted({one.instrument for both in sides.values() for one in both[at]})
             for at in (0, 1)]  # fmt: skip
    if tools[0] != tools[1] and all(any(names) for names in tools):
        told += (
            f"Before was read with {', '.join(filter(None, tools[0]))} and after with "
            f"{', '.join(filter(None, tools[1]))}: the error of a scale cancels only where the "
            "same instrument reads both.",
        )
    step = max(one.resolution or QUANTITIES[one.quantity].step for one in every)
    size = float(fmean(one.value for both in sides.values() for one in both[0]))
    method = every[0].method
    shared = [*air_terms(state, about, size)]
    if method in PH_METHODS:
        shared.append(("method", float(PH_METHODS[method].u), f"{method}: usual, no source"))
    return Rows(
        {
            unit: " | ".join(" ".join(str(one.value) for one in side) for side in both)
            for unit, both in sides.items()
        },
        tuple(Input(one.moment or "", one.id) for one in every),
        f"read{' by ' + method if method else ''}, kept as typed",
        size, step, tuple(shared),
        (("resolution", math.sqrt(2) * float(step) / math.sqrt(12), f"steps of {step}, twice"),
         *_reading(state, every[0], sides)),
        told,
    )  # fmt: skip


def _reading(
    state: ItemState, one: Reading, sides: Mapping[str, tuple[list[Reading], list[Reading]]]
) -> tuple[tuple[str, float, str], ...]:  # fmt: skip
    """Scatter of a leaf's own change, by what the same instrument's duplicates say."""
    read = proving_readings.groups(state).get((one.quantity, one.instrument or one.method))
    if not read:
        return ()
    found = pooled([[entry.value for entry in group] for group in read], one.resolution)
    share = fmean(1 / len(before) + 1 / len(after) for before, after in sides.values())
    basis = f"this instrument's own duplicates, {found.dof} of them"
    return (("reading", math.sqrt(share) * found.s_r, basis),)


def _repeats(state: ItemState) -> tuple[Ask, ...]:
    """Readings taken more than once of one place at one moment, by quantity and instrument."""
    out = []
    for (quantity, tool), groups in proving_readings.groups(state).items():
        every = [one for group in groups for one in group]
        step = max(one.resolution or QUANTITIES[quantity].step for one in every)
        params = {
            "quantity": quantity,
            "instrument": tool,
            "unit": every[0].unit,
            "step": str(step),
            "groups": "\n".join(
                f"{group[0].place} {group[0].moment or ''}".strip()
                + " | " + " ".join(str(one.value) for one in group)
                for group in groups
            ),
        }  # fmt: skip
        subject = f"{quantity}: {tool}" if tool else quantity
        out.append(
            Ask(proving_readings.METHOD, subject,
                tuple(Input("reading", one.id) for one in every),
                {name: text for name, text in params.items() if text})
        )  # fmt: skip
    return tuple(out)
