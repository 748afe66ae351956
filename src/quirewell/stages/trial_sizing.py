"""How many pairs a comparison of two ways needs: a registered method over a scatter and a margin.

Paired equivalence (two one-sided tests, 5 % each); the scatter is that of the pair differences, not
of readings: leaves are the sample, readings of one leaf are not.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path

import scipy

from quirewell.record.finding import Finding
from quirewell.science.evidence.equivalence import equivalence_power, pairs_needed
from quirewell.stages.methods import Outcome, method
from quirewell.stages.typed import Unreadable, number
from quirewell.stages.typed_params import refuse_unknown

METHOD = "trial.size"
_KNOWN = ("pairs", "margin", "sd", "unit")
CHANCE, LIKELY = 0.80, 0.90
ASSUMES = (
    "The scatter of pair differences is taken as given and as normal; what it really is shows only "
    "when the pairs are measured.",
    "Pairs are neighbours in the gathering, so that a drift from outer to inner falls out of the "
    "differences.",
)


class SizingError(ValueError):
    """A margin, scatter or count that cannot be."""


@method(METHOD, 1, "exact")
def size(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Pairs needed to show two ways alike, and what the pairs there are can show."""
    refuse_unknown(params, _KNOWN, f"{METHOD} knows no parameter")
    pairs, margin, sd = _count(params), _above(params, "margin"), _above(params, "sd")
    unit = params.get("unit", "")
    source = ("schuirmann1987",)
    found: list[Finding] = []

    def add(quantity: str, value: float, unit: str, note: str) -> None:
        found.append(
            Finding("", quantity, "pairs", value, unit=unit, standing="published", sources=source,
                    note=note)
        )  # fmt: skip

    for quantity, shift, chance in (
        ("trial.needed", 0.0, CHANCE), ("trial.needed_likely", 0.0, LIKELY),
        ("trial.needed_shifted", margin / 3, CHANCE),
    ):  # fmt: skip
        try:
            needed = pairs_needed(margin, sd, chance, shift)
        except ValueError as error:
            found.append(Finding("", quantity, "pairs", unit="pairs", text=f"{error}"))
            continue
        where = "alike in truth" if shift == 0 else "a third of the margin apart in truth"
        add(quantity, needed, "pairs", f"for {chance:.0%} chance of showing it, if {where}")
    if pairs >= 2:
        add("trial.power", equivalence_power(pairs, margin, sd), "1",
            f"chance that {pairs} pairs show it, if alike in truth")  # fmt: skip
        add("trial.margin_held", _margin_for(pairs, sd), unit,
            f"the least margin that {pairs} pairs show with {CHANCE:.0%} chance")  # fmt: skip
    return Outcome(tuple(found), ASSUMES)


def _margin_for(pairs: int, sd: float) -> float:
    """The margin whose power is 80 % with so many pairs (same unit as ``sd``)."""
    low, high = 1e-3 * sd, 40 * sd

    def short(margin: float) -> float:
        return equivalence_power(pairs, margin, sd) - CHANCE

    while short(high) < 0:
        high *= 4
        if not math.isfinite(high):
            raise SizingError("no margin could be shown with so few pairs")
    return float(scipy.optimize.brentq(short, low, high, xtol=1e-9 * sd, rtol=1e-10))


def _count(params: Mapping[str, str]) -> int:
    text = params.get("pairs", "").strip()
    if not (text.isdecimal() and 0 <= int(text[:5]) <= 999):
        raise SizingError(f"pairs are a whole number up to 999, got {text[:20] or 'nothing'}")
    return int(text)


def _above(params: Mapping[str, str], name: str) -> float:
    says = {"margin": "the margin", "sd": "the scatter of pair differences"}[name]
    try:
        value = float(number(params.get(name, "")))
    except Unreadable as error:
        raise SizingError(f"{says}: {error}") from error
    if not 0 < value < 1e6:
        raise SizingError(f"{says} must be above 0 and below a million, got {value:g}")
    return value
