"""A humidity chamber as a registered method: hours by how open the item lies, water, what to watch.

Parameters are text: ``rh_pct`` or ``salt``, ``temperature_c``, ``start_rh_pct``, ``wraps``,
``leaf_g_m2``, ``leaf_mm``, ``cover_mm`` (0 for none), ``width_mm``, ``height_mm``, ``litres``,
``wet_m2``, ``room_c``, ``room_rh_pct``.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from quirewell.record.finding import Finding, Run
from quirewell.science.evidence.normal import Z90
from quirewell.science.press.chamber import WAYS, Chamber, Damping, Watch, damping, watch
from quirewell.science.press.salts import SALTS, salt_rh
from quirewell.science.press.stack import Pamphlet
from quirewell.stages.cautions import plain
from quirewell.stages.methods import Outcome, method
from quirewell.stages.naming import amount_words
from quirewell.stages.typed_params import celsius, humidity, number, refuse_unknown, whole

METHOD = "chamber.plan"
SOURCES = ("tryding2022", "heikkila1993", "ashrae2017")
# Our own limit, no source: nearer to saturation the curves of sorption bind nothing, and air at
# 98.5 % drips once it cools by a quarter of a kelvin.
MOST_RH = 0.985
CAUTIONS = ("over-humid", "coated", "brittle-fold", "mould")
_KNOWN = (
    "rh_pct", "salt", "temperature_c", "start_rh_pct", "wraps", "leaf_g_m2", "leaf_mm", "cover_mm",
    "width_mm", "height_mm", "litres", "wet_m2", "room_c", "room_rh_pct",
)  # fmt: skip
ASSUMES = (
    "Still air; a fan halves the hours of open leaves and hardly those of a closed item. The band "
    "holds both curves of sorption and leaves three times as open and as tight.",
    "What goes in by the edges of a closed item takes a month: it does not count.",
    "Mould by a model for the most sensitive boards; old paper may carry living spores. Look, and "
    "smell.",
)
NARROWS = "What would narrow it most: a hygrometer in the chamber, checked over damp table salt."
SLURRY = (
    "Salts hold damp air poorly where paper draws water: the top of the slurry thins. Heap the "
    "solid, and give it a wide tray."
)
_NAMES = {"open leaf": "open leaf, both faces", "fanned": "fanned", "closed": "closed"}


@method(METHOD, 2, "exact")
def chamber_plan(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Hours and grams for an item in a humidity chamber, and what goes wrong meanwhile."""
    pamphlet, chamber, width, height = _read(params)
    ways = [damping(pamphlet, way, chamber, width, height) for way in WAYS]
    seen = watch(chamber)
    warnings = [*_warnings(ways, seen, chamber), *ASSUMES, NARROWS]
    if params.get("salt"):
        warnings.insert(0, SLURRY)
        mind = SALTS[params["salt"]].mind
        if mind:
            warnings.insert(0, f"{SALTS[params['salt']].name}: {mind}.")
    return Outcome(
        (
            *(finding for way in ways for finding in _hours(way)),
            *_stages(ways, seen),
            _one("chamber.water_g", ways[0].water_g, 0.15 * ways[0].water_g, "g",
                 "into the paper, nine tenths of it by then"),
            _one("chamber.supply_h", _finite(ways[0].supply_h), 0.5 * _finite(ways[0].supply_h),
                 "h", f"what {chamber.wet_m2:g} m2 of wet area needs to give it"),
            _one("chamber.rh_pct", 100 * chamber.rh, 3.0, "%", "held in the chamber",
                 ("wexler_crc",) if params.get("salt") else ()),
            _one("chamber.mould_h", _finite(seen.mould_h), 0.5 * _finite(seen.mould_h), "h",
                 "until the index comes to 1, too little to see", ("hukka1999",)),
            _one("chamber.margin_k", seen.margin_k, 0.5, "K",
                 "a wall cooler than the air by this drips"),
            _one("chamber.lid_min", _finite(seen.lid_min), 0.3 * _finite(seen.lid_min), "min",
                 "of supply, to make up for the lid opened once"),
            Finding("", "chamber.says", "item", text=_sentence(ways, seen, chamber),
                    standing="from memory", sources=SOURCES),
        ),
        tuple(warnings),
    )  # fmt: skip


def _read(params: Mapping[str, str]) -> tuple[Pamphlet, Chamber, float, float]:
    refuse_unknown(params, _KNOWN, f"{METHOD} knows no parameter")
    warm = celsius(params, "temperature_c", 20.0)
    if params.get("salt") and params.get("rh_pct"):
        raise ValueError("give the humidity or the salt that holds it, not both")
    rh = salt_rh(params["salt"], warm) / 100 if params.get("salt") else humidity(
        params, "rh_pct", 95.0)  # fmt: skip
    cover = number(params, "cover_mm", 0.12)
    pamphlet = Pamphlet(
        whole(params, "wraps", 14), number(params, "leaf_mm", 0.085),
        number(params, "leaf_g_m2", 52.7), cover > 0, cover or 0.12, warm,
        humidity(params, "start_rh_pct", 50.0),
    )  # fmt: skip
    chamber = Chamber(
        warm, _within(rh), number(params, "litres", 60.0), number(params, "wet_m2", 0.1),
        celsius(params, "room_c", 20.0), humidity(params, "room_rh_pct", 50.0),
    )  # fmt: skip
    return (
        pamphlet, chamber, number(params, "width_mm", 184.0), number(params, "height_mm", 260.0),
    )  # fmt: skip


def _within(rh: float) -> float:
    """Above this the paper takes up water without an end that the model knows."""
    if rh > MOST_RH:
        raise ValueError(
            f"the chamber's humidity must be at most {100 * MOST_RH:g} %, got {100 * rh:g} %: "
            "beyond it the least cooling drips on the sheets, and what they take up is not known "
            "(our own limit, no source)"
        )
    return rh


def _finite(value: float) -> float:
    return min(value, 1e5)


def _hours(one: Damping) -> list[Finding]:
    return [
        Finding(
            "", f"chamber.{key}", _NAMES[one.way], three[1], (three[2] - three[0]) / (2 * Z90), "h",
            low90=three[0], high90=three[2], standing="from memory", sources=SOURCES, note=note,
        )
        for key, three, note in (
            ("half_h", one.half_h, "half of the water it will take up"),
            ("most_h", one.most_h, "nine tenths of it; the paper alone, if the tray can follow"),
        )
    ]  # fmt: skip


def _one(
    quantity: str, value: float, u: float, unit: str, note: str, sources: tuple[str, ...] = SOURCES
) -> Finding:
    return Finding(
        "", quantity, "item", value, u, unit, standing="from memory", sources=sources, note=note
    )


def _stages(ways: list[Damping], seen: Watch) -> list[Finding]:
    """Flat or fanned until nine tenths are in, then gently folded as long again: half and half, as
    benches do (common practice, no source), within the cap without looking."""
    fan = ways[1]
    supply = _finite(fan.supply_h)
    low, middle, high = (max(paper, share * supply) for paper, share in
                         zip(fan.most_h, (0.5, 1.0, 1.5), strict=True))  # fmt: skip
    left = seen.unseen_h - middle
    folded = min(middle, left) if left > 0 else 0.0
    return [
        Finding(
            "", "chamber.flat_h", "item", middle, (high - low) / (2 * Z90), "h", low90=low,
            high90=high, standing="from memory", sources=SOURCES,
            note="flat or fanned first: nine tenths in, by paper or by supply, whichever is slower",
        ),
        Finding(
            "", "chamber.folded_h", "item", folded, 0.25 * folded if folded else None, "h",
            standing="from memory",
            note="then gently folded, as long again (common practice, no source), at most until "
            "the cap without looking"
            if folded > 0
            else "none left before the cap without looking: look first",
        ),
    ]  # fmt: skip


def _time(hours: float) -> str:
    if hours < 1.5:
        return amount_words(60 * hours, "minute")
    return amount_words(hours, "hour") if hours < 60 else amount_words(hours / 24, "day")


def _sentence(ways: list[Damping], seen: Watch, chamber: Chamber) -> str:
    leaf, fan, closed = ways
    slow = leaf.limited_by == "supply" or leaf.supply_h > closed.most_h[1]
    says = (
        f"At {100 * chamber.rh:.0f} % open leaves are damp in about {_time(leaf.most_h[1])}, "
        f"fanned ones in {_time(fan.most_h[1])}, the closed item in {_time(closed.most_h[1])}. "
        f"It takes up about {leaf.water_g:.0f} g"
    )
    if slow:
        says += (
            f", and the wet area needs {_time(leaf.supply_h)} to give that: the supply is slower "
            "than open paper. Line the walls with wet blotter"
        )
    return (
        f"{says}. Flat or fanned first, {_time(max(fan.most_h[1], fan.supply_h))}, then gently "
        f"folded as long again; look before {_time(seen.unseen_h)} are over."
    )


def _warnings(ways: list[Damping], seen: Watch, chamber: Chamber) -> list[str]:
    out = []
    if seen.margin_k < 1.5:
        out.append(
            f"A wall or lid cooler than the air by {seen.margin_k:.1f} K drips: keep the chamber "
            "from windows and cold floors, and a tilted film under the lid."
        )
    if ways[2].most_h[1] > seen.unseen_h:
        out.append(
            "The closed item takes longer than the cap without looking: fan it, or look in between."
        )
    return out


def as_json(run: Run) -> dict[str, Any]:
    """A plan as the command line's JSON."""
    by_name = {one.quantity: one for one in run.findings if one.subject == "item"}
    ways: dict[str, dict[str, Any]] = {}
    for one in run.findings:
        if one.subject in _NAMES.values():
            key = one.quantity.removeprefix("chamber.")
            ways.setdefault(one.subject, {})[key] = one.measured().as_json()
    return {
        "says": by_name["chamber.says"].text,
        "ways": [{"way": way, **row} for way, row in ways.items()],
        **{
            key: by_name[f"chamber.{key}"].measured().as_json()
            for key in (
                "flat_h",
                "folded_h",
                "water_g",
                "supply_h",
                "rh_pct",
                "mould_h",
                "margin_k",
                "lid_min",
            )
        },
        "cautions": [row["says"] for row in plain(CAUTIONS)],
        "warnings": list(run.warnings),
        "method": f"{run.method}@{run.version}",
    }
