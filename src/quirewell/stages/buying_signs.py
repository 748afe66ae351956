"""The table of signs to look for before buying (CSV): built in, with own rows laid over.

Columns as in ``science/planning/buying_signs.csv``. A fault's chance and factor stand on the first
row that has them; an own row replaces the built-in row of the same sign or adds one.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib import resources

from quirewell.science.planning.bid import Fault, Sign, Spread
from quirewell.science.planning.typed_range import Range
from quirewell.stages.plain_table import TableError, read_rows
from quirewell.stages.typed import Unreadable, number

WORDS = ("sign", "fault", "name", "where", "looks", "ask", "settles")
COLUMNS = (*WORDS, "hit", "false", "chance", "low", "likely", "high")
MOST_SIGNS = 60


@dataclass(frozen=True, slots=True)
class SignRow:
    """One sign in words: where to look, what it looks like in a photograph, what to ask, what
    would settle it; and what the fault behind it leaves of the worth."""

    sign: str
    fault: str
    name: str
    where: str
    looks: str
    ask: str
    settles: str
    hit: float
    false: float
    chance: float | None
    factor: Spread | None


@cache
def built_in() -> tuple[SignRow, ...]:
    """The signs that come with the tool."""
    place = resources.files("quirewell.science.planning") / "buying_signs.csv"
    return _read(place.read_text(encoding="utf-8"))


def signs_in_force(own: str = "") -> tuple[SignRow, ...]:
    """Built-in signs with own rows laid over them.

    Raises:
        TableError: in a sentence with its line.
    """
    rows = {one.sign: one for one in built_in()}
    if own.strip():
        rows |= {one.sign: one for one in _read(own)}
    if len(rows) > MOST_SIGNS:
        raise TableError(f"a table of signs has at most {MOST_SIGNS} rows, got {len(rows)}")
    return tuple(rows.values())


def faults_and_signs(rows: tuple[SignRow, ...]) -> tuple[tuple[Fault, ...], tuple[Sign, ...]]:
    """The table as the computation takes it.

    Raises:
        TableError: a fault with no row that says how common it is and what it leaves.
    """
    faults: dict[str, Fault] = {}
    for one in rows:
        if one.chance is not None and one.factor is not None and one.fault not in faults:
            faults[one.fault] = Fault(one.fault, one.chance, one.factor)
    for one in rows:
        if one.fault not in faults:
            raise TableError(
                f"of fault {one.fault[:40]!r} no row says chance, low, likely and high; fill them "
                "in on one"
            )
    return tuple(faults.values()), tuple(
        Sign(one.sign, one.fault, one.hit, one.false) for one in rows
    )


def _read(text: str) -> tuple[SignRow, ...]:
    out: dict[str, SignRow] = {}
    needed = (*WORDS[:3], "ask", "hit", "false")
    for line, row in read_rows(text, COLUMNS, needed, "a table of signs"):
        for name in ("sign", "fault", "name"):
            if not row[name]:
                raise TableError(f"line {line}: {name} is empty")
        if row["sign"] in out:
            raise TableError(f"line {line}: sign {row['sign'][:40]!r} is there twice")
        if "=" in row["sign"] or len(row["sign"]) > 40:
            raise TableError(f"line {line}: sign is a short name without =")
        hit, false = (_share(row, name, line) for name in ("hit", "false"))
        if hit is None or false is None:
            raise TableError(f"line {line}: hit and false are shares above 0 and below 1, as 0.6")
        words = {name: row.get(name, "") for name in WORDS}
        chance, factor = _fault(row, line)
        out[row["sign"]] = SignRow(**words, hit=hit, false=false, chance=chance, factor=factor)
    return tuple(out.values())


def _fault(row: dict[str, str], line: int) -> tuple[float | None, Spread | None]:
    names = ("chance", "low", "likely", "high")
    given = [name for name in names if row.get(name)]
    if not given:
        return None, None
    if len(given) < len(names):
        raise TableError(f"line {line}: chance, low, likely and high go together, or all empty")
    chance = _share(row, "chance", line)
    low, likely, high = (_number(row[name], name, line) for name in names[1:])
    if not 0 < low <= likely <= high <= 1:
        raise TableError(
            f"line {line}: low, likely and high are the share of the worth that is left, above 0, "
            f"up to 1 and going up; got {low:g}, {likely:g} and {high:g}"
        )
    return chance, likely if low == high else Range(low, likely, high)


def _share(row: dict[str, str], name: str, line: int) -> float | None:
    if not row.get(name):
        return None
    value = _number(row[name], name, line)
    if not 0 < value < 1:
        raise TableError(
            f"line {line}: {name} is a share above 0 and below 1, as 0.6; got {value:g}"
        )
    return value


def _number(text: str, name: str, line: int) -> float:
    try:
        return float(number(text))
    except Unreadable as error:
        raise TableError(f"line {line}: {name}: {error}") from error
