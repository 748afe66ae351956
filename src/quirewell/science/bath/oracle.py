"""A small solver of our own for lime water and its carbonate: check on the engine, and fallback.

Unknown: the hydroxide molality that balances the charges. Species Ca2+, CaOH+, OH-, H+, CO3 2-,
HCO3-, CO2, CaCO3 and CaHCO3+ (and Cl- of added acid), with activity coefficients after
Truesdell and Jones (``truesdell1974``)

    log10 g = -A z^2 sqrt(I) / (1 + B a sqrt(I)) + b I

the Debye-Hueckel A and B from the density (``kell1975``) and the permittivity (``malmberg1956``)
of water, block A for lime (``nist46``), and for water and carbonate the expressions that
``phreeqc.dat`` carries (``plummer1982``, ``parkhurst2013``). Calcite falls out at equilibrium.
Valid 0 to 40 C and up to an ionic strength of about 0.1 mol/kg.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import scipy

from quirewell.science.bath.constants import BLOCK_A, water_density_kg_per_l
from quirewell.science.bath.solution import Solution, SpeciationError, check_temperature

GAS = 8.31446261815324
SOLVER = "quirewell oracle 2"

# ion size [angstrom], slope b [kg/mol], charge
_ION: Mapping[str, tuple[float, float, int]] = {
    "Ca": (5.0, 0.165, 2), "CaOH": (6.0, 0.0, 1), "OH": (3.5, 0.0, 1), "H": (9.0, 0.0, 1),
    "CO3": (5.4, 0.0, 2), "HCO3": (5.4, 0.0, 1), "CaHCO3": (6.0, 0.0, 1),
    "CO2": (0.0, 0.066, 0), "CaCO3": (0.0, 0.1, 0),
}  # fmt: skip

# log10 K = a1 + a2 T + a3/T + a4 log10 T + a5/T^2 + a6 T^2, T in kelvin
CARBONATE: Mapping[str, tuple[float, ...]] = {
    "Kw": (293.29227, 0.1360833, -10576.913, -123.73158, 0.0, -6.996455e-5),
    "HCO3": (107.8871, 0.03252849, -5151.79, -38.92561, 563713.9),
    "CO2": (464.1965, 0.09344813, -26986.16, -165.75951, 2248628.9),
    "CaCO3": (-1228.732, -0.29944, 35512.75, 485.818),
    "CaHCO3": (-6.009, 3.377e-2, 2044.0),
    "Calcite": (17.118, -0.046528, -3496.0),
}


@dataclass(frozen=True, slots=True)
class _Inventory:
    """What is in 1 kg of water [mol]."""

    ca: float
    co2: float = 0.0
    acid: float = 0.0
    settles: bool = True


@dataclass(frozen=True, slots=True)
class _State:
    """Molalities at one hydroxide molality, and the charge left over."""

    h: float
    free: float
    caoh: float
    co3: float
    hco3: float
    cahco3: float
    calcite: float
    ionic: float
    charge: float
    g: Mapping[str, float]


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
    product = permittivity(temperature_c) * (temperature_c + 273.15)
    root = math.sqrt(water_density_kg_per_l(temperature_c))
    return 1.8248e6 * root / product**1.5, 50.29 * root / math.sqrt(product)


def log_k(name: str, temperature_c: float) -> float:
    """log10 of an equilibrium constant [-] of block A or of the carbonate table.

    >>> round(log_k("Kw", 25.0), 3), round(log_k("Calcite", 25.0), 2)
    (-13.995, -8.48)
    """
    kelvin = temperature_c + 273.15
    if name in BLOCK_A:
        entry = BLOCK_A[name]
        shift = entry.delta_h_j_per_mol / (GAS * math.log(10)) * (1 / 298.15 - 1 / kelvin)
        return entry.log_k25 + shift
    terms = (1.0, kelvin, 1 / kelvin, math.log10(kelvin), kelvin**-2, kelvin**2)
    return sum(a * term for a, term in zip(CARBONATE[name], terms, strict=False))


def activities(
    ionic: float, temperature_c: float, more: Mapping[str, tuple[float, float, int]] | None = None
) -> dict[str, float]:
    """Activity coefficients [-] at an ionic strength [mol/kg]; ``more`` ions: size [angstrom],
    slope [kg/mol], charge."""
    a, b = debye_huckel(temperature_c)
    root = math.sqrt(ionic)
    return {
        name: 10 ** (-a * charge**2 * root / (1 + b * size * root) + slope * ionic)
        for name, (size, slope, charge) in {**_ION, **(more or {})}.items()
    }


def _state(stock: _Inventory, oh: float, ionic: float, temperature_c: float) -> _State:
    """Every molality from the hydroxide's: one quadratic with calcite, one without."""
    g = activities(ionic, temperature_c)
    k = {name: 10 ** log_k(name, temperature_c) for name in (*CARBONATE, "CaOH+")}
    h = k["Kw"] / (oh * g["OH"])
    lime = 1 + k["CaOH+"] * g["Ca"] / (h * g["CaOH"])
    hco3 = k["HCO3"] * h * g["CO3"] / g["HCO3"]
    carbonate = 1 + hco3 + k["CO2"] * h**2 * g["CO3"] / g["CO2"]
    cahco3 = k["CaHCO3"] * h * g["Ca"] * g["CO3"] / g["CaHCO3"]
    pair = cahco3 + k["CaCO3"] * g["Ca"] * g["CO3"] / g["CaCO3"]
    product = k["Calcite"] / (g["Ca"] * g["CO3"])
    free = _root(
        pair * lime, carbonate * lime + pair * (stock.co2 - stock.ca), -carbonate * stock.ca
    )
    co3 = stock.co2 / (carbonate + free * pair)
    calcite = 0.0
    if stock.settles and free * co3 > product:
        free = _root(lime, stock.co2 - stock.ca, -carbonate * product)
        co3 = product / free
        calcite = max(0.0, stock.ca - free * lime - pair * product)
    ions = (2 * free, free * (lime - 1), h / g["H"], oh, hco3 * co3, cahco3 * free * co3, 2 * co3)
    twice, caoh, protons, _, hydro, calcic, double = ions
    strength = 0.5 * (2 * twice + caoh + protons + oh + hydro + calcic + 2 * double + stock.acid)
    charge = twice + caoh + protons + calcic - oh - hydro - double - stock.acid
    return _State(protons, free, caoh, co3, hydro, calcic, calcite, strength, charge, g)


def _root(a: float, b: float, c: float) -> float:
    """The positive root of a x^2 + b x + c with c <= 0, without cancellation."""
    q = -0.5 * (b + math.copysign(math.sqrt(b * b - 4 * a * c), b))
    return q / a if b < 0 else (c / q if q else 0.0)


def _at(stock: _Inventory, oh: float, temperature_c: float) -> _State:
    ionic = 0.5 * (3 * stock.ca + oh + stock.acid)
    for _ in range(300):
        found = _state(stock, oh, ionic, temperature_c)
        if abs(found.ionic - ionic) < 1e-14:
            return found
        ionic = found.ionic
    raise SpeciationError("the ionic strength did not settle; is the solution far too strong?")


def speciate(
    ca_mol_per_kg: float,
    temperature_c: float,
    co2_mol_per_kg: float = 0.0,
    *,
    acid_mol_per_kg: float = 0.0,
    carbonate_settles: bool = True,
) -> Solution:
    """Closed bath of Ca(OH)2, CO2 and strong acid [mol/kg] at a temperature [C].

    Raises
    ------
    ValueError
        Outside 0 to 40 C.
    SpeciationError
        When no hydroxide concentration balances the charges.
    """
    check_temperature(temperature_c)
    stock = _Inventory(ca_mol_per_kg, co2_mol_per_kg, acid_mol_per_kg, carbonate_settles)

    def charge(log_oh: float) -> float:
        return _at(stock, 10**log_oh, temperature_c).charge

    try:
        log_oh = float(scipy.optimize.brentq(charge, -13.0, 0.0, xtol=1e-13, rtol=1e-14))
    except ValueError as error:
        raise SpeciationError(f"no hydroxide concentration balances this bath: {error}") from error
    found = _at(stock, 10**log_oh, temperature_c)
    return Solution(
        temperature_c,
        -math.log10(found.h * found.g["H"]),
        ca_mol_per_kg - found.calcite,
        found.free,
        found.caoh,
        10**log_oh,
        found.ionic,
        co2_mol_per_kg - found.calcite,
        found.calcite,
        SOLVER,
    )


def saturate(temperature_c: float) -> Solution:
    """Water in equilibrium with solid Ca(OH)2 at a temperature [C]; see :func:`speciate`."""
    check_temperature(temperature_c)
    target = log_k("Portlandite", temperature_c)

    def excess(log_ca: float) -> float:
        found = speciate(10**log_ca, temperature_c)
        g = activities(found.ionic_strength_mol_per_kg, temperature_c)
        return math.log10(found.ca_free_mol_per_kg * g["Ca"]) + 2 * found.ph - target

    return speciate(
        10 ** float(scipy.optimize.brentq(excess, -3.0, -1.0, xtol=1e-12)), temperature_c
    )
