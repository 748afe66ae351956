"""Our own solver for water under carbon dioxide: over chalk, or holding so much magnesium.

Unknown: the activity of H+ that balances the charges. Activities and constants as in
:mod:`.oracle`; magnesium's are those ``phreeqc.dat`` carries (``parkhurst2013``). The gas is not
quite ideal: its fugacity is that of Peng and Robinson (``peng1976``), 0.6 % below its pressure at
1 atm and 20 C. Valid 0 to 40 C, up to 1 atm and an ionic strength of about 0.5 mol/kg.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import scipy

from quirewell.science.bath import oracle
from quirewell.science.bath.solution import SpeciationError

# ion size [angstrom], slope b [kg/mol], charge
_ION: Mapping[str, tuple[float, float, int]] = {
    "Mg": (5.5, 0.2, 2), "MgOH": (6.5, 0.0, 1), "MgHCO3": (4.0, 0.0, 1), "MgCO3": (0.0, 0.1, 0),
}  # fmt: skip
_MG_OH25, _MG_OH_J = -11.44, 15.952 * 4184
_MG_CO3 = (0.991, 0.00667)
_MG_HCO3 = (48.6721, 0.03252849, -2614.335, -18.00263, 563713.9)
# log10 of carbon dioxide's solubility [mol/kg/atm]
_GAS = (10.5624, -2.3547e-2, -3972.8, 0.0, 5.8746e5, 1.9194e-5)
# Critical temperature [K] and pressure [atm], acentric factor; gas constant [L atm/mol/K].
_TC, _PC, _OMEGA, _R = 304.2, 72.86, 0.225, 0.082057
_FIRST_IONIC = 0.002


@dataclass(frozen=True, slots=True)
class Open:
    """Water under the gas: pH, calcium, magnesium and carbon in all [mol/kg]."""

    ph: float
    ca: float
    mg: float
    carbon: float


@dataclass(frozen=True, slots=True)
class _State:
    """At one activity of H+: charge left over, ionic strength, totals [mol/kg]."""

    charge: float
    ionic: float
    ca: float
    mg: float
    carbon: float


def fugacity(temperature_c: float, pressure_atm: float) -> float:
    """Fugacity of carbon dioxide [atm] at a pressure of up to 1 atm (``peng1976``).

    >>> round(fugacity(20.0, 1.0), 4)
    0.9942
    """
    kelvin = temperature_c + 273.15
    kappa = 0.37464 + 1.54226 * _OMEGA - 0.26992 * _OMEGA**2
    alpha = (1 + kappa * (1 - math.sqrt(kelvin / _TC))) ** 2
    a = 0.457235 * alpha * (_TC / kelvin) ** 2 * pressure_atm / _PC
    b = 0.077796 * (_TC / kelvin) * pressure_atm / _PC
    z = 1.0
    for _ in range(30):
        f = z**3 - (1 - b) * z**2 + (a - 3 * b * b - 2 * b) * z - (a * b - b * b - b**3)
        z -= f / (3 * z * z - 2 * (1 - b) * z + a - 3 * b * b - 2 * b)
    root = math.sqrt(2)
    log = math.log((z + (1 + root) * b) / (z + (1 - root) * b)) * a / (2 * root * b)
    return pressure_atm * math.exp(z - 1 - math.log(z - b) - log)


def over_calcite(temperature_c: float, co2_atm: float) -> Open:
    """Water at rest with calcite and the gas."""
    return _balanced(temperature_c, co2_atm, None)


def with_magnesium(temperature_c: float, mg_mol_per_kg: float, co2_atm: float) -> Open:
    """Water that holds so much magnesium hydroxide, at rest with the gas; nothing falls out."""
    return _balanced(temperature_c, co2_atm, mg_mol_per_kg)


def _balanced(temperature_c: float, co2_atm: float, mg: float | None) -> Open:
    kelvin = temperature_c + 273.15
    terms = (1.0, kelvin, 1 / kelvin, math.log10(kelvin), kelvin**-2, kelvin**2)
    gas = 10 ** _sum(_GAS, terms) * fugacity(temperature_c, co2_atm)
    k = {name: 10 ** oracle.log_k(name, temperature_c) for name in (*oracle.CARBONATE, "CaOH+")}
    turn = _MG_OH_J / (oracle.GAS * math.log(10)) * (1 / 298.15 - 1 / kelvin)
    k |= {
        "MgOH": 10 ** (_MG_OH25 + turn),
        "MgCO3": 10 ** _sum(_MG_CO3, terms),
        "MgHCO3": 10 ** _sum(_MG_HCO3, terms),
    }

    def settled(log_h: float) -> _State:
        ionic = _FIRST_IONIC
        for _ in range(300):
            found = _state(10**log_h, gas, k, oracle.activities(ionic, temperature_c, _ION), mg)
            # Far from the answer the ions may be absurdly many: their sign is enough there.
            if abs(found.ionic - ionic) < 1e-14 or found.ionic > 5:
                return found
            ionic = 0.5 * (ionic + found.ionic)
        return found

    log_h = _root(lambda value: settled(value).charge)
    found = settled(log_h)
    return Open(-log_h, found.ca, found.mg, found.carbon)


def _root(charge: Callable[[float], float]) -> float:
    try:
        return float(scipy.optimize.brentq(charge, -11.5, -3.0, xtol=1e-13))
    except ValueError as error:
        raise SpeciationError(f"no acidity balances this water: {error}") from error


def _sum(factors: tuple[float, ...], terms: tuple[float, ...]) -> float:
    return sum(a * term for a, term in zip(factors, terms, strict=False))


def _state(
    h_act: float, gas: float, k: Mapping[str, float], g: Mapping[str, float], mg: float | None
) -> _State:
    h, oh = h_act / g["H"], k["Kw"] / (h_act * g["OH"])
    carbonate = gas / (k["CO2"] * h_act**2)
    co3, hco3 = carbonate / g["CO3"], k["HCO3"] * h_act * carbonate / g["HCO3"]
    if mg is None:
        calcium = k["Calcite"] / carbonate
        free, hydroxy = calcium / g["Ca"], k["CaOH+"] * calcium / (h_act * g["CaOH"])
        pair = k["CaCO3"] * calcium * carbonate / g["CaCO3"]
        hydro = k["CaHCO3"] * calcium * h_act * carbonate / g["CaHCO3"]
    else:
        shares = (
            1 / g["Mg"], k["MgOH"] / (h_act * g["MgOH"]), k["MgCO3"] * carbonate / g["MgCO3"],
            k["MgHCO3"] * h_act * carbonate / g["MgHCO3"],
        )  # fmt: skip
        free, hydroxy, pair, hydro = (mg * share / sum(shares) for share in shares)
    metal = free + hydroxy + pair + hydro
    charge = 2 * free + hydroxy + hydro + h - oh - hco3 - 2 * co3
    ionic = 0.5 * (4 * free + hydroxy + hydro + h + oh + hco3 + 4 * co3)
    carbon = gas / g["CO2"] + hco3 + co3 + pair + hydro
    return _State(charge, ionic, metal if mg is None else 0.0, 0.0 if mg is None else metal, carbon)
