"""A stack marched through time: cells, faces and a start in, temperatures and water out.

Finite volumes in space (:mod:`.kernel`); in time the banded implicit multistep solver that scipy
carries (LSODA), with BDF as the cross-check in tests.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from quirewell.science.press.kernel import CELL, FACE, FACE_C, rates

Array = NDArray[np.float64]
RELATIVE, KELVINS, KG_M3 = 1e-6, 1e-5, 1e-6
_BAND = 3
_MOST_STEPS = 20_000


class NoConvergence(RuntimeError):
    """The solver gave up; the state it got to is lost, and nothing was computed."""


@dataclass(frozen=True, slots=True)
class March:
    """A course: times [s]; per cell temperature [C] and water [kg/m3], (times, cells); heat [J/m2]
    and water [kg/m2] that left through the upper and the lower face by then, (times, 2)."""

    t_s: Array
    temperature_c: Array
    water_kg_m3: Array
    heat_out: Array
    water_out: Array


def march(
    cells: Array, faces: Array, start_c: Array, start_w: Array, t_s: Array,
    relative: float = RELATIVE, platen: Array | None = None,
) -> March:  # fmt: skip
    """March ``cells`` (n, 8) between ``faces`` (2, 6) from a start (n,) over times [s].

    ``platen`` (k, 3): times [s], and the temperature [C] of the upper and the lower face at them,
    straight lines between; None where the faces stay as they are.

    Raises
    ------
    ValueError
        When shapes differ.
    NoConvergence
        When the solver gives up.
    """
    count = len(cells)
    if cells.shape != (count, CELL) or faces.shape != (2, FACE) or len(start_c) != count:
        raise ValueError("cells are (n, 8), faces (2, 6) and a start n values")
    y = np.zeros(2 * count + 4)
    y[2:-2:2], y[3:-2:2] = start_c, start_w
    cells, faces = np.ascontiguousarray(cells), np.array(faces, dtype=np.float64, order="C")

    out = np.empty(len(y))  # The solver copies what it is given: one place serves all calls.

    def change(time: float, state: Array) -> Array:
        if platen is not None:
            for side in (0, 1):
                faces[side, FACE_C] = np.interp(time, platen[:, 0], platen[:, side + 1])
        rates(state, cells, faces, out)
        return out

    # Heat is in J/m2 and counts in thousands; water in kg/m3.
    floor = np.full(len(y), KELVINS)
    floor[1::2], floor[0], floor[-2] = KG_M3, 1.0, 1.0
    with warnings.catch_warnings():
        warnings.simplefilter("error", scipy.integrate.ODEintWarning)
        try:
            got = scipy.integrate.odeint(
                change, y, t_s, tfirst=True, ml=_BAND, mu=_BAND, rtol=relative, atol=floor,
                mxstep=_MOST_STEPS,
            )  # fmt: skip
        except scipy.integrate.ODEintWarning as error:
            raise NoConvergence(f"the stack could not be followed through time: {error}") from error
    if not np.isfinite(got).all():
        raise NoConvergence("the stack could not be followed through time: a value left the finite")
    return March(
        np.asarray(t_s, dtype=np.float64), got[:, 2:-2:2].copy(), got[:, 3:-2:2].copy(),
        got[:, [0, -2]].copy(), got[:, [1, -1]].copy(),
    )  # fmt: skip
