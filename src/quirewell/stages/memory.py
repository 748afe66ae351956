"""What this bench has learned from its own items: a registered method over the records.

Parameters are text tables: ``work`` (item, kind, minutes, wraps), ``tone`` (item, steps),
``mishaps`` (item, wraps, hurt), ``profit`` (item, amount, hours), and ``currency``. Every number
comes with how many items or wraps it rests on; below :data:`FEWEST` it is "not enough yet".
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from statistics import median

from quirewell.record.bench import BenchState
from quirewell.record.finding import Finding, Run
from quirewell.record.nouns import ItemState
from quirewell.science.planning.bench_memory import (
    FEWEST,
    Band,
    holds_the_next,
    median_band,
    share_band,
)
from quirewell.stages.accounting import METHOD as ACCOUNT
from quirewell.stages.all_items import MEMORY
from quirewell.stages.asking import number_text, quantity_name, unit_text
from quirewell.stages.item_account import account_params, currencies_of, doing_words
from quirewell.stages.methods import Outcome, method, run_method
from quirewell.stages.naming import sheet_of
from quirewell.stages.own_sales import plain, rates_of, title_key
from quirewell.stages.plain_table import read_rows
from quirewell.stages.sale_entry import clean
from quirewell.stages.time_spent import running, seconds_of
from quirewell.stages.typed import Unreadable, number
from quirewell.stages.typed_params import refuse_unknown
from quirewell.studio.studio import Studio

METHOD = "bench.memory"
Rows = Mapping[str, tuple[tuple[object, ...], ...]]
ALL = "(all)"
MOST_ROWS = 1500  # of a table, the newest: what its text may hold
_KNOWN = ("work", "tone", "mishaps", "profit", "currency")
_COLUMNS: Mapping[str, tuple[str, ...]] = {
    "work": ("item", "kind", "minutes", "wraps"),
    "tone": ("item", "steps"),
    "mishaps": ("item", "wraps", "hurt"),
    "profit": ("item", "amount", "hours"),
}
ASSUMES = (
    f"Below {FEWEST} items nothing is told: only the least and the greatest of {FEWEST} or more "
    "hold a middle with 90 %.",
    "Items count as if drawn from one kind; what is new to this bench may take longer.",
    "Wraps with a mishap count each for itself; where mishaps come together on one item, the band "
    "is narrower than it should be.",
)


@method(METHOD, 1, "exact")
def remember(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Hours per wrap, tone gained, mishaps and profit an hour, out of a bench's own records."""
    refuse_unknown(params, _KNOWN, f"{METHOD} knows no parameter")
    work = [
        (kind, _number(line, row, "minutes") / 60 / _number(line, row, "wraps"))
        for line, row in _rows(params, "work")
        for kind in (row["kind"],)
        if _number(line, row, "wraps") > 0
    ]
    out: list[Finding] = []
    for kind in dict.fromkeys(kind for kind, _ in work):
        values = [hours for one, hours in work if one == kind]
        out += _hours("item" if kind == ALL else kind, values)
    steps = [_number(line, row, "steps") for line, row in _rows(params, "tone")]
    if steps:
        out.append(_middle("memory.tone_gain", "item", steps, "steps", "items read twice"))
    out += _mishaps(params)
    earned = [
        _number(line, row, "amount") / hours
        for line, row in _rows(params, "profit")
        if (hours := _number(line, row, "hours")) > 0
    ]
    if earned:
        money = params.get("currency", "").strip()
        unit = f"{money}/h" if money else "1/h"
        out.append(_middle("memory.profit_per_hour", "item", earned, unit, "items sold"))
    return Outcome(tuple(out), ASSUMES if out else ())


def _rows(params: Mapping[str, str], name: str) -> Iterator[tuple[int, dict[str, str]]]:
    if params.get(name, "").strip():
        yield from read_rows(params[name], _COLUMNS[name], _COLUMNS[name], f"a table of {name}")


def _number(line: int, row: Mapping[str, str], name: str) -> float:
    try:
        return float(number(row[name]))
    except Unreadable as error:
        raise ValueError(f"line {line}: {name}: {error}") from error


def _hours(subject: str, values: Sequence[float]) -> list[Finding]:
    out = [_middle("memory.hours_per_wrap", subject, values, "h", "items")]
    if len(values) >= FEWEST:
        note = f"the next item falls between with {100 * holds_the_next(len(values)):.0f} %"
        for end, value in (("low", min(values)), ("high", max(values))):
            out.append(
                Finding("", f"memory.hours_next_{end}", subject, value, None, "h", note=note)
            )
    return out


def _middle(
    quantity: str, subject: str, values: Sequence[float], unit: str, of: str
) -> Finding:  # fmt: skip
    band = median_band(values)
    if band is None:
        says = f"not enough yet: {len(values)} of the {FEWEST} {of} it needs"
        return Finding("", quantity, subject, unit=unit, text=says)
    return _told(quantity, subject, band, unit, f"middle of {band.n} {of}")


def _told(quantity: str, subject: str, band: Band, unit: str, note: str) -> Finding:
    return Finding(
        "", quantity, subject, band.middle, None, unit, "", band.low, band.high, note=note
    )


def _mishaps(params: Mapping[str, str]) -> list[Finding]:
    rows = list(_rows(params, "mishaps"))
    wraps = sum(int(_number(line, row, "wraps")) for line, row in rows)
    hurt = sum(int(_number(line, row, "hurt")) for line, row in rows)
    if not wraps:
        return []
    if wraps < FEWEST:
        says = f"not enough yet: {wraps} of the {FEWEST} wraps it needs"
        return [Finding("", "memory.mishap_rate", "item", unit="1", text=says)]
    band = share_band(hurt, wraps)
    note = f"{hurt} of {wraps} wraps treated"
    found = _told("memory.mishap_rate", "item", band, "1", note)
    return [replace(found, sources=("clopper1934",))]


# --- out of the records -----------------------------------------------------------------------


def table_params(states: Iterable[ItemState], bench: BenchState) -> dict[str, str]:
    """The records of all items as the method's tables."""
    return _tables((rows_of(state, bench) for state in states), rates_of(bench).currency)


def rows_of(state: ItemState, bench: BenchState) -> Rows:
    """The rows of one item by table; of ``bench`` only its rates are read."""
    out: dict[str, tuple[tuple[object, ...], ...]] = {"work": tuple(_work_rows(state))}
    if (gain := _tone_gain(state)) is not None:
        out["tone"] = ((state.id, plain(gain)),)
    if (counted := _wraps_hurt(state)) is not None:
        out["mishaps"] = ((state.id, *counted),)
    if (earned := _earned(state, bench, rates_of(bench).currency)) is not None:
        out["profit"] = ((state.id, *earned),)
    return out


def _tables(every: Iterable[Rows], unit: str) -> dict[str, str]:
    tables: dict[str, list[tuple[object, ...]]] = {name: [] for name in _COLUMNS}
    for item in every:
        for name, rows in item.items():
            tables[name] += rows
    out = {name: _csv(_COLUMNS[name], rows) for name, rows in tables.items() if rows}
    if "profit" in out and unit:
        out["currency"] = unit
    return out


def _csv(columns: tuple[str, ...], rows: Iterable[tuple[object, ...]]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(list(rows)[-MOST_ROWS:])
    return out.getvalue()


def finished(state: ItemState) -> bool:
    """Whether the work on an item is done: none is planned, under way or being timed."""
    return running(state) is None and all(one.state == "done" for one in state.steps.values())


def _work_rows(state: ItemState) -> Iterator[tuple[object, ...]]:
    """Minutes by kind, and in all, with the wraps they were for; unfinished items say nothing."""
    minutes: dict[str, Decimal] = {}
    wraps: dict[str, int] = {}
    for one in state.times.values():
        spent = seconds_of(one) / 60
        if not spent:
            continue
        kind = title_key(clean(one.doing, 60)) or "work"
        minutes[kind] = minutes.get(kind, Decimal(0)) + spent
        wraps[kind] = wraps.get(kind, 0) + (one.wraps or 0)
    if not minutes or not finished(state):
        return
    made = state.gathering
    sheets = len(made.sheets()) if made is not None else 0
    for kind, spent in minutes.items():
        for_wraps = min(wraps[kind] or sheets, sheets or wraps[kind])
        if for_wraps:
            yield state.id, kind, f"{spent:.4f}", for_wraps
    every = made.wraps if made is not None else max(wraps.values())
    if every:
        yield state.id, ALL, f"{sum(minutes.values()):.4f}", every


def _tone_gain(state: ItemState) -> Decimal | None:
    """Middle of tone steps before less after over the places that were read at both times."""
    read: dict[tuple[str, str], Decimal] = {}
    for one in state.readings.values():
        if one.quantity == "tone_step" and one.moment is not None:
            read[one.place, one.moment] = one.value
    gains = [
        value - read[place, "after"]
        for (place, moment), value in read.items()
        if moment == "before" and (place, "after") in read
    ]
    return median(gains) if gains else None


def _wraps_hurt(state: ItemState) -> tuple[int, int] | None:
    """Wraps (and cover) that were treated, and how many of them a mishap was told of."""
    treated = {
        sheet_of(place)
        for step in state.steps.values() if step.state == "done"
        for place in step.places if sheet_of(place)
    }  # fmt: skip
    if any(step.state == "done" and "item" in step.places for step in state.steps.values()):
        treated |= set(state.gathering.sheets()) if state.gathering is not None else set()
    if not treated:
        return None
    hurt = {sheet_of(one.place) for one in state.mishaps.values()} & treated
    # A mishap on the whole, or where no step was recorded, hurt one wrap at least.
    elsewhere = any(sheet_of(one.place) not in treated for one in state.mishaps.values())
    return len(treated), min(len(hurt) + (1 if elsewhere and not hurt else 0), len(treated))


def _earned(
    state: ItemState, bench: BenchState, unit: str
) -> tuple[str, str] | None:  # fmt: skip
    """Profit with own time not counted, and the hours, of an item sold in the bench's currency."""
    if "sold" not in state.sold or any(one != unit for one in currencies_of(state)):
        return None
    run = run_method(ACCOUNT, "item", {}, params=account_params(state, bench))
    by = {one.quantity: one for one in run.findings}
    hours = by["account.hours"].value or 0.0
    return (by["account.before_time"].text, f"{hours:.4f}") if hours else None


def memory_run(studio: Studio) -> Run:
    """What the bench remembers, out of all its items as they are now.

    With thousands of items this takes seconds, so it is kept until something is saved, and the
    rows of each item until the item changes.
    """
    return studio.once(METHOD, lambda: _worked_out(studio))


def _worked_out(studio: Studio) -> Run:
    bench = studio.bench()
    rates = rates_of(bench)
    every = studio.each(METHOD, MEMORY, lambda state: rows_of(state, bench), repr(rates))
    return run_method(METHOD, "bench", {}, params=_tables(every.values(), rates.currency))


@dataclass(frozen=True, slots=True)
class Told:
    """One thing remembered: what, how much with its band, and what it rests on."""

    what: str
    says: str
    band: str
    rests: str


def memory_told(run: Run) -> tuple[Told, ...]:
    """What is remembered, a row each; the ranges for the next item stand with their hours."""
    next_by = {
        (one.subject, one.quantity): one for one in run.findings if "hours_next" in one.quantity
    }
    return tuple(_row(one, next_by) for one in run.findings if "hours_next" not in one.quantity)


def _row(one: Finding, next_by: Mapping[tuple[str, str], Finding]) -> Told:
    name = quantity_name(one.quantity)
    what = name if one.subject == "item" else f"{name}, {doing_words(one.subject)}"
    if one.value is None:
        return Told(what, one.text, "", "")
    share = one.quantity == "memory.mishap_rate"
    factor, unit = (100.0, "%") if share else (1.0, unit_text(one.unit))
    numbers = [number_text(factor * value, None)
               for value in (one.value, one.low90 or 0.0, one.high90 or 0.0)]  # fmt: skip
    rests = one.note
    low = next_by.get((one.subject, "memory.hours_next_low"))
    high = next_by.get((one.subject, "memory.hours_next_high"))
    if low is not None and high is not None and low.value is not None and high.value is not None:
        rests += f"; {low.note}: {number_text(low.value, None)} to {number_text(high.value, None)}"
    return Told(
        what, f"{numbers[0]} {unit}".strip(), f"{numbers[1]} to {numbers[2]} {unit}".strip(), rests
    )


def hours_per_wrap(studio: Studio) -> tuple[float, float, float, int] | None:
    """Hours a wrap has taken: the middle, the least and greatest so far, and of how many items.

    None while there are fewer than :data:`FEWEST` items. The least and greatest hold the next item
    with the chance (n - 1) / (n + 1).
    """
    by = {
        one.quantity: one for one in memory_run(studio).findings if one.subject == "item"
    }  # fmt: skip
    middle = by.get("memory.hours_per_wrap")
    if middle is None or middle.value is None:
        return None
    low, high = (by[f"memory.hours_next_{end}"].value for end in ("low", "high"))
    count = int(middle.note.split()[2])
    return middle.value, low or 0.0, high or 0.0, count
