"""What the damage leaves of an item, in the report: an estimate by rules, with its band, what binds
it, and what repairs could gain, never without their risk and permanence. Nobody's grade."""

from __future__ import annotations

from typing import Any

from quirewell.record.finding import Finding, Run
from quirewell.record.nouns import ItemState
from quirewell.stages.asking import number_text
from quirewell.stages.grade_entry import damage_table
from quirewell.stages.repairs import REPAIRS
from quirewell.stages.results import Shown
from quirewell.stages.working import newest
from quirewell.stages.working_rows import WORKINGS

MOST_DEDUCTIONS = 6
CHANGED = (
    "The table it was worked out from is not what the record would give now; work it out again on "
    "the decide page to see what that changes."
)


def grade_part(state: ItemState) -> dict[str, Any]:
    """The newest estimate as plain data for the report; empty where none was asked for."""
    run = newest(state, WORKINGS["grade"])
    if run is None:
        return {}
    by: dict[str, list[Finding]] = {}
    for one in run.findings:
        by.setdefault(one.quantity.removeprefix("condition."), []).append(one)
    step, raw = by["grade"][0], by["raw"][0]
    binding = next((one.text for one in by.get("binding", [])), "")
    limits = by.get("limit", [])
    return {
        "facts": [
            ["On the scale", _number(step, f"{step.value:.1f}, {step.text}")],
            ["Before the scale", _number(raw, f"{raw.value:.2f} of 10 points")],
            ["90 % band", _number(raw, f"{raw.low90:.2f} to {raw.high90:.2f} points")],
            ["Band on the scale", _words(by["between"][0])],
            ["What binds it", _binds(limits, binding, by)],
        ],
        "flags": [_words(one) for one in by.get("flag", [])],
        "deductions": [
            [_off(one), _points(one), _band(one)]
            for one in by.get("deduction", [])[:MOST_DEDUCTIONS]
        ],
        "more": _more(by.get("deduction", [])[MOST_DEDUCTIONS:]),
        "limits": [_words(one) for one in limits],
        "repairs": _repairs(by, bool(binding)),
        "stays": [_words(one) for one in by.get("stays", [])],
        "told": [_words(one) for key in ("treatment", "unrated") for one in by.get(key, [])],
        "returns": [_words(one) for one in by.get("returns", [])],
        "narrows": _words(by["narrows"][0]),
        "rules": _words(by["rules"][0]),
        "changed": CHANGED if _moved_on(run, state) else "",
        "notes": [Shown(says, (f"run:{run.id}",), "sentence") for says in run.warnings],
    }


def _moved_on(run: Run, state: ItemState) -> bool:
    """Whether the record would begin the table otherwise now (nothing noted begins none)."""
    now = "\n".join(line.strip() for line in damage_table(state).splitlines() if line.strip())
    return bool(now) and now != run.params.get("defects", "")


def _binds(limits: list[Finding], binding: str, by: dict[str, list[Finding]]) -> Any:
    held = next((one for one in limits if one.subject == binding), None)
    if held is not None:
        return Shown(f"a ceiling: {held.text}", (held.id,), held.quantity, held.value, held.u)
    if by.get("deduction"):
        return "no ceiling; what is taken off, added up"
    return "nothing is taken off"


def _repairs(by: dict[str, list[Finding]], held: bool) -> list[list[Any]]:
    """A row to each repair: risk and what stays, whether it can be undone, and last its gain."""
    rows: list[tuple[float, list[Any]]] = []
    known = {one.step: one for one in REPAIRS}
    for gain in by.get("gain", []):
        repair = known.get(gain.subject)
        if repair is None or gain.value is None:
            continue
        nothing = held and (gain.high90 or 0.0) < 0.005
        told = f"{gain.value:.2f} ({gain.low90:.2f} to {gain.high90:.2f})"
        most = _number(gain, "nothing while the ceiling holds" if nothing else told)
        lasting = repair.permanence[:1].upper() + repair.permanence[1:] + "."
        rows.append((gain.value, [gain.text, f"{repair.risk} {repair.leaves}", lasting, most]))
    return [row for _, row in sorted(rows, key=lambda one: (-one[0], one[1][0]))]


def _off(one: Finding) -> Shown:
    """What a deduction is for: its sentence without the points."""
    return Shown(one.text.rsplit(": ", 1)[0], (one.id,), one.quantity)


def _more(rest: list[Finding]) -> Any:
    if not rest:
        return ""
    total = sum(one.value or 0.0 for one in rest)
    ids = tuple(one.id for one in rest)
    more = "one more, smaller" if len(rest) == 1 else f"{len(rest)} smaller ones"
    says = f"And {more}: {number_text(round(total, 2))} points in all."
    return Shown(says, ids, "condition.deduction")


def _points(one: Finding) -> Shown:
    return _number(one, f"{one.value:.2f}")


def _band(one: Finding) -> Shown:
    return _number(one, f"{one.low90:.2f} to {one.high90:.2f}")


def _number(one: Finding, text: str) -> Shown:
    return Shown(text, (one.id,), one.quantity, one.value, one.u, one.unit)


def _words(one: Finding) -> Shown:
    return Shown(one.text, (one.id,), one.quantity)
