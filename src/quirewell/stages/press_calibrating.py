"""A press calibrated as a registered method: a dummy's log and weights against the model.

Parameters are those of ``press.run`` for the dummy's stack, and ``before_g``, ``after_g``,
``scale_g`` (the scale's step, 0.1), ``weighed_min`` (minutes from heat on; else when cool),
``width_mm``, ``height_mm``, ``columns``, ``time_unit``, ``heat_on_min`` (into the log),
``probe_u_c`` (1.0), ``rh_u_pct`` (4). The file ``log`` may be left out where the dummy was weighed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from quirewell.record.finding import Finding, Run
from quirewell.record.measured import Term
from quirewell.science.evidence.normal import Z90
from quirewell.science.press.band import DRAWS, Band, band
from quirewell.science.press.calibrate import WHERES, Fitted, Marks, Weighed, calibrate
from quirewell.science.press.course import Pressing
from quirewell.science.press.known import NAMES, Bounds, OneCurve, to_text
from quirewell.stages import typed
from quirewell.stages.methods import Outcome, method
from quirewell.stages.press_entry import KNOWN, read_pressing
from quirewell.stages.pressing import TELL
from quirewell.stages.typed_params import number
from quirewell.studio.loggers import LogError
from quirewell.studio.press_log import PressLog, Signal, read_press_log

METHOD = "press.calibrate"
SOURCES = ("tryding2022", "heikkila1993", "asme1992")
MORE = (
    "before_g", "after_g", "scale_g", "weighed_min", "width_mm", "height_mm", "columns",
    "time_unit", "heat_on_min", "probe_u_c", "rh_u_pct",
)  # fmt: skip
ASSUMES = (
    "A dummy of like paper, thickness and number of wraps, begun at the humidity stated: what is "
    "found holds for such items in this press, and no other.",
    "However many readings a probe gave, they stray together: their mean counts as one, their "
    "course as three. A thermocouple and where it lies are taken as 1 °C, a humidity probe as 4 %.",
    "The logged platen is used where there is one; else it is at its temperature from the start.",
    "Neither curve of sorption is ruled out by a fit: each keeps a tenth at least.",
)
NEVER_IN_THE_ITEM = (
    "The probe lies in a dummy, never in the item: it prints itself into damp paper. The item "
    "itself may be weighed, before and after."
)
# What a factor is called, the table's value it stands for (1: a factor), and its unit.
FACTORS = {
    "paper": ("paper on paper", "W/(m2 K)"), "hard": ("paper on metal or stone", "W/(m2 K)"),
    "platen": ("the platen's own contact", "W/(m2 K)"),
    "leaf_mu": ("resistance of a leaf to vapour, times the table's", "1"),
    "other_mu": ("resistance of cover and boards to vapour, times the table's", "1"),
    "conducts": ("conduction of paper, times the table's", "1"),
}  # fmt: skip
_SHOWN = (
    ("centre_c", "C"), ("lost_g_m2", "g/m2"), ("cool_u", "kg/kg"), ("rh_max", "1"),
    ("red_s", "s"),
)  # fmt: skip


@method(METHOD, 2, "exact")
def press_calibrate(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Fit what is unknown of a press to a dummy's log and weights, and show the band tighten."""
    unknown = sorted(set(params) - set(KNOWN) - set(MORE))
    if unknown:
        raise ValueError(f"{METHOD} knows no parameter {unknown[0]!r}")
    stack = {name: text for name, text in params.items() if name in KNOWN and name != "known"}
    pressing = read_pressing(stack)
    log = _log(files, params)
    if log is not None:
        pressing = _with_platen(pressing, log, number(params, "heat_on_min", 0.0))
    weighed = _weighed(params, pressing)
    tell, runs = TELL.get(), 3 * DRAWS
    fitted = calibrate(
        pressing, _probes(log, params, pressing), weighed,
        progress=lambda done, of: tell(DRAWS * done // of, runs),
    )  # fmt: skip
    before = band(pressing, progress=lambda done, of: tell(DRAWS + done, runs))
    after = (
        before
        if fitted.against
        else band(
            pressing, known=fitted.known, progress=lambda done, of: tell(2 * DRAWS + done, runs)
        )
    )
    notes = [] if log is None else list(log.notes)
    return Outcome(
        (
            *_factors(fitted), *_bands(before, after), *_misfits(fitted),
            _text("calibration.says", _sentence(fitted, before, after, weighed)),
            _text("calibration.against", ". ".join(fitted.against)),
            _text("calibration.use", "" if fitted.against else to_text(fitted.known)),
        ),
        (*(f"{one}." for one in fitted.against), NEVER_IN_THE_ITEM, *_ends(fitted), *notes,
         *ASSUMES),
        _drawing(fitted, log, pressing, before, after, params),
    )  # fmt: skip


def _text(quantity: str, text: str) -> Finding:
    return Finding("", quantity, "press", text=text, standing="measured here", sources=SOURCES)


def _log(files: Mapping[str, Path], params: Mapping[str, str]) -> PressLog | None:
    if "log" not in files:
        return None
    try:
        return read_press_log(files["log"], params.get("columns", ""), params.get("time_unit", ""))
    except LogError as error:
        raise ValueError(f"{error}") from error


def _with_platen(pressing: Pressing, log: PressLog, heat_on_min: float) -> Pressing:
    """The pressing with the platen as it was logged, where it was."""
    platen = next((one for one in log.signals if (one.place, one.kind) == ("platen", "C")), None)
    if platen is None or pressing.heat == "none":
        return pressing
    minutes = platen.t_s / 60 - heat_on_min
    within = (minutes >= 0) & (minutes <= pressing.minutes)
    if within.sum() < 2:
        raise ValueError(
            "the log's platen has fewer than two readings while it was hot; was heat on "
            f"{heat_on_min:g} minutes into the log?"
        )
    held = minutes[within]
    at = np.linspace(float(held[0]), float(held[-1]), 31)
    warm = np.interp(at, minutes[within], platen.values[within])
    return replace(
        pressing, schedule=tuple(zip(at.tolist(), np.round(warm, 2).tolist(), strict=True))
    )


def _probes(
    log: PressLog | None, params: Mapping[str, str], pressing: Pressing
) -> tuple[Marks, ...]:
    if log is None:
        return ()
    on = 60 * number(params, "heat_on_min", 0.0)
    spread = {
        "C": number(params, "probe_u_c", 1.0), "RH": number(params, "rh_u_pct", 4.0) / 100,
    }  # fmt: skip
    if not (0.05 <= spread["C"] <= 20 and 0.005 <= spread["RH"] <= 0.3):
        raise ValueError("a probe is unsure by 0.05 to 20 °C, or by 0.5 to 30 % of humidity")
    out = []
    # Cooling in the press is followed too, an hour of it at most: later all is at the room's.
    last = 60 * (pressing.minutes + (60 if pressing.cooling != "none" else 0))
    for one in log.signals:
        where = next((place for place in WHERES if place == one.place), None)
        if where is None:
            continue
        t_s = one.t_s - on
        held = (t_s >= 0) & (t_s <= last)
        if held.sum() < 2:
            raise ValueError(
                f"{one.column!r} has fewer than two readings between heat on and an hour after; "
                "does the log begin later? Say how many minutes into it the heat came on"
            )
        out.append(Marks(where, one.kind, t_s[held], one.values[held], spread[one.kind]))
    return tuple(out)


def _weighed(params: Mapping[str, str], pressing: Pressing) -> Weighed | None:
    before, after = (params.get(name, "").strip() for name in ("before_g", "after_g"))
    if not before and not after:
        return None
    if not before or not after:
        raise ValueError("weigh before and after, or not at all: one weight alone says nothing")
    grams = float(typed.number(before)) - float(typed.number(after))
    step = number(params, "scale_g", 0.1)
    width, height = number(params, "width_mm", 184.0), number(params, "height_mm", 260.0)
    if not (0.001 <= step <= 10 and 30 <= width <= 1000 and 30 <= height <= 1000):
        raise ValueError("a scale reads in steps of 0.001 to 10 g; a page is 30 to 1000 mm")
    area = width * height / 1e6
    # Each reading is out by up to a step of the scale, evenly: two of them.
    u = math.sqrt(2.0) * step / math.sqrt(3.0) / area
    minutes = params.get("weighed_min", "").strip()
    when = 60 * float(typed.minutes(minutes)) if minutes else None
    sheets = pressing.stack.pamphlet
    paper = 2 * sheets.wraps * sheets.leaf_g_m2 + 2 * 900 * sheets.cover_mm * sheets.cover
    if abs(grams / area) > 0.4 * paper:
        raise ValueError(
            f"{grams:g} g between the weighings is more than such an item holds; were both in "
            "grams?"
        )
    return Weighed(grams / area, u, when)


def _factors(fitted: Fitted) -> list[Finding]:
    """Each factor with its band, over both curves by their share."""
    bounds = Bounds()
    out = []
    for k, name in enumerate(NAMES):
        middle, u = _mixed(fitted.known.curves, k)
        ends = getattr(bounds, name)
        low = max(ends[0], math.exp(middle - Z90 * u))
        high = min(ends[1], math.exp(middle + Z90 * u))
        value = math.exp(middle)
        what, unit = FACTORS[name]
        out.append(
            Finding(
                "", f"calibration.{name}", "press", value, value * u, unit, low90=min(low, value),
                high90=max(high, value), standing="measured here", sources=SOURCES,
                note=f"{what}; before: {ends[0]:.3g} to {ends[1]:.3g}",
            )
        )  # fmt: skip
    return out


def _mixed(curves: tuple[OneCurve, ...], k: int) -> tuple[float, float]:
    mean = sum(one.share * float(one.logs[k]) for one in curves)
    spread = sum(
        one.share * (float(one.covariance[k, k]) + (float(one.logs[k]) - mean) ** 2)
        for one in curves
    )
    return mean, math.sqrt(spread)


def _bands(before: Band, after: Band) -> list[Finding]:
    out = []
    for subject, found in (("before", before), ("calibrated", after)):
        for name, unit in _SHOWN:
            three = found.three(name)
            if three is None:
                continue
            low, middle, high = three
            u = (high - low) / (2 * Z90)
            out.append(
                Finding(
                    "", f"calibration.{name}", subject, middle, u, unit, low90=low, high90=high,
                    terms=(Term("what is not known of the stack", u, "64 runs"),),
                    standing="from memory" if subject == "before" else "measured here",
                    sources=SOURCES,
                )
            )  # fmt: skip
    return out


def _misfits(fitted: Fitted) -> list[Finding]:
    units = {"C": "C", "RH": "1", "weight": "g/m2"}
    return [
        Finding(
            "", "calibration.largest_misfit", name, by, abs(by / times) if times else None,
            units[name.split()[-1]], standing="measured here",
            note="read less computed, "
            + ("when cool" if when is None else f"at minute {when / 60:.0f}"),
        )
        for name, by, times, when in fitted.off
    ]  # fmt: skip


def _ends(fitted: Fitted) -> list[str]:
    if not fitted.at_bounds or fitted.against:
        return []
    names = " and ".join(FACTORS[name][0].split(",")[0] for name in fitted.at_bounds)
    return [f"The fit lies at the end of what was allowed for {names}: look at the stack as typed."]


def _narrowed(before: Band, after: Band, name: str) -> float | None:
    first, then = before.three(name), after.three(name)
    if first is None or then is None or first[2] - first[0] <= 0:
        return None
    return 100 * (1 - (then[2] - then[0]) / (first[2] - first[0]))


def _sentence(fitted: Fitted, before: Band, after: Band, weighed: Weighed | None) -> str:
    if fitted.against:
        return "The model and this press disagree; nothing was narrowed."
    parts = []
    for name, what, unit, factor in (
        ("centre_c", "the centre when heating ends", "C", 1.0),
        ("lost_g_m2", "the water that leaves", "g/m2", 1.0),
    ):
        first, then = before.three(name), after.three(name)
        by = _narrowed(before, after, name)
        assert first is not None and then is not None and by is not None
        span = f"{factor * then[0]:.0f} to {factor * then[2]:.0f} {unit}"
        was = f"{factor * first[0]:.0f} to {factor * first[2]:.0f}"
        parts.append(
            f"{what}: {span} (before {was}, {by:.0f} % narrower)"
            if by >= 5
            else f"{what}: {span}, hardly narrower than before"
        )
    heat, water = parts
    says = f"The model follows what was read. {heat[:1].upper()}{heat[1:]}; {water}."
    if weighed is None:
        says += " Weigh the dummy before and after: that narrows the water most."
    return says


def _drawing(
    fitted: Fitted, log: PressLog | None, pressing: Pressing, before: Band, after: Band,
    params: Mapping[str, str],
) -> dict[str, str]:  # fmt: skip
    """Courses of the centre before and after as text, and what the centre's probe read."""
    picked = np.unique(np.linspace(0, min(len(before.t_s), len(after.t_s)) - 1, 61).astype(int))
    picked = picked[before.t_s[picked] <= 60 * (pressing.minutes + 60)]
    out = {
        "t_s": " ".join(f"{before.t_s[i]:.0f}" for i in picked),
        "ends_s": f"{60 * pressing.minutes:.0f}",
    }
    for name, found in (("before", before), ("after", after)):
        rows = [np.interp(before.t_s[picked], found.t_s, row) for row in found.centre_c]
        out[f"centre_{name}"] = ";".join(" ".join(f"{v:.2f}" for v in row) for row in rows)
    read = None if log is None else _centre(log)
    if read is not None:
        t_s = read.t_s - 60 * number(params, "heat_on_min", 0.0)
        at = np.unique(np.linspace(0, len(t_s) - 1, 40).astype(int))
        at = at[(t_s[at] >= 0) & (t_s[at] <= before.t_s[picked[-1]])]
        out["read"] = ";".join(f"{t_s[i]:.0f} {read.values[i]:.2f}" for i in at)
    return out


def _centre(log: PressLog) -> Signal | None:
    return next((one for one in log.signals if (one.place, one.kind) == ("centre", "C")), None)


def use_of(run: Run) -> str:
    """The calibration that a run leaves for ``press.run``; empty where it was contradicted."""
    return next((one.text for one in run.findings if one.quantity == "calibration.use"), "")


def as_json(run: Run) -> dict[str, Any]:
    """A calibration as the command line's JSON."""
    by_name = {(one.quantity, one.subject): one for one in run.findings}
    says = by_name[("calibration.says", "press")].text
    against = by_name[("calibration.against", "press")].text
    return {
        "says": says,
        "contradiction": against or None,
        "factors": {
            name: by_name[(f"calibration.{name}", "press")].measured().as_json() for name in NAMES
        },
        **{
            subject: {
                name: one.measured().as_json()
                for name, _ in _SHOWN
                if (one := by_name.get((f"calibration.{name}", subject))) is not None
            }
            for subject in ("before", "calibrated")
        },
        "misfits": [
            {"signal": one.subject, **one.measured().as_json(), "note": one.note}
            for one in run.findings
            if one.quantity == "calibration.largest_misfit"
        ],
        "use": use_of(run) or None,
        "warnings": list(run.warnings),
        "method": f"{run.method}@{run.version}",
    }
