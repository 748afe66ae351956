"""A pressing from heat on to cool: a stack followed through its phases, and what can be read off.

Heat for so many minutes; then, if wished, boards changed for dry ones; then cooling, in the press
with the heat off or between cold plates, until every sheet is below 25 C (a day at most). The
pamphlet itself was never measured so: see what :mod:`.band` lets go free.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from quirewell.science.paper.heat_dose import HeatDose, dose_over
from quirewell.science.paper.sorption import CURVES
from quirewell.science.press.kernel import DX, FACE_C, RHO, humidity_and_heat
from quirewell.science.press.march import march
from quirewell.science.press.stack import HOTTEST_C, Cells, Knobs, Side, Stack, cut, faces_of

Array = NDArray[np.float64]
Heat = Literal["above", "below", "both", "none"]
Cooling = Literal["in place", "cold plates", "none"]
COOL_C = 25.0
# Red: hotter than 45 C and damper than 95 % for more than a minute. Amber: damper than 85 %.
HOT_C, RED_RH, AMBER_RH, ALARM_S = 45.0, 0.95, 0.85, 60.0
_HEAT_STEPS, _COOL_S = 90, (900.0, 3600.0, 4 * 3600.0, 24 * 3600.0)


@dataclass(frozen=True, slots=True)
class Rules:
    """Limits of the alarms; a bench may set its own."""

    hot_c: float = HOT_C
    red_rh: float = RED_RH
    amber_rh: float = AMBER_RH
    seconds: float = ALARM_S


@dataclass(frozen=True, slots=True)
class Pressing:
    """What is done to a stack: heat from a side [C, min], boards changed (layer numbers as
    :class:`.stack.Cells` counts them), how it cools. ``schedule``: (min, C) of a platen that does
    not stay at ``platen_c``, straight lines between and level beyond."""

    stack: Stack
    heat: Heat = "above"
    platen_c: float = 65.0
    minutes: float = 15.0
    cooling: Cooling = "in place"
    swaps: tuple[int, ...] = ()
    schedule: tuple[tuple[float, float], ...] = ()

    @property
    def hottest_c(self) -> float:
        """The platen at its hottest [C]."""
        return max((celsius for _, celsius in self.schedule), default=self.platen_c)


@dataclass(frozen=True, slots=True)
class Course:
    """A pressing followed: times [s]; for each sheet, top to bottom, temperature [C], water
    [kg/kg], humidity [0..1], (times, sheets); pamphlet's water [g/m2]; where heating ended."""

    pressing: Pressing
    knobs: Knobs
    cells: Cells
    t_s: Array
    temperature_c: Array
    u: Array
    rh: Array
    pamphlet_g_m2: Array
    gained_g_m2: dict[int, float]
    heating_ends: int
    balance_error_rel: float

    @property
    def centre_c(self) -> Array:
        """Temperature of the two sheets at the fold, their mean."""
        half = self.temperature_c.shape[1] // 2
        middle: Array = self.temperature_c[:, half - 1 : half + 1].mean(axis=1)
        return middle

    @property
    def cool_sheet(self) -> int:
        """The sheet away from the heat; between two hot plates the dampest."""
        if self.pressing.heat == "above":
            return int(self.u.shape[1]) - 1
        if self.pressing.heat == "below":
            return 0
        return int(np.argmax(self.rh[self.heating_ends]))

    @property
    def hot_sheet(self) -> int:
        """The sheet at the heat; the upper where both are."""
        return int(self.u.shape[1]) - 1 if self.pressing.heat == "below" else 0


def follow(pressing: Pressing, knobs: Knobs | None = None) -> Course:
    """Follow a pressing.

    Raises
    ------
    ValueError
        Above 95 C (vapour then flows in bulk and no equation here holds), or for a pressing or a
        stack that cannot be.
    """
    _check(pressing)
    knobs = Knobs() if knobs is None else knobs
    stack = pressing.stack
    cells = cut(stack, knobs)
    dx = cells.cells[:, DX]
    hot = Side(pressing.platen_c)
    air = Side(None)
    top = hot if pressing.heat in ("above", "both") else air
    bottom = hot if pressing.heat in ("below", "both") else air
    steps = np.linspace(0, 60 * pressing.minutes, _HEAT_STEPS + 1)
    faces = faces_of(stack, top, bottom, knobs)
    found = march(
        cells.cells, faces, cells.start_c, cells.start_w, steps, platen=_platen(pressing, faces)
    )
    begun = float(found.water_kg_m3[0] @ dx)
    off = abs(float(found.water_kg_m3[-1] @ dx + found.water_out[-1].sum()) / begun - 1)
    times, warm, water = [steps], [found.temperature_c], [found.water_kg_m3]
    gained = _gained(cells, found.water_kg_m3)
    if pressing.cooling != "none":
        more = _cool(pressing, knobs, cells, found.temperature_c[-1], found.water_kg_m3[-1])
        times.append(steps[-1] + more[0])
        warm.append(more[1])
        water.append(more[2])
        off = max(off, more[3])
    t_s, celsius, held = (np.concatenate(part) for part in (times, warm, water))
    sheets = cells.sheets
    rho = cells.cells[sheets, RHO]
    u = held[:, sheets] / rho
    rh = _humid(u, celsius[:, sheets], CURVES.index(knobs.curve))
    return Course(
        pressing, knobs, cells, t_s, celsius[:, sheets], u, rh,
        1000 * held[:, sheets] @ dx[sheets], gained, len(steps) - 1, off,
    )  # fmt: skip


def _platen(pressing: Pressing, faces: Array) -> Array | None:
    """The faces' temperatures over time, as :func:`.march.march` takes them."""
    if not pressing.schedule or pressing.heat == "none":
        return None
    rows = np.array([(60 * minute, celsius, celsius) for minute, celsius in pressing.schedule])
    for side, unheated in ((1, "below"), (2, "above")):
        if pressing.heat == unheated:
            rows[:, side] = faces[side - 1, FACE_C]
    return rows


def _cool(
    pressing: Pressing, knobs: Knobs, cells: Cells, celsius: Array, water: Array
) -> tuple[Array, Array, Array, float]:
    """Cooling from a state, boards changed first: times, temperatures, water, balance."""
    stack, dx = pressing.stack, cells.cells[:, DX]
    celsius, water = celsius.copy(), water.copy()
    for number in pressing.swaps:
        mine = (cells.layer == number) & (cells.leaf < 0)
        celsius[mine], water[mine] = cells.start_c[mine], cells.start_w[mine]
    side = Side(stack.room.temperature_c if pressing.cooling == "cold plates" else None)
    faces = faces_of(stack, side, side, knobs)
    begun = float(water @ dx)
    times: list[float] = [0.0]
    for first, last in pairwise((0.0, *_COOL_S)):
        times += list(np.linspace(first, last, 31)[1:])
        found = march(cells.cells, faces, celsius, water, np.array(times))
        if found.temperature_c[-1, cells.sheets].max() < min(
            COOL_C, stack.room.temperature_c + 1.0 if stack.room.temperature_c > 24 else COOL_C
        ):
            break
    off = abs(float(found.water_kg_m3[-1] @ dx + found.water_out[-1].sum()) / begun - 1)
    return np.array(times), found.temperature_c, found.water_kg_m3, off


def _gained(cells: Cells, water: Array) -> dict[int, float]:
    """Water that each layer took up while it was hot [g/m2]; -1 is the board in the centrefold."""
    change = 1000 * (water[-1] - water[0]) * cells.cells[:, DX]
    out: dict[int, float] = {}
    for number, leaf, grams in zip(cells.layer, cells.leaf, change, strict=True):
        if leaf < 0:
            out[int(number)] = out.get(int(number), 0.0) + float(grams)
    return out


def _humid(u: Array, celsius: Array, curve: int) -> Array:
    flat = [
        humidity_and_heat(curve, wet, warm)[0]
        for wet, warm in zip(u.ravel(), celsius.ravel(), strict=True)
    ]
    return np.array(flat).reshape(u.shape)


def _check(pressing: Pressing) -> None:
    platens = [celsius for _, celsius in pressing.schedule] or [pressing.platen_c]
    for celsius in platens if pressing.heat != "none" else ():
        if not 5 <= celsius <= HOTTEST_C or (not pressing.schedule and celsius < 15):
            hint = (
                "; above that water boils out in bulk and nothing here holds. A hand iron is "
                "computed by itself"
                if celsius > HOTTEST_C
                else ""
            )
            raise ValueError(f"a platen is 15 to {HOTTEST_C:g} °C here, got {celsius:g} °C{hint}")
    minutes = [minute for minute, _ in pressing.schedule]
    if any(later <= earlier for earlier, later in pairwise(minutes)):
        raise ValueError("a platen's schedule goes forward in time: 0 min 20 C; 5 min 65 C")
    if not 0.5 <= pressing.minutes <= 24 * 60:
        raise ValueError(f"pressing lasts half a minute to a day here, got {pressing.minutes:g}")
    layers = len(pressing.stack.above) + len(pressing.stack.below)
    if any(not -1 <= number < layers for number in pressing.swaps):
        raise ValueError("a board to change is none of this stack's layers")


# --- what can be read off ---------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Answers:
    """Numbers of one course; None where a thing never happens.

    ``t50_s``: centre half-way from start to platen. ``lost_g_m2``, ``lost_pct`` by the end of
    heating. ``wettest_u`` and ``cool_u``: at that end. ``red_s``, ``amber_s``: seconds hot and that
    damp, in any one sheet. ``cool_s`` until all sheets are below 25 C. ``back_g_m2``: taken back
    while cooling.
    """

    t50_s: float | None
    centre_c: float
    lost_g_m2: float
    lost_pct: float
    cool_u: float
    hot_u: float
    start_u: float
    wettest_sheet: int
    rh_max: float
    red_s: float
    red_from_s: float | None
    amber_s: float
    cool_s: float | None
    back_g_m2: float
    dose: HeatDose


def answers(course: Course, rules: Rules | None = None) -> Answers:
    """What a course says."""
    rules = Rules() if rules is None else rules
    end = course.heating_ends
    heated = slice(0, end + 1)
    centre = course.centre_c
    half = (centre[0] + course.pressing.hottest_c) / 2
    t50 = _first_over(course.t_s[heated], centre[heated], half)
    lost = float(course.pamphlet_g_m2[0] - course.pamphlet_g_m2[end])
    red, red_from = _seconds(course, rules.hot_c, rules.red_rh)
    amber, _ = _seconds(course, rules.hot_c, rules.amber_rh)
    return Answers(
        None if course.pressing.heat == "none" else t50, float(centre[end]), lost,
        100 * lost / float(course.pamphlet_g_m2[0]), float(course.u[end, course.cool_sheet]),
        float(course.u[end, course.hot_sheet]), float(course.u[0, 0]),
        int(np.argmax(course.rh[end])), float(course.rh.max()), red, red_from, amber,
        _cooled(course), float(course.pamphlet_g_m2[-1] - course.pamphlet_g_m2[end]),
        _dose(course),
    )  # fmt: skip


def _first_over(times: Array, values: Array, level: float) -> float | None:
    over = np.flatnonzero(values >= level)
    if not len(over):
        return None
    i = int(over[0])
    if i == 0:
        return float(times[0])
    share = (level - values[i - 1]) / (values[i] - values[i - 1])
    return float(times[i - 1] + share * (times[i] - times[i - 1]))


def _steps(times: Array) -> Array:
    """Seconds that each time stands for."""
    gaps = np.diff(times)
    return np.concatenate([gaps, [0.0]]) / 2 + np.concatenate([[0.0], gaps]) / 2


def _seconds(course: Course, hot_c: float, damp: float) -> tuple[float, float | None]:
    """Seconds that the worst sheet is that hot and damp, and when it begins."""
    both = (course.temperature_c > hot_c) & (course.rh > damp)
    worst = int(np.argmax(_steps(course.t_s) @ both))
    when = np.flatnonzero(both[:, worst])
    return (
        float(_steps(course.t_s) @ both[:, worst]),
        float(course.t_s[when[0]]) if len(when) else None,
    )


def _cooled(course: Course) -> float | None:
    end = course.heating_ends
    if course.pressing.cooling == "none":
        return None
    hottest = course.temperature_c[end:].max(axis=1)
    below = np.flatnonzero(hottest < COOL_C)
    if not len(below):
        return None
    i = int(below[0])
    times = course.t_s[end:] - course.t_s[end]
    if i == 0:
        return 0.0
    share = (hottest[i - 1] - COOL_C) / (hottest[i - 1] - hottest[i])
    return float(times[i - 1] + share * (times[i] - times[i - 1]))


def _dose(course: Course) -> HeatDose:
    """Equivalent days of the sheet that got most, warm hours only (above 25 C)."""
    hours = _steps(course.t_s) / 3600
    doses = []
    for sheet in (course.hot_sheet, course.temperature_c.shape[1] // 2, course.cool_sheet):
        warm = course.temperature_c[:, sheet] > COOL_C
        if warm.any():
            doses.append(
                dose_over(
                    hours[warm], course.temperature_c[warm, sheet],
                    np.clip(course.rh[warm, sheet], 0, 1),
                )
            )  # fmt: skip
    return max(doses, key=lambda one: one.days, default=HeatDose(0.0, 0.0, 0.0, 0.0, {}))


def layer_names(stack: Stack) -> Sequence[str]:
    """Names of the layers above and below, in their order."""
    return [layer.material.name for layer in (*stack.above, *stack.below)]
