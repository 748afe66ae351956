"""A hand iron over the fold as a registered method: how hot the fold gets, and the days it costs.

Parameters are text: ``iron_c``, ``seconds``, ``release_mm``, ``leaves``, ``leaf_mm``, ``rh_pct``,
``passes``, ``start_c``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from quirewell.record.finding import Finding, Run
from quirewell.record.measured import Term
from quirewell.science.evidence.normal import Z90
from quirewell.science.press.iron import DRY_RH, Ironed, Pass, both_ways
from quirewell.stages.cautions import HEAT, plain
from quirewell.stages.methods import Outcome, method
from quirewell.stages.naming import amount_words
from quirewell.stages.typed_params import celsius, humidity, number, refuse_unknown, whole

METHOD = "press.iron"
SOURCES = ("asme1992", "michalski2002", "strlic2015")
_KNOWN = (
    "iron_c", "seconds", "release_mm", "leaves", "leaf_mm", "rh_pct", "passes", "start_c",
)  # fmt: skip
ASSUMES = (
    "Dry conduction only, through release sheet and leaves into a board; the iron keeps its "
    "temperature. Its contact with paper is 97 to 452 W/m2K (measured on dry paper under metal).",
    "Slow ageing only: scorch, gloss and blocking come first. Try it on a scrap.",
    "An iron's own thermostat swings by 10 °C and more (from memory): measure the sole.",
)
PRACTICE = (
    "Near 121 °C is what some benches do (common practice, no source), light then firm, over "
    "release sheet; it is no preset here."
)


@method(METHOD, 2, "exact")
def press_iron(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Temperature reached at a fold under a hand iron, and its heat as equivalent days."""
    one = read_pass(params)
    poor, usual, good = both_ways(one)
    warnings = list(ASSUMES)
    if one.iron_c > 100:
        warnings.insert(0, PRACTICE)
    if one.rh > DRY_RH:
        warnings.insert(
            0, "The paper is damp: heat on damp acid paper ages it fast, and ink offsets."
        )
    return Outcome(
        (
            _spread("iron.peak_c", poor.peak_c, usual.peak_c, good.peak_c, "the leaf under it"),
            _spread("iron.under_c", poor.under_c, usual.under_c, good.under_c, "the lowest leaf"),
            _days(poor, usual, good),
            Finding(
                "", "iron.says", "item", text=_sentence(one, poor, usual, good),
                standing="from memory", sources=SOURCES,
            ),
        ),
        tuple(warnings),
    )  # fmt: skip


def read_pass(params: Mapping[str, str]) -> Pass:
    """A pass from text.

    Raises:
        ValueError: with a sentence.
    """
    refuse_unknown(params, _KNOWN, f"{METHOD} knows no parameter")
    return Pass(
        celsius(params, "iron_c", 65.0), number(params, "seconds", 5.0),
        number(params, "release_mm", 0.5), whole(params, "leaves", 2),
        number(params, "leaf_mm", 0.085), celsius(params, "start_c", 20.0),
        humidity(params, "rh_pct", 50.0), whole(params, "passes", 1),
    )  # fmt: skip


def _spread(quantity: str, low: float, middle: float, high: float, note: str) -> Finding:
    return Finding(
        "", quantity, "item", middle, (high - low) / (2 * Z90), "C", low90=low, high90=high,
        terms=(Term("contact of the iron", (high - low) / (2 * Z90), "97 to 452 W/m2K"),),
        standing="from memory", sources=("asme1992",), note=note,
    )  # fmt: skip


def _days(poor: Ironed, usual: Ironed, good: Ironed) -> Finding:
    middle = usual.dose.days
    contact = math.log(max(good.dose.days, 1e-12) / max(poor.dose.days, 1e-12)) / (2 * Z90)
    log_u = math.hypot(usual.dose.log_u, contact)
    spread = math.exp(Z90 * log_u)
    return Finding(
        "", "iron.dose_days", "item", middle, middle * log_u, "d", low90=middle / spread,
        high90=middle * spread,
        terms=(
            Term("contact of the iron", middle * contact, "as a share of the days"),
            Term("ageing", middle * usual.dose.log_u, "as a share of the days"),
        ),
        standing="from memory", sources=SOURCES, note="all passes, twenty seconds of cooling each",
    )  # fmt: skip


def _sentence(one: Pass, poor: Ironed, usual: Ironed, good: Ironed) -> str:
    over = f" over {one.release_mm:g} mm of release sheet" if one.release_mm else ""
    many = "one pass" if one.passes == 1 else f"{one.passes} passes"
    days = usual.dose.days
    cost = "less than an hour" if days < 1 / 24 else f"about {amount_words(days, 'day', '.1g')}"
    return (
        f"In {many} of {one.seconds:g} s at {one.iron_c:g} °C{over} the leaf under it comes to "
        f"{poor.peak_c:.0f} to {good.peak_c:.0f} °C; that counts as {cost} on the shelf."
    )


def as_json(run: Run) -> dict[str, Any]:
    """A pass as the command line's JSON."""
    by_name = {one.quantity: one for one in run.findings}

    def three(name: str) -> dict[str, Any]:
        one = by_name[name]
        return {"low": one.low90, "mid": one.value, "high": one.high90,
                **one.measured().as_json()}  # fmt: skip

    return {
        "says": by_name["iron.says"].text,
        "peak_c": three("iron.peak_c"),
        "under_c": three("iron.under_c"),
        "dose": {"days": three("iron.dose_days")},
        "cautions": [row["says"] for row in plain(HEAT)],
        "warnings": list(run.warnings),
        "method": f"{run.method}@{run.version}",
    }
