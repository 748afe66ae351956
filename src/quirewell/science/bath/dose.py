"""Which bath, and how many: from what the paper lifts out to the reserve that is wanted.

A bath leaves what a wrap carries out of it, w times its alkalinity; the paper's own acid is met
first, by exchange in the bath. A second bath adds to the first only when the paper **dried
between**: put in wet it changes the water it holds and no more. So

    baths = ceil(wanted / (w * alkalinity))      low end of the band of w

Baths and minutes are capped: groundwood darkens in alkali, and each wetting is a risk of its own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from quirewell.science.bath import engine
from quirewell.science.bath.carbonate import magnesium, over_chalk
from quirewell.science.bath.constants import MOLAR_MASS_CACO3
from quirewell.science.bath.ledger_band import Band

Kind = Literal["lime water", "calcium hydrogen carbonate", "magnesium hydrogen carbonate"]
# Neutral plus a small reserve (common practice, no source): 0.04 mol/kg is 0.2 % CaCO3.
SMALL_RESERVE, PERMANENT = 0.04, 0.40
MOST_BATHS, MOST_MINUTES = 3, 60.0
# Above this a bath darkens groundwood; washing is held to be safe to 8.5 (from memory).
HARSH_PH, GENTLE_PH = 10.0, 8.5
_Z90 = 1.6448536269514722


@dataclass(frozen=True, slots=True)
class Option:
    """One bath: what it is, its pH and alkalinity [mol/kg], what one leaves [mol acid/kg], how many
    are needed (None: not within the caps), in how many minutes, and how harsh it is."""

    kind: Kind
    name: str
    ph: float
    alkalinity_mol_per_kg: float
    one_bath: Band
    baths: int | None
    minutes: float
    harsh: bool

    @property
    def reached_mol_per_kg(self) -> float:
        """Reserve after the baths counted, low end [mol acid/kg]; of the most allowed if None."""
        return (self.baths or MOST_BATHS) * self.one_bath.low90

    @property
    def one_bath_pct(self) -> float:
        """What one bath leaves as CaCO3 [%]."""
        return self.one_bath.value * MOLAR_MASS_CACO3 / 20


@dataclass(frozen=True, slots=True)
class Dose:
    """Options, the gentlest that reaches the aim first; ``lime_reaches``: whether lime does."""

    wanted_mol_per_kg: float
    options: tuple[Option, ...]
    lime_reaches: bool


def dose(
    wanted_mol_per_kg: float = SMALL_RESERVE, temperature_c: float = 20.0, pickup: float = 1.94,
    pickup_log_sigma: float = 0.155, minutes_each: float = 15.0, *, permanent: bool = False,
) -> Dose:  # fmt: skip
    """Baths that leave so much reserve [mol acid/kg], side by side.

    ``permanent`` opens the 0.4 mol/kg of ``iso9706``, which stays shut without it: what it takes
    to get there harms groundwood.

    Raises
    ------
    ValueError
        For an aim above 0.1 mol/kg without ``permanent``, or a value that cannot be.
    """
    _check(wanted_mol_per_kg, pickup, pickup_log_sigma, minutes_each, permanent)
    options = tuple(
        _option(kind, name, ph, alkali, wanted_mol_per_kg, pickup, pickup_log_sigma, minutes_each)
        for kind, name, ph, alkali in _baths(temperature_c)
    )
    ordered = sorted(
        options, key=lambda one: (one.baths is None, one.harsh, one.baths or 0, one.ph)
    )
    lime = any(one.baths is not None for one in options if one.kind == "lime water")
    return Dose(wanted_mol_per_kg, tuple(ordered), lime)


def _check(wanted: float, pickup: float, log_sigma: float, minutes: float, permanent: bool) -> None:
    if not (math.isfinite(wanted) and 0 < wanted <= 1):
        raise ValueError(f"a reserve of 0 to 1 mol/kg can be asked for, got {wanted:g}")
    if wanted > 0.1 and not permanent:
        raise ValueError(
            f"{wanted:g} mol/kg is more than groundwood should be given: repeated strong baths "
            "darken it and weaken its mends. If you mean it, say so (permanent)"
        )
    if not 0.2 <= pickup <= 6:
        raise ValueError(f"pick-up is 0.2 to 6 g/g, got {pickup:g}")
    if not 0 <= log_sigma <= 1:
        raise ValueError(f"the spread of the pick-up is 0 to 1, got {log_sigma:g}")
    if not 1 <= minutes <= 240:
        raise ValueError(f"a bath lasts 1 to 240 minutes, got {minutes:g}")


def _baths(temperature_c: float) -> list[tuple[Kind, str, float, float]]:
    full = engine.saturate(temperature_c).ca_mol_per_kg
    out: list[tuple[Kind, str, float, float]] = []
    for name, share in (("saturated", 1.0), ("1:1", 0.5), ("1:3", 0.25), ("1:7", 0.125)):
        ca = full * share
        out.append(
            ("lime water", f"lime water, {name}", engine.speciate(ca, temperature_c).ph, 2 * ca)
        )
    chalk = over_chalk(temperature_c, 1.0)
    out.append(
        (
            "calcium hydrogen carbonate", "calcium hydrogen carbonate, as much as 1 atm CO2 holds",
            chalk.ph, chalk.alkalinity_mol_per_kg,
        )
    )  # fmt: skip
    if engine.load_engine() is not None:
        mg = magnesium(temperature_c, 0.02, 1.0)
        out.append(
            (
                "magnesium hydrogen carbonate", "magnesium hydrogen carbonate, 0.02 mol/kg",
                mg.ph, mg.alkalinity_mol_per_kg,
            )
        )  # fmt: skip
    return out


def _option(
    kind: Kind, name: str, ph: float, alkali: float, wanted: float, pickup: float,
    log_sigma: float, minutes: float,
) -> Option:  # fmt: skip
    middle = pickup * alkali
    factor = math.exp(_Z90 * log_sigma)
    band = Band(middle, middle / factor, middle * factor)
    baths: int | None = max(1, math.ceil(wanted / band.low90 - 1e-9))
    assert baths is not None
    if baths > MOST_BATHS or baths * minutes > MOST_MINUTES:
        baths = None
    return Option(
        kind, name, ph, alkali, band, baths, (baths or MOST_BATHS) * minutes, ph > HARSH_PH
    )
