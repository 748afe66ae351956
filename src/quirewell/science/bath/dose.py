"""Which bath, and how many: from what the paper lifts out to the reserve that is wanted.

A bath leaves what a wrap carries out of it, w times its alkalinity. The paper's own acid is met
first, out of the bath and once: with m [kg] of paper in a bath of W [kg] water, w0 brought in wet,

    first = w (alkalinity W - acid m) / (W + w0 m)        each later one = w alkalinity
    baths = 1 + ceil((wanted - first) / later)            at the low end of both bands

A second bath adds to the first only when the paper **dried between**: put in wet it changes the
water it holds and no more. Baths and minutes are capped: groundwood darkens in alkali, and each
wetting is a risk of its own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from quirewell.science.bath import engine
from quirewell.science.bath.carbonate import magnesium, over_chalk
from quirewell.science.bath.constants import (
    CONSTANTS,
    MOLAR_MASS_CACO3,
    water_density_kg_per_l,
)
from quirewell.science.bath.ledger_band import Band
from quirewell.science.evidence.normal import Z90

Kind = Literal[
    "lime water",
    "calcium hydrogen carbonate",
    "magnesium hydrogen carbonate",
    "lime water, then hydrogen carbonate",
]
# Neutral plus a small reserve (common practice, no source): 0.04 mol/kg is 0.2 % CaCO3.
SMALL_RESERVE, PERMANENT = 0.04, 0.40
MOST_BATHS, MOST_MINUTES = 3, 60.0
# 0.02 % calcium hydroxide, a published bath for newsprint (``arney1979``).
THIN = "1:7"
# Above this a bath darkens groundwood; washing is held to be safe to 8.5 (from memory).
HARSH_PH, GENTLE_PH = 10.0, 8.5


@dataclass(frozen=True, slots=True)
class Paper:
    """What goes in at once, into how much: dry mass [g], bath [L], water brought in [g/g], pick-up
    [g/g] and acid of all kinds [mol/kg], both with their logarithmic standard deviation."""

    pickup: float = 1.94
    pickup_log_sigma: float = 0.155
    acid_mol_per_kg: float = 0.12
    acid_log_sigma: float = 0.2
    mass_g: float = 4.7
    litres: float = 4.0
    water_in: float = 1.8


def usual_acid() -> tuple[float, float]:
    """Acid of aged newsprint, groups and alum [mol/kg], and its logarithmic standard deviation."""
    rows = [CONSTANTS[name] for name in ("acid_groups", "strong_acid")]
    middle = sum(row.value for row in rows)
    parts = [row.value / middle * math.log(row.high / row.low) / (2 * Z90) for row in rows]
    return middle, math.hypot(*parts)


@dataclass(frozen=True, slots=True)
class Option:
    """One bath: what it is, its pH and alkalinity [mol/kg], what the first and each later one
    leaves [mol acid/kg], whether it holds enough to meet the paper's acid at all, how many are
    needed (None: not within the caps), in how many minutes, and how harsh it is."""

    kind: Kind
    name: str
    ph: float
    alkalinity_mol_per_kg: float
    one_bath: Band
    later: Band
    meets_acid: bool
    baths: int | None
    minutes: float
    harsh: bool

    @property
    def reached_mol_per_kg(self) -> float:
        """Reserve after the baths counted, low end [mol acid/kg]; of the most allowed if None."""
        many = self.baths or MOST_BATHS
        if self.kind == "lime water, then hydrogen carbonate":
            many -= 1
        return self.one_bath.low90 + (many - 1) * self.later.low90

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
    wanted_mol_per_kg: float = SMALL_RESERVE, temperature_c: float = 20.0,
    paper: Paper | None = None, minutes_each: float = 15.0, *, permanent: bool = False,
) -> Dose:  # fmt: skip
    """Baths that leave so much reserve [mol acid/kg], side by side.

    ``permanent`` opens the 0.4 mol/kg of ``iso9706``, which stays shut without it: what it takes
    to get there harms groundwood.

    Raises
    ------
    ValueError
        For an aim above 0.1 mol/kg without ``permanent``, or a value that cannot be.
    """
    paper = paper or Paper()
    _check(wanted_mol_per_kg, paper, minutes_each, permanent)
    baths = _baths(temperature_c)
    options = [
        _option(kind, name, ph, alkali, wanted_mol_per_kg, paper, temperature_c, minutes_each)
        for kind, name, ph, alkali in baths
    ]
    thin = next(row for row in baths if row[1].endswith(THIN))
    chalk = next(row for row in baths if row[0] == "calcium hydrogen carbonate")
    options.append(_after_lime(thin, chalk, wanted_mol_per_kg, paper, temperature_c, minutes_each))
    ordered = sorted(
        options, key=lambda one: (one.baths is None, one.harsh, one.baths or 0, one.ph)
    )
    lime = any(one.baths is not None for one in options if one.kind == "lime water")
    return Dose(wanted_mol_per_kg, tuple(ordered), lime)


def _check(wanted: float, paper: Paper, minutes: float, permanent: bool) -> None:
    if not (math.isfinite(wanted) and 0 < wanted <= 1):
        raise ValueError(f"a reserve of 0 to 1 mol/kg can be asked for, got {wanted:g}")
    if wanted > 0.1 and not permanent:
        raise ValueError(
            f"{wanted:g} mol/kg is more than groundwood should be given: repeated strong baths "
            "darken it and weaken its mends. If you mean it, say so (permanent)"
        )
    for says, value, low, high in (
        ("pick-up is 0.2 to 6 g/g", paper.pickup, 0.2, 6),
        ("the spread of the pick-up is 0 to 1", paper.pickup_log_sigma, 0, 1),
        ("acid of the paper is 0 to 1 mol/kg", paper.acid_mol_per_kg, 0, 1),
        ("the spread of the acid is 0 to 1", paper.acid_log_sigma, 0, 1),
        ("what goes in at once weighs 0.05 to 500 g", paper.mass_g, 0.05, 500),
        ("a bath is 0.1 to 40 L", paper.litres, 0.1, 40),
        ("water brought in is 0 to 6 g/g", paper.water_in, 0, 6),
        ("a bath lasts 1 to 240 minutes", minutes, 1, 240),
    ):
        if not low <= value <= high:
            raise ValueError(f"{says}, got {value:g}")


def _baths(temperature_c: float) -> list[tuple[Kind, str, float, float]]:
    full = engine.saturate(temperature_c).ca_mol_per_kg
    out: list[tuple[Kind, str, float, float]] = []
    for name, share in (("saturated", 1.0), ("1:1", 0.5), ("1:3", 0.25), (THIN, 0.125)):
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
    mg = magnesium(temperature_c, 0.02, 1.0)
    out.append(
        (
            "magnesium hydrogen carbonate", "magnesium hydrogen carbonate, 0.02 mol/kg",
            mg.ph, mg.alkalinity_mol_per_kg,
        )
    )  # fmt: skip
    return out


def _option(
    kind: Kind, name: str, ph: float, alkali: float, wanted: float, paper: Paper,
    temperature_c: float, minutes: float,
) -> Option:  # fmt: skip
    first, later = _first(alkali, paper, temperature_c), _later(alkali, paper)
    baths = _many(wanted, first, later, minutes, 0)
    return Option(
        kind, name, ph, alkali, first, later, first.low90 > 0, baths,
        (baths or MOST_BATHS) * minutes, ph > HARSH_PH,
    )  # fmt: skip


def _after_lime(
    thin: tuple[Kind, str, float, float], chalk: tuple[Kind, str, float, float], wanted: float,
    paper: Paper, temperature_c: float, minutes: float,
) -> Option:  # fmt: skip
    """The acid met by very thin lime water, the reserve left by hydrogen carbonate after it."""
    leaves = _later(chalk[3], paper)
    baths = _many(wanted, leaves, leaves, minutes, 1)
    return Option(
        "lime water, then hydrogen carbonate", f"{thin[1]}, then calcium hydrogen carbonate",
        chalk[2], chalk[3], leaves, leaves, _first(thin[3], paper, temperature_c).low90 > 0,
        baths, (baths or MOST_BATHS) * minutes, thin[2] > HARSH_PH,
    )  # fmt: skip


def _first(alkali: float, paper: Paper, temperature_c: float) -> Band:
    """What the first bath leaves, which also meets the acid [mol acid/kg]."""
    water = paper.litres * water_density_kg_per_l(temperature_c)
    mass = paper.mass_g / 1000
    acid = paper.acid_mol_per_kg * mass
    spread = math.exp(Z90 * paper.acid_log_sigma)
    left = [
        max(alkali * water - part, 0.0) / (water + paper.water_in * mass)
        for part in (acid * spread, acid, acid / spread)
    ]
    middle = paper.pickup * left[1]
    if middle <= 0:
        return Band(0.0, 0.0, paper.pickup * left[2])
    below, above = (abs(math.log(max(one, 1e-12) / left[1])) / Z90 for one in (left[0], left[2]))
    low = math.exp(-Z90 * math.hypot(paper.pickup_log_sigma, below))
    high = math.exp(Z90 * math.hypot(paper.pickup_log_sigma, above))
    return Band(middle, 0.0 if left[0] <= 0 else middle * low, middle * high)


def _later(alkali: float, paper: Paper) -> Band:
    """What a bath leaves in paper whose acid was met [mol acid/kg]."""
    middle, factor = paper.pickup * alkali, math.exp(Z90 * paper.pickup_log_sigma)
    return Band(middle, middle / factor, middle * factor)


def _many(wanted: float, first: Band, later: Band, minutes: float, before: int) -> int | None:
    """How many baths reach the aim at the low end, with so many before them; None: too many."""
    if first.low90 <= 0:
        return None
    more = math.ceil((wanted - first.low90) / later.low90 - 1e-9)
    baths = before + 1 + max(0, more)
    return baths if baths <= MOST_BATHS and baths * minutes <= MOST_MINUTES else None
