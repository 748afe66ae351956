"""What of a surveyed collection needs treatment first, as far as its scans can show it.

Three things are looked at, each by itself: missing area, darkening, and the longest open tear.
They are never added up. An item comes before another when it is surely among the first tenth in
more of them, then when it may be so in more; all else is a tie.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from quirewell.record.measured import Z90
from quirewell.science.condition.places import Standings, darker, stand
from quirewell.stages.collection_tone import STRIP
from quirewell.stages.measuring_damage import SURE_MM

Array = NDArray[np.float64]
Index = NDArray[np.int64]
# Fewer scans than this do not tell what is usual for their scanner.
LEAST_ALIKE = 8
NO_LEAF = "no leaf was found in the picture"
NO_SCALE = "the picture has no scale, so nothing is known in millimetres"
NOT_WHOLE = "an edge is not in the picture, or no ground shows, so nothing is known to be missing"
NO_TONE = "too little bare paper to measure its tone"
FEW_ALIKE = f"fewer than {LEAST_ALIKE} scans of this scanner and setting to compare its tone with"


@dataclass(frozen=True, slots=True)
class Criterion:
    """One thing looked at: rows of the table it is known for, values with 90 % bands, places.

    ``unknown`` counts, by words, the rows it says nothing of.
    """

    key: str
    name: str
    unit: str
    rows: Index
    value: Array
    low: Array
    high: Array
    standings: Standings
    unknown: dict[str, int]


@dataclass(frozen=True, slots=True)
class Group:
    """Items that are tied: surely and perhaps among the first tenth in so many criteria; listed
    with those ahead that stand highest in any one of them."""

    surely: int
    perhaps: int
    rows: Index


@dataclass(frozen=True, slots=True)
class Ranking:
    """Criteria, groups (the first to be treated first), rows with nothing measurable by reason,
    and for each row how many of its warnings are unusual here."""

    criteria: tuple[Criterion, ...]
    groups: tuple[Group, ...]
    not_measurable: dict[str, Index]
    unusual: Index
    tones: tuple[ToneMiddle, ...]


@dataclass(frozen=True, slots=True)
class ToneMiddle:
    """Median lightness of the scans of one scanner and colour profile whose tone rests on the
    same ``basis`` (target, strip, profile, raw)."""

    scanner: str
    profile: str
    scans: int
    median_L: float
    u: float
    basis: str = ""


def rank(table: pa.Table) -> Ranking:
    """Rank the rows of a survey's table; a file that is the same as another counts once."""
    columns = _Columns(table)
    tone, tones = _tone(columns)
    criteria = (_loss(columns), tone, _tear(columns))
    return Ranking(criteria, _groups(table.num_rows, criteria), _unmeasured(columns, criteria),
                   _unusual(columns), tones)  # fmt: skip


class _Columns:
    """Columns of the table as arrays; nothing measured is NaN."""

    def __init__(self, table: pa.Table) -> None:
        self.table = table
        self.once = np.array([not same for same in table["same_as"].to_pylist()], bool)
        self.error = table["error"].to_pylist()
        self.well = self.once & np.array([not text for text in self.error], bool)
        self.leaf = self.well & np.array([bool(x) for x in table["leaf_found"].to_pylist()], bool)

    def number(self, name: str) -> Array:
        """A column of numbers (n,)."""
        column = self.table[name].cast(pa.float64())
        return np.array(column.to_numpy(), dtype=np.float64)


def _counted(masks: dict[str, NDArray[np.bool_]]) -> dict[str, int]:
    return {words: int(mask.sum()) for words, mask in masks.items() if mask.any()}


def _criterion(
    key: str, name: str, unit: str, rows: Index, value: Array, half: Array,
    unknown: dict[str, int], least: float | None = None,
) -> Criterion:  # fmt: skip
    low, high = value - half, value + half
    if least is not None:
        low = np.maximum(low, least)
    return Criterion(key, name, unit, rows, value, low, high, stand(value, low, high), unknown)


def _loss(columns: _Columns) -> Criterion:
    value, u = columns.number("loss_pct"), columns.number("loss_pct_u")
    missing = np.isnan(value) | np.isnan(u)
    rows = np.flatnonzero(columns.leaf & ~missing)
    unknown = _counted({NO_LEAF: columns.well & ~columns.leaf, NOT_WHOLE: columns.leaf & missing})
    return _criterion("loss", "Missing area", "% of the leaf", rows, value[rows],
                      Z90 * u[rows], unknown, 0.0)  # fmt: skip


def _tear(columns: _Columns) -> Criterion:
    """The longest open tear; where none was seen it may still be as long as passes unseen."""
    count, length = columns.number("tears"), columns.number("longest_tear_mm")
    missing = np.isnan(count)
    rows = np.flatnonzero(columns.leaf & ~missing)
    none = count[rows] == 0
    value = np.where(none, 0.0, length[rows])
    half = np.where(none, SURE_MM, Z90 * columns.number("longest_tear_mm_u")[rows])
    unknown = _counted({NO_LEAF: columns.well & ~columns.leaf, NO_SCALE: columns.leaf & missing})
    return _criterion("tear", "Longest open tear", "mm", rows, value, half, unknown, 0.0)


def _tone(columns: _Columns) -> tuple[Criterion, tuple[ToneMiddle, ...]]:
    """By how much a leaf is darker than the median of those from the same scanner."""
    table = columns.table
    basis = [text or "" for text in table["tone_basis"].to_pylist()]
    on_greys = np.array([text == STRIP for text in basis], bool)
    light = np.where(on_greys, columns.number("tone_greys_L"), columns.number("tone_L"))
    u = columns.number("tone_L_within_u")
    known = columns.leaf & ~np.isnan(light) & ~np.isnan(u)
    kinds = list(
        zip(table["scanner"].to_pylist(), table["profile"].to_pylist(), basis, strict=True)
    )
    rows, value, own, tones, few = [], [], [], [], 0
    for kind in sorted({kinds[i] for i in np.flatnonzero(known)}):
        at = np.array([i for i in np.flatnonzero(known) if kinds[i] == kind], np.int64)
        if len(at) < LEAST_ALIKE:
            few += len(at)
            continue
        by, by_u, middle, u_middle = darker(light[at], u[at])
        words = kind[0] or "", kind[1] or ""
        tones.append(ToneMiddle(*words, len(at), middle, u_middle, kind[2]))
        rows.append(at)
        value.append(by)
        own.append(by_u)
    unknown = _counted({NO_LEAF: columns.well & ~columns.leaf, NO_TONE: columns.leaf & ~known})
    if few:
        unknown[FEW_ALIKE] = few
    made = _criterion("tone", "Darkening", "L*", _joined(rows, np.int64),
                      _joined(value), Z90 * _joined(own), unknown)  # fmt: skip
    return made, tuple(tones)


def _joined(parts: list[Any], kind: Any = np.float64) -> Any:
    return np.concatenate(parts) if parts else np.zeros(0, kind)


def _groups(count: int, criteria: tuple[Criterion, ...]) -> tuple[Group, ...]:
    surely, perhaps, seen = (np.zeros(count, np.int64) for _ in range(3))
    highest = np.ones(count)
    for one in criteria:
        place = one.standings.worst / max(len(one.rows), 1)
        highest[one.rows] = np.minimum(highest[one.rows], place)
        surely[one.rows] += one.standings.surely
        perhaps[one.rows] += one.standings.perhaps
        seen[one.rows] += 1
    ranked = np.flatnonzero(seen)
    ranked = ranked[np.argsort(highest[ranked], kind="stable")]
    kinds = sorted({(int(surely[i]), int(perhaps[i])) for i in ranked}, reverse=True)
    return tuple(
        Group(sure, may, ranked[(surely[ranked] == sure) & (perhaps[ranked] == may)])
        for sure, may in kinds
    )


def _unmeasured(columns: _Columns, criteria: tuple[Criterion, ...]) -> dict[str, Index]:
    """Rows of which no criterion says anything, by reason."""
    seen = np.zeros(columns.table.num_rows, bool)
    for one in criteria:
        seen[one.rows] = True
    found: dict[str, list[int]] = {}
    for row in np.flatnonzero(columns.once & ~seen):
        if columns.error[row]:
            words = _shape(columns.error[row], columns.table["file"][row].as_py())
        else:
            words = "neither a scale nor a tone was found" if columns.leaf[row] else NO_LEAF
        found.setdefault(words, []).append(int(row))
    most = sorted(found.items(), key=lambda pair: (-len(pair[1]), pair[0]))
    return {words: np.array(rows, np.int64) for words, rows in most}


def _shape(error: str, file: str) -> str:
    """What an error says without the file's own name and numbers, so that like errors meet."""
    name = file.rsplit("/", 1)[-1]
    return re.sub(r"\d[\d,.]*", "…", error.replace(name, "the file"))


def _unusual(columns: _Columns) -> Index:
    """How many of each row's warnings fewer than half of the scans share."""
    shapes = [
        [re.sub(r"\d[\d,.]*", "…", text) for text in warnings or ()]
        for warnings in columns.table["warnings"].to_pylist()
    ]
    held = Counter(shape for i in np.flatnonzero(columns.well) for shape in set(shapes[i]))
    half = columns.well.sum() / 2
    return np.array([sum(held[one] < half for one in row) for row in shapes], np.int64)


def with_places(table: pa.Table, ranking: Ranking) -> pa.Table:
    """The table with its ranks: ``treat_group`` (1 first, the same for ties, nothing where
    nothing is measurable), ``darker_L`` with its u, and the best and worst place by each
    criterion."""
    count = table.num_rows
    group = np.full(count, -1, np.int64)
    for number, tied in enumerate(ranking.groups, 1):
        group[tied.rows] = number
    added: dict[str, Any] = {"treat_group": (group, pa.int64())}
    for one in ranking.criteria:
        for name, places in (("best", one.standings.best), ("worst", one.standings.worst)):
            column = np.full(count, -1, np.int64)
            column[one.rows] = places
            added[f"{one.key}_place_{name}"] = (column, pa.int64())
        if one.key == "tone":
            for name, numbers in (("", one.value), ("_u", (one.high - one.low) / (2 * Z90))):
                whole = np.full(count, np.nan)
                whole[one.rows] = numbers
                added[f"darker_L{name}"] = (whole, pa.float64())
    for name, (values, kind) in added.items():
        empty = np.isnan(values) if kind == pa.float64() else values < 0
        table = table.append_column(name, pa.array(values, kind, mask=empty))
    return table
