"""How far a drawn defect reaches, as a number with u: as it was noted when it was drawn, or else
from the region itself.

``u_mm`` of a defect says how well its points are placed in x and in y, but not how much of it moves
every point by itself (a hand, an edge) and how much moves all alike (the scale of a picture). Where
only that is known the larger of the two is told: all of it by itself, length and area being linear
in small moves of the points (``jcgm100`` 5.1.2), or all of it scale, reached at the farthest point.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from quirewell.record.nouns import Defect
from quirewell.record.regions import Region, read_region
from quirewell.stages.region_extent import area_of, length_of, told_by_region

_NOTED = re.compile(
    r"(?P<value>\d+(?:\.\d+)?) (?P<unit>mm2|mm|%) ± (?P<wide>\d+(?:\.\d+)?) (?P=unit)(?:, |$)"
)
_UNITS = {"mm": "mm", "mm2": "mm2", "%": "pct"}


@dataclass(frozen=True, slots=True)
class Extent:
    """A measure: ``unit`` mm, mm2, pct (of the page) or n (a count); ``u`` its standard
    uncertainty, None where nobody said how well the points are placed."""

    value: float
    u: float | None
    unit: str


def drawn_extents(defect: Defect) -> tuple[Extent, ...]:
    """What was measured of a defect, that which its rule counts first; none where nothing was
    drawn, or where the rule counts what a region does not tell (the offset of a spine roll).

    >>> drawn_extents(Defect("d", "c", "tear", "42.0 mm ± 1.5 mm", region="line 0,0 42,0"))
    (Extent(value=42.0, u=0.75, unit='mm'),)
    """
    region = read_region(defect.region)
    if region is None or not told_by_region(defect.term):
        return ()
    return _noted(defect.extent) or (extent_of(region, defect.u_mm),)


def _noted(text: str) -> tuple[Extent, ...]:
    out, at = [], 0
    while found := _NOTED.match(text, at):
        out.append(
            Extent(float(found["value"]), float(found["wide"]) / 2, _UNITS[found["unit"]])
        )  # fmt: skip
        at = found.end()
    return tuple(out)


def noted_rest(text: str) -> str:
    """What stands in a noted extent behind its measured amounts.

    >>> noted_rest("42.0 mm ± 1.5 mm, at the foot"), noted_rest("8 mm")
    ('at the foot', '8 mm')
    """
    at = 0
    while found := _NOTED.match(text, at):
        at = found.end()
    return text[at:]


def extent_of(region: Region, u_mm: float | None) -> Extent:
    """The extent of a region whose points are known to ``u_mm`` [mm].

    >>> round(extent_of(read_region("line 0,0 3,4"), 0.5).u, 3)  # both ends: 0.5 sqrt 2
    0.707
    >>> extent_of(read_region("polygon 0,0 4,0 4,3 0,3"), 0.1).u  # 0.1 sqrt(4 * 25 / 4)
    0.5
    >>> extent_of(read_region("point 1,1; 9,9"), None)
    Extent(value=2.0, u=0.0, unit='n')
    """
    if region.kind == "point":
        return Extent(float(len(region.shapes)), 0.0, "n")
    line = region.kind == "line"
    value, apart = length_of(region, 1.0) if line else area_of(region, 1.0)
    far = max(math.hypot(*point) for shape in region.shapes for point in shape) or 1.0
    alike = (1 if line else 2) * value / far
    u = None if u_mm is None else abs(u_mm) * max(apart, alike)
    return Extent(value, u, "mm" if line else "mm2")
