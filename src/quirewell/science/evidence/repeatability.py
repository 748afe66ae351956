"""How well one leaf's reading repeats, from readings of several leaves taken more than once."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import scipy

from quirewell.science.evidence.decimals import centred
from quirewell.science.evidence.uncertainty import relative_u_of_sd, resolution_u


@dataclass(frozen=True, slots=True)
class Repeatability:
    """Scatter of repeated readings of one leaf, pooled over leaves.

    ``s_r``: standard deviation (unit of the readings); ``dof``: readings less leaves; ``u_rel``:
    its relative uncertainty [-] (``jcgm100`` E.1); ``high95``: one-sided upper 95 % limit by
    chi-square, unit of the readings; ``resolution_holds``: the readings scatter less than
    rounding alone would make them, so step / sqrt(12) stands for ``s_r``.
    """

    s_r: float
    dof: int
    u_rel: float
    high95: float
    resolution_holds: bool


def pooled(
    groups: Sequence[Sequence[Decimal]], resolution: float | Decimal | None = None
) -> Repeatability:
    """Pool the scatter within leaves; for pairs s_r = sqrt(sum of d^2 / 2n) (``bland1986``).

    A leaf read once tells nothing and is passed over.

    Raises:
        ValueError: no leaf read twice, or no scatter and no ``resolution`` to stand in for it.
    """
    squares, dof = 0.0, 0
    for group in groups:
        if len(group) < 2:
            continue
        _, rest = centred(group)
        squares += float(((rest - rest.mean()) ** 2).sum())
        dof += len(group) - 1
    if dof == 0:
        raise ValueError("repeatability needs a leaf that was read twice; read some again")
    seen = math.sqrt(squares / dof)
    least = resolution_u(float(resolution)) if resolution else 0.0
    s_r = max(seen, least)
    if s_r == 0:
        raise ValueError(
            "every leaf was read the same each time; give the step of the instrument, because "
            "rounding hides the scatter"
        )
    high = s_r * math.sqrt(dof / float(scipy.stats.chi2.ppf(0.05, dof)))
    return Repeatability(s_r, dof, relative_u_of_sd(dof + 1), high, seen < least)
