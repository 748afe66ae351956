"""A log of a pressing: probes over minutes, from whatever wrote the CSV.

Hostile until checked, as :mod:`.loggers` reads any logger. A column says by its name where the
probe lay ("centre", "cool cover", "hot cover", "platen", "room") and what it read (a humidity by
"RH" or "%", else a temperature); where names say nothing the reader is asked.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from quirewell.studio.loggers import LogError, Table, numbers_of, read_table, stamps_of

Array = NDArray[np.float64]
Place = Literal["hot", "centre", "cool", "platen", "room"]
Kind = Literal["C", "RH"]
MOST_BYTES = 8 * 1024 * 1024
MOST_MINUTES = 3 * 24 * 60
_PLACES: Mapping[Place, re.Pattern[str]] = {
    "platen": re.compile(r"platen|plate|press\b|heater", re.IGNORECASE),
    "centre": re.compile(r"cent(re|er)|middle|fold|core|inside", re.IGNORECASE),
    "cool": re.compile(r"cool|cold|lower|bottom|below|under", re.IGNORECASE),
    "hot": re.compile(r"\bhot|upper|\btop|above", re.IGNORECASE),
    "room": re.compile(r"room|ambient|\bair", re.IGNORECASE),
}
_HUMID = re.compile(r"hum|\brh\b|r\.h|%|feucht", re.IGNORECASE)
_FAHRENHEIT = re.compile(r"°\s*f\b|\bf\b|fahr|\(f\)|_f$", re.IGNORECASE)
_CELSIUS = re.compile(r"°\s*c\b|\bc\b|cels|\(c\)|_c$", re.IGNORECASE)
_TIME = re.compile(r"time|date|zeit|datum|elapsed|stamp|^t$|^s$|sec|min", re.IGNORECASE)
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,]\d+)?)?")
_UNITS = {"s": 1.0, "min": 60.0, "h": 3600.0}


@dataclass(frozen=True, slots=True)
class Signal:
    """One probe: where, what it read, times [s] from the log's start, values [C] or 0..1."""

    place: Place
    kind: Kind
    column: str
    t_s: Array
    values: Array


@dataclass(frozen=True, slots=True)
class PressLog:
    """A log's signals, and what was passed over or changed."""

    signals: tuple[Signal, ...]
    notes: tuple[str, ...]


def read_press_log(path: Path, columns: str = "", time_unit: str = "") -> PressLog:
    """Read a log of a pressing.

    Parameters
    ----------
    columns : str
        "centre=T1, cool=3, platen=T2": a place, and the column by name or by number from 1; "rh"
        before the place for a humidity, as in "rh cool=4". Where names do not say.
    time_unit : str
        "s", "min" or "h" where the time is a number and its name does not say.

    Raises
    ------
    LogError
        In a sentence.
    """
    size = path.stat().st_size
    if size > MOST_BYTES:
        raise LogError(
            f"{path.name} holds {size / 1e6:.0f} MB; a log of one pressing holds at most "
            f"{MOST_BYTES // 1_000_000} MB. Export a longer interval"
        )
    table = read_table(path.read_bytes(), path.name, _is_reading)
    if len(table.rows) < 2:
        raise LogError(f"{path.name} holds fewer than two rows of readings")
    when, t_s = _times(table, time_unit, path.name)
    wanted = _asked(table, columns, path.name) if columns.strip() else _found(table, when)
    signals, notes = [], list(table.notes)
    for column, (place, kind) in wanted.items():
        made = _signal(table, column, place, kind, t_s, path.name, notes)
        if made is not None:
            signals.append(made)
    if not any(one.place in ("hot", "centre", "cool") for one in signals):
        names = ", ".join(repr(name) for n, name in enumerate(table.header) if n != when)
        raise LogError(
            f"which column of {path.name} lay in the pamphlet? It has {names}. Name it, as in "
            "'centre=T1' or by number from 1, 'centre=2' (places: centre, cool, hot, platen, room)"
        )
    left = [name for n, name in enumerate(table.header) if n != when and n not in wanted and name]
    if left:
        notes.append(f"columns left out: {', '.join(left[:8])}")
    return PressLog(tuple(signals), tuple(notes))


def _is_reading(row: Sequence[str]) -> bool:
    """A row of a time and at least one number."""
    timed = any(_CLOCK.search(cell) for cell in row)
    numbers = sum(_plain(cell) for cell in row)
    return numbers >= (1 if timed else 2)


def _plain(cell: str) -> bool:
    return bool(re.fullmatch(r"[-+]?\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?", cell))


def _times(table: Table, unit: str, name: str) -> tuple[int, Array]:
    if unit and unit not in _UNITS:
        raise LogError(f"the time is in s, min or h, got {unit[:10]!r}")
    sample = table.rows[:: max(1, len(table.rows) // 200)]
    width = min(len(table.header), *(len(row) for row in sample))
    for column in range(width):
        if all(_CLOCK.search(row[column]) for row in sample):
            return column, _clocks(table, column, name)
    numeric = [n for n in range(width) if all(_plain(row[n]) for row in sample)]
    named = [n for n in numeric if _TIME.search(table.header[n]) and not _temperature(table, n)]
    for column in named or numeric[:1]:
        values = numbers_of(table, column)
        if np.all(np.diff(values) >= 0) and values[-1] > values[0]:
            factor = _factor(table.header[column], unit, name)
            return column, (values - values[0]) * factor
    raise LogError(
        f"{name} has no column of times that go forward; write seconds or minutes since the heat "
        "came on, or a clock as 14:05:30"
    )


def _temperature(table: Table, column: int) -> bool:
    return bool(re.search(r"temp|°", table.header[column], re.IGNORECASE))


def _factor(header: str, unit: str, name: str) -> float:
    if unit:
        return _UNITS[unit]
    for key, pattern in (
        ("min", r"\bmin|_min|\(m\)"),
        ("h", r"\bh(ours?|rs?)?\b|_h\b"),
        ("s", r"\bs(ec\w*)?\b|_s\b"),
    ):
        if re.search(pattern, header, re.IGNORECASE):
            return _UNITS[key]
    raise LogError(
        f"is {header!r} of {name} in seconds or minutes? Name the column so (time_s, time_min) or "
        "say the unit (s, min or h)"
    )


def _clocks(table: Table, column: int, name: str) -> Array:
    """Seconds since the first row: by date and clock, or by a clock that may pass midnight."""
    dated = stamps_of(table, (column,), name)
    if dated is not None:
        return dated
    out = np.full(len(table.rows), np.nan)
    days, before = 0, -1.0
    for n, row in enumerate(table.rows):
        match = _CLOCK.search(row[column])
        if match is None:
            continue
        now = 3600.0 * int(match[1]) + 60.0 * int(match[2]) + float(match[3] or 0)
        if now < before - 43_200:
            days += 1
        before = now
        out[n] = 86_400.0 * days + now
    return out - float(np.nanmin(out))


def _found(table: Table, when: int) -> dict[int, tuple[Place, Kind]]:
    out: dict[int, tuple[Place, Kind]] = {}
    for column, header in enumerate(table.header):
        if column == when:
            continue
        place = next((key for key, pattern in _PLACES.items() if pattern.search(header)), None)
        kind: Kind = "RH" if _HUMID.search(header) else "C"
        if place is not None and (place, kind) not in out.values():
            out[column] = place, kind
    return out


def _asked(table: Table, text: str, name: str) -> dict[int, tuple[Place, Kind]]:
    out: dict[int, tuple[Place, Kind]] = {}
    for part in re.split(r"[,;]", text):
        if not part.strip():
            continue
        left, sign, right = (one.strip() for one in part.partition("="))
        words = left.lower().split()
        kind: Kind = "RH" if words[:1] == ["rh"] else "C"
        place = words[-1] if words else ""
        if not sign or place not in _PLACES:
            raise LogError(
                f"{part.strip()[:40]!r} names no column; write 'centre=T1' or 'rh cool=3', with "
                f"one of {', '.join(_PLACES)}"
            )
        if right.isdigit() and 1 <= int(right) <= len(table.header):
            column = int(right) - 1
        else:
            at = [n for n, one in enumerate(table.header) if one.strip().lower() == right.lower()]
            if len(at) != 1:
                raise LogError(f"{name} has no single column {right!r}; it has {table.header}")
            column = at[0]
        out[column] = place, kind  # type: ignore[assignment]
    return out


def _signal(
    table: Table, column: int, place: Place, kind: Kind, t_s: Array, name: str, notes: list[str]
) -> Signal | None:
    header = table.header[column]
    values = numbers_of(table, column)
    if not np.isfinite(values).any():
        notes.append(f"column {header!r} holds no numbers and was passed over")
        return None
    values = _share(values, header, notes) if kind == "RH" else _celsius(values, header, notes)
    low, high, unit = (0.0, 1.05, "% RH") if kind == "RH" else (-10.0, 160.0, "°C")
    good = np.isfinite(values) & np.isfinite(t_s) & (values >= low) & (values <= high)
    good &= t_s <= 60 * MOST_MINUTES
    odd = int((np.isfinite(values) & ~good).sum())
    if odd:
        notes.append(f"{odd} readings of {header!r} are no {unit} of a press and were left out")
    if good.sum() < 2:
        raise LogError(f"column {header!r} of {name} holds fewer than two readings to use")
    return Signal(place, kind, header, t_s[good], values[good])


def _celsius(values: Array, header: str, notes: list[str]) -> Array:
    says_f, says_c = bool(_FAHRENHEIT.search(header)), bool(_CELSIUS.search(header))
    if says_f and not says_c:
        notes.append(f"{header!r} was turned from Fahrenheit into °C")
        return np.asarray((values - 32) / 1.8)
    # A press at rest lies in a room: 20 C, or 68 F.
    if not says_c and float(np.nanmin(values)) > 50:
        raise LogError(
            f"{header!r} never reads below {float(np.nanmin(values)):.0f} and names no unit: is it "
            "Fahrenheit? Write (F) or (C) into its name"
        )
    return values


def _share(values: Array, header: str, notes: list[str]) -> Array:
    if float(np.nanmax(values)) <= 1.05:
        notes.append(f"{header!r} is a share of 1 and is taken so")
        return values
    return values / 100
