"""What a press stack is made of: density, heat, conduction, resistance to vapour, storage.

Resistances to vapour of paper and board are assumed, and so are most contacts: they are given with
bounds, and every answer is a band over them. A bench may lay its own values over the table.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Stores = Literal["like paper", "nothing"]


@dataclass(frozen=True, slots=True)
class Material:
    """A material of the stack.

    ``rho`` [kg/m3], ``heat`` [J/(kg K)], ``conducts`` [W/(m K)] dry, ``mu`` the resistance to
    vapour by that of still air with its bounds, ``usual_mm`` the thickness it is offered in.
    ``hard``: lies on paper at points only (metal, stone). ``standing``: where the values are from.
    """

    key: str
    name: str
    rho: float
    heat: float
    conducts: float
    mu: float
    mu_low: float
    mu_high: float
    usual_mm: float
    stores: Stores = "like paper"
    hard: bool = False
    standing: str = "assumed"
    sources: tuple[str, ...] = ()

    @property
    def open_to_vapour(self) -> bool:
        """Whether vapour passes at all to speak of."""
        return self.mu < 1000


_WOOD, _HT = ("ht",), "published"
_ROWS = (
    Material("leaf", "newsprint leaf", 620, 1400, 0.11, 8, 3, 30, 0.085, standing="assumed; heat "
             "published", sources=("forestbiofacts",)),
    Material("cover", "coated cover", 900, 1300, 0.16, 60, 20, 200, 0.12),
    Material("thin-board", "thin board", 800, 1400, 0.15, 20, 8, 60, 1.5),
    Material("card", "heavy card", 750, 1400, 0.14, 15, 6, 45, 0.25),
    Material("blotter", "blotter", 450, 1400, 0.08, 4, 2, 8, 0.6),
    Material("felt", "felt", 200, 1400, 0.05, 3, 2, 6, 5.0, standing="from memory"),
    Material("wood", "plywood or fibreboard", 700, 1600, 0.17, 50, 20, 150, 12.0,
             standing="published; resistance assumed", sources=_WOOD),
    Material("release", "silicone release sheet", 1200, 1000, 0.35, 5000, 2000, 10000, 0.5,
             "nothing", standing="published; resistance from memory", sources=_WOOD),
    Material("film", "polyester film", 1390, 1170, 0.20, 50000, 20000, 100000, 0.05, "nothing",
             standing="from memory"),
    Material("aluminium", "aluminium plate", 2700, 900, 160, 1e6, 1e6, 1e6, 3.2, "nothing", True,
             "from memory"),
    Material("granite", "granite slab", 2600, 1000, 2.8, 10000, 10000, 10000, 20.0, "nothing", True,
             "published; resistance from memory", _WOOD),
)  # fmt: skip
MATERIALS: Mapping[str, Material] = {row.key: row for row in _ROWS}


@dataclass(frozen=True, slots=True)
class Contacts:
    """Heat through what touches [W/(m2 K)]: paper on paper, paper on something hard, a platen.

    ``asme1992`` measured 97 to 200 for dry paper on metal at 2.3 kPa, 146 to 452 at 300 kPa. Paper
    on paper is bounded by a gap of air of 2 to 50 um; below 500 a stack of leaves would insulate
    better than still air, which nothing does.
    """

    paper: float = 2000.0
    hard: float = 200.0
    platen: float = 500.0


CONTACT_BOUNDS: Mapping[str, tuple[float, float]] = {
    "paper": (500.0, 10000.0), "hard": (97.0, 452.0), "platen": (200.0, 1000.0),
}  # fmt: skip
# Heat and vapour to still room air: 8 W/(m2 K) in all, 4 of it by convection (from memory).
AIR_H, AIR_CONVECTION = 8.0, 4.0
# Where paper on metal was measured [kPa]: low and high of 68 and 349 g/m2 (``asme1992``).
_MEASURED_KPA = (2.3, 300.0)
_AT_KPA = ((97.0, 200.0), (146.0, 452.0))


def hard_contact(kpa: float) -> tuple[float, float]:
    """Low and high of heat from paper to metal or stone [W/(m2 K)] under a pressure [kPa].

    Even in the logs between the two pressures measured (``asme1992``); lighter or heavier than
    those is taken as the nearer of them.

    >>> hard_contact(2.3), hard_contact(300)
    ((97.0, 200.0), (146.0, 452.0))
    """
    first, last = (math.log(one) for one in _MEASURED_KPA)
    share = min(1.0, max(0.0, (math.log(max(kpa, 1e-6)) - first) / (last - first)))
    low, high = (
        round(math.exp((1 - share) * math.log(light) + share * math.log(heavy)), 6)
        for light, heavy in zip(*_AT_KPA, strict=True)
    )
    return low, high
