"""A verdict on pairs in plain words: what is said, what it would take, what to know."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from quirewell.science.evidence.verdict import CHANGED, UNCHANGED, Verdict

_MOST_DIGITS = 9
NOT_THE_SAME = "That no change shows is not the same as that there is none."


@dataclass(frozen=True, slots=True)
class Shown:
    """How sizes are given out: as they are, or (``log``) as ratios after over before."""

    log: bool
    of: str = ""

    @property
    def unit(self) -> str:
        """The unit of what is given out."""
        return "1" if self.log else self.of

    def out(self, size: float) -> float:
        """A size, or a ratio."""
        return math.exp(size) if self.log else size

    def size(self, size: float, u: float, plus: bool = True) -> str:
        """A size in words, two figures of its uncertainty."""
        value = self.out(size)
        spread = abs(u) * (value if self.log else 1)
        digits = max(0, 1 - math.floor(math.log10(spread))) if 0 < spread < math.inf else 3
        sign = "+" if plus and not self.log else ""
        as_is = digits <= _MOST_DIGITS and abs(value) < 10**_MOST_DIGITS
        value = round(value, digits) + 0.0 if as_is else value
        said = f"{value:{sign}.{digits}f}" if as_is else f"{value:{sign}.3g}"
        said = said.replace("-", "\u2212")
        return f"{said} {self.of}".strip() if not self.log else said

    def margin(self, margin: float) -> str:
        """The margin in words."""
        if self.log:
            return f"a ratio of {math.exp(-margin):.6g} to {math.exp(margin):.6g}"
        return f"±{margin:g} {self.of}".strip()


@dataclass(frozen=True, slots=True)
class Table:
    """What there is to know of a table: leaves, rows, whether leaves are named, columns passed
    over, the last digit typed, and the step that all readings are whole numbers of."""

    leaves: int
    rows: int
    named: bool
    unused: tuple[str, ...]
    typed: Decimal
    common: Decimal


def verdict(found: Verdict, shown: Shown) -> str:
    """The verdict as sentences."""
    seen = found.equivalence
    u = seen.sd / math.sqrt(seen.pairs)
    mean = shown.size(seen.mean, u)
    low, high = shown.size(seen.low, u), shown.size(seen.high, u)
    what = "ratio after over before" if shown.log else "change"
    is_at = f"the mean {what} of {seen.pairs} leaves is {mean} (90 % interval {low} to {high})"
    margin = shown.margin(found.margin)
    none = "a ratio of 1" if shown.log else "zero"
    if found.word == UNCHANGED:
        more = (
            f" It did move, by less than matters: {none} lies outside the interval."
            if found.shifted
            else ""
        )
        return f"Unchanged within {margin}: {is_at}, all of it inside the margin.{more}"
    if found.word == CHANGED:
        where = (
            f"It lies wholly beyond the margin ({margin})."
            if found.beyond
            else f"It reaches across the margin ({margin}), so whether it matters cannot be told."
        )
        return f"Changed: {is_at}; {none} lies outside the interval. {where}"
    return (
        f"Cannot tell: {is_at}; {none} lies inside the interval, which reaches past the margin "
        f"({margin}). {NOT_THE_SAME}"
    )


def would_take(found: Verdict, scatter: Mapping[str, Any] | None, shown: Shown) -> list[str]:
    """What it would take to show "unchanged", and what could have been seen."""
    seen = found.equivalence
    u = seen.sd / math.sqrt(seen.pairs)
    smallest = shown.size(found.smallest_seen, u, plus=False)
    out = [
        f"A true change of {smallest} or more would have shown in 95 of 100 cases.",
        "The smallest margin that these readings pass is "
        f"{shown.size(seen.smallest_margin, u, plus=False)}.",
        f"If nothing changed in truth, {seen.pairs} leaves of this scatter pass the margin in "
        f"{_of_100(found.power)} of 100 cases.",
    ]
    if found.inside:
        return out
    if found.needed is None:
        out.append(
            "No number of leaves would show it with these readings; read more finely, or fix a "
            "wider margin before the next measuring."
        )
    else:
        out.append(f"For 80 of 100 it takes {found.needed} leaves if nothing changed in truth.")
        out.append(
            "If the mean seen is the truth, no number of leaves shows it within the margin."
            if found.needed_as_seen is None
            else f"If the mean seen is the truth it takes {found.needed_as_seen}."
        )
    if scatter is not None and found.needed is not None:
        out.append(_more_of_what(scatter))
    return out


def _of_100(chance: float) -> str:
    """A chance as so many of 100.

    >>> _of_100(0.9999), _of_100(0.8894), _of_100(0.0)
    ('more than 99', '89', 'fewer than 1')
    """
    if chance > 0.99:
        return "more than 99"
    return f"{100 * chance:.0f}" if chance >= 0.01 else "fewer than 1"


def _more_of_what(scatter: Mapping[str, Any]) -> str:
    """Whether more leaves or more readings narrow the mean."""
    if not scatter["leaf"]:
        return "Only readings scatter: reading each leaf more often helps as much as more leaves."
    if scatter["readings_each"] <= 1:
        return "Leaves scatter more than readings do: more leaves help most."
    return (
        f"Readings scatter more than leaves do: up to {scatter['readings_each']} readings of each "
        "leaf, before and after, help more than as many more leaves."
    )


def warnings(
    table: Table, found: Verdict, flags: Sequence[Mapping[str, Any]], step: Decimal, guessed: bool
) -> list[str]:
    """What to know before believing it."""
    out = ["The margin counts only when it was fixed before anything was measured."]
    if not table.named:
        out.append(
            "No column leaf: every row counts as a leaf of its own. A reading is not a leaf."
        )
    elif table.rows > table.leaves:
        out.append(
            f"{table.rows} readings of {table.leaves} leaves: those of one leaf are averaged first."
        )
    if guessed:
        coarser = (
            f" All readings are whole numbers of {table.common}; if that is the step, say so."
            if table.common > table.typed and 2 * table.rows >= 8
            else ""
        )
        out.append(
            f"The instrument's step is taken from the last digit typed, {table.typed}; a coarser "
            f"one is said with --resolution.{coarser}"
        )
    hidden = found.equivalence.hidden
    if found.equivalence.used_resolution:
        out.append(
            "All leaves differ by the same: rounding hides their scatter, and the step stands in."
        )
    if hidden >= float(step):
        out.append(
            "The readings scatter so little over their step that all leaves may be rounded alike; "
            "up to a whole step of change could be hidden, whatever the number of leaves."
        )
    if found.equivalence.pairs < 6:
        out.append(
            f"{found.equivalence.pairs} leaves show their scatter badly; the interval allows for "
            "that."
        )
    for flag in flags:
        where = f"leaf {flag['leaf']}" if flag["leaf"] else f"line {flag['line']}"
        without = flag["without"]
        out.append(
            f"{where[0].upper()}{where[1:]} lies far from the rest: read it again. It is not left "
            "out" + (f"; without what is flagged: {without['verdict']}." if without else ".")
        )
    if table.unused:
        out.append(f"Columns not used: {', '.join(name[:30] for name in table.unused[:8])}.")
    return out
