"""The outlook as registered methods: a ratio of lives, and a store's climate from its logger.

``outlook.ratio``: ``ph_before``, ``ph_after`` as typed ("surface strip 5.5 @ 21", or a number,
which counts as a cold extract), ``store_before``, ``store_after`` as "20 C, 50 %". Two pH strips
give words and no ratio; the stores beside them keep theirs. Years are refused.
``outlook.climate``: a logger's file.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from quirewell.record.finding import Finding, Run
from quirewell.record.measured import Term
from quirewell.science.bath.paper_ph import PhReading
from quirewell.science.evidence.normal import Z90
from quirewell.science.paper.climate import Climate, Spread, climate, monthly
from quirewell.science.paper.outlook import Ph, Ratio, Store, outlook
from quirewell.stages import typed
from quirewell.stages.methods import Outcome, method
from quirewell.stages.reserving import read_ph
from quirewell.studio.loggers import read_log

METHOD, CLIMATE = "outlook.ratio", "outlook.climate"
SOURCES = ("strlic2015", "michalski2002", "knight2014", "paltakari1997")
ASSUMES = (
    "The coefficients of the damage function are from memory and not yet read in the paper.",
    "Light, handling, and acid that the paper takes up anew are not in it.",
    "Groundwood is not what these rates were fitted to: read the ratio as a direction with a band.",
    "No benefit is counted beyond a cold-extract pH of 8.5.",
)
YEARS = (
    "Years are refused: no rate known here holds for groundwood in years; extrapolations of one "
    "paper have run from tens to thousands of years. The ratio is what can be said."
)
# A cheap logger's own error (from memory): the same at every reading, so no mean takes it away.
U_LOGGER_C, U_LOGGER_PCT = 0.5, 3.0
LOGGER_SAYS = "the error of a cheap logger, 0.5 °C and 3 % RH, from memory"
_STORE = re.compile(r"\s*(?P<t>[-+\d.,]+\s*°?\s*[CcFf]?)\s*[,;/ ]\s*(?P<h>[\d.,]+)\s*%?\s*")
_BARE = re.compile(r"\s*[-+\d.,]+\s*(?:@.*)?")


@method(METHOD, 4, "seeded")
def ratio(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Life after relative to life before, by pH and by store, with a 90 % band."""
    known = {"ph_before", "ph_after", "store_before", "store_after", "seed"}
    unknown = sorted(set(params) - known)
    if unknown:
        raise ValueError(f"{METHOD} knows no parameter {unknown[0]!r}")
    before, after = (_reading(params.get(key, "")) for key in ("ph_before", "ph_after"))
    first, second = (read_store(params.get(key, "")) for key in ("store_before", "store_after"))
    if before is None and after is None and first == second:
        raise ValueError(
            "nothing to compare: give the pH before and after, or two stores such as '21 C, 55 %' "
            "and '17 C, 45 %'"
        )
    seed = int(params.get("seed") or 1936)
    if before is not None and after is not None and _strips_only(before, after):
        stores = None if first == second else outlook(None, None, first, second, seed=seed)
        return Outcome(_told(before, after, stores), (*ASSUMES, _narrow(before, after)))
    found = outlook(_as_extract(before), _as_extract(after), first, second, seed=seed)
    return Outcome(
        (_ratio_finding(found), _sentence(found, first != second), *_parts(found)),
        (*ASSUMES, *_surface(before, after), _narrow(before, after)),
    )


def _reading(text: str) -> PhReading | None:
    if not text.strip():
        return None
    return read_ph(f"cold extract {text.strip()}" if _BARE.fullmatch(text) else text)


def read_store(text: str) -> Store:
    """A store as typed, "20 C, 50 %"; the usual room when nothing is written.

    Raises:
        ValueError: with a sentence that says how it is written.

    >>> read_store("64 F, 45 %").rh
    0.45
    """
    if not text.strip():
        return Store()
    match = _STORE.fullmatch(text)
    if match is None:
        raise ValueError(
            f"a store is written as temperature and humidity, '20 C, 50 %'; got {text[:40]!r}"
        )
    rh = float(typed.number(match["h"]))
    if 0 < rh <= 1:
        raise ValueError(f"humidity is per cent here: was {rh:g} meant as {100 * rh:g} %?")
    if rh > 100:
        raise ValueError(f"humidity goes up to 100 %, got {rh:g}")
    return Store(float(typed.temperature_c(match["t"])), rh / 100)


def _as_extract(reading: PhReading | None) -> Ph | None:
    if reading is None:
        return None
    if reading.kind == "bath":
        raise ValueError(
            "the pH of a bath says nothing of the paper: read the paper itself, dry and then damped"
        )
    if reading.off_scale:
        raise ValueError(
            f"{reading.says} is off the strip's scale: no ratio follows from it. Read it with a "
            "strip of another range, or an electrode"
        )
    return Ph(reading.ph, reading.whole_u)


def _strips_only(before: PhReading, after: PhReading) -> bool:
    return {before.kind, after.kind} == {"surface strip"}


def _told(before: PhReading, after: PhReading, stores: Ratio | None) -> tuple[Finding, ...]:
    """Words of two strips and, where it moves to another store, what that alone gives."""
    words = _words(before, after)
    if stores is None:
        return (words,)
    low, middle, high = (f"{one:.2g}" for one in (stores.low90, stores.median, stores.high90))
    says = f"{words.text} The other store alone: {low} to {high} times as long, about {middle}."
    return replace(words, text=says), _part("store", "store", stores.by_store)


def _words(before: PhReading, after: PhReading) -> Finding:
    u = (before.whole_u**2 + after.whole_u**2) ** 0.5
    change = after.ph - before.ph
    if before.off_scale or after.off_scale:
        says = "The strips were off their scale: they say which side, not how much."
    elif abs(change) <= 1.645 * u:
        says = (
            f"The strips show no sure change (a change of {1.645 * u + 1.645 * u:.1f} would have "
            "shown)."
        )
    elif change > 0:
        says = "Less acid than before, and so ageing more slowly; strips cannot say by how much."
    else:
        says = "More acid than before, and so ageing faster; strips cannot say by how much."
    return Finding(
        "", "outlook.words", "item", text=says, standing="from memory", sources=("tappi529",),
        note=f"two surface strips, {before.says} and {after.says}: words, no ratio",
    )  # fmt: skip


def _ratio_finding(found: Ratio) -> Finding:
    terms = tuple(
        Term(name, value, "spread of the natural logarithm of the ratio")
        for name, value in found.parts.items()
        if value
    )
    return Finding(
        "", "outlook.ratio", "item", found.median, found.u, "1", low90=found.low90,
        high90=found.high90, terms=terms, standing="from memory", sources=SOURCES,
        note="life after by life before; median and 90 % band of 20 000 draws over pH method, "
        "coefficient, activation energy and law of humidity",
    )  # fmt: skip


def _parts(found: Ratio) -> list[Finding]:
    """What pH and store give apart, where both changed."""
    if not (found.parts["pH"] and found.parts["store"]):
        return []
    return [_part("ph", "pH", found.by_ph), _part("store", "store", found.by_store)]


def _part(name: str, says: str, band: tuple[float, float, float]) -> Finding:
    low, middle, high = band
    return Finding(
        "", f"outlook.by_{name}", "item", middle, (high - low) / (2 * Z90), "1", low90=low,
        high90=high, standing="from memory", sources=SOURCES,
        note=f"life after by life before, had only the {says} changed",
    )  # fmt: skip


def _sentence(found: Ratio, moved: bool) -> Finding:
    low, middle, high = (f"{one:.2g}" for one in (found.low90, found.median, found.high90))
    if found.low90 > 1:
        says = (
            f"It should keep longer than before: between {low} and {high} times as long, most "
            f"likely about {middle} times, if it is kept in the dark"
        )
        says += (
            " in that store and nothing else changes." if moved else " and nothing else changes."
        )
    elif found.high90 < 1:
        says = f"It should keep less long than before: {low} to {high} times as long."
    else:
        says = (
            "It cannot be told whether it will keep longer or less long: between "
            f"{low} and {high} times as long."
        )
    return Finding("", "outlook.says", "item", text=says, standing="from memory", sources=SOURCES)


def _surface(*readings: PhReading | None) -> list[str]:
    kinds = {one.kind for one in readings if one is not None}
    if kinds & {"surface strip", "surface electrode"}:
        return ["A surface pH is no cold extract: its band is wider, and coarse chalk misleads it."]
    return []


def _narrow(*readings: PhReading | None) -> str:
    kinds = {one.kind for one in readings if one is not None}
    if not kinds:
        return "What would narrow it most: a logger in each store instead of one reading."
    if "cold extract" not in kinds:
        return (
            "What would narrow it most: a cold extract of 1 g of scrap or like paper, never of the "
            "object, before and after."
        )
    return "What would narrow it most: a logger in the store, and a second extract."


@method(CLIMATE, 2, "exact")
def store_climate(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """A store's rate of ageing from a logger's file: mean of rates, and the rate at its mean."""
    path = files["log"]
    log = read_log(
        path, params.get("unit", ""), params.get("columns", ""), params.get("day_first", "")
    )
    found = climate(log.temperature_c, log.rh, log.hours)
    rows = monthly(log.temperature_c, log.rh, log.hours, log.month)
    drawing = {
        "months": ";".join(f"{m} {t:.2f} {h:.4f} {rate:.4f}" for m, t, h, rate in rows),
        "start": log.start.isoformat(),
    }
    return Outcome(_climate_findings(found), (*log.notes, *_climate_words(found)), drawing)


def _climate_findings(found: Climate) -> tuple[Finding, ...]:
    # What its own 0.5 C and 3 % make of the rate, by what 2 C and 10 % less make of it.
    logger = math.hypot(
        U_LOGGER_C * math.log(found.two_cooler.median) / 2,
        U_LOGGER_PCT * math.log(found.ten_drier.median) / 10,
    )

    def spread(quantity: str, one: Spread, note: str, own: float = 0.0) -> Finding:
        low, high = (
            one.median * math.exp(sign * math.hypot(math.log(edge / one.median), Z90 * own))
            for sign, edge in ((-1, one.low), (1, one.high))
        )
        terms = (
            Term("law of humidity and energy", (one.high - one.low) / (2 * Z90), "all left open"),
            *((Term("logger", own * one.median, LOGGER_SAYS),) if own else ()),
        )
        return Finding(
            "", quantity, "store", one.median, (high - low) / (2 * Z90), "1", low90=low,
            high90=high, terms=terms, standing="from memory", sources=SOURCES, note=note,
        )  # fmt: skip

    return (
        spread("climate.rate_relative", found.rate_relative, "mean of the rates, by 20 °C and 50 %",
               logger),
        spread("climate.rate_at_mean", found.rate_at_mean, "rate at the mean climate", logger),
        spread("climate.penalty_of_swings", found.penalty_of_swings, "the first by the second"),
        spread("climate.two_cooler", found.two_cooler, "times as long, 2 °C cooler all the time"),
        spread("climate.ten_drier", found.ten_drier, "times as long, 10 % RH drier all the time"),
        Finding(
            "", "climate.mean_c", "store", found.mean_c, U_LOGGER_C, "C",
            standing="measured here", note=LOGGER_SAYS,
        ),
        Finding(
            "", "climate.mean_rh_pct", "store", 100 * found.mean_rh, U_LOGGER_PCT, "%",
            standing="measured here", note=LOGGER_SAYS,
        ),
        Finding("", "climate.hours", "store", found.hours, None, "h", standing="measured here"),
    )  # fmt: skip


def _climate_words(found: Climate) -> list[str]:
    out = [
        "Bands hold every law of humidity and activation energy that the literature leaves open, "
        "and for the rates the error of a cheap logger (0.5 °C and 3 % RH, from memory)."
    ]
    if found.hours < 24 * 300:
        out.append(f"The log holds {found.hours / 24:.0f} days: a year shows what summer costs.")
    if found.mean_rh > 0.60:
        out.append("Damp: mould is a nearer danger than ageing. Look at the dampest weeks first.")
    return out


def ratio_json(run: Run) -> dict[str, Any]:
    """An outlook as the command line's JSON; ``ratio`` is null where only words can be said."""
    by_name = {finding.quantity: finding for finding in run.findings}
    found = by_name.get("outlook.ratio")
    words = by_name.get("outlook.says") or by_name["outlook.words"]
    ratio_: dict[str, Any] | None = None
    if found is not None:
        ratio_ = {"median": found.value, **found.measured().as_json()}
    return {
        "ratio": ratio_,
        **{
            name: by_name[f"outlook.{name}"].measured().as_json()
            for name in ("by_ph", "by_store")
            if f"outlook.{name}" in by_name
        },
        "says": words.text,
        "standing": words.standing,
        "assumptions": list(ASSUMES),
        "warnings": list(run.warnings),
        "method": f"{run.method}@{run.version}",
    }


def climate_json(run: Run) -> dict[str, Any]:
    """A store's climate as the command line's JSON."""
    out: dict[str, Any] = {
        finding.quantity.removeprefix("climate."): finding.measured().as_json()
        for finding in run.findings
    }
    months = [row.split() for row in run.drawing["months"].split(";") if row]
    out["months"] = [
        {"month": int(m), "mean_c": float(t), "mean_rh_pct": 100 * float(h), "rate": float(rate)}
        for m, t, h, rate in months
    ]
    return {
        **out,
        "start": run.drawing["start"],
        "warnings": list(run.warnings),
        "method": f"{run.method}@{run.version}",
    }
