"""A table of rules: what each kind of damage costs on the ten-point scale.

All numbers are starting values (common practice, no source) and every one can be replaced. A rule
counts one measure of one kind of damage (its ``code``) in one unit:

- ``ceiling``: from ``start`` on the grade is at most ``value``;
- ``deduct``: ``value`` points for each ``per`` beyond ``start``, at most ``cap``;
- ``flag``: from ``start`` on the note is said, no points;
- ``separate``: a treatment that was done. It is told beside the grade and never deducted;
- ``unseen``: a part that was not looked at may hide about ``value`` points (in the band only);
- ``offset``: whoever grades is stricter (-) or milder (+) by ``value`` points;
- ``off``: the rule is switched off.

``standard_term`` is a general word for the alteration and touches no number. ``spread`` says how
unsure the rule itself is: of a deduction as a share of it (standard deviation of the logarithm), of
a ceiling and an offset in points.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

TOP = 10.0
KINDS = ("ceiling", "deduct", "flag", "separate", "unseen", "offset", "off")
LOCATIONS = ("cover", "interior", "spine", "any")
OVER = ("sum", "largest")
UNITS = {
    "mm": "millimetres", "mm2": "square millimetres", "pct": "per cent", "n": "a count",
    "step": "steps of your own tone card", "dE": "a colour difference (CIEDE2000)",
    "flag": "present or not",
}  # fmt: skip
# A user's true weights about the starting ones (the planted truth of docs/science/condition.md).
SPREAD_DEDUCT = 0.4
SPREAD_CEILING = 0.5


_NAME = re.compile(r"[a-z0-9][a-z0-9_-]{0,59}")


class RuleError(ValueError):
    """A rule that cannot be; the message names its column first."""


@dataclass(frozen=True, slots=True)
class Rule:
    """One row of the table; see the module's text. ``term`` is the record's word for the damage."""

    id: str
    code: str
    kind: str
    location: str = "any"
    unit: str = "flag"
    measure: str = ""
    over: str = "sum"
    start: float = 0.0
    per: float = 1.0
    value: float = 0.0
    cap: float = math.inf
    spread: float = 0.0
    term: str = ""
    note: str = ""
    standard_term: str = ""

    def __post_init__(self) -> None:
        for column, word, known in (
            ("kind", self.kind, KINDS), ("location", self.location, LOCATIONS),
            ("unit", self.unit, tuple(UNITS)), ("over", self.over, OVER),
        ):  # fmt: skip
            if word not in known:
                raise RuleError(f"{column} is one of {', '.join(known)}, got {word[:40]!r}")
        if not self.id or (not self.code and self.kind not in ("offset", "off")):
            raise RuleError("rule and code must not be empty")
        for column, name in (("rule", self.id), ("code", self.code or "none")):
            if not _NAME.fullmatch(name):
                raise RuleError(
                    f"{column} is small letters, figures, - and _, as in tear_cover; got "
                    f"{name[:40]!r}"
                )
        for column, number in (("from", self.start), ("per", self.per), ("cap", self.cap),
                               ("spread", self.spread)):  # fmt: skip
            if math.isnan(number) or number < 0:
                raise RuleError(f"{column} is 0 or more, got {number:g}")
        if self.kind != "offset" and not 0 <= self.value <= TOP:
            raise RuleError(f"value lies between 0 and 10 points, got {self.value:g}")
        if self.kind == "offset" and not -5 <= self.value <= 5:
            raise RuleError(f"value of an offset lies between -5 and 5 points, got {self.value:g}")
        if self.kind == "deduct" and self.per == 0:
            raise RuleError("per is above 0: points are taken for each so many units")
        if self.kind in ("ceiling", "flag") and self.start == 0:
            raise RuleError(f"from is above 0 for a {self.kind}, or it would hold without damage")
        if self.kind == "deduct" and self.spread > 2:
            raise RuleError(f"spread of a deduction is a share up to 2, got {self.spread:g}")
        if self.kind in ("ceiling", "offset") and self.spread > 5:
            raise RuleError(f"spread is up to 5 points, got {self.spread:g}")

    def counts(self, location: str) -> bool:
        """Whether damage at ``location`` (cover, interior, spine; empty: not said) is counted."""
        return self.location == "any" or self.location == location


@dataclass(frozen=True)
class Rules:
    """A table in force: rules by id, in the order of their ids, and the version it carries."""

    rows: tuple[Rule, ...]
    version: str = ""

    def __post_init__(self) -> None:
        ids = [rule.id for rule in self.rows]
        for id in ids:
            if ids.count(id) > 1:
                raise RuleError(f"rule {id!r} is there twice; give each rule a name of its own")
        if sum(rule.kind == "offset" for rule in self.rows) > 1:
            raise RuleError("kind offset is there twice; one table has one offset")
        object.__setattr__(self, "rows", tuple(sorted(self.rows, key=lambda rule: rule.id)))

    @cached_property
    def codes(self) -> dict[str, tuple[Rule, ...]]:
        """Rules of each code, those switched off too (so that the code stays known)."""
        out: dict[str, tuple[Rule, ...]] = {}
        for rule in self.rows:
            if rule.code:
                out[rule.code] = (*out.get(rule.code, ()), rule)
        return out

    def laid_over(self, own: Iterable[Rule], version: str = "") -> Rules:
        """This table with a user's rows over it: same id replaces, a new id adds, ``off`` switches
        off and keeps what the row was for.

        Raises:
            RuleError: an id twice in the rows given, or ``off`` for a rule that is not there.
        """
        rows = {rule.id: rule for rule in self.rows}
        seen: set[str] = set()
        for rule in own:
            if rule.id in seen:
                raise RuleError(f"rule {rule.id!r} is there twice; give each rule one row")
            seen.add(rule.id)
            before = rows.get(rule.id)
            if rule.kind == "off" and not rule.code:
                if before is None:
                    raise RuleError(f"rule {rule.id!r} cannot be switched off: there is none")
                rule = switched_off(before)
            rows[rule.id] = rule
        return Rules(tuple(rows.values()), version or self.version)


def switched_off(rule: Rule) -> Rule:
    """The rule, kept but without effect."""
    return Rule(
        rule.id, rule.code, "off", rule.location, rule.unit, rule.measure, rule.over, rule.start,
        rule.per, rule.value if rule.value >= 0 else 0.0, rule.cap, rule.spread, rule.term,
        rule.note, rule.standard_term,
    )  # fmt: skip
