"""A value in words: the sentence, the model and why it, the trend, and what to know."""

from __future__ import annotations

from datetime import date

from quirewell.science.planning.typed_range import Range
from quirewell.science.planning.worth import (
    CURVE_FROM,
    CURVE_GRADES,
    TREND_FROM,
    TREND_YEARS,
    TYPED_SALES,
    Trend,
    Worth,
)
from quirewell.stages.asking import band_text

MEDIAN = "half of such sales lie above it, half below"
MEAN = "to reckon with where money is added up"
ROUNDED = 0.005  # scatter of log price below which it says nothing (assumed: half a per cent)
ASSUMES = (
    "Your own sales only, as if each grade had been given by one eye; a sale under pressure, or "
    "between friends, counts as any other.",
    "The interval is where one further sale would fall, by what each sale would have missed had it "
    "not been known; it is no promise.",
)


def amount(value: float, low: float, high: float) -> str:
    """Money to no more digits than its band bears."""
    return band_text(value, low, high)[0]


def sentence(found: Worth, unit: str) -> str:
    """The value, its band, and the mean beside the median."""
    at, unit = f"At grade {found.grade:g}", f" {unit}".rstrip()
    band = found.band or found.typed
    mean = found.mean
    if band is None:
        rough = float(f"{found.median:.2g}")
        return f"{at} about {rough:g}{unit} (median); {found.no_band}."
    middle, low, high = band_text(found.median, band.low, band.high)
    fetch = "what was typed comes to" if found.model == "typed" else "the next sale would fetch"
    says = (
        f"{at} {fetch} about {middle}{unit} (median), with "
        f"{100 * band.level:.0f} % between {low} and {high}"
    )
    if mean is not None:
        says += f"; where money is added up reckon with {amount(mean, band.low, band.high)} (mean)"
    return f"{says}."


def model(found: Worth) -> str:
    """Which model and why."""
    if found.model == "typed":
        return "What was typed by hand, as a PERT distribution: there is no sale."
    many = "1 sale" if found.used == 1 else f"{found.used} sales"
    if found.model == "curve":
        return (
            f"A curve that never falls, in log price, from {many}: foretelling each sale without "
            f"it, it missed by less than a straight line did, by {found.curve_gain:.1f} standard "
            "errors (more than 1 is asked)."
        )
    if found.model == "level":
        base = f"One level of log price, from {many}: they show no rise with grade."
    else:
        base = f"A straight line of log price against grade, from {many}."
    if found.curve_gain is not None:
        return f"{base} A curve was tried and foretold no better beyond chance."
    return (
        f"{base} A curve is tried from {CURVE_FROM} sales at {CURVE_GRADES} grades on, within them."
    )


def trend(found: Trend) -> str:
    """Whether prices moved over the years, and whether the value follows."""
    over = f"({found.years:.1f} years of sales)"
    if found.applied:
        return f"Prices moved with the years {over}; the value is brought forward by it."
    return (
        f"No clear change with the years {over}: less than twice its standard uncertainty; the "
        "value is not brought forward."
    )


def warnings(
    found: Worth, nearest: float, sales: int, typed: Range | None, unit: str, held: date | None
) -> tuple[str, ...]:
    """What the value leans on: extrapolation, hand-typed numbers, few or old records."""
    out = []
    if found.outside > 0:
        out.append(
            f"An extrapolation: grade {found.grade:g} lies {found.outside:g} outside the grades "
            "sold, and nothing here shows how the price goes on."
        )
    elif nearest > 1 and found.used:
        out.append(f"The nearest sale is {nearest:g} grades away.")
    if found.scatter is not None and found.used and found.scatter < ROUNDED:
        out.append(
            "The sales scatter less than prices are rounded: what the band says of the next is "
            "too narrow."
        )
    if found.trend is None and sales:
        out.append(
            f"No trend is told: it takes {TREND_FROM} dated sales over {TREND_YEARS:g} years."
        )
    if held is not None:
        out.append(f"The trend is carried to {held} and no farther: a year beyond the newest sale.")
    if typed is not None:
        out += _typed(found, typed, unit)
    return tuple(out)


def _typed(found: Worth, typed: Range, unit: str) -> list[str]:
    ends = f"{typed.low:g}, {typed.likely:g}, {typed.high:g} {unit}".rstrip()
    out = [
        f"Typed by hand: {ends} (low, likely, high), taken as a PERT distribution: the ends are "
        "hardly ever passed."
    ]
    if found.used:
        out.append(
            f"What was typed counts as {TYPED_SALES:g} sales at this grade (assumed); each further "
            "sale moves the value away from it."
        )
        if found.typed is not None:
            out.append("The band keeps the width that was typed until 4 sales are there.")
        if not typed.low <= found.median <= typed.high:
            out.append("The sales lead outside what was typed; look at both.")
    return out
