"""How well the user's own instruments repeat: method ``evidence.repeatability``.

Parameters, all text: ``quantity``, ``instrument`` and ``unit``; ``groups``, a line a place and
moment with the readings taken of it: ``w03.outer.right before | 184.5 184.0``; ``step`` the
instrument's smallest step. What is found is the scatter of one reading (the standard deviation
under repeatability), never a calibration: an instrument that is off repeats as well as a true one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path

from quirewell.record.finding import Finding
from quirewell.record.measured import Term
from quirewell.record.nouns import ItemState, Reading
from quirewell.science.evidence.detectable import minimum_detectable_change
from quirewell.science.evidence.repeatability import Repeatability, pooled
from quirewell.stages.margins import counts
from quirewell.stages.methods import Outcome, method
from quirewell.stages.proving_change import EvidenceError, number
from quirewell.stages.proving_said import size_said, up
from quirewell.stages.typed_params import refuse_unknown

METHOD = "evidence.repeatability"
SOURCES = ("jcgm100",)
KNOWN = ("quantity", "instrument", "unit", "groups", "step")
EVENING = 10  # duplicates that one more evening brings (assumed)
MOST_GROUPS = 2000
# The air of the room is read at different times of an evening: no two readings are of one state.
NOT_REPEATED = frozenset(("temperature", "humidity"))


@method(METHOD, 1, "exact")
def repeatability(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Scatter of one reading, pooled over places read more than once, and what it can show."""
    refuse_unknown(params, KNOWN, f"{METHOD} knows no parameter")
    read = _groups(params.get("groups", ""))
    step = number(params["step"], "step") if params.get("step", "").strip() else None
    if step is not None and not step > 0:
        raise EvidenceError(f"the step is above 0, got {step}")
    found = pooled(read, step)
    unit, key = params.get("unit", ""), params.get("quantity", "")
    subject = f"{key}: {params['instrument']}" if params.get("instrument") else key
    floor = float(step) / math.sqrt(12) if step is not None else 0.0
    used = max(found.s_r, floor)
    count = sum(len(group) for group in read)
    note = f"{count} readings of {len(read)} places, {found.dof:g} degrees of freedom"
    findings = [
        Finding(
            "", "repeat.s_r", subject, used, used * found.u_rel, unit, sources=SOURCES,
            note=f"{note}; {_holds(found, step, unit)}",
            terms=(Term("scatter", found.s_r, note), Term("resolution", floor, _steps(step))),
        ),
        Finding("", "repeat.duplicates", subject, float(found.dof), 0.0, "1", sources=SOURCES,
                note="readings beyond the first of each place"),
    ]  # fmt: skip
    for readings in (1, 2, 4):
        seen = minimum_detectable_change(used, readings, readings)
        findings.append(
            Finding("", f"repeat.mdc_{readings}", subject, seen, seen * found.u_rel, unit,
                    sources=SOURCES,
                    note=f"smallest difference of two means of {readings} that is no scatter")
        )  # fmt: skip
    more = 1 / math.sqrt(2 * (found.dof + EVENING))
    findings.append(
        Finding("", "repeat.one_more_evening", subject, 100 * more, None, "%", sources=SOURCES,
                standing="published",
                note=f"how well the scatter is then known, with {EVENING} more duplicates; now "
                     f"{100 * found.u_rel:.0f} %")
    )  # fmt: skip
    says = (
        f"one reading scatters by {size_said(up(used), unit)} (standard deviation, known to "
        f"{100 * found.u_rel:.0f} %); two readings differ beyond chance from "
        f"{size_said(up(minimum_detectable_change(used)), unit)} on"
    )
    findings.insert(0, Finding("", "repeat.says", subject, text=says, sources=SOURCES))
    return Outcome(tuple(findings), _warnings(found))


def _holds(found: Repeatability, step: Decimal | None, unit: str) -> str:
    if found.resolution_holds and step is not None:
        return f"rounding to {step} {unit} hides what is smaller".replace("  ", " ")
    return "pooled over places"


def _steps(step: Decimal | None) -> str:
    return "step not known" if step is None else f"steps of {step}"


def _warnings(found: Repeatability) -> tuple[str, ...]:
    out = [
        "Read the second time without seeing the first; a reading that is remembered repeats "
        "itself and shows no scatter.",
        "This is how the instrument repeats, not whether it is right: one that is off repeats as "
        "well as a true one.",
    ]
    if found.dof < 5:
        out.append(
            "Few duplicates: the scatter may in truth be up to "
            f"{found.high95 / found.s_r:.1f} times as large."
            if found.s_r > 0 and math.isfinite(found.high95)
            else "Few duplicates: the scatter is hardly known."
        )
    return tuple(out)


def groups(state: ItemState) -> dict[tuple[str, str], tuple[tuple[Reading, ...], ...]]:
    """Readings of one place and moment taken more than once, by quantity and instrument."""
    held: dict[tuple[str, str], dict[tuple[str, str], list[Reading]]] = {}
    for one in state.readings.values():
        if one.quantity in NOT_REPEATED or one.off_scale or not counts(one):
            continue
        tool = one.instrument or one.method
        mine = held.setdefault((one.quantity, tool), {})
        mine.setdefault((one.place, one.moment or ""), []).append(one)
    out = {}
    for key, places in held.items():
        repeated = tuple(tuple(group) for group in places.values() if len(group) > 1)
        if repeated:
            out[key] = repeated
    return out


def _groups(text: str) -> tuple[tuple[Decimal, ...], ...]:
    out = []
    for line in text.splitlines():
        if not line.strip():
            continue
        _, sep, values = line.partition("|")
        read = tuple(number(part, line) for part in values.split())
        if not sep or len(read) < 2:
            raise EvidenceError(
                f"{line[:60]!r} holds no duplicates; write: place | reading reading"
            )
        out.append(read)
    if not out:
        raise EvidenceError("nothing was read twice; read one place twice at one moment")
    if len(out) > MOST_GROUPS:
        raise EvidenceError(f"at most {MOST_GROUPS} places, got {len(out)}")
    return tuple(out)
