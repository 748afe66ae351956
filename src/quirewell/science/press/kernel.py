"""Rates of change of a stack's cells: heat and vapour between neighbours and through both faces.

    dw/dt = -dg/dx                                 g = -(delta/mu) dp/dx * P/(P - p)
    (rho c + w c_w) dT/dt = d/dx(lambda dT/dx) + (L + dH) (-dg/dx)

State, interleaved so that neighbours lie within three places of each other: heat [J/m2] and water
[kg/m2] that left through the upper face; then T [C] and w [kg/m3] of each cell, top to bottom; then
what left through the lower face. Sum of w dx and of what left is constant, step by step.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from quirewell.science.compiled import compiled

Array = NDArray[np.float64]
RV, ATMOSPHERE, MOST_WATER = 461.52, 101325.0, 1.2
# Columns of a cell and of a face.
KIND, DX, RHO, HEAT, LAMBDA, LAMBDA_WET, MU, JOINT = range(8)
CELL = 8
MODE, FACE_C, FACE_H, FACE_BETA, FACE_P, FACE_CAPILLARY = range(6)
FACE = 6
# A face meets air or a platen through a film (mode 0), or is held at a state.
PRESCRIBED = 1.0
# Kinds of storage: paper by either curve, none to speak of, and the standard's material.
PAPER_TRYDING, PAPER_HEIKKILA, TIGHT, STANDARD = range(4)
# Storage of a layer that takes up nothing [kg/m3 for each unit of humidity].
TIGHT_STORAGE = 0.01
WATER_HEAT = 4180.0


# Curves of sorption, as :mod:`quirewell.science.paper.sorption` tells of them.
TRYDING, HEIKKILA = 0, 1
B, C, KAPPA, THETA, N = 1.4827, 0.4979, 0.0519, 375.33, 4.7748
OMEGA, OMEGA_K, OMEGA_SPAN = 2.49, 296.15, 310.0


@compiled
def p_sat(celsius: float) -> float:
    """Pressure of saturated vapour over water [Pa], 0 to 200 C (``ashrae2017``).

    >>> round(p_sat(20.0), 1), round(p_sat(68.0))
    (2338.8, 28596)
    """
    t = celsius + 273.15
    logarithm: float = (
        -5800.2206 / t + 1.3914993 - 0.048640239 * t + 4.1764768e-5 * t * t
        - 1.4452093e-8 * t * t * t + 6.5459673 * math.log(t)
    )  # fmt: skip
    return math.exp(logarithm)


@compiled
def vaporisation(celsius: float) -> float:
    """Heat of vaporisation of water [J/kg]."""
    return 2.501e6 - 2361.0 * celsius


@compiled
def air_permeability(celsius: float) -> float:
    """Permeability of still air to vapour [kg/(m s Pa)]: D / (Rv T), Schirmer's D (from memory).

    >>> round(air_permeability(23.0) * 461.52 * 296.15 * 1e6, 1)
    26.7
    """
    t = celsius + 273.15
    return 2.306e-5 * math.pow(t / 273.15, 1.81) / (RV * t)


@compiled
def humidity_and_heat(curve: int, u: float, celsius: float) -> tuple[float, float]:
    """Relative humidity [0..1] in paper of water content ``u`` [kg/kg] at ``celsius``, and the net
    heat of sorption [J/kg], Rv T^2 d(ln phi)/dT of that same curve."""
    wet = max(u, 1e-9)
    kelvin = celsius + 273.15
    if curve == TRYDING:
        omega = OMEGA * (1.0 + (OMEGA_K - kelvin) / OMEGA_SPAN)
        cube = min((wet / omega) ** 3, 0.999999)
        power = (THETA / kelvin) ** (N + 1.0)
        kappa = KAPPA * math.exp(power / (N + 1.0))
        xi = (wet / kappa / (1.0 - cube)) ** (1.0 / C)
        z = xi ** (1.0 / B)
        phi = (-math.expm1(-z)) ** B
        slope = 3.0 * cube / (1.0 - cube) * OMEGA / OMEGA_SPAN / omega + power / kelvin
        change = z / math.expm1(min(z, 700.0)) * slope / C
    else:
        a = 47.58 * wet**1.877 + 0.10085 * celsius * wet**1.0585
        phi = -math.expm1(-a)
        change = 0.10085 * wet**1.0585 / math.expm1(min(a, 700.0))
    return phi, RV * kelvin * kelvin * change


@compiled
def _node(cell: Array, celsius: float, w: float, out: Array) -> None:
    """Properties of a cell: 0 vapour pressure, 1 permeability, 2 conductivity, 3 heat of its
    water, 4 capillary pressure, 5 liquid conductivity, 6 humidity."""
    kind = int(cell[KIND])
    latent = vaporisation(celsius)
    out[4] = 0.0
    out[5] = 0.0
    if kind <= 1:
        u = max(w, 0.0) / cell[RHO]
        phi, bound = humidity_and_heat(kind, u, celsius)
        out[1] = air_permeability(celsius) / cell[MU]
        out[2] = cell[LAMBDA] * (1.0 + cell[LAMBDA_WET] * min(u, MOST_WATER))
        out[3] = latent + bound
    elif kind == 2:
        phi = max(w, 0.0) / TIGHT_STORAGE
        # Asked for only where vapour is driven through it.
        out[1] = air_permeability(celsius) / cell[MU] if w > 0.0 else 0.0
        out[2] = cell[LAMBDA]
        out[3] = latent
    else:  # EN 15026:2007, annex A
        held = min(max(w, 1e-6), 145.9999)
        capillary = 0.125e8 * ((146.0 / held) ** (1.0 / 0.375) - 1.0) ** 0.625
        phi = math.exp(-capillary / (1000.0 * 462.0 * 293.15))
        s = 1.0 - held / 146.0
        out[1] = 26.1e-6 / 200.0 / (462.0 * 293.15) * s / (0.503 * s * s + 0.497)
        out[2] = cell[LAMBDA] + cell[LAMBDA_WET] * held
        out[3] = 2.5e6
        x = held - 73.0
        out[4] = capillary
        out[5] = math.exp(
            -39.2619 + 0.0704 * x - 1.7420e-4 * x**2 - 2.7953e-6 * x**3 - 1.1566e-7 * x**4
            + 2.5969e-9 * x**5
        )  # fmt: skip
    out[6] = phi
    # A dry plate has no vapour, whatever its warmth: exactly 0, and its curve need not be asked.
    out[0] = phi * p_sat(celsius) if phi > 0.0 else 0.0


@compiled
def _stefan(first: float, second: float) -> float:
    middle = 0.5 * (first + second)
    return ATMOSPHERE / max(ATMOSPHERE - middle, 0.05 * ATMOSPHERE)


@compiled
def rates(y: Array, cells: Array, faces: Array, out: Array) -> None:
    """Rates ``out`` of the state ``y``: cells (n, 8), faces (2, 6); a joint is the thermal
    resistance [m2 K/W] between a cell and the next below."""
    count = cells.shape[0]
    above = np.zeros(7)
    here = np.zeros(7)
    heat_in = 0.0
    vapour_in = 0.0
    liquid_in = 0.0
    for i in range(count + 1):
        if i < count:
            celsius, w = y[2 + 2 * i], y[3 + 2 * i]
            _node(cells[i], celsius, w, here)
        # Flux down through the joint above cell i.
        heat, vapour, liquid = 0.0, 0.0, 0.0
        if i == 0 or i == count:
            face = faces[0] if i == 0 else faces[1]
            own = here if i == 0 else above
            cell = cells[0] if i == 0 else cells[count - 1]
            at_c = y[2] if i == 0 else y[2 * count]
            sign = 1.0 if i == 0 else -1.0
            half = 0.5 * cell[DX]
            film = 1.0 / face[FACE_H] if face[MODE] == 0.0 else 0.0
            heat = sign * (face[FACE_C] - at_c) / (half / own[2] + film)
            if own[1] == 0.0:
                own[1] = air_permeability(at_c) / cell[MU]
            if face[MODE] == 1.0:
                vapour = sign * (face[FACE_P] - own[0]) * own[1] / half
                liquid = sign * own[5] * (own[4] - face[FACE_CAPILLARY]) / half
            elif face[FACE_BETA] > 0.0:
                lift = _stefan(face[FACE_P], own[0])
                resist = half / own[1] + 1.0 / face[FACE_BETA]
                vapour = sign * lift * (face[FACE_P] - own[0]) / resist
        else:
            upper, lower = cells[i - 1], cells[i]
            ha, hb = 0.5 * upper[DX], 0.5 * lower[DX]
            heat = (y[2 * i] - celsius) / (ha / above[2] + hb / here[2] + upper[JOINT])
            if above[0] != here[0]:
                if above[1] == 0.0:
                    above[1] = air_permeability(y[2 * i]) / upper[MU]
                if here[1] == 0.0:
                    here[1] = air_permeability(celsius) / lower[MU]
                lift = 1.0 if int(lower[KIND]) == 3 else _stefan(above[0], here[0])
                vapour = lift * (above[0] - here[0]) / (ha / above[1] + hb / here[1])
            if above[5] > 0.0 and here[5] > 0.0:
                liquid = 0.5 * (above[5] + here[5]) * (here[4] - above[4]) / (ha + hb)
        if i == 0:
            out[0], out[1] = -heat, -(vapour + liquid)
        else:
            j = i - 1
            cell = cells[j]
            gained_v = vapour_in - vapour
            gained_l = liquid_in - liquid
            holds = cell[RHO] * cell[HEAT] + max(y[3 + 2 * j], 0.0) * WATER_HEAT
            out[2 + 2 * j] = (heat_in - heat + above[3] * gained_v) / (cell[DX] * holds)
            out[3 + 2 * j] = (gained_v + gained_l) / cell[DX]
        if i == count:
            out[2 + 2 * count], out[3 + 2 * count] = heat, vapour + liquid
        heat_in, vapour_in, liquid_in = heat, vapour, liquid
        for k in range(7):
            above[k] = here[k]
