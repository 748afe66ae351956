"""A pressing as a registered method: what happens inside the closed pamphlet, as a band.

Parameters are text, as :mod:`.press_entry` reads them. The equations and their solver are checked
against a standard; the pamphlet itself is not: until a bench has weighed and measured its own
press, what stands here is computed and unvalidated, and says so.
"""

from __future__ import annotations

from collections.abc import Mapping
from contextvars import ContextVar
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from quirewell.record.finding import Finding, Run
from quirewell.record.measured import Term
from quirewell.science.evidence.normal import Z90
from quirewell.science.press.band import DRAWS, Band, Progress, band
from quirewell.science.press.changes import (
    DAMP_C,
    DAMP_RH,
    DRY_C,
    Changed,
    helps,
    open_side,
    side_by_side,
    swap_worth,
)
from quirewell.science.press.course import Pressing, Rules, layer_names
from quirewell.stages.cautions import HEAT, plain
from quirewell.stages.methods import Outcome, method
from quirewell.stages.naming import amount_words
from quirewell.stages.press_entry import read_bounds, read_known, read_pressing, read_rules

METHOD = "press.run"
SOURCES = ("en15026", "tryding2022", "heikkila1993", "asme1992")
UNVALIDATED = (
    "The pamphlet was never measured in a press: resistances to vapour, contacts and both curves "
    "of sorption are let go free within their bounds, and every answer is that band. Unvalidated "
    "until your own press is measured on a dummy; where benches press so and it went well, trust "
    "that more."
)
CALIBRATED = (
    "Computed by your own press, as a dummy's log and weights narrowed it: for items of like paper "
    "and thickness in that press, and no other."
)
ASSUMES = (
    "One dimension, through the thickness: what leaves by the edges in such a time is about a "
    "hundredth (computed).",
    "Red (above 45 °C and 95 % for more than a minute) and amber (above 45 °C and 85 %) are our "
    "own rule, from memory, and no standard's.",
    "Presets of at most 65 °C for damp and 80 °C for dry paper are from memory.",
)
MIDWAY = "midway between two curves of sorption, with no band"
NARROWS = (
    "What would narrow it most: a kitchen scale to 0.1 g; weigh the item before and after one "
    "pressing."
)
DUMMY = "A trial on a dummy of like paper and thickness first; never a probe in the item itself."
_DRAWN = 61
# Whoever asks for a pressing may be told how many of its runs are done: set it around the asking.
TELL: ContextVar[Progress] = ContextVar("press_runs_done", default=lambda done, of: None)
# What a band holds, and its basis.
STACK = ("what nobody knows of the stack", f"{DRAWS} runs over the bounds")
_AGEING = (f"{STACK[0]}, and of ageing", f"{STACK[1]}, and the spread of the laws of ageing")


@method(METHOD, 3, "seeded")
def press_run(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """Temperature and moisture of a pamphlet in a press, leaf by leaf, as a band."""
    pressing = read_pressing(params)
    rules, known = read_rules(params), read_known(params)
    found = band(pressing, rules, read_bounds(params), progress=TELL.get(), known=known)
    changes = side_by_side(pressing, rules, known)
    swap = swap_worth(changes[0], known)
    findings = (
        *_numbers(found, pressing, rules), *_words(found, pressing, rules, changes, swap),
    )  # fmt: skip
    if known is not None:
        findings = tuple(
            replace(one, standing="measured here") if one.standing else one for one in findings
        )
    return Outcome(
        findings,
        (
            *_cautions(pressing, params), DUMMY, UNVALIDATED if known is None else CALIBRATED,
            *ASSUMES, *(_weight_note(params)), *(() if known else (NARROWS,)),
        ),
        {
            **_drawing(found, pressing), **_alarm(found, rules),
            "changes": _rows(changes, rules), "known": "yes" if known else "",
        },
    )  # fmt: skip


def _weight_note(params: Mapping[str, str]) -> tuple[str, ...]:
    if not params.get("weight_kg", "").strip():
        return ()
    return (
        "A weight narrows how boards touch metal and stone, between what was measured at 2.3 and "
        "300 kPa; how flat it presses is not computed.",
    )


def _found(
    quantity: str, three: tuple[float, float, float] | None, unit: str, note: str = "",
    subject: str = "item", of: tuple[str, str] = STACK,
) -> Finding:  # fmt: skip
    if three is None:
        return Finding("", quantity, subject, unit=unit, text="not in this course", note=note)
    low, middle, high = three
    u = (high - low) / (2 * Z90)
    return Finding(
        "", quantity, subject, middle, u, unit, low90=low, high90=high,
        terms=(Term(of[0], u, of[1]),), standing="from memory", sources=SOURCES, note=note,
    )  # fmt: skip


def _numbers(found: Band, pressing: Pressing, rules: Rules) -> list[Finding]:
    above = f"above {rules.hot_c:g} °C and"
    course = found.middle
    cool = course.cells.names[course.cells.sheets[course.cool_sheet]]
    days = found.dose_days
    return [
        _found("press.t50_s", found.three("t50_s"), "s", "centre half-way to the platen"),
        _found("press.centre_c", found.three("centre_c"), "C", "the fold, when heating ends"),
        _found("press.lost_g_m2", found.three("lost_g_m2"), "g/m2", "by the end of heating"),
        _found("press.lost_pct", found.three("lost_pct"), "%", "of the water it held"),
        _found("press.cool_u", found.three("cool_u"), "kg/kg", f"{cool}, when heating ends"),
        _found("press.start_u", found.three("start_u"), "kg/kg", "every sheet, before"),
        _found("press.rh_max", found.three("rh_max"), "1", "anywhere in the pamphlet, ever"),
        _found("press.red_s", found.three("red_s"), "s",
               f"{above} {100 * rules.red_rh:g} %, worst sheet"),
        _found("press.amber_s", found.three("amber_s"), "s",
               f"{above} {100 * rules.amber_rh:g} %, worst sheet"),
        _found("press.cool_s", found.three("cool_s"), "s", "until every sheet is below 25 °C"),
        _found("press.back_g_m2", found.three("back_g_m2"), "g/m2", "while it cools"),
        _found("press.dose_days", days, "d", "the sheet that got most, warm hours only",
               of=_AGEING),
        Finding(
            "", "press.balance_error_rel", "item", found.balance_error_rel, None, "1",
            note="water gone astray by all water, in the middle course",
        ),
    ]  # fmt: skip


def alarm_of(found: Band, rules: Rules) -> tuple[str, str, float | None, str]:
    """Level ("red", "amber", "none"), code, when it begins [s], which sheet."""
    red, amber = found.three("red_s"), found.three("amber_s")
    worst = int(np.argmax(found.peak_rh[1]))
    name = found.middle.cells.names[found.middle.cells.sheets[worst]]
    begins = [run.red_from_s for run in found.runs if run.red_from_s is not None]
    if red and red[1] > rules.seconds:
        return "red", "hot-and-damp", float(np.median(begins)), name
    if red and red[2] > rules.seconds:
        return "amber", "may-be-hot-and-damp", float(np.median(begins)), name
    if amber and amber[1] > rules.seconds:
        return "amber", "warm-and-damp", None, name
    return "none", "", None, ""


def _alarm(found: Band, rules: Rules) -> dict[str, str]:
    level, code, begins, sheet = alarm_of(found, rules)
    if level == "none":
        return {}
    return {"alarm": f"{level}|{code}|{'' if begins is None else f'{begins:.0f}'}|{sheet}"}


def _words(
    found: Band, pressing: Pressing, rules: Rules, changes: tuple[Changed, ...],
    swap: tuple[tuple[int, ...], float, float],
) -> list[Finding]:  # fmt: skip
    level, code, _, sheet = alarm_of(found, rules)
    numbers, worth = swap[0], swap[1] - swap[2]
    wait = amount_words(rules.seconds / 60, "minute", "g")
    lower = pressing.heat != "below"
    is_open, ends, _ = open_side(pressing.stack, lower)
    side = "lower" if lower else "upper"
    texts = {
        "press.says": _sentence(found, pressing),
        "press.alarm": {
            "red": f"Red: {sheet} is hot and close to dripping for minutes. Tidelines, ink on the "
            "facing page and gloss come so. Change something first.",
            "amber": f"Amber: {sheet} may come near it within what is not known here."
            if code == "may-be-hot-and-damp"
            else f"Amber: {sheet} is warm and damper than {100 * rules.amber_rh:g} % for minutes: "
            "watch for tack.",
            "none": f"No sheet is hot and damp for more than {wait}.",
        }[level],
        "press.open_side": (
            f"The cool side is open: what lies against the {side} cover takes the vapour up."
            if is_open
            else f"The cool side is closed: {ends} lies against the {side} cover or close to it, "
            f"so the water that heat drives there stays in the {side} half."
        ),
        "press.change": _proposal(changes, rules),
        "press.swap": _swap(pressing, numbers, worth, level),
    }
    return [
        Finding("", name, "item", text=text, standing="from memory", sources=SOURCES)
        for name, text in texts.items()
    ]


def _sentence(found: Band, pressing: Pressing) -> str:
    centre, lost, percent = (found.three(key) for key in ("centre_c", "lost_g_m2", "lost_pct"))
    cool, start = found.three("cool_u"), found.three("start_u")
    assert centre and lost and percent and cool and start
    warm = f"{centre[0]:.0f} to {centre[2]:.0f} °C"
    says = f"After {amount_words(pressing.minutes, 'minute', 'g')} the centre is at {warm}"
    t50 = found.three("t50_s")
    if pressing.heat != "none":
        says += (
            f", half-way there after {amount_words(t50[1] / 60, 'minute')}"
            if t50
            else ", not half-way there"
        )
    if lost[2] < 0:
        says += f"; it takes up {-lost[2]:.0f} to {-lost[0]:.0f} g/m² from what lies around it"
    elif lost[0] <= -0.5:
        says += (
            f"; from {-lost[0]:.0f} g/m² of water taken up to {lost[2]:.0f} g/m² given off: which, "
            "is not known here"
        )
    else:
        says += (
            f"; {max(0.0, lost[0]):.0f} to {lost[2]:.0f} g/m² of water leave it "
            f"({percent[1]:.0f} %)"
        )
    moves = cool[1] - start[1]
    if moves > 0.01:
        says += f", and its cool side is wetter than before ({cool[1]:.2f} from {start[1]:.2f} g/g)"
    elif moves < -0.01:
        says += f", and its cool side is drier than before ({cool[1]:.2f} from {start[1]:.2f} g/g)"
    return says + "."


def out_words(grams: float) -> str:
    """Water that leaves the pamphlet [g/m2], or is taken up, in words."""
    return f"{abs(grams):.0f} g/m² {'taken up' if round(grams) < 0 else 'out'}"


def _proposal(changes: tuple[Changed, ...], rules: Rules) -> str:
    as_is, *others = changes
    if max(as_is.red_s, as_is.amber_s) <= rules.seconds:
        return "Nothing here needs changing; the table shows what else was tried."
    better = [one for one in others if helps(as_is, one, rules.seconds)]
    if not better:
        return "None of the changes tried helps beyond what can be told apart here."
    # What the bench can lay otherwise comes before pressing drier paper or cooler.
    best = next(
        (
            one
            for one in better
            if one.pressing.stack != as_is.pressing.stack
            and one.pressing.stack.pamphlet.start_rh == as_is.pressing.stack.pamphlet.start_rh
        ),
        better[0],
    )
    says = f"What helps most: {best.name}"
    says += f", since {best.why}" if best.why else ""
    return (
        f"{says}. Hot and damp {as_is.red_s / 60:.0f} to {best.red_s / 60:.0f} minutes, greatest "
        f"humidity {100 * as_is.rh_max:.0f} to {100 * best.rh_max:.0f} %, water "
        f"{out_words(as_is.lost_g_m2)} to {out_words(best.lost_g_m2)}: {MIDWAY}."
    )


def _swap(pressing: Pressing, numbers: tuple[int, ...], worth: float, level: str) -> str:
    if not numbers or worth < 3:
        return (
            "Leave it shut until it is cool: boards changed for dry ones would gain nothing that "
            "shows here, and opening lets go of the flatness while it is warm."
        )
    names = layer_names(pressing.stack)
    which = [
        "the board in the centrefold"
        if number < 0
        else f"the {names[number]} {'above' if number < len(pressing.stack.above) else 'below'}"
        for number in numbers
    ]
    says = (
        f"Changing {' and '.join(which)} for dry ones before cooling keeps {worth:.0f} g/m² more "
        "out, but lets go of the restraint while it is warm and soft"
    )
    return says + (". In red that is worth it." if level == "red" else ": do not open it.")


def _cautions(pressing: Pressing, params: Mapping[str, str]) -> list[str]:
    out = []
    rh, platen = pressing.stack.pamphlet.start_rh, pressing.hottest_c
    if pressing.heat != "none" and rh > DAMP_RH and platen > DAMP_C:
        out.append(
            f"{platen:g} °C is above the preset of {DAMP_C:g} °C for damp paper (from memory): "
            "what flattens it also glazes it."
        )
    elif pressing.heat != "none" and platen > DRY_C:
        out.append(
            f"{platen:g} °C is above the preset of {DRY_C:g} °C for dry paper (from memory)."
        )
    if params.get("mends") == "yes":
        out.append(
            "Fresh mends: methyl cellulose takes up damp and sticks before it softens by heat; let "
            "them dry a day, and lay release sheet over each."
        )
    if params.get("coated") == "yes":
        out.append("A coated cover blocks and takes gloss from what lies on it: release sheet, and "
                   "a trial.")  # fmt: skip
    if pressing.heat == "both" and all(
        not open_side(pressing.stack, lower)[0] for lower in (True, False)
    ):
        out.append("Both sides are closed: the water has nowhere to go. Open one.")
    return out


def _drawing(found: Band, pressing: Pressing) -> dict[str, str]:
    """Series as text: time, then low, middle, high of each; sheets with water and humidity."""
    picked = np.unique(
        np.concatenate([
            np.linspace(0, found.middle.heating_ends, 31).astype(int),
            np.linspace(
                min(found.middle.heating_ends, len(found.t_s) - 1), len(found.t_s) - 1, _DRAWN - 30
            ).astype(int),
        ])
    )  # fmt: skip
    series = {
        "hot_c": found.hot_c, "centre_c": found.centre_c, "cool_c": found.cool_c,
        "hot_u": found.hot_u, "centre_u": found.centre_u, "cool_u": found.cool_u,
    }  # fmt: skip
    names = [found.middle.cells.names[i] for i in found.middle.cells.sheets]
    return {
        "t_s": " ".join(f"{found.t_s[i]:.0f}" for i in picked),
        "ends_s": f"{60 * pressing.minutes:.0f}",
        **{
            key: ";".join(" ".join(f"{value[i]:.4g}" for i in picked) for value in rows)
            for key, rows in series.items()
        },
        "sheets": ";".join(names),
        "end_u": ";".join(" ".join(f"{v:.4g}" for v in row) for row in found.end_u),
        "peak_rh": ";".join(" ".join(f"{v:.3f}" for v in row) for row in found.peak_rh),
        "start_u": f"{found.middle.u[0, 0]:.4g}",
        "runs": str(DRAWS),
    }


def _rows(changes: tuple[Changed, ...], rules: Rules) -> str:
    as_is = changes[0]
    wanting = max(as_is.red_s, as_is.amber_s) > rules.seconds
    return "\n".join(
        "|".join((
            one.name, one.why, f"{one.red_s:.0f}", f"{one.amber_s:.0f}", f"{one.rh_max:.3f}",
            f"{one.cool_u:.3f}", f"{one.lost_g_m2:.3f}", f"{one.centre_c:.1f}",
            "" if one.cool_s is None else f"{one.cool_s:.0f}",
            "yes" if wanting and helps(as_is, one, rules.seconds) else "",
        ))
        for one in changes
    )  # fmt: skip


def as_json(run: Run) -> dict[str, Any]:
    """A pressing as the command line's JSON, every number with its band."""
    by_name = {one.quantity: one for one in run.findings}

    def three(name: str) -> dict[str, Any] | None:
        one = by_name[name]
        if one.value is None:
            return None
        return {"low": one.low90, "mid": one.value, "high": one.high90,
                **one.measured().as_json()}  # fmt: skip

    alarm = by_name["press.alarm"].text
    return {
        "says": by_name["press.says"].text,
        "centre": {
            "t50_s": three("press.t50_s"), "temperature_c_at_end": three("press.centre_c"),
        },
        "water": {"lost_g_m2": three("press.lost_g_m2"), "lost_pct": three("press.lost_pct"),
                  "back_g_m2": three("press.back_g_m2")},
        "cold_face": {
            "u": three("press.cool_u"), "moisture_kg_kg": three("press.cool_u"),
            "open": by_name["press.open_side"].text,
        },
        "rh": {"max": three("press.rh_max")},
        "alarms": json_alarms(run),
        "alarm_says": alarm,
        "cool_to_25c_s": three("press.cool_s"),
        "dose": {"days": three("press.dose_days")},
        "change": by_name["press.change"].text,
        "swap": by_name["press.swap"].text,
        "balance_error_rel": by_name["press.balance_error_rel"].value,
        "cautions": [row["says"] for row in plain(HEAT)],
        "warnings": list(run.warnings),
        "standing": "computed by the calibrated press"
        if run.params.get("known")
        else "computed; the pamphlet is not validated",
        "method": f"{run.method}@{run.version}",
    }  # fmt: skip


def json_alarms(run: Run) -> list[dict[str, Any]]:
    """The alarms of a run: level, code, time [s], layer; empty for none."""
    text = run.drawing.get("alarm", "")
    if not text:
        return []
    level, code, time, layer = text.split("|")
    return [{"level": level, "code": code, "time": float(time) if time else None, "layer": layer}]
