"""Classic closed forms: Crank's slab (``crank1975``), Carslaw and Jaeger's half-space with a film.

Heat and vapour each through the same cells that carry a press: the slab by conduction alone.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from quirewell.science.press.kernel import (
    CELL,
    DX,
    FACE,
    FACE_H,
    HEAT,
    JOINT,
    KIND,
    LAMBDA,
    MU,
    RHO,
    TIGHT,
)
from quirewell.science.press.march import march


def slab(count: int, thick: float, conducts: float, rho: float, heat: float) -> np.ndarray:
    cells = np.zeros((count, CELL))
    cells[:, KIND], cells[:, DX], cells[:, RHO] = TIGHT, thick / count, rho
    cells[:, HEAT], cells[:, LAMBDA], cells[:, MU] = heat, conducts, 1e9
    return cells


def faces(top: float, bottom: float, h: float = 1e9) -> np.ndarray:
    out = np.zeros((2, FACE))
    out[0] = (0.0, top, h, 0.0, 0.0, 0.0)
    out[1] = (0.0, bottom, h, 0.0, 0.0, 0.0)
    return out


def series(fourier: float) -> tuple[float, float]:
    """Centre and mean of a slab of half thickness 1 after a step at both faces."""
    centre, mean = 1.0, 1.0
    for n in range(200):
        k = (2 * n + 1) * math.pi / 2
        fall = math.exp(-k * k * fourier)
        centre -= 2 * (-1) ** n / k * fall
        mean -= 2 / k**2 * fall
    return centre, mean


def test_the_series_gives_the_printed_values():
    centres = [series(fo)[0] for fo in (0.05, 0.1, 0.2, 0.3, 0.5, 1.0)]
    printed = [0.003131, 0.050695, 0.227688, 0.393196, 0.629223, 0.892023]
    assert centres == pytest.approx(printed, abs=1e-6)
    assert series(0.1968)[1] == pytest.approx(0.50009, abs=1e-4)


def test_a_slab_stepped_at_both_faces_warms_as_the_series():
    count, thick, conducts, rho, heat = 301, 0.01, 0.1, 1000.0, 1000.0
    fourier = np.array([0.0, 0.05, 0.1, 0.2, 0.3, 0.5, 1.0])
    times = fourier * (thick / 2) ** 2 / (conducts / rho / heat)
    cells = slab(count, thick, conducts, rho, heat)
    found = march(
        cells, faces(11.0, 11.0), np.full(count, 10.0), np.zeros(count), times, relative=1e-9
    )
    warmed = found.temperature_c - 10.0
    for row, fo in list(enumerate(fourier))[1:]:
        centre, mean = series(float(fo))
        assert warmed[row, count // 2] == pytest.approx(centre, abs=2e-5)
        assert warmed[row].mean() == pytest.approx(mean, abs=1e-4)


def test_a_half_space_under_a_film_of_air_cools_as_the_worked_example():
    """Example 5.3-1 of ``geankoplis1993``: 267.982 K at the surface after five hours."""
    conducts, alpha, h = 0.865, 4.65e-7, 11.36
    widths = [1e-4]
    while sum(widths) < 3:
        widths.append(widths[-1] * 1.02)
    cells = slab(len(widths), 1.0, conducts, 1000.0, conducts / alpha / 1000.0)
    cells[:, DX] = widths
    ends = faces(-17.8, 15.6)
    ends[0, FACE_H] = h
    start = np.full(len(widths), 15.6)
    times = np.array([0.0, 18000.0])
    found = march(cells, ends, start, np.zeros(len(widths)), times, relative=1e-10)
    film = 1 / (widths[0] / 2 / conducts + 1 / h)
    flux = film * (found.temperature_c[-1, 0] + 17.8)
    surface_k = -17.8 + flux / h + 273.15
    x = h * math.sqrt(alpha * 18000.0) / conducts
    exact = 15.6 + (-17.8 - 15.6) * (1 - math.exp(x * x) * math.erfc(x)) + 273.15
    assert exact == pytest.approx(267.982, abs=2e-3)
    assert surface_k == pytest.approx(exact, abs=2e-3)


def test_a_steady_stack_is_resistances_in_series():
    cells = slab(40, 0.02, 0.2, 800.0, 1000.0)
    cells[20:, LAMBDA] = 0.05
    cells[19, JOINT], cells[5, JOINT] = 0.004, 0.001
    found = march(
        cells, faces(70.0, 20.0, 8.0), np.full(40, 20.0), np.zeros(40),
        np.array([0.0, 4e5, 4e5 + 1000.0]), relative=1e-10,
    )  # fmt: skip
    resistance = 2 / 8.0 + 0.01 / 0.2 + 0.01 / 0.05 + 0.005
    flux = -(found.heat_out[2, 0] - found.heat_out[1, 0]) / 1000.0
    assert flux == pytest.approx(50.0 / resistance, rel=1e-9)
