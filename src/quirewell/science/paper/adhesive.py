"""Batches of methyl cellulose and starch paste, and what a mend adds to a leaf.

"2 %" means two things: by mass in mass (w/w) or grams in 100 mL (w/v). They are asked for and never
guessed. A grade's number is the viscosity of a 2 % solution at 20 C; at another strength

    eta^(1/8) = 1 + alpha C        C in %, alpha from the grade   (from memory; suppliers' rule)

which is an order of magnitude and no more, least of all above 1000 mPa s, where it thins as it is
brushed. Starch paste has no such number here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from quirewell.science.limits import within

By = Literal["w/w", "w/v"]
Kind = Literal["methyl cellulose", "wheat starch paste"]
# Usual grades, by the mPa s of a 2 % solution at 20 C (from memory).
GRADES_MPAS = (15.0, 400.0, 1500.0, 4000.0)
# Cooked wheat starch: 57 g in 400 mL of water (``locpaste2015``).
STARCH_G, STARCH_WATER_ML = 57.0, 400.0
THIN_ABOVE_MPAS = 1000.0


@dataclass(frozen=True, slots=True)
class Batch:
    """What to weigh: dry adhesive and water [g], for so much made [mL], some to spare in it."""

    kind: Kind
    by: By
    strength_pct: float
    made_ml: float
    dry_g: float
    water_g: float


@dataclass(frozen=True, slots=True)
class MendLoad:
    """What mends bring to a leaf: adhesive, tissue [g]; in all [% of the leaf]; water [mg/cm]."""

    adhesive_g: float
    tissue_g: float
    share_pct: float
    water_mg_per_cm: float


def batch(
    kind: Kind, strength_pct: float, by: By, mends: int, ml_each: float = 0.5, spare: float = 0.25
) -> Batch:
    """A batch for so many mends.

    Parameters
    ----------
    strength_pct : float
        Strength [%], 0.1 to 20, by mass in mass or grams in 100 mL as ``by`` says.
    mends : int
        How many, 1 to 500, each taking ``ml_each`` [mL].
    spare : float
        Share made beyond that [-].

    Raises
    ------
    ValueError
        For what cannot be.

    >>> batch("methyl cellulose", 2.5, "w/w", 40).dry_g
    0.625
    """
    problems = [
        text
        for text in (
            within("strength", strength_pct, 0.1, 20, "%"),
            within("mends", mends, 1, 500, ""),
            within("paste a mend", ml_each, 0.01, 50, "mL"),
            within("spare share", spare, 0, 3, ""),
            "" if by in ("w/w", "w/v") else f"say whether per cent is w/w or w/v, got {by!r}.",
        )
        if text
    ]
    if problems:
        raise ValueError(" ".join(problems))
    made = mends * ml_each * (1 + spare)
    # Solutions this thin weigh a gram a millilitre within a per cent.
    dry = made * strength_pct / 100
    return Batch(kind, by, strength_pct, made, dry, made - dry if by == "w/w" else made)


def other_way(strength_pct: float, by: By) -> float:
    """The same solution said the other way [%]: w/v of a w/w and the reverse (dry volume 0.65 mL/g,
    from memory).

    >>> round(other_way(12.5, "w/w"), 1), round(other_way(2.5, "w/w"), 2)
    (13.1, 2.52)
    """
    if by == "w/w":
        volume = (100 - strength_pct) + 0.65 * strength_pct
        return 100 * strength_pct / volume
    mass = 100 - 0.65 * strength_pct + strength_pct
    return 100 * strength_pct / mass


def diluted(have_pct: float, want_pct: float, want_ml: float) -> tuple[float, float]:
    """Stock and water [mL] that make a thinner solution: C1 V1 = C2 V2.

    Raises
    ------
    ValueError
        When the stock is not the stronger.

    >>> diluted(5.0, 2.0, 50.0)
    (20.0, 30.0)
    """
    if not 0 < want_pct <= have_pct:
        raise ValueError(
            f"a stock of {have_pct:g} % cannot be thinned to {want_pct:g} %; the stock is the "
            "stronger"
        )
    if not want_ml > 0:
        raise ValueError(f"a volume above 0 mL is needed, got {want_ml:g}")
    stock = want_ml * want_pct / have_pct
    return stock, want_ml - stock


def viscosity_mpas(grade_mpas: float, strength_pct: float) -> float:
    """Viscosity at 20 C [mPa s], an order of magnitude; ``grade_mpas`` is that at 2 %.

    >>> round(viscosity_mpas(4000, 2.0)), round(viscosity_mpas(4000, 1.0))
    (4000, 177)
    """
    if not (2 <= grade_mpas <= 2e5 and 0 < strength_pct <= 10):
        raise ValueError("a grade is 2 to 200000 mPa s and a strength 0 to 10 % here")
    alpha = (grade_mpas**0.125 - 1) / 2
    return float((1 + alpha * strength_pct) ** 8)


def coated_solids_g_m2(wet_film_um: float, strength_pct: float) -> float:
    """Dry adhesive on coated tissue [g/m2] from the wet film [um]: film x density x strength.

    >>> coated_solids_g_m2(100, 2.5)
    2.5
    """
    if not (0 < wet_film_um <= 2000 and 0 < strength_pct <= 20):
        raise ValueError("a wet film is up to 2000 um and a strength up to 20 % here")
    return wet_film_um * strength_pct / 100


def mend_load(
    mends: int, length_cm: float, width_mm: float, tissue_g_m2: float, strength_pct: float,
    leaf_g: float, wet_film_um: float = 100.0,
) -> MendLoad:  # fmt: skip
    """What strips of tissue with wet adhesive bring to a leaf of so many grams.

    Raises
    ------
    ValueError
        For what cannot be.
    """
    problems = [
        text
        for text in (
            within("mends", mends, 1, 500, ""),
            within("length of a mend", length_cm, 0.1, 100, "cm"),
            within("width of a mend", width_mm, 0.5, 100, "mm"),
            within("tissue", tissue_g_m2, 1, 60, "g/m²"),
            within("mass of the leaf", leaf_g, 0.1, 500, "g"),
        )
        if text
    ]
    if problems:
        raise ValueError(" ".join(problems))
    area_m2 = mends * length_cm * width_mm / 1e5
    dry = area_m2 * coated_solids_g_m2(wet_film_um, strength_pct)
    tissue = area_m2 * tissue_g_m2
    water = width_mm / 1000 * 0.01 * wet_film_um * (1 - strength_pct / 100) * 1000
    return MendLoad(dry, tissue, 100 * (dry + tissue) / leaf_g, water)
