"""What an item is worth at a grade, from a table of own sales: a registered method.

Parameters are text: ``sales`` (the table of :mod:`.sale_table`), ``columns`` (which column is
which, where that is not told by names), ``grade``, ``item`` (one of several in the table),
``rates`` (a table) with ``currency``, ``today``, ``decimal`` (point or comma), ``day_first`` (yes
or no); ``low``, ``likely``, ``high`` typed by hand; and for an account ``cost``, ``materials``,
``hours``, ``hourly``, ``fee``, ``fee_pct``, ``sold_for``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from statistics import median
from typing import Any

from quirewell.record.finding import Finding, Run, Standing
from quirewell.science.planning.typed_range import Range
from quirewell.science.planning.worth import FEWEST, TYPED_SALES, Sale, Worth, worth
from quirewell.stages import worth_told
from quirewell.stages.methods import Outcome, method
from quirewell.stages.plain_table import TableError
from quirewell.stages.sale_account import ACCOUNT, account_findings, account_json
from quirewell.stages.sale_table import (
    TOP,
    Reading,
    Records,
    age_in_years,
    read_rates,
    read_sales,
)
from quirewell.stages.typed import Unreadable
from quirewell.stages.typed import number as exact
from quirewell.stages.typed_params import number, one_of, refuse_unknown

METHOD = "worth.estimate"
SOURCES = ("barber2021",)
_TYPED = ("low", "likely", "high")
_KNOWN = ("sales", "columns", "grade", "item", "rates", "currency", "today", "decimal",
          "day_first", *_TYPED, *ACCOUNT)  # fmt: skip
_FORWARD = timedelta(days=365)


@dataclass(frozen=True, slots=True)
class _Asked:
    """What the method was asked, read from text."""

    grade: float
    item: str | None
    today: date | None
    typed: Range | None
    table: Records


@method(METHOD, 1, "exact")
def estimate(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """What an item is worth at a grade, from your own sales, with a band and what it rests on."""
    refuse_unknown(params, _KNOWN, f"{METHOD} knows no parameter")
    asked = _read(params)
    sales, today, stands = _as_sales(asked)
    found = worth(asked.grade, sales, asked.typed, asked.item)
    used = [one for one in asked.table.records
            if asked.item is None or one.item.lower() == asked.item]  # fmt: skip
    out = _findings(found, asked)
    out += _ages([one.day for one in used if one.day is not None], today)
    shares = [float(one.fee / one.price) for one in used if one.fee is not None]
    if shares:
        out.append(Finding("", "worth.fee_pct", "item", 100 * median(shares), None, "pct",
                           note=f"middle of {len(shares)} fees recorded"))  # fmt: skip
    out += [Finding("", "worth.set_aside", f"line {one.line}", text=f"line {one.line}: {one.says}")
            for one in asked.table.aside]  # fmt: skip
    out += account_findings(params, found, asked.table.currency)
    drawing = {"columns": "\n".join(f"{key}={name}" for key, name in asked.table.columns.items())}
    if found.band is not None:
        drawing["level"] = f"{found.band.level:g}"
    if found.trend is not None:
        drawing["trend_applied"] = "yes" if found.trend.applied else "no"
    held = stands if found.trend is not None and found.trend.applied and stands != today else None
    nearest = min((abs(float(one.grade) - asked.grade) for one in used), default=0.0)
    warnings = worth_told.warnings(
        found, nearest, len(sales), asked.typed, asked.table.currency, held
    )
    warnings = (*warnings, *_items(asked, len(used)), *_columns(asked), *asked.table.notes)
    assumes = worth_told.ASSUMES if found.used else ()
    return Outcome(tuple(out), (*warnings, *assumes), drawing)


def _as_sales(asked: _Asked) -> tuple[list[Sale], date | None, date | None]:
    """Sales as the science reads them, the day asked for, and the day that prices are told at."""
    days = [one.day for one in asked.table.records if one.day is not None]
    today = asked.today or (max(days) if days else None)
    # A trend is carried no farther than a year beyond the newest sale.
    stands = min(today, max(days) + _FORWARD) if today is not None and days else today
    sales = [
        Sale(
            float(one.grade), float(one.price),
            -float(age_in_years(one.day, stands)) if one.day and stands else None,
            one.item.lower(),
        )
        for one in asked.table.records
    ]  # fmt: skip
    return sales, today, stands


def sales_asked(params: Mapping[str, str]) -> tuple[list[Sale], Range | None, str | None, str]:
    """Sales, the range typed by hand, the item asked about, and the currency, for asking the value
    at many grades.

    Raises:
        ValueError: as the method itself.
    """
    asked = _read({**params, "grade": params.get("grade") or "5"})
    return _as_sales(asked)[0], asked.typed, asked.item, asked.table.currency


def _read(params: Mapping[str, str]) -> _Asked:
    if not params.get("grade", "").strip():
        raise ValueError("say which grade: a number above 0 and up to 10")
    grade = number(params, "grade", 0)
    if not 0 < grade <= TOP:
        raise ValueError(f"a grade lies above 0 and up to {TOP}, got {grade:g}")
    today = _day(params)
    typed = _typed(params)
    rates, to = read_rates(params["rates"], today) if params.get("rates") else ((), "")
    decimal = {"": "", "point": ".", "comma": ","}[
        one_of(params, "decimal", ("point", "comma"), "") if params.get("decimal") else ""
    ]
    first = one_of(params, "day_first", ("yes", "no"), "yes") if params.get("day_first") else ""
    how = Reading(
        params.get("columns", ""), decimal, {"": "", "yes": "dmy", "no": "mdy"}[first], today,
        rates, params.get("currency", "") or to,
    )  # fmt: skip
    if params.get("sales", "").strip():
        table = read_sales(params["sales"], how)
    elif typed is None:
        raise ValueError("give a table of sales, or low, likely and high as you would type them")
    else:
        table = Records((), (), (), how.currency, {})
    item = params.get("item", "").strip().lower() or None
    names = sorted({one.item for one in table.records if one.item})
    if item is not None and typed is None and item not in {name.lower() for name in names}:
        there = ", ".join(names[:20]) or "not named"
        raise TableError(f"no sale is of {params['item'][:60]!r}; the items are {there}")
    return _Asked(grade, item, today, typed, table)


def _day(params: Mapping[str, str]) -> date | None:
    text = params.get("today", "").strip()
    try:
        return date.fromisoformat(text) if text else None
    except ValueError as error:
        raise ValueError(f"{text[:40]!r} is no day; write today as 2026-03-31") from error


def _typed(params: Mapping[str, str]) -> Range | None:
    given = [name for name in _TYPED if params.get(name, "").strip()]
    if not given:
        return None
    if len(given) < 3:
        missing = " and ".join(name for name in _TYPED if name not in given)
        raise ValueError(f"low, likely and high go together; give {missing} too")
    try:
        low, likely, high = (float(exact(params[name])) for name in _TYPED)
    except Unreadable as error:
        raise ValueError(f"of low, likely and high {error}") from error
    return Range(low, likely, high)


def _findings(found: Worth, asked: _Asked) -> list[Finding]:
    unit = asked.table.currency or "1"
    standing: Standing = "from memory" if found.model == "typed" else "measured here"
    by_hand = "typed by hand" if found.model == "typed" else ""
    out = [
        _amount("worth.median", found.median, found.u_log, found, unit, standing, by_hand),
    ]
    if found.mean is None:
        says = f"not told: fewer than {FEWEST} records show no scatter"
        out.append(Finding("", "worth.mean", "item", unit=unit, text=says))
    else:
        out.append(_amount("worth.mean", found.mean, found.u_log_mean, found, unit, standing,
                           by_hand))  # fmt: skip
    for name, band in (("interval", found.band), ("typed", found.typed)):
        if band is not None:
            note = f"with {100 * band.level:.0f} % the next sale falls between"
            out += [
                Finding("", f"worth.{name}_{end}", "item", value, None, unit, standing=standing,
                        sources=SOURCES if name == "interval" else ("malcolm1959",), note=note)
                for end, value in (("low", band.low), ("high", band.high))
            ]  # fmt: skip
    if found.no_band:
        out.append(Finding("", "worth.no_interval", "item", text=found.no_band))
    if found.scatter is not None:
        u = found.scatter / math.sqrt(2 * max(found.used - 2, 1)) if found.u_log else None
        out.append(Finding("", "worth.scatter_log", "item", found.scatter, u, "1",
                           standing=standing, note="of one sale's logarithm"))  # fmt: skip
    if found.slope is not None:
        out.append(Finding("", "worth.per_grade_pct", "item", 100 * math.expm1(found.slope),
                           found.u_slope and 100 * math.exp(found.slope) * found.u_slope, "pct",
                           note="a grade higher, at this grade"))  # fmt: skip
    if found.trend is not None:
        rate, u = found.trend.per_year, found.trend.u
        out.append(Finding(
            "", "worth.trend_pct", "item", 100 * math.expm1(rate), 100 * math.exp(rate) * u, "pct",
            worth_told.trend(found.trend), 100 * math.expm1(rate - 1.645 * u),
            100 * math.expm1(rate + 1.645 * u), note="a year, over all sales of the table",
        ))  # fmt: skip
    aside = len(asked.table.aside)
    return [
        *out,
        Finding("", "worth.used", "item", float(found.used), 0.0, "1"),
        Finding("", "worth.aside", "item", float(aside), 0.0, "1"),
        Finding("", "worth.model", "item", text=worth_told.model(found)),
        Finding("", "worth.says", "item", text=worth_told.sentence(found, asked.table.currency)),
    ]  # fmt: skip


def _amount(
    quantity: str, value: float, u_log: float | None, found: Worth, unit: str, standing: Standing,
    note: str,
) -> Finding:  # fmt: skip
    ends = found.spread(u_log)
    low, high = (None, None) if ends is None else (value * ends[0], value * ends[1])
    u = None if u_log is None else value * u_log
    return Finding("", quantity, "item", value, u, unit, "", low, high, standing=standing,
                   sources=SOURCES if u is not None else (), note=note)  # fmt: skip


def _ages(days: list[date], today: date | None) -> list[Finding]:
    if not days or today is None:
        return []
    ages = sorted(float(age_in_years(one, today)) for one in days)
    return [
        Finding("", f"worth.age_{name}_years", "item", age, 0.0, "years")
        for name, age in (("newest", ages[0]), ("middle", median(ages)), ("oldest", ages[-1]))
    ]


def _items(asked: _Asked, used: int) -> tuple[str, ...]:
    names = sorted({one.item for one in asked.table.records if one.item}, key=str.lower)
    if asked.item is None and len({name.lower() for name in names}) > 1:
        return (
            f"The sales are of {len(names)} items ({', '.join(names[:6])}) and count as of one "
            "kind; name one of them for its own level.",
        )
    others = len(asked.table.records) - used
    if asked.item is not None and not used and others:
        return (f"No sale is of {asked.item!r}; sales of others take no part.",)
    if asked.item is not None and others:
        return (
            f"{others} sales of other items say how price goes with grade and over time; the level "
            "is this item's own.",
        )
    return ()


def _columns(asked: _Asked) -> tuple[str, ...]:
    """Say which columns were taken, where their names are not ours."""
    taken = asked.table.columns
    if all(field == name.lower() for field, name in taken.items()):
        return ()
    said = ", ".join(f"{field} = {name!r}" for field, name in taken.items())
    return (f"Columns taken: {said}; set them right with --columns.",)


def as_json(run: Run) -> dict[str, Any]:
    """An estimate as the command line's JSON."""
    by = {one.quantity.removeprefix("worth."): one for one in run.findings}

    def number_of(key: str) -> Any:
        if key not in by:
            return None
        one = by[key]
        if one.value is None:
            return {"value": None, "u": None, "low90": None, "high90": None, "unit": one.unit,
                    "says": one.text}  # fmt: skip
        return one.measured().as_json()

    def ends(name: str, level: float) -> dict[str, Any] | None:
        if f"{name}_low" not in by:
            return None
        low, high = by[f"{name}_low"], by[f"{name}_high"]
        return {"level": level, "low": low.value, "high": high.value, "unit": low.unit,
                "says": low.note}  # fmt: skip

    interval, typed = ends("interval", float(run.drawing.get("level", "0"))), ends("typed", 0.9)
    trend = number_of("trend_pct")
    if trend is not None:
        trend |= {"applied": run.drawing["trend_applied"] == "yes", "says": by["trend_pct"].text}
    return {
        "says": by["says"].text,
        "grade": float(run.params["grade"].replace(",", ".")),
        "currency": by["median"].unit.removeprefix("1"),
        "median": number_of("median") | {"says": worth_told.MEDIAN},
        "mean": {"says": worth_told.MEAN} | number_of("mean"),
        "band": interval or typed,
        "interval": interval,
        "no_interval": by["no_interval"].text if "no_interval" in by else None,
        "typed_band": typed,
        "n_used": int(by["used"].value or 0),
        "set_aside": [{"line": int(one.subject.removeprefix("line ")), "says": one.text}
                      for one in run.findings if one.quantity == "worth.set_aside"],
        "model": by["model"].text,
        "per_grade_pct": number_of("per_grade_pct"),
        "scatter_log": number_of("scatter_log"),
        "trend": trend,
        "age_years": {key: by[f"age_{key}_years"].value for key in ("newest", "middle", "oldest")
                      if f"age_{key}_years" in by} or None,
        "fee_pct": number_of("fee_pct"),
        "account": account_json(run),
        "columns": dict(line.split("=", 1) for line in run.drawing["columns"].splitlines()),
        "typed_counts_as_sales": TYPED_SALES if run.params.get("likely") else None,
        "warnings": list(run.warnings),
        "method": f"{run.method}@{run.version}",
    }  # fmt: skip
