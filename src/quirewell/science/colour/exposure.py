"""A scan's exposure against the strip's known greys, and two scans brought to it.

The strip's six grey steps were measured once, with an instrument or as a first scan gave them.
What a scan makes of them shows its own exposure and tone curve,

    y = offset + gain * x ** power,

x true and y read linear light [0..1], fitted in L* with equal say for every step. An instrument's
greys are absolute, so both scans are brought to them; a first scan's greys only carry the after
scan to the exposure of the before scan. The greys speak for lightness: their own hue is not known,
so one curve holds for red, green and blue.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.spaces import lab_from_linear, lab_from_srgb, linear_from_lab

Array = NDArray[np.float64]

LEAST_STEPS = 4
_STEPS = 6
_ROUNDS = 25
_CLIPPED = (0.004, 0.996)
# How far exposures and curves spread before anything is read (assumed, wide).
_PRIOR = np.array([0.5, 0.05, 0.5])
_LIGHT_STEP_L = 45.0
# Three numbers are left of six steps: a chance agreement must not count for more.
_LEAST_OWN_L = 0.1


@dataclass(frozen=True, slots=True)
class KnownGreys:
    """L* of the strip's six steps, darkest first, known to ``u_L`` each.

    ``absolute``: by an instrument; else as one scan gave them.
    """

    steps_L: tuple[float, ...]
    u_L: float
    absolute: bool


def greys_text(known: KnownGreys) -> str:
    """One line: "20 35 50 65 80 92 | 0.3 | instrument"."""
    steps = " ".join(f"{value:.6g}" for value in known.steps_L)
    return f"{steps} | {known.u_L:.6g} | {'instrument' if known.absolute else 'scan'}"


def greys_from_text(text: str) -> KnownGreys:
    """Read :func:`greys_text`.

    Raises
    ------
    ValueError
        in a sentence, for anything else
    """
    parts = [part.split() for part in text.split("|")] if len(text) <= 200 else []
    try:
        steps = tuple(float(word) for word in parts[0])
        (u,) = (float(word) for word in parts[1])
        (source,) = parts[2]
        good = len(parts) == 3 and len(steps) == _STEPS and source in ("instrument", "scan")
        good = good and all(0 <= value <= 105 for value in steps) and 0 < u <= 10
        good = good and all(b > a for a, b in pairwise(steps))
    except (ValueError, IndexError):
        good = False
    if not good:
        raise ValueError(
            "known greys are six lightnesses L* that grow, how well each is known, and instrument "
            f"or scan, as in 20 35 50 65 80 92 | 0.3 | instrument; got {text[:60]!r}"
        )
    return KnownGreys(steps, u, source == "instrument")


@dataclass(frozen=True, slots=True)
class Exposure:
    """What a scan made of the known greys.

    ``off_L`` (6,): L* read less known, nan where a step is clipped or out of the picture;
    ``left_L`` (6,) the same once the curve is taken out. ``pull`` (3, 6): how the curve's three
    parameters (logarithm of gain, offset, logarithm of power) move with each step's L*.
    """

    gain: float
    offset: float
    power: float
    off_L: Array
    left_L: Array
    pull: Array

    @property
    def shift_L(self) -> float:
        """Mean of L* read less known over the steps seen."""
        return float(np.nanmean(self.off_L))

    def true_light(self, light: NDArray[np.floating]) -> Array:
        """Linear light as the known greys have it, of linear light as read."""
        raised = np.maximum((np.asarray(light, np.float64) - self.offset) / self.gain, 0.0)
        return np.asarray(raised ** (1.0 / self.power))

    def read_light(self, light: NDArray[np.floating]) -> Array:
        """Linear light as this scan reads it, of true linear light."""
        true = np.maximum(np.asarray(light, np.float64), 0.0)
        return np.asarray(np.maximum(self.offset + self.gain * true**self.power, 0.0))

    def true_L(self, lightness: float) -> float:
        """L* of a neutral as the known greys have it, of L* as read."""
        return float(_lightness(self.true_light(_light(lightness)))[0])

    def steepness(self, lightness: float) -> float:
        """By how much :meth:`true_L` moves with one L* read, about ``lightness``."""
        return abs(self.true_L(lightness + 0.5) - self.true_L(lightness - 0.5))

    def u_true_L(self, lightness: float, steps_u_L: float) -> float:
        """Standard uncertainty of :meth:`true_L` where each step was read to ``steps_u_L``."""

        def corrected(theta: Array) -> Array:
            return _lightness(_with(theta).true_light(_light(lightness)))

        theta = np.array([math.log(self.gain), self.offset, math.log(self.power)])
        move = _slope(corrected, theta)[0] @ self.pull
        return steps_u_L * math.sqrt(float(move @ move))


def exposure_of(srgb: NDArray[np.floating], known: KnownGreys) -> Exposure | None:
    """Fit the curve of one scan; None with fewer than four steps that are neither out of the
    picture nor clipped.

    Parameters
    ----------
    srgb
        sRGB values [0..1] of the steps (6, 3), darkest first, nan where not seen
    known
        the steps' own lightness
    """
    values = np.asarray(srgb, dtype=np.float64)
    low, high = (np.nan_to_num(part, nan=0.0) for part in (values.min(axis=1), values.max(axis=1)))
    seen = (low > _CLIPPED[0]) & (high < _CLIPPED[1])
    if int(seen.sum()) < LEAST_STEPS:
        return None
    true_L = np.asarray(known.steps_L)[seen]
    read_L = lab_from_srgb(values[seen])[:, 0]
    light = _light(true_L)
    at, keep = np.zeros(3), np.diag(1.0 / _PRIOR**2)
    pull: Array = np.zeros((3, int(seen.sum())))
    for _ in range(_ROUNDS):
        slope = _slope(partial(_read_L, light), at)
        normal = slope.T @ slope / known.u_L**2 + keep
        pull = np.asarray(np.linalg.solve(normal, slope.T / known.u_L**2), dtype=np.float64)
        step = pull @ (read_L - _read_L(light, at)) - np.linalg.solve(normal, keep @ at)
        at = at + step
        if float(np.abs(step).max()) < 1e-10:
            break
    off, left, full = np.full(_STEPS, np.nan), np.full(_STEPS, np.nan), np.zeros((3, _STEPS))
    off[seen], left[seen], full[:, seen] = read_L - true_L, read_L - _read_L(light, at), pull
    return Exposure(math.exp(at[0]), float(at[1]), math.exp(at[2]), off, left, full)


def _light(lightness: NDArray[np.floating] | float) -> Array:
    """Linear light of a neutral of this L*."""
    steps = np.atleast_1d(np.asarray(lightness, dtype=np.float64))
    return linear_from_lab(np.column_stack([steps, np.zeros_like(steps), np.zeros_like(steps)]))[
        :, 1
    ]


def _lightness(light: Array) -> Array:
    return lab_from_linear(np.repeat(light[:, None], 3, axis=1))[:, 0]


def _read_L(light: Array, at: Array) -> Array:
    """L* read of true light at the parameters (log gain, offset, log power)."""
    read = at[1] + math.exp(at[0]) * np.maximum(light, 0.0) ** math.exp(at[2])
    return _lightness(np.maximum(read, 1e-6))


def _slope(function: Callable[[Array], Array], at: Array) -> Array:
    """Derivatives (values, parameters) by central differences."""
    columns = []
    for index in range(len(at)):
        nudge = np.zeros(len(at))
        nudge[index] = 1e-5
        columns.append((function(at + nudge) - function(at - nudge)) / 2e-5)
    return np.column_stack(columns)


@dataclass(frozen=True, slots=True)
class ExposedPair:
    """Two scans against the same known greys.

    ``own_u_L``: how far a step differs from scan to scan once both curves are taken out, each
    scan's part; ``common_u_L``: how far both together lie from the known greys, the steps' own
    uncertainty at least; ``cast`` (a*, b*): by how much the light steps changed their hue.
    """

    before: Exposure
    after: Exposure
    known: KnownGreys
    own_u_L: float
    common_u_L: float
    cast: tuple[float, float]

    def light(self, role: str, light: NDArray[np.floating], absolute: bool) -> Array:
        """Linear light of a scan (``role`` before or after): as the known greys have it
        (``absolute``), else as the before scan would have read it."""
        if not absolute and role == "before":
            return np.asarray(light, dtype=np.float64)
        true = (self.before if role == "before" else self.after).true_light(light)
        return true if absolute else self.before.read_light(true)

    def lab(self, role: str, lab: NDArray[np.floating], absolute: bool) -> Array:
        """The same for CIELAB (..., 3); nan stays nan."""
        linear = linear_from_lab(lab)
        return lab_from_linear(
            np.where(np.isnan(linear), np.nan, self.light(role, linear, absolute))
        )

    def u_change_L(self, before_L: float, after_L: float, absolute: bool) -> tuple[float, float]:
        """Standard uncertainty of a change of L* from ``before_L`` to ``after_L`` (as read): that
        of the scans' exposures, and that of the greys that both share."""
        moves = []
        for role, lightness in (("before", before_L), ("after", after_L)):
            one = self.before if role == "before" else self.after
            theta = np.array([math.log(one.gain), one.offset, math.log(one.power)])
            slope = _slope(partial(self._corrected_L, role, lightness, absolute), theta)[0]
            moves.append(slope @ one.pull)
        if not absolute:
            # What the before scan's curve errs by is undone as the after scan is carried to it.
            theta = np.array(
                [math.log(self.before.gain), self.before.offset, math.log(self.before.power)]
            )
            slope = _slope(partial(self._carried_L, after_L), theta)[0]
            moves[0] = -(slope @ self.before.pull)
        own = self.own_u_L * math.sqrt(sum(float(move @ move) for move in moves))
        apart = moves[1] - moves[0]
        return own, self.common_u_L * math.sqrt(float(apart @ apart))

    def _corrected_L(self, role: str, lightness: float, absolute: bool, theta: Array) -> Array:
        true = _with(theta).true_light(_light(lightness))
        if absolute:
            return _lightness(true)
        return _lightness(self.before.read_light(true)) if role == "after" else np.array([0.0])

    def _carried_L(self, lightness: float, theta: Array) -> Array:
        return _lightness(_with(theta).read_light(self.after.true_light(_light(lightness))))


def _with(theta: Array) -> Exposure:
    none = np.zeros(0)
    return Exposure(
        math.exp(theta[0]), float(theta[1]), math.exp(theta[2]), none, none, np.zeros((3, 0))
    )


def expose_pair(
    before_srgb: NDArray[np.floating], after_srgb: NDArray[np.floating], known: KnownGreys
) -> ExposedPair | None:
    """Both scans' steps (6, 3) sRGB [0..1] against the known greys; None where either scan shows
    fewer than four usable steps."""
    before, after = (exposure_of(one, known) for one in (before_srgb, after_srgb))
    if before is None or after is None:
        return None
    apart = (after.left_L - before.left_L) / math.sqrt(2)
    middle = (after.left_L + before.left_L) / 2
    both = np.isfinite(apart)
    free = max(1, int(both.sum()) - 3)
    own = math.sqrt(float(np.sum(apart[both] ** 2)) / free)
    common = math.sqrt(float(np.sum(middle[both] ** 2)) / free)
    labs = [lab_from_srgb(np.asarray(one)[both]) for one in (before_srgb, after_srgb)]
    light = labs[0][:, 0] > _LIGHT_STEP_L
    cast = (labs[1] - labs[0])[light].mean(axis=0) if light.any() else np.zeros(3)
    return ExposedPair(
        before, after, known, max(own, _LEAST_OWN_L), max(common, known.u_L),
        (float(cast[1]), float(cast[2])),
    )  # fmt: skip
