"""The practice's own grading rules and scale: set, shown beside the built-in ones, each version
kept."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from quirewell.record.bench import BenchState
from quirewell.record.books import GradeRules
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import Retract
from quirewell.science.condition.rules import Rule
from quirewell.science.condition.scale import TRADE, Scale
from quirewell.stages.books import Form, made
from quirewell.stages.plain_table import MOST_CHARACTERS, TableError
from quirewell.stages.refusal import refused
from quirewell.stages.rule_table import (
    built_in,
    digest,
    read_scale,
    rules_in_force,
    version_of,
    write_rules,
    write_scale,
)
from quirewell.stages.standard_terms import STANDING, TERMS
from quirewell.studio.studio import STUDIO

_UNITS = {"mm": "mm", "mm2": "mm²", "pct": "%", "n": "", "step": "step", "dE": "ΔE"}
PRACTICE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class RuleLine:
    """A rule in words; ``own`` where an own row stands in place of the built-in one."""

    rule: str
    damage: str
    where: str
    measured: str
    does: str
    general: str
    own: bool


@dataclass(frozen=True, slots=True)
class Kept:
    """Rules as they were set once."""

    id: str
    on: str
    version: str
    says: str
    note: str
    in_force: bool


@dataclass(frozen=True, slots=True)
class RulesView:
    """The rules in force, where they come from, and every version kept."""

    lines: tuple[RuleLine, ...]
    steps: tuple[tuple[str, str], ...]
    says: str
    rules: str
    scale: str
    adding: str
    kept: tuple[Kept, ...]
    terms: Mapping[str, str]
    terms_standing: str


def view(bench: BenchState) -> RulesView:
    """The page's data."""
    own = bench.grading() or GradeRules("")
    rules, scale = rules_in_force(own.rules), _scale(own.scale)
    usual = {rule.id: rule for rule in built_in().rows}
    lines = tuple(_line(rule, rule != usual.get(rule.id)) for rule in rules.rows)
    says = f"Rules in force: version {rules.version}, sha256 {digest(rules, scale)[:16]}"
    says += f", set on {own.on}." if own.on else "."
    if own.adding == "root":
        says += " Kinds of damage add up by the root of their squares."
    return RulesView(
        lines, tuple((f"{step.value:g}", step.words) for step in scale.steps), says, own.rules,
        own.scale, own.adding,
        tuple(_kept(one, one.id == own.id) for one in reversed(bench.grade_rules.values())),
        TERMS, STANDING,
    )  # fmt: skip


def _scale(text: str) -> Scale:
    return read_scale(text) if text.strip() else TRADE


def _kept(one: GradeRules, in_force: bool) -> Kept:
    rules, scale = rules_in_force(one.rules), _scale(one.scale)
    usual = set(built_in().rows)
    count = sum(rule not in usual for rule in rules.rows)
    rows = "no own row" if not count else "one own row" if count == 1 else f"{count} own rows"
    steps = f"{len(scale.steps)} own steps" if one.scale.strip() else "the usual scale"
    root = ", added by root" if one.adding == "root" else ""
    return Kept(one.id, one.on, rules.version, f"{rows}, {steps}{root}", one.note, in_force)


def _line(rule: Rule, own: bool) -> RuleLine:
    return RuleLine(
        rule.id, (rule.code or rule.kind).replace("_", " "), rule.location, rule.measure,
        does(rule), rule.standard_term, own,
    )  # fmt: skip


def does(rule: Rule) -> str:
    """What a rule does, in words.

    >>> does(Rule("t", "tear_cover", "deduct", "cover", "mm", value=0.03, spread=0.4))
    '0.03 off for each mm; give or take 40 %'
    >>> does(Rule("s", "spine_split", "ceiling", "spine", "pct", start=50, value=2.5, spread=0.5))
    'at most 2.5 from 50 % on; give or take 0.5'
    """
    unit = _UNITS.get(rule.unit, "")
    start = f"{rule.start:g} {unit}".rstrip()
    if rule.kind == "ceiling":
        held = "" if rule.unit == "flag" else f" from {start} on"
        return f"at most {rule.value:g}{held}; give or take {rule.spread:g}"
    if rule.kind == "deduct":
        if rule.unit == "flag":
            each = ""
        else:
            much = unit if rule.per == 1 and unit else f"{rule.per:g} {unit}".rstrip()
            over = f" beyond {start}" if rule.start else ""
            largest = ", the largest counts" if rule.over == "largest" else ""
            each = f" for each {much}{over}{largest}"
        cap = "" if math.isinf(rule.cap) else f", at most {rule.cap:g}"
        return f"{rule.value:g} off{each}{cap}; give or take {100 * rule.spread:.0f} %"
    return {
        "flag": "said first; no points",
        "separate": "a treatment: told, never deducted",
        "unseen": f"not looked at: may hide about {rule.value:g}",
        "offset": f"whoever grades: {rule.value:+g}; give or take {rule.spread:g}",
        "off": "switched off",
    }[rule.kind]


def set_rules(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """Own rows (``rules``), an own ``scale`` and ``adding``, kept as a version of their own; all
    empty sets the built-in ones again.

    Raises:
        Refusal: a table that cannot be, at its box with its line; or nothing changed.
    """
    texts = {}
    for name in ("rules", "scale"):
        text = form.get(name, "").replace("\r\n", "\n").strip()
        if len(text) > MOST_CHARACTERS:
            raise refused(form, name, f"a table has at most {MOST_CHARACTERS} characters")
        texts[name] = text + "\n" if text else ""
    try:
        rules_in_force(texts["rules"])
    except TableError as error:
        raise refused(form, "rules", f"{error}") from error
    try:
        _scale(texts["scale"])
    except TableError as error:
        raise refused(form, "scale", f"{error}") from error
    adding = "root" if form.get("adding") == "root" else ""
    before = bench.grading() or GradeRules("")
    if (texts["rules"], texts["scale"], adding) == (before.rules, before.scale, before.adding):
        raise refused(form, "rules", "these are the rules in force already; nothing was changed")
    number = bench.version + 1
    day = form.get("today", "")
    if texts["rules"] and not version_of(texts["rules"]):
        texts["rules"] = f"# version {number} of {day}".rstrip(" of") + f"\n{texts['rules']}"
    body = {"id": f"rules-{number}", **texts, "adding": adding, "on": day,
            "note": form.get("note", "").strip()[:500]}  # fmt: skip
    return (Draft(STUDIO, "grade_rules.set", made(GradeRules, body, form, "rules")),)


def set_aside(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """Set one version aside: ``id``; the newest that is left is in force.

    Raises:
        Refusal: no such version.
    """
    if form.get("id", "") not in bench.grade_rules:
        raise refused(form, "id", "there is no such version; it may have been set aside meanwhile")
    return (Draft(STUDIO, "record.retracted", to_body(Retract(form["id"]))),)


def table(bench: BenchState, name: str) -> str:
    """A table to keep as a file: ``built-in``, ``in-force`` or ``scale``.

    Raises:
        KeyError: another name.
    """
    own = bench.grading() or GradeRules("")
    if name == "scale":
        return write_scale(_scale(own.scale))
    rules = {"built-in": built_in(), "in-force": rules_in_force(own.rules)}[name]
    return write_rules(rules, f"Starting values ({PRACTICE}): every number can be replaced.")
