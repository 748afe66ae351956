"""Paired readings of a table (before, after) against a margin: what they allow to be said.

A row is a reading. Rows of one leaf are averaged, since a reading is not a leaf; leaves of two
items are never pooled. Numbers stay as typed (decimal) until they are centred.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Context, Decimal, localcontext
from typing import Any

from quirewell.science.evidence import outliers, variance
from quirewell.science.evidence.decimals import centred, less
from quirewell.science.evidence.verdict import Verdict, judge
from quirewell.stages import equivalence_told as told
from quirewell.stages.plain_table import TableError, read_rows
from quirewell.stages.typed import Unreadable, number

WHAT = "a table of pairs"
NEEDED = ("before", "after")
COLUMNS = (*NEEDED, "leaf", "item")
MOST_ROWS = 5000
_LONGEST = 40
Rows = list[tuple[int, dict[str, str]]]
# From so many leaves on several outliers are looked for at once (the approximation is fair there).
_MANY_FROM = 15
_SOURCES = ("schuirmann1987", "grubbs1969", "rosner1983")


@dataclass(frozen=True, slots=True)
class Leaf:
    """One leaf: its name ("" where the table names none), the line it begins on, its readings
    before and after (unit of the table)."""

    name: str
    line: int
    before: tuple[Decimal, ...]
    after: tuple[Decimal, ...]

    def differences(self, log: bool = False) -> list[Decimal]:
        """After less before, a row each; of logarithms where ratios are judged."""
        if not log:
            return less(self.after, self.before)
        return less([one.ln() for one in self.after], [one.ln() for one in self.before])


@dataclass(frozen=True, slots=True)
class Pairs:
    """Leaves of one item; the last digit typed as a step; columns that were not used."""

    leaves: tuple[Leaf, ...]
    item: str
    step: Decimal
    unused: tuple[str, ...]
    named: bool

    @property
    def rows(self) -> int:
        """Readings in all."""
        return sum(len(leaf.before) for leaf in self.leaves)


def read_pairs(text: str, item: str = "") -> Pairs:
    """The leaves of one item.

    Raises:
        TableError: no table of pairs, more than one item and none chosen, or one not there.

    >>> read_pairs("leaf,before,after\\n1,168.4,168.1\\n1,168.5,168.2\\n2,168.0,168.0").rows
    3
    """
    unused = _unused(text)
    known = (*COLUMNS, *unused)
    rows: Rows = []
    for line, row in read_rows(text, known, NEEDED, WHAT):
        if len(rows) >= MOST_ROWS:
            raise TableError(f"{WHAT} has at most {MOST_ROWS} rows; part it")
        rows.append((line, row))
    chosen, rows = _of_item(rows, item)
    named = "leaf" in rows[0][1]
    readings: dict[str, list[tuple[int, Decimal, Decimal]]] = {}
    step = Decimal(0)
    for line, row in rows:
        before, after = (_cell(row, name, line) for name in NEEDED)
        step = min(step or _step(before), _step(before), _step(after))
        name = _name(row["leaf"], "leaf", line) if named else f"line {line}"
        readings.setdefault(name, []).append((line, before, after))
    leaves = tuple(
        Leaf(name if named else "", taken[0][0], tuple(one for _, one, _ in taken),
             tuple(one for _, _, one in taken))
        for name, taken in readings.items()
    )  # fmt: skip
    if len(leaves) < 2:
        raise TableError(
            f"{WHAT} needs 2 leaves or more to show their scatter, got {len(leaves)}"
            + ("; several readings of one leaf are still one leaf" if len(rows) > 1 else "")
        )
    return Pairs(leaves, chosen, step, unused, named)


def _unused(text: str) -> tuple[str, ...]:
    """Columns of the header that are passed over.

    Raises:
        TableError: no columns before and after.
    """
    for row in text.removeprefix("\ufeff")[:20_000].splitlines():
        if not row.strip() or row.lstrip().startswith("#"):
            continue
        delimiter = next((one for one in (";", "\t") if one in row), ",")
        try:
            cells = next(csv.reader([row], delimiter=delimiter))
        except csv.Error:
            return ()
        names = [cell.strip().lower() for cell in cells]
        if not set(NEEDED) <= set(names):
            raise TableError(
                f"{WHAT} needs a header with the columns before and after; it begins with "
                f"{row.strip()[:60]!r}"
            )
        return tuple(dict.fromkeys(name for name in names if name not in COLUMNS))
    return ()


def _of_item(rows: Rows, item: str) -> tuple[str, Rows]:
    if "item" not in rows[0][1]:
        if item:
            raise TableError(f"the table has no column item, so {item[:40]!r} cannot be chosen")
        return "", rows
    names = list(dict.fromkeys(_name(row["item"], "item", line) for line, row in rows))
    there = ", ".join(names[:6]) + (" and more" if len(names) > 6 else "")
    if item:
        if item not in names:
            raise TableError(f"the table has no item {item[:40]!r}; it has {there}")
        return item, [(line, row) for line, row in rows if row["item"] == item]
    if len(names) > 1:
        raise TableError(
            f"the table holds {len(names)} items ({there}); leaves of two items are no one sample, "
            "so choose one with --item"
        )
    return names[0], rows


def _name(cell: str, column: str, line: int) -> str:
    if not cell:
        raise TableError(f"line {line}: {column} is empty; name each {column}")
    if len(cell) > _LONGEST or not cell.isprintable():
        raise TableError(f"line {line}: {column} is a name of at most {_LONGEST} plain characters")
    if cell[0] in "=@":
        raise TableError(f"line {line}: {column} is a formula ({cell[:20]}); save the values")
    return cell


def _cell(row: Mapping[str, str], name: str, line: int) -> Decimal:
    text = row[name]
    if not text:
        raise TableError(
            f"line {line}: {name} is empty; a pair needs both readings, so read it or leave the "
            "row out"
        )
    if len(text) > _LONGEST:
        raise TableError(
            f"line {line}: {name} has more than {_LONGEST} characters; is it a number?"
        )
    try:
        return number(text)
    except Unreadable as error:
        raise TableError(f"line {line}: {name}: {error}") from error


def _step(value: Decimal) -> Decimal:
    """The last digit typed, as a step.

    >>> _step(Decimal("168.40"))
    Decimal('0.01')
    """
    exponent = value.as_tuple().exponent
    return Decimal(1).scaleb(exponent if isinstance(exponent, int) else 0)


def _mean(values: Sequence[Decimal]) -> Decimal:
    with localcontext(Context(prec=60)):
        return sum(values, Decimal(0)) / len(values)


def work_out(
    pairs: Pairs, margin: Decimal, resolution: Decimal | None = None, log: bool = False,
    unit: str = "",
) -> dict[str, Any]:  # fmt: skip
    """The answer as plain data: verdict, p, 90 % interval, what it would take, flags.

    ``margin`` and ``resolution`` in the unit of the table; with ``log`` the margin is a ratio
    above 1, and means, interval and margins come back as ratios after over before.

    Raises:
        TableError: a margin or step that cannot be, ratios of what is not above 0.
    """
    limit, step = _limits(pairs, margin, resolution, log)
    rows = [leaf.differences(log) for leaf in pairs.leaves]
    differences = [_mean(row) for row in rows]
    try:
        found = judge(differences, limit, step, _single_sd(rows))
    except ValueError as error:
        raise TableError(f"{error}") from error
    shown = told.Shown(log, unit)
    flags = _flags(pairs, differences, found, step, _single_sd(rows), shown)
    scatter = _scatter(pairs, log)
    seen = found.equivalence
    u = seen.sd / math.sqrt(seen.pairs)
    out: dict[str, Any] = {
        "verdict": found.word,
        "says": told.verdict(found, shown),
        "p": seen.p,
        "ci90": [shown.out(seen.low), shown.out(seen.high)],
        "margin": float(margin),
        "margin_that_passes": shown.out(seen.smallest_margin),
        "inside": found.inside, "shifted": found.shifted, "beyond": found.beyond,
        "pairs": seen.pairs, "readings": pairs.rows,
        "mean": {
            "value": shown.out(seen.mean), "u": u * shown.out(seen.mean) if log else u,
            "low90": shown.out(seen.low), "high90": shown.out(seen.high), "unit": shown.unit,
        },
        "sd": seen.sd, "sd_of": "logarithms" if log else "differences",
        "smallest_seen": shown.out(found.smallest_seen),
        "power": found.power,
        "pairs_needed": found.needed, "pairs_needed_as_seen": found.needed_as_seen,
        "resolution": float(step) if not log else None if resolution is None else float(resolution),
        "hidden_by_rounding": seen.hidden,
        "all_the_same": seen.used_resolution,
        "outliers": flags, "scatter": scatter,
    }  # fmt: skip
    out["would_take"] = told.would_take(found, scatter, shown)
    out["warnings"] = told.warnings(pairs_told(pairs), found, flags, step, resolution is None)
    out["item"], out["log"], out["sources"] = pairs.item, log, list(_SOURCES)
    return out


def pairs_told(pairs: Pairs) -> told.Table:
    """What the words need to know of the table."""
    values = [one for leaf in pairs.leaves for one in (*leaf.before, *leaf.after)]
    return told.Table(len(pairs.leaves), pairs.rows, pairs.named, pairs.unused, pairs.step,
                      _common_step(values))  # fmt: skip


def _common_step(values: Sequence[Decimal]) -> Decimal:
    """The largest step that all readings are whole numbers of."""
    least = min(_step(one) for one in values)
    with localcontext(Context(prec=100)):
        return least * math.gcd(*(int(one / least) for one in values))


def _limits(
    pairs: Pairs, margin: Decimal, resolution: Decimal | None, log: bool
) -> tuple[float, Decimal]:
    step = pairs.step if resolution is None else resolution
    if not margin > (1 if log else 0):
        least = "1 for ratios, such as 1.05" if log else "0"
        raise TableError(f"the margin is above {least}, and set before measuring; got {margin}")
    if step <= 0:
        raise TableError(f"the resolution is a step above 0, got {step}")
    if not log:
        return float(margin), step
    for leaf in pairs.leaves:
        if min(*leaf.before, *leaf.after) <= 0:
            raise TableError(
                f"line {leaf.line}: a ratio needs readings above 0; judge differences instead"
            )
    smallest = min(one for leaf in pairs.leaves for one in (*leaf.before, *leaf.after))
    return float(margin.ln()), step / smallest


def _flags(
    pairs: Pairs, differences: Sequence[Decimal], found: Verdict, step: Decimal,
    single: float, shown: told.Shown,
) -> list[dict[str, Any]]:  # fmt: skip
    """Leaves far from the rest, none left out of the answer; what it were without them."""
    count = len(differences)
    if count < 3 or found.equivalence.used_resolution:
        return []
    if count < _MANY_FROM:
        one = outliers.grubbs(differences)
        places: tuple[int, ...] = (one.index,) if one.flagged else ()
    else:
        places = outliers.many(differences, min(5, count // 5))
    if not places:
        return []
    rest = [d for place, d in enumerate(differences) if place not in places]
    without = judge(rest, found.margin, step, single) if len(rest) > 1 else None
    out = []
    for place in places:
        leaf = pairs.leaves[place]
        out.append({
            "leaf": leaf.name or None, "line": leaf.line,
            "difference": shown.out(float(differences[place])),
            "without": None if without is None else {
                "verdict": without.word, "p": without.equivalence.p,
                "ci90": [shown.out(without.equivalence.low), shown.out(without.equivalence.high)],
            },
        })  # fmt: skip
    return out


def _single_sd(rows: Sequence[Sequence[Decimal]]) -> float:
    """Scatter of single differences over all leaves; 0 where each leaf has one."""
    single = [one for row in rows for one in row]
    return float(centred(single)[1].std(ddof=1)) if len(single) > len(rows) else 0.0


def _scatter(pairs: Pairs, log: bool) -> dict[str, Any] | None:
    """Scatter from leaf to leaf and of readings, where leaves were read more than once."""
    groups = [leaf.differences(log) for leaf in pairs.leaves]
    if len(groups) == pairs.rows:
        return None
    try:
        split = variance.one_way(groups)
    except ValueError:
        return None
    each = variance.readings_each(split.s_leaf, split.s_reading)
    return {"leaf": split.s_leaf, "reading": split.s_reading, "readings_each": each}
