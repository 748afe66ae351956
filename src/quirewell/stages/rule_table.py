"""The table of condition rules and the scale as tables of text (CSV): read, laid over, written.

Columns of rules are those of ``science/condition/rules.csv``, a row to a rule. A user's table may
hold only the rows and columns that differ: what its header leaves out is taken from the built-in
rule of the same name. Columns of a scale: ``value`` and ``words``, from the lowest up.
"""

from __future__ import annotations

import csv
import hashlib
import io
import math
import re
from collections.abc import Sequence
from functools import cache
from importlib import resources

from quirewell.record.cells import guarded
from quirewell.science.condition.rules import (
    SPREAD_CEILING,
    SPREAD_DEDUCT,
    Rule,
    RuleError,
    Rules,
)
from quirewell.science.condition.scale import Scale, Step
from quirewell.stages.plain_table import TableError, read_rows
from quirewell.stages.typed import Unreadable, number

COLUMNS = (
    "rule", "code", "term", "standard_term", "location", "measure", "unit", "over", "kind", "from",
    "per", "value", "cap", "spread", "note",
)  # fmt: skip
_NO_NUMBERS = ("standard_term",)  # columns that a digest leaves out
SCALE_COLUMNS = ("value", "words")
_VERSION = re.compile(r"^#\s*version\s+(?P<version>\S.*?)\s*$", re.MULTILINE)
_WORDS = {"rule": "id", "code": "code", "term": "term", "standard_term": "standard_term",
          "location": "location", "unit": "unit", "measure": "measure", "over": "over",
          "kind": "kind", "note": "note"}  # fmt: skip
_NUMBERS = {"from": "start", "per": "per", "value": "value", "cap": "cap", "spread": "spread"}
_MAY_BE_EMPTY = ("term", "standard_term", "measure", "note")
_MOST = 60


@cache
def built_in() -> Rules:
    """The rules that come with the tool."""
    place = resources.files("quirewell.science.condition") / "rules.csv"
    text = place.read_text(encoding="utf-8")
    return Rules(read_rules(text), version_of(text))


def version_of(text: str) -> str:
    """What the remark "# version .." of a table says; empty where there is none."""
    found = _VERSION.search(text)
    return found["version"][:_MOST] if found else ""


def rules_in_force(own: str = "") -> Rules:
    """The built-in rules with a user's table laid over them.

    Raises:
        TableError: in a sentence with line and column.
    """
    if not own.strip():
        return built_in()
    rows = read_rules(own, built_in())
    said = version_of(own) or "without a version"
    whole = {rule.id for rule in rows} >= {rule.id for rule in built_in().rows}
    version = said if whole else f"{built_in().version}, with own rows {said}"
    try:
        return built_in().laid_over(rows, version)
    except RuleError as error:
        raise TableError(f"{error}") from error


def read_rules(text: str, base: Rules | None = None) -> tuple[Rule, ...]:
    """Rules from a table; columns that its header leaves out are taken from ``base``.

    Raises:
        TableError: in a sentence with line and column.
    """
    known = {rule.id: rule for rule in base.rows} if base else {}
    out: list[Rule] = []
    for line, row in read_rows(text, COLUMNS, ("rule",), "a table of rules"):
        if any(rule.id == row["rule"] for rule in out):
            raise TableError(f"line {line}: rule {row['rule'][:_MOST]!r} is there twice")
        try:
            out.append(_rule(row, known.get(row["rule"])))
        except RuleError as error:
            raise TableError(f"line {line}: {error}") from error
    return tuple(out)


def _rule(row: dict[str, str], before: Rule | None) -> Rule:
    if not row["rule"]:
        raise RuleError("rule is empty; give each rule a name of its own")
    kind = row.get("kind", before.kind if before else "")
    if kind == "off" and before is None and not row.get("code"):
        raise RuleError(f"rule {row['rule'][:_MOST]!r} cannot be switched off: there is none")
    words: dict[str, str] = {}
    numbers: dict[str, float] = {}
    for column, name in _WORDS.items():
        if row.get(column) or (column in row and column in _MAY_BE_EMPTY):
            words[name] = row[column]
        elif before is not None and (column not in row or kind == "off"):
            words[name] = str(getattr(before, name))
    usual = {"cap": math.inf, "spread": _usual_spread(kind), "per": 1.0}
    for column, name in _NUMBERS.items():
        if row.get(column):
            numbers[name] = _number(row[column], column)
        elif before is not None and (column not in row or kind == "off"):
            numbers[name] = float(getattr(before, name))
        else:
            numbers[name] = usual.get(column, 0.0)
    if kind in ("ceiling", "deduct", "offset") and before is None and not row.get("value"):
        raise RuleError(f"value is empty: say how many points this {kind} is about")
    missing = [column for column, name in (("code", "code"), ("kind", "kind")) if name not in words]
    if missing and kind not in ("offset", "off"):
        raise RuleError(f"{missing[0]} is empty; a new rule needs rule, code, kind and value")
    words.setdefault("code", "")
    return Rule(**words, **numbers)  # type: ignore[arg-type]


def _usual_spread(kind: str) -> float:
    return {"deduct": SPREAD_DEDUCT, "ceiling": SPREAD_CEILING}.get(kind, 0.0)


def _number(text: str, column: str) -> float:
    try:
        return float(number(text))
    except Unreadable as error:
        raise RuleError(f"{column} is {text[:_MOST]!r}, which is no number; write 2.5") from error


def write_rules(rules: Rules, remark: str = "", columns: Sequence[str] = COLUMNS) -> str:
    """The table as text that :func:`read_rules` reads back as the same rules."""
    out = io.StringIO()
    out.write(f"# version {rules.version}\n" if rules.version else "")
    out.write("".join(f"# {line}\n" for line in remark.splitlines()))
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    for rule in rules.rows:
        writer.writerow([
            _plain(getattr(rule, _NUMBERS[column])) if column in _NUMBERS
            else guarded(getattr(rule, _WORDS[column]))
            for column in columns
        ])  # fmt: skip
    return out.getvalue()


def _plain(value: float) -> str:
    return "" if math.isinf(value) else repr(value).removesuffix(".0")


def digest(rules: Rules, scale: Scale) -> str:
    """SHA-256 of table and scale as written, which neither the order of rows touches nor a word
    that no number hangs on."""
    columns = [one for one in COLUMNS if one not in _NO_NUMBERS]
    text = write_rules(Rules(rules.rows), columns=columns) + write_scale(scale)
    return hashlib.sha256(text.encode()).hexdigest()


def read_scale(text: str) -> Scale:
    """A user's own scale.

    Raises:
        TableError: in a sentence with line and column.
    """
    steps: list[Step] = []
    for line, row in read_rows(text, SCALE_COLUMNS, SCALE_COLUMNS, "a scale"):
        try:
            value = float(number(row["value"]))
        except Unreadable as error:
            raise TableError(f"line {line}: value: {error}") from error
        if not 0 <= value <= 10:
            raise TableError(
                f"line {line}: value lies between 0 and 10, got {row['value'][:_MOST]}"
            )
        if not row["words"]:
            raise TableError(f"line {line}: words are empty; say what {value:g} is called")
        steps.append(Step(value, row["words"][:_MOST]))
    try:
        return Scale(tuple(steps))
    except ValueError as error:
        raise TableError(f"a scale: {error}") from error


def write_scale(scale: Scale) -> str:
    """The scale as text that :func:`read_scale` reads back."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(SCALE_COLUMNS)
    writer.writerows([_plain(step.value), guarded(step.words)] for step in scale.steps)
    return out.getvalue()
