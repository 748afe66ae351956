"""A logger's CSV, whatever made it: temperature and humidity over time, and all that was odd.

The file is hostile until checked: a budget of bytes and rows, text only, no formula is evaluated.
Columns are found by their names and held against their values; where the unit or the column cannot
be told the reader is asked in a sentence, never guessed at.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
MOST_BYTES = 96 * 1024 * 1024
_LONGEST_NAME = 80
MOST_ROWS = 1_500_000
_DELIMITERS = (";", "\t", ",", "|")
_TEMPERATURE = re.compile(r"temp|°\s*[cf]|\bt\s*[\[(]|^t$|^t[_ ]", re.IGNORECASE)
_HUMIDITY = re.compile(r"hum|\brh\b|r\.h|feucht|%|\brf\b", re.IGNORECASE)
_TIME = re.compile(r"date|time|datum|zeit|stamp|uhr", re.IGNORECASE)
_DEW = re.compile(r"dew|tau|abs|wet", re.IGNORECASE)
_FAHRENHEIT = re.compile(r"°\s*f\b|\bf\b|fahr|deg\s*f|\(f\)|_f$", re.IGNORECASE)
_CELSIUS = re.compile(r"°\s*c\b|\bc\b|cels|deg\s*c|\(c\)|_c$", re.IGNORECASE)
_NUMBER = re.compile(r"[-+]?\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?")
_DAY = re.compile(
    r"(\d{1,4})[./-](\d{1,2})[./-](\d{1,4})(?:[ T,]+(\d{1,2}):(\d{2})(?::(\d{2}))?(?:\.\d+)?"
    r"\s*([AaPp][Mm])?)?"
)
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}))?\s*([AaPp][Mm])?")


class LogError(ValueError):
    """A log that cannot be read; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class LoggerLog:
    """Readings in order of time: seconds since the first, month 1..12, C, humidity 0..1, and the
    hours each stands for; ``notes`` tell what was left out or changed."""

    start: datetime
    seconds: Array
    month: NDArray[np.int64]
    temperature_c: Array
    rh: Array
    hours: Array
    notes: tuple[str, ...]


@dataclass(slots=True)
class Table:
    """Rows of readings as text under their header, and what was odd about them."""

    header: list[str]
    rows: list[list[str]]
    comma: bool
    notes: list[str] = field(default_factory=list)


def read_log(path: Path, unit: str = "", columns: str = "", day_first: str = "") -> LoggerLog:
    """Read a logger's file.

    Parameters
    ----------
    unit : str
        "C" or "F" where the file does not say.
    columns : str
        "time,temperature,humidity" as column names or numbers from 1, where they are not found.
    day_first : str
        "yes" or "no" where 3/4 could be either.

    Raises
    ------
    LogError
        in a sentence.
    """
    size = path.stat().st_size
    if size > MOST_BYTES:
        raise LogError(
            f"{path.name} holds {size / 1e6:.0f} MB; a log may hold {MOST_BYTES // 1_000_000} MB. "
            "Export fewer months or a longer interval"
        )
    return parse_log(path.read_bytes(), path.name, unit, columns, day_first)


def parse_log(
    data: bytes, name: str, unit: str = "", columns: str = "", day_first: str = ""
) -> LoggerLog:
    """:func:`read_log` on bytes."""
    if unit and unit.upper() not in ("C", "F"):
        raise LogError(f"the unit is C or F, got {unit[:10]!r}")
    table = _table(_text(data, name), name, _is_reading)
    when, warm, damp = _columns(table, columns, name)
    stamps, good = _times(table, when, day_first, name)
    t = _numbers(table, warm)
    h = _numbers(table, damp)
    return _checked(table, stamps, good, t, h, table.header[warm], unit, name, bool(columns))


def _text(data: bytes, name: str) -> str:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace")
    if b"\0" in data[:4096]:
        raise LogError(f"{name} is no text file; export it from the logger as CSV")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def read_table(data: bytes, name: str, is_reading: Callable[[Sequence[str]], bool]) -> Table:
    """The rows of a text file in which ``is_reading`` sees readings, under their header.

    Raises
    ------
    LogError
        For no text, no columns, no readings.
    """
    return _table(_text(data, name), name, is_reading)


def numbers_of(table: Table, column: int) -> Array:
    """A column's numbers; NaN where there is none."""
    return _numbers(table, column)


def stamps_of(table: Table, when: tuple[int, ...], name: str) -> Array | None:
    """Seconds since the first row by the dates in columns; None where they hold no dates."""
    if not any(_DAY.search(row[when[0]]) for row in table.rows[:50]):
        return None
    stamps, good = _times(table, when, "yes", name)
    seconds = np.full(len(stamps), np.nan)
    seconds[good] = (stamps[good] - stamps[good].min()).astype(np.float64)
    return seconds


def _table(text: str, name: str, is_reading: Callable[[Sequence[str]], bool]) -> Table:
    lines = text.splitlines()
    if len(lines) > MOST_ROWS:
        raise LogError(f"{name} holds {len(lines)} lines; up to {MOST_ROWS} are read")
    sample = [line for line in lines[-300:] if line.strip()]
    if len(sample) < 2:
        raise LogError(f"{name} holds no rows of readings")
    delimiter = max(_DELIMITERS, key=lambda sign: _steadiness(sample, sign))
    if _steadiness(sample, delimiter) <= 0:
        raise LogError(f"{name} has no columns: it needs a time and what was read at it")
    width = len(_cells(sample[-1], delimiter))
    try:
        rows = [
            [cell.strip() for cell in row]
            for row in csv.reader(io.StringIO("\n".join(lines)), delimiter=delimiter)
        ]
    except csv.Error as error:
        raise LogError(f"{name} cannot be parted into cells ({error}); export it anew") from error
    rows = [row for row in rows if len(row) >= width and any(row)]
    first = next((n for n, row in enumerate(rows) if is_reading(row)), None)
    if first is None:
        raise LogError(f"{name} holds no row with a time and two numbers")
    # The names stand in the nearest row above that holds no number.
    named = next(
        (n for n in reversed(range(first)) if not any(map(_NUMBER.fullmatch, rows[n]))), -1
    )
    names = rows[named] if named >= 0 else [f"column {n + 1}" for n in range(width)]
    header = [cell[:_LONGEST_NAME] for cell in names]
    body = [row for row in rows[first:] if is_reading(row)]
    table = Table(header, body, delimiter != ",")
    left = len(rows) - (named + 1) - len(body)
    if left:
        table.notes.append(f"{left} rows held no readings and were passed over")
    return table


def _cells(line: str, delimiter: str) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=delimiter), [])
    except csv.Error:
        return []


def _steadiness(lines: Sequence[str], delimiter: str) -> float:
    counts = [len(_cells(line, delimiter)) for line in lines]
    usual = max(set(counts), key=counts.count)
    return 0.0 if usual < 2 else counts.count(usual) / len(counts) * min(usual, 8)


def _is_reading(row: Sequence[str]) -> bool:
    numbers = sum(bool(_NUMBER.fullmatch(cell)) for cell in row)
    return numbers >= 2 and any(_DAY.search(cell) for cell in row)


def _columns(table: Table, wanted: str, name: str) -> tuple[tuple[int, ...], int, int]:
    if wanted:
        return _named(table, wanted, name)
    sample = table.rows[:: max(1, len(table.rows) // 200)]
    width = min(len(row) for row in sample)
    names = [*table.header, *[""] * width]
    dates = [c for c in range(width) if all(_DAY.search(row[c]) for row in sample)]
    if not dates:
        raise LogError(
            f"{name} has no column of dates that can be read; write them as 2026-03-31 14:00"
        )
    clocks = [
        c for c in range(width)
        if c not in dates and all(_CLOCK.fullmatch(row[c]) for row in sample)
    ]  # fmt: skip
    when: tuple[int, ...] = (dates[0],)
    if clocks and not any(":" in row[dates[0]] for row in sample):
        when = (dates[0], clocks[0])
    free = [
        c for c in range(width)
        if c not in (*dates, *clocks) and _mostly_numbers(sample, c)
    ]  # fmt: skip
    warm = [c for c in free if _TEMPERATURE.search(names[c]) and not _DEW.search(names[c])]
    damp = [
        c for c in free
        if _HUMIDITY.search(names[c]) and not _DEW.search(names[c]) and c not in warm[:1]
    ]  # fmt: skip
    if not warm or not damp:
        raise LogError(
            f"which columns of {name} are temperature and humidity? It has "
            f"{', '.join(repr(names[c]) for c in range(min(width, 40)))}. Name "
            "the columns (--columns) as 'time,temperature,humidity', by name or by number from 1"
        )
    return when, warm[0], damp[0]


def _named(table: Table, wanted: str, name: str) -> tuple[tuple[int, ...], int, int]:
    parts = [part.strip() for part in wanted.split(",")]
    if len(parts) != 3:
        raise LogError("give three columns: time, temperature, humidity")
    found = []
    for part in parts:
        if part.isdigit() and 1 <= int(part) <= len(table.rows[0]):
            found.append(int(part) - 1)
            continue
        at = [n for n, cell in enumerate(table.header) if cell.strip().lower() == part.lower()]
        if len(at) != 1:
            raise LogError(f"{name} has no single column {part!r}; it has {table.header}")
        found.append(at[0])
    return (found[0],), found[1], found[2]


def _mostly_numbers(sample: Sequence[Sequence[str]], column: int) -> bool:
    hits = sum(bool(_NUMBER.fullmatch(row[column])) for row in sample)
    return hits > 0.5 * len(sample)


def _times(
    table: Table, when: tuple[int, ...], day_first: str, name: str
) -> tuple[NDArray[np.datetime64], NDArray[np.bool_]]:
    texts = [" ".join(row[c] for c in when) for row in table.rows]
    parts = [_DAY.search(text) for text in texts]
    order = _order([m for m in parts if m], day_first, name)
    stamps = np.full(len(texts), np.datetime64("NaT"), dtype="datetime64[s]")
    for n, match in enumerate(parts):
        if match is not None:
            at = _stamp(match, order)
            if at is not None:
                stamps[n] = np.datetime64(at, "s")
    return stamps, ~np.isnat(stamps)


def _order(parts: Sequence[re.Match[str]], day_first: str, name: str) -> str:
    """Which way dates are written: "ymd", "dmy" or "mdy"."""
    if not parts:
        raise LogError(f"{name} has no dates that can be read")
    if all(len(m[1]) == 4 for m in parts[:50]):
        return "ymd"
    first = max(int(m[1]) for m in parts)
    second = max(int(m[2]) for m in parts)
    if first > 12 and second > 12:
        raise LogError(f"{name} holds dates of two kinds; write them as 2026-03-31 14:00")
    if first > 12:
        return "dmy"
    if second > 12:
        return "mdy"
    if day_first in ("yes", "no"):
        return "dmy" if day_first == "yes" else "mdy"
    raise LogError(
        f"in {name}, is {parts[0][0].strip()!r} day first or month first? Say which "
        "(--day-first or --month-first)"
    )


def _stamp(match: re.Match[str], order: str) -> datetime | None:
    one, two, three = int(match[1]), int(match[2]), int(match[3])
    year, month, day = {
        "ymd": (one, two, three), "dmy": (three, two, one), "mdy": (three, one, two),
    }[order]  # fmt: skip
    year += 2000 if year < 100 else 0
    hour, minute, second = int(match[4] or 0), int(match[5] or 0), int(match[6] or 0)
    half = (match[7] or "").lower()
    if half:
        hour = hour % 12 + (12 if half == "pm" else 0)
    try:
        return datetime(year, month, day, hour, minute, second)
    except ValueError:
        return None


def _numbers(table: Table, column: int) -> Array:
    out = np.full(len(table.rows), np.nan)
    for n, row in enumerate(table.rows):
        cell = row[column] if column < len(row) else ""
        if _NUMBER.fullmatch(cell):
            out[n] = float(cell.replace(",", "."))
    return out


def _checked(
    table: Table, stamps: NDArray[np.datetime64], good: NDArray[np.bool_], t: Array, h: Array,
    named: str, unit: str, name: str, columns_told: bool,
) -> LoggerLog:  # fmt: skip
    notes = list(table.notes)
    t = _celsius(t, named, unit, name, notes)
    h = _share(h, name, notes)
    if not columns_told:
        _not_swapped(t, h, name)
    possible = (t > -30) & (t < 55) & (h >= 0) & (h <= 1)
    for what, bad in (
        ("without a readable date", ~good),
        ("without both readings", good & (np.isnan(t) | np.isnan(h))),
        ("of an impossible value", good & np.isfinite(t) & np.isfinite(h) & ~possible),
    ):
        if bad.any():
            notes.append(f"{int(bad.sum())} readings {what} were left out")
    kept = good & possible
    if kept.sum() < 2:
        raise LogError(f"{name} holds fewer than two readings that can be used")
    stamps, t, h = stamps[kept], t[kept], h[kept]
    order = np.argsort(stamps, kind="stable")
    if np.any(np.diff(stamps) < np.timedelta64(0, "s")):
        notes.append("the readings were not in order of time and were put in order")
    stamps, t, h = stamps[order], t[order], h[order]
    fresh = np.concatenate([[True], np.diff(stamps) > np.timedelta64(0, "s")])
    if not fresh.all():
        notes.append(f"{int((~fresh).sum())} readings at a time already read were left out")
    stamps, t, h = stamps[fresh], t[fresh], h[fresh]
    if len(stamps) < 2:
        raise LogError(f"{name} holds one reading only")
    seconds = (stamps - stamps[0]).astype(np.float64)
    hours = _hours(seconds, notes)
    months = stamps.astype("datetime64[M]").astype(np.int64) % 12 + 1
    start: datetime = stamps[0].astype(datetime)
    return LoggerLog(start, seconds, months, t, h, hours, tuple(notes))


def _celsius(t: Array, named: str, unit: str, name: str, notes: list[str]) -> Array:
    middle = float(np.nanmedian(t))
    says_f, says_c = bool(_FAHRENHEIT.search(named)), bool(_CELSIUS.search(named))
    told = "F" if says_f and not says_c else "C" if says_c and not says_f else ""
    wanted = unit.upper() or told
    if wanted != "F" and not unit and middle > 40:
        says = "says C" if told else "names no unit"
        raise LogError(
            f"the column {named!r} of {name} has a middle of {middle:g} and {says}: is it "
            "Fahrenheit, or are temperature and humidity swapped? Say the unit (--unit F or "
            "--unit C), or which is which (--columns 'time,temperature,humidity')"
        )
    if not wanted:
        notes.append("the temperature names no unit and is taken as C")
        wanted = "C"
    if wanted == "F":
        notes.append("the temperature was turned from Fahrenheit into °C")
        return (t - 32) / 1.8
    return t


def _share(h: Array, name: str, notes: list[str]) -> Array:
    middle = float(np.nanmedian(h))
    if middle <= 1.0:
        if np.nanmax(h) > 1.2:
            raise LogError(
                f"the humidity of {name} lies mostly below 1 but not all: share or per cent?"
            )
        notes.append("the humidity is a share of 1 and is taken so")
        return h
    out = h / 100
    over = (out > 1.0) & (out <= 1.03)
    if over.any():
        notes.append(f"{int(over.sum())} readings up to 3 % above 100 % RH count as 100 %")
        out = np.where(over, 1.0, out)
    return np.asarray(out)


def _not_swapped(t: Array, h: Array, name: str) -> None:
    warm, damp = float(np.nanmedian(t)), 100 * float(np.nanmedian(h))
    # No usual store is as warm and as dry; one that is has its columns named.
    if warm > 28 and damp < 30:
        raise LogError(
            f"in {name} temperature ({warm:.0f} °C) and humidity ({damp:.0f} %) look swapped; say "
            "which is which (--columns 'time,temperature,humidity')"
        )


def _gaps(many: int) -> str:
    return "one gap holds" if many == 1 else f"{many} gaps hold"


def _hours(seconds: Array, notes: list[str]) -> Array:
    """Hours each reading stands for: half-way to its neighbours, none for what lies in a gap."""
    steps = np.diff(seconds)
    usual = float(np.median(steps))
    gaps = steps > 3 * usual
    if gaps.any():
        lost = float((steps[gaps] - usual).sum()) / 3600
        notes.append(f"{_gaps(int(gaps.sum()))} no readings: {lost:.0f} hours that do not count")
    held = np.minimum(steps, usual * np.where(gaps, 1.0, 3.0))
    half = 0.5 * held / 3600
    whole: Array = np.concatenate([half, [0.0]]) + np.concatenate([[0.0], half])
    return whole
