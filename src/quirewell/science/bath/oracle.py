"""A small solver of our own for Ca(OH)2 in water: check on the engine, and its fallback.

Unknown: the hydroxide molality. Species Ca2+, CaOH+, OH-, H+ and (as background) Cl-, with
activity coefficients after Truesdell and Jones (``truesdell1974``)

    log10 g = -A z^2 sqrt(I) / (1 + B a sqrt(I)) + b I

the Debye-Hueckel A and B from the density (``kell1975``) and the permittivity (``malmberg1956``)
of water, and the ion product of water as ``phreeqc.dat`` has it (``parkhurst2013``). No
carbonate. Valid 0 to 40 C and up to an ionic strength of about 0.1 mol/kg.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.optimize import brentq

from quirewell.science.bath.constants import BLOCK_A, water_density_kg_per_l
from quirewell.science.bath.solution import Solution, SpeciationError, check_temperature

_GAS = 8.31446261815324
_ION_SIZE = {"Ca": (5.0, 0.165, 2), "CaOH": (6.0, 0.0, 1), "OH": (3.5, 0.0, 1), "H": (9.0, 0.0, 1)}
_SOLVER = "quirewell oracle 1"


@dataclass(frozen=True, slots=True)
class _State:
    h: float
    caoh: float
    free: float
    ionic: float
    charge: float
    activity: dict[str, float]


def permittivity(temperature_c: float) -> float:
    """Relative permittivity of water [-], 0 to 100 C (``malmberg1956``).

    >>> round(permittivity(25.0), 2)
    78.3
    """
    t = temperature_c
    return 87.740 - 0.40008 * t + 9.398e-4 * t**2 - 1.410e-6 * t**3


def debye_huckel(temperature_c: float) -> tuple[float, float]:
    """Parameters A [kg^1/2 mol^-1/2] and B [kg^1/2 mol^-1/2 per angstrom] of water.

    >>> tuple(round(value, 4) for value in debye_huckel(25.0))
    (0.5108, 0.3286)
    """
    kelvin = temperature_c + 273.15
    product = permittivity(temperature_c) * kelvin
    root = math.sqrt(water_density_kg_per_l(temperature_c))
    return 1.8248e6 * root / product**1.5, 50.29 * root / math.sqrt(product)


def log_kw(temperature_c: float) -> float:
    """log10 of the ion product of water [-] (expression of ``phreeqc.dat``, ``parkhurst2013``).

    >>> round(log_kw(25.0), 3)
    -13.995
    """
    k = temperature_c + 273.15
    return (
        293.29227 + 0.1360833 * k - 10576.913 / k - 123.73158 * math.log10(k) - 6.996455e-5 * k**2
    )


def _log_k(name: str, temperature_c: float) -> float:
    entry = BLOCK_A[name]
    kelvin = temperature_c + 273.15
    shift = entry.delta_h_j_per_mol / (_GAS * math.log(10)) * (1 / 298.15 - 1 / kelvin)
    return entry.log_k25 + shift


def _activities(ionic: float, temperature_c: float) -> dict[str, float]:
    a, b = debye_huckel(temperature_c)
    root = math.sqrt(ionic)
    out = {}
    for name, (size, slope, charge) in _ION_SIZE.items():
        out[name] = 10 ** (-a * charge**2 * root / (1 + b * size * root) + slope * ionic)
    return out


def _state(total_ca: float, oh: float, acid: float, ionic: float, temperature_c: float) -> _State:
    g = _activities(ionic, temperature_c)
    h_activity = 10 ** log_kw(temperature_c) / (oh * g["OH"])
    pair = 10 ** _log_k("CaOH+", temperature_c) / h_activity
    ratio = pair * g["Ca"] / g["CaOH"]
    free = total_ca / (1 + ratio)
    h = h_activity / g["H"]
    caoh = total_ca - free
    strength = 0.5 * (4 * free + caoh + oh + h + acid)
    return _State(h, caoh, free, strength, 2 * free + caoh + h - oh - acid, g)


def _at(total_ca: float, acid: float, oh: float, temperature_c: float) -> _State:
    ionic = 0.5 * (3 * total_ca + oh + acid)
    for _ in range(200):
        found = _state(total_ca, oh, acid, ionic, temperature_c)
        if abs(found.ionic - ionic) < 1e-14:
            return found
        ionic = found.ionic
    raise SpeciationError("the ionic strength did not settle; is the solution far too strong?")


def speciate(ca_mol_per_kg: float, temperature_c: float, acid_mol_per_kg: float = 0.0) -> Solution:
    """Closed bath of Ca(OH)2 [mol/kg] with strong acid [mol/kg] at a temperature [C].

    Raises
    ------
    ValueError
        Outside 0 to 40 C.
    SpeciationError
        When no hydroxide concentration balances the charges.
    """
    check_temperature(temperature_c)

    def charge(log_oh: float) -> float:
        return _at(ca_mol_per_kg, acid_mol_per_kg, 10**log_oh, temperature_c).charge

    try:
        log_oh = float(brentq(charge, -13.5, 0.0, xtol=1e-13, rtol=1e-14))
    except ValueError as error:
        raise SpeciationError(f"no hydroxide concentration balances this bath: {error}") from error
    return _solution(ca_mol_per_kg, acid_mol_per_kg, 10**log_oh, temperature_c)


def saturate(temperature_c: float) -> Solution:
    """Water in equilibrium with solid Ca(OH)2 at a temperature [C]; see :func:`speciate`."""
    check_temperature(temperature_c)
    target = _log_k("Portlandite", temperature_c)

    def excess(log_ca: float) -> float:
        found = speciate(10**log_ca, temperature_c)
        g = _activities(found.ionic_strength_mol_per_kg, temperature_c)
        return math.log10(found.ca_free_mol_per_kg * g["Ca"]) + 2 * found.ph - target

    return speciate(10 ** float(brentq(excess, -3.0, -1.0, xtol=1e-12)), temperature_c)


def _solution(total_ca: float, acid: float, oh: float, temperature_c: float) -> Solution:
    found = _at(total_ca, acid, oh, temperature_c)
    ph = -math.log10(found.h * found.activity["H"])
    return Solution(
        temperature_c, ph, total_ca, found.free, found.caoh, oh, found.ionic, solver=_SOLVER
    )
