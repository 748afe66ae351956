"""Which way a colour moved: lighter or darker, stronger or paler in colour, and which hue.

Differences of lightness, chroma and hue in CIELAB (``cie15``): dL*, dC*ab, and
dH*ab = 2 sqrt(C1 C2) sin(dh / 2), so that dL^2 + dC^2 + dH^2 is the squared distance. A word is
said only where a part is surely seen, three looks sharing the 5 % of false alarms.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

Lab = tuple[float, float, float]
# Normal quantile, two-sided, for three looks at 5 % together (Bonferroni).
K3 = 2.3939797998185104  # scipy.special.ndtri(1 - 0.05 / 6), held by a test


@dataclass(frozen=True, slots=True)
class Ways:
    """Change of lightness, chroma and hue (CIELAB units), each with its standard uncertainty."""

    dL: float
    dC: float
    dH: float
    u_dL: float
    u_dC: float
    u_dH: float


def ways(before: Lab, after: Lab, u_lab: Lab) -> Ways:
    """How ``after`` differs from ``before`` (CIELAB), ``u_lab`` the uncertainties of a difference
    (first order, independent: ``jcgm100`` 5.1.2)."""
    c1, c2 = (math.hypot(lab[1], lab[2]) for lab in (before, after))
    h1, h2 = (math.atan2(lab[2], lab[1]) for lab in (before, after))
    turn = math.remainder(h2 - h1, 2 * math.pi)
    dh = 2 * math.sqrt(c1 * c2) * math.sin(turn / 2)
    # Along and across the mean hue; a grey has no hue, and any direction will do for it.
    mean_a, mean_b = before[1] + after[1], before[2] + after[2]
    size = math.hypot(mean_a, mean_b)
    along = (mean_a / size, mean_b / size) if size > 0 else (1.0, 0.0)
    across = (-along[1], along[0])
    u_c, u_h = (math.hypot(part[0] * u_lab[1], part[1] * u_lab[2]) for part in (along, across))
    return Ways(after[0] - before[0], c2 - c1, dh, u_lab[0], u_c, u_h)


def hue_word(dH: float, a: float, b: float) -> str:
    """Where a turn of hue ``dH`` leads for a colour of ``a`` and ``b`` (CIELAB).

    >>> hue_word(2.0, 0.0, 50.0), hue_word(-2.0, 50.0, 0.0)
    ('greener', 'bluer')
    """
    a, b = (b, -a) if dH < 0 else (-b, a)
    if abs(a) >= abs(b):
        return "redder" if a > 0 else "greener"
    return "yellower" if b > 0 else "bluer"


def surely(value: float, u: float) -> bool:
    """Whether a part is more than no change gives in 95 of 100 cases, three parts looked at."""
    return abs(value) > K3 * u


def words(dL: tuple[float, float], dC: tuple[float, float], dH: tuple[float, float, str]) -> str:
    """The parts that are surely seen in words, "" where none is.

    >>> words((3.0, 0.5), (-4.0, 0.6), (0.2, 0.6, "redder"))
    'lighter, paler in colour'
    """
    said = []
    if surely(*dL):
        said.append("lighter" if dL[0] > 0 else "darker")
    if surely(*dC):
        said.append("stronger in colour" if dC[0] > 0 else "paler in colour")
    if surely(*dH[:2]):
        said.append(dH[2])
    return ", ".join(said)
