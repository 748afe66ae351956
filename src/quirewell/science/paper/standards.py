"""What standards ask of paper, and numbers carried from one of their units into another."""

from __future__ import annotations

from typing import Literal

LB_KG, INCH_M = 0.45359237, 0.0254


def tear_limit_mn(grammage_g_m2: float) -> float:
    """Least tearing resistance of permanent paper [mN] by its grammage (``iso9706``).

    350 mN from 70 g/m2 on; r = 6 w - 70 from 25 to 70. For unprinted paper.

    Raises
    ------
    ValueError
        Below 25 g/m2.

    >>> tear_limit_mn(60.0)
    290.0
    """
    if grammage_g_m2 < 25:
        raise ValueError(f"the standard begins at 25 g/m², got {grammage_g_m2:g}")
    return 350.0 if grammage_g_m2 >= 70 else 6.0 * grammage_g_m2 - 70.0


def grammage(
    ream_lb: float, width_in: float = 24.0, height_in: float = 36.0, sheets: int = 500
) -> float:
    """Grammage [g/m2] from the weight of a ream [lb] of sheets [in] (24 x 36, 500 for newsprint).

    >>> round(grammage(32.0), 1)
    52.1
    """
    if min(ream_lb, width_in, height_in, sheets) <= 0:
        raise ValueError("a ream has a weight, a size and sheets above 0")
    area_m2 = width_in * height_in * INCH_M**2 * sheets
    return 1000 * ream_lb * LB_KG / area_m2


def dp_from_viscosity(
    viscosity_ml_g: float, by: Literal["scan", "evans"], lignin_pct: float = 0.0
) -> float:
    """Degree of polymerisation from the intrinsic viscosity [mL/g].

    ``scan``: DP^0.905 = 0.75 [eta]; ``evans``: DP = 1.65 [eta] (``evans1989``, who call the former
    incorrect). The two lie a quarter apart, so the method must be kept with the number.

    Raises
    ------
    ValueError
        Above 4 % of lignin, where the viscosity means nothing (``iso5351``): groundwood.

    >>> round(dp_from_viscosity(300, "scan"), 1), round(dp_from_viscosity(300, "evans"))
    (397.3, 495)
    """
    if lignin_pct > 4:
        raise ValueError(
            f"with {lignin_pct:g} % of lignin the viscosity says nothing of the fibres; groundwood "
            "has no degree of polymerisation by this way"
        )
    if not viscosity_ml_g > 0:
        raise ValueError(f"a viscosity is above 0 mL/g, got {viscosity_ml_g:g}")
    if by == "scan":
        return float((0.75 * viscosity_ml_g) ** (1 / 0.905))
    return 1.65 * viscosity_ml_g
