"""What commands print: findings as nested JSON or as a short table, and faults as sentences."""

from __future__ import annotations

import json
import math
import sys
import textwrap
from collections.abc import Iterable
from typing import Any, NoReturn

import click

from quirewell.record.finding import Finding, Run
from quirewell.stages.asking import NAMES, PLUS_MINUS_SAYS, say

WIDTH = 88


def nest(run: Run) -> dict[str, Any]:
    """Findings of a run by their dotted names, and its warnings.

    "leaf.width_mm" becomes ``{"leaf": {"width_mm": {"value", "u", "unit", ..}}}``; a finding in
    words becomes its words, or a null value with its ``text`` where a number was to be expected.
    """
    out: dict[str, Any] = {}
    for finding in run.findings:
        *above, last = finding.quantity.split(".")
        place = out
        for name in above:
            place = place.setdefault(name, {})
        place[last] = entry(finding)
    out["warnings"] = list(run.warnings)
    return out


def entry(finding: Finding) -> Any:
    """One finding as JSON."""
    if finding.value is None:
        if not finding.unit:
            return finding.text
        return {"value": None, "u": None, "unit": finding.unit, "text": finding.text}
    out = finding.measured().as_json()
    if finding.text:
        out["text"] = finding.text
    if finding.note:
        out["note"] = finding.note
    return out


def print_json(data: Any) -> None:
    """JSON on standard output, whole numbers and infinities as JSON allows them."""
    click.echo(json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False))


def fail(says: str, wants_json: bool) -> NoReturn:
    """Say what is wrong on standard error, with ``--json`` also as ``{"error": ..}``; exit 2."""
    if wants_json:
        print_json({"error": says})
    click.echo(f"quirewell: {says}", err=True)
    sys.exit(2)


def rounded(value: float, u: float) -> str:
    """A value to the digit that its uncertainty allows: two figures of u.

    >>> rounded(168.42371, 0.0312)
    '168.424'
    >>> rounded(12345.6, 270.0)
    '12350'
    """
    if u <= 0 or not math.isfinite(u):
        return f"{value:g}"
    digits = 1 - math.floor(math.log10(u))
    return f"{round(value, digits):.{max(digits, 0)}f}"


def table(findings: Iterable[Finding]) -> list[str]:
    """Lines "name  value +- 2u unit" for measured findings, "name  words" for others; no "+-" for
    a count, which is exact, and where no uncertainty is known."""
    lines = []
    for finding in findings:
        name = NAMES.get(finding.quantity, finding.quantity)
        if finding.value is None:
            said = finding.text
        elif not finding.u:
            said = say(finding.value, None, finding.unit)
        else:
            double = 2.0 * finding.u
            said = f"{rounded(finding.value, double)} ± {rounded(double, double)} {finding.unit}"
        lines.append(f"  {name:<38} {said}".rstrip())
    return lines


def paragraphs(title: str, sentences: Iterable[str]) -> list[str]:
    """A titled list of sentences; nothing when there are none."""
    items = [
        textwrap.fill(says, WIDTH, initial_indent="  - ", subsequent_indent="    ")
        for says in sentences
    ]
    return ["", title, *items] if items else []


__all__ = [
    "PLUS_MINUS_SAYS", "entry", "fail", "nest", "paragraphs", "print_json", "rounded", "table",
]  # fmt: skip
