"""A press calibrated: what nobody knew of it, fitted to a log and a weighing on a dummy.

Six factors (contacts, resistances to vapour, conduction) are fitted within their bounds, for each
curve of sorption by itself: least squares of the readings by their uncertainty, and of the factors
weakly by their bounds. What is left open after that is drawn for the band, the factors together, so
that a band gets no narrower than the readings make it. Readings of one probe stray together:
however many there are, their mean counts as one reading and their course as three. A log that
nothing within the bounds can follow is no calibration: it is told so, and narrows nothing.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import scipy
from numpy.typing import NDArray

from quirewell.science.paper.sorption import CURVES, Curve
from quirewell.science.press.course import Course, Pressing, follow
from quirewell.science.press.known import NAMES, Bounds, Known, OneCurve, knobs_at, scale_of
from quirewell.science.press.march import NoConvergence

Array = NDArray[np.float64]
Where = Literal["hot", "centre", "cool"]
Kind = Literal["C", "RH"]
WHERES: tuple[Where, ...] = ("hot", "centre", "cool")
# However many readings a probe gave, its offset is one error (their mean: one reading), and its
# place, its lag and what the model leaves out stray slowly (their course about it: three).
_COURSE = 3.0
_MOST_MARKS = 24
# A factor is even between its bounds: the fit feels them weakly, the draws are cut off at them.
_PRIOR = 1.0
# scipy steps by a share of the value; kept away from nought by this shift.
_SHIFT, _STEP = 3.0, 0.02
_ODDS = 0.999
# The straight-line spread of a curved fit held planted presses in some 83 of 100 of its 90 % bands
# of water lost: widened by trial (benchmarks/press_calibration.py says what it holds now).
_WIDER = 1.7


@dataclass(frozen=True, slots=True)
class Marks:
    """What a probe read: where, what, times from heat on [s], values ([C] or 0..1), u of each."""

    where: Where
    kind: Kind
    t_s: Array
    values: Array
    u: float


@dataclass(frozen=True, slots=True)
class Weighed:
    """Water that weighing found lost [g/m2], its u, and when [s]; None: at the end of all."""

    lost_g_m2: float
    u: float
    t_s: float | None = None


# A signal's largest misfit: its name, in its own unit, in times of its u, when [s] (None: at last).
Misfit = tuple[str, float, float, float | None]


@dataclass(frozen=True, slots=True)
class Fitted:
    """A calibration: what is known, how well it follows the readings, and what contradicts.

    ``off``: by signal, the largest misfit in its own unit and in times of its u, and when [s].
    ``against``: sentences; where there are any the fit must not be used.
    """

    known: Known
    chi2: float
    counted: float
    off: tuple[Misfit, ...]
    at_bounds: tuple[str, ...]
    against: tuple[str, ...]


def calibrate(
    pressing: Pressing, probes: tuple[Marks, ...], weighed: Weighed | None,
    bounds: Bounds | None = None, progress: Callable[[int, int], None] = lambda done, of: None,
) -> Fitted:  # fmt: skip
    """Fit what is unknown of a press to what was read of a dummy pressed in it.

    Raises
    ------
    ValueError
        With nothing read, or as :func:`.course.follow`.
    """
    if not probes and weighed is None:
        raise ValueError("nothing was read: give a probe's log, or the weight before and after")
    bounds = Bounds() if bounds is None else bounds
    thin = tuple(_thinned(one) for one in probes)
    follow(pressing)  # What cannot be is refused before the fit, as it was said.
    fits = []
    for number, curve in enumerate(CURVES):
        fits.append(_fit(curve, pressing, thin, weighed, bounds))
        progress(number + 1, len(CURVES))
    least = min(fit.score for fit in fits)
    weights = [
        math.exp(-0.5 * (fit.score - least)) * math.sqrt(max(np.linalg.det(fit.covariance), 1e-30))
        for fit in fits
    ]
    # Neither curve is measured on this paper: none is ruled out by a fit alone.
    shares = np.clip(np.array(weights) / sum(weights), 0.1, 0.9)
    middle, half = scale_of(bounds)
    known = Known(
        tuple(
            OneCurve(curve, float(share), middle + half * fit.z,
                     half[:, None] * fit.covariance * half[None, :])
            for curve, share, fit in zip(CURVES, shares / shares.sum(), fits, strict=True)
        )
    )  # fmt: skip
    best = min(fits, key=lambda fit: fit.data)
    counted = sum(min(1 + _COURSE, len(one.t_s)) for one in thin) + (weighed is not None)
    ends = tuple(name for name, z in zip(NAMES, best.z, strict=True) if abs(z) > 0.97)
    return Fitted(known, best.data, counted, best.off, ends, _against(best, counted))


@dataclass(frozen=True, slots=True)
class _Fit:
    """One curve's fit on the scale -1 to 1 of the bounds."""

    z: Array
    covariance: Array
    score: float
    data: float
    off: tuple[Misfit, ...]


def _thinned(one: Marks) -> Marks:
    keep = np.argsort(one.t_s, kind="stable")
    t_s, values = one.t_s[keep], one.values[keep]
    if len(t_s) > _MOST_MARKS:
        # Means over equal spans, so that a noisy logger is not thinned to its noise.
        edges = np.linspace(t_s[0], t_s[-1], _MOST_MARKS + 1)
        span = np.clip(np.searchsorted(edges, t_s, side="right") - 1, 0, _MOST_MARKS - 1)
        held = [k for k in range(_MOST_MARKS) if (span == k).any()]
        t_s, values = (np.array([a[span == k].mean() for k in held]) for a in (t_s, values))
    return Marks(one.where, one.kind, t_s, values, one.u)


def _fit(
    curve: Curve, pressing: Pressing, probes: tuple[Marks, ...], weighed: Weighed | None,
    bounds: Bounds,
) -> _Fit:  # fmt: skip
    middle, half = scale_of(bounds)

    def misfit(z: Array) -> list[Array]:
        course = follow(pressing, knobs_at(curve, middle + half * z))
        rows = [np.asarray(one.values - read(course, one.where, one.kind, one.t_s)) / one.u
                for one in probes]  # fmt: skip
        if weighed is not None:
            rows.append(np.array([(weighed.lost_g_m2 - lost(course, weighed.t_s)) / weighed.u]))
        return rows

    def residuals(shifted: Array) -> Array:
        z = shifted - _SHIFT
        try:
            rows = misfit(z)
        except NoConvergence:  # pragma: no cover - within the bounds none was met
            rows = [np.full(len(one.t_s), 1e3) for one in probes]
            rows += [np.array([1e3])] if weighed is not None else []
        return np.concatenate([*(_counted(row) for row in rows), z / _PRIOR])

    start = np.full(len(NAMES), _SHIFT)
    found = scipy.optimize.least_squares(
        residuals, start, bounds=(start - 1, start + 1), diff_step=_STEP, xtol=1e-4, ftol=1e-4,
        gtol=1e-4, max_nfev=25,
    )  # fmt: skip
    z = np.asarray(found.x) - _SHIFT
    rows = misfit(z)
    data = sum(float(_counted(row) @ _counted(row)) for row in rows)
    names = [f"{one.where} {one.kind}" for one in probes] + ["weight"] * (weighed is not None)
    spreads = [one.u for one in probes] + ([weighed.u] if weighed is not None else [])
    times: list[list[float | None]] = [list(one.t_s) for one in probes]
    if weighed is not None:
        times.append([weighed.t_s])
    off = []
    for name, row, u, when in zip(names, rows, spreads, times, strict=True):
        worst = int(np.argmax(np.abs(row)))
        off.append((name, float(row[worst] * u), float(row[worst]), when[worst]))
    covariance = _WIDER * np.linalg.inv(found.jac.T @ found.jac)
    return _Fit(z, covariance, 2 * float(found.cost), data, tuple(off))


def _counted(row: Array) -> Array:
    """Misfits of one signal, so that their squares sum to what they count as."""
    if len(row) == 1:
        return row
    mean = row.mean()
    return np.append((row - mean) * math.sqrt(min(1.0, _COURSE / (len(row) - 1))), mean)


def read(course: Course, where: Where, kind: Kind, t_s: Array) -> Array:
    """What a probe in that place would read at those times ([C] or 0..1)."""
    sheet = {"hot": course.hot_sheet, "cool": course.cool_sheet}.get(where)
    if kind == "C":
        rows = course.centre_c if sheet is None else course.temperature_c[:, sheet]
    else:
        half = course.rh.shape[1] // 2
        rows = (
            course.rh[:, half - 1 : half + 1].mean(axis=1) if sheet is None else course.rh[:, sheet]
        )
    return np.interp(t_s, course.t_s, rows)


def lost(course: Course, t_s: float | None) -> float:
    """Water gone from the pamphlet by then [g/m2]; at the end of the course for None."""
    at = float(course.t_s[-1]) if t_s is None else t_s
    held = float(np.interp(at, course.t_s, course.pamphlet_g_m2))
    return float(course.pamphlet_g_m2[0]) - held


_WORDS = {"hot": "at the hot cover", "centre": "in the centrefold", "cool": "at the cool cover"}


def _against(best: _Fit, counted: float) -> tuple[str, ...]:
    out = []
    if best.data > scipy.stats.chi2.ppf(_ODDS, counted):
        name, by, times, when = max(best.off, key=lambda row: abs(row[2]))
        if name == "weight":
            what = f"the weighing says {abs(by):.0f} g/m² {'more' if by > 0 else 'less'} lost"
        else:
            where, kind = name.split()
            size = f"{abs(by):.1f} °C" if kind == "C" else f"{100 * abs(by):.0f} % of humidity"
            more = ("hotter" if by > 0 else "cooler") if kind == "C" else (
                "damper" if by > 0 else "drier")  # fmt: skip
            what = f"{_WORDS[where]} the log is {size} {more} at minute "
            what += f"{(when or 0.0) / 60:.0f}"
        out.append(
            f"The model cannot follow what was read: nearest it comes, {what} "
            f"({abs(times):.0f} times what the reading is unsure by). Look whether the stack was "
            "as written, when the heat came on, and where the probe lay; if all that is right, "
            "believe the readings and not the model. Nothing is narrowed by it"
        )
    return tuple(out)
