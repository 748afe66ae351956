"""How large a drawn region is, in the measure that the rule for its term counts.

Lines by their length, areas by their area or their share of the page, tape and corners drawn round
by their longest way across. Uncertainties carry the points' own doubt through (first order, JCGM
100) and the scale's.
"""

from __future__ import annotations

import math
from functools import cache
from itertools import pairwise

import cv2
import numpy as np

from quirewell.record.regions import Region
from quirewell.record.shapes import Point
from quirewell.stages.defect_table import WORDS
from quirewell.stages.rule_table import rules_in_force

# A point set by hand in the magnified picture, by finger or mouse (assumed), and one read off with
# a steel rule from the page's edges (assumed).
POINT_U_MM = 0.5
RULE_U_MM = 1.0
# Their rules count something else than what is drawn: an offset, a height.
_NOT_DRAWN = ("spine_roll", "cockling", "miscut")
_SPOTS = ("foxing",)


def extent_of(
    term: str, region: Region, point_u_mm: float, share_u: float, page_mm2: float | None
) -> str:
    """The extent as it is noted, begun with the amount ("42.0 mm ± 1.5 mm"); "" for one point, or
    where the rule for the term counts what a region does not tell.

    ``share_u`` is the scale's standard uncertainty as a share; ± is twice the standard one.
    """
    code, unit, measure = counted(term)
    if not told_by_region(term):
        return ""
    count = len(region.shapes)
    if region.kind == "point":
        return _places(code, count)
    amounts = []
    if region.kind == "line":
        length, u = length_of(region, point_u_mm)
        amounts.append(amount_words(length, math.hypot(u, share_u * length), "mm"))
    else:
        area, u = area_of(region, point_u_mm)
        u = math.hypot(u, 2 * share_u * area)
        if unit == "pct" and page_mm2:
            part = 100 / page_mm2
            amounts.append(amount_words(part * area, part * u, "%"))
        if unit == "mm":
            ways = [across(shape) for shape in region.shapes]
            way = max(ways) / 2 if "radius" in measure else sum(ways)
            point = point_u_mm * math.sqrt(2 if "radius" not in measure else 0.5)
            amounts.append(amount_words(way, math.hypot(point, share_u * way), "mm"))
        else:
            amounts.append(amount_words(area, u, "mm2"))
    if count > 1:
        amounts.append(_places(code, count))
    return ", ".join(amounts)


def told_by_region(term: str) -> bool:
    """Whether what a term's rule counts can be told from a region drawn on the page.

    >>> told_by_region("tear"), told_by_region("spine roll")
    (True, False)
    """
    return counted(term)[0] not in _NOT_DRAWN


@cache
def counted(term: str) -> tuple[str, str, str]:
    """Code, unit and measure of the rule that counts a term; empty for a term without one."""
    word = term.strip().lower()
    word = WORDS.get(word, word)
    for code, rows in rules_in_force("").codes.items():
        if code == word or any(row.term.lower() == word for row in rows if row.term):
            return code, rows[0].unit, rows[0].measure
    return "", "", ""


def length_of(region: Region, u_mm: float) -> tuple[float, float]:
    """Length of a region's lines with its standard uncertainty [mm]."""
    squares = 0.0
    for shape in region.shapes:
        at = np.array(shape)
        steps = np.diff(at, axis=0)
        way = steps / np.maximum(np.linalg.norm(steps, axis=1, keepdims=True), 1e-9)
        pulls = np.vstack([-way[:1], way[:-1] - way[1:], way[-1:]])
        squares += float((pulls**2).sum())
    return region.length_mm, u_mm * math.sqrt(squares)


def area_of(region: Region, u_mm: float) -> tuple[float, float]:
    """Area of a region's polygons with its standard uncertainty [mm2]."""
    squares = 0.0
    for shape in region.shapes:
        at = np.array(shape)
        pulls = (np.roll(at, -1, axis=0) - np.roll(at, 1, axis=0)) / 2
        squares += float((pulls**2).sum())
    return region.area_mm2, u_mm * math.sqrt(squares)


def across(shape: tuple[Point, ...]) -> float:
    """The longest way across a shape [mm].

    >>> across(((0, 0), (3, 0), (3, 4), (0, 4)))
    5.0
    """
    at = np.array(shape, np.float64)
    if len(at) > 3:
        at = at[cv2.convexHull(at.astype(np.float32), returnPoints=False).ravel()]
    apart = at[:, None] - at[None, :]
    return float(np.sqrt((apart**2).sum(axis=-1).max()))


def crossing(shape: tuple[Point, ...]) -> tuple[int, int] | None:
    """The numbers (from 1) of the two points after which a closed outline crosses itself."""
    at = np.array(shape)
    ends = np.roll(at, -1, axis=0)
    way = ends - at
    for one in range(len(at) - 2):
        others = slice(one + 2, len(at) - (one == 0))
        a, b = at[others], ends[others]
        left, right = _turn(way[one], a - at[one]), _turn(way[one], b - at[one])
        near, far = _turn(way[others], at[one] - a), _turn(way[others], ends[one] - a)
        hit = np.flatnonzero((left * right < 0) & (near * far < 0))
        if hit.size:
            return one + 1, one + 3 + int(hit[0])
    return None


def _turn(way: np.ndarray, to: np.ndarray) -> np.ndarray:
    return np.asarray(way[..., 0] * to[..., 1] - way[..., 1] * to[..., 0])


def middle_of(region: Region) -> Point:
    """The mean of a region's points [mm]."""
    points = [point for shape in region.shapes for point in shape]
    return (
        sum(x for x, _ in points) / len(points),
        sum(y for _, y in points) / len(points),
    )


def amount_words(value: float, u: float, unit: str) -> str:
    """An amount with ± twice its standard uncertainty, to two figures of that.

    >>> amount_words(41.98, 0.74, "mm"), amount_words(5321.0, 260.0, "mm2")
    ('42.0 mm ± 1.5 mm', '5320 mm2 ± 520 mm2')
    """
    wide = 2 * u
    places = 1 - math.floor(math.log10(wide)) if wide > 0 else 2
    places = min(places, 2)

    def text(number: float) -> str:
        return f"{round(number, places):.{max(places, 0)}f}"

    return f"{text(value)} {unit} ± {text(wide)} {unit}"


def _places(code: str, count: int) -> str:
    word = "spot" if code in _SPOTS else "place"
    if count == 1 and word == "place":
        return ""
    return f"{count} {word}{'s' * (count > 1)}"


def corners_apart(shape: tuple[Point, ...]) -> bool:
    """Whether no two neighbouring points of a shape are the same."""
    return all(math.dist(a, b) > 0.005 for a, b in pairwise(shape))
