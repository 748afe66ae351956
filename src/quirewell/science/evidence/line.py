"""A straight line through readings by least squares, with the covariance of its two numbers."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Context, Decimal, localcontext

from quirewell.science.evidence.decimals import centred, finite


@dataclass(frozen=True, slots=True)
class Line:
    """y = intercept + slope x, with standard uncertainties from the scatter about the line.

    ``r`` [-]: correlation of intercept and slope; ``s``: standard deviation of the residuals
    (unit of y); ``dof``: readings less two.
    """

    intercept: float
    slope: float
    u_intercept: float
    u_slope: float
    r: float
    s: float
    dof: int

    def at(self, x: float) -> tuple[float, float]:
        """The line's value at ``x`` and its standard uncertainty (``jcgm100`` H.3.4); good within
        the readings, a guess beyond them."""
        cross = 2 * x * self.r * self.u_intercept * self.u_slope
        variance = self.u_intercept**2 + (x * self.u_slope) ** 2 + cross
        return self.intercept + self.slope * x, math.sqrt(max(variance, 0.0))


def fit(x: Sequence[Decimal] | Sequence[float], y: Sequence[Decimal] | Sequence[float]) -> Line:
    """Least squares of y on x (``jcgm100`` H.3), x without uncertainty, both centred in decimal.

    Raises:
        ValueError: lists that differ, fewer than three readings, or all at one x.
    """
    if len(x) != len(y):
        raise ValueError(f"each reading needs its place, got {len(x)} and {len(y)}")
    if len(x) < 3:
        raise ValueError(f"a line with its uncertainty needs 3 readings, got {len(x)}")
    middle_x, dx = centred(finite(x))
    middle_y, dy = centred(finite(y))
    mean_x, mean_y = float(dx.mean()), float(dy.mean())
    dx, dy = dx - mean_x, dy - mean_y
    squares = float(dx @ dx)
    if squares == 0:
        raise ValueError("all readings lie at one place; a line needs two places or more")
    slope = float(dx @ dy) / squares
    rest = dy - slope * dx
    dof = len(x) - 2
    s = math.sqrt(float(rest @ rest) / dof)
    with localcontext(Context(prec=60)):
        at_x = middle_x + Decimal(mean_x)
        intercept = float(middle_y + Decimal(mean_y) - Decimal(slope) * at_x)
    off = float(at_x)
    u_slope = s / math.sqrt(squares)
    u_intercept = s * math.sqrt(1 / len(x) + off**2 / squares)
    r = -off / math.sqrt(squares / len(x) + off**2)
    return Line(intercept, slope, u_intercept, u_slope, r, s, dof)
