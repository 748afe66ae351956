"""The fore-edge of a folded pamphlet: what its steps say, and what it will look like.

Leaves are counted from the front, 1 to ``n`` (cover left out); a depth is how far a leaf's reading
edge lies back from a straight edge held across. Roll is a ramp, creep a V, a fold off its place a
step in the middle, so that they separate:

``depth_j = e0 + (T/n) tan(theta) (j - c) + v |j - c| + d sign(j - c)``, ``c = (n + 1) / 2``.

Creep that was never trimmed off leaves the middle standing out, ``v = kappa t``; trimmed after
stitching and folded where it was, ``v = 0``. ``d`` is a fold ``d`` mm off its place: the front
gains what the back loses. Own derivation (plain geometry).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from quirewell.science.booklet.against_others import fit
from quirewell.science.booklet.reading import Reading

# A depth read by hand with a steel rule against a straight edge [mm], and a fold laid by eye on
# the old crease [mm] (both assumed).
DEPTH_U_MM, FOLD_U_MM = 0.25, 0.15


@dataclass(frozen=True, slots=True)
class Steps:
    """Parts of a fore-edge [mm]: ``ramp`` from leaf to leaf (roll), ``vee`` from leaf to leaf away
    from the middle (creep left over), ``step`` the fold's distance from its place (+: the front
    stands out; None where too few leaves were read to tell); ``scatter`` in units of u."""

    ramp: Reading
    vee: Reading
    step: Reading | None
    scatter: float
    read: int


def fit_steps(
    leaf: Sequence[int], depth_mm: Sequence[float], leaves: int, u_mm: float | None = None
) -> Steps:
    """Roll, creep and the fold's offset from depths at some leaves.

    Parameters
    ----------
    leaf
        number of each leaf read, 1 (front) to ``leaves``
    depth_mm
        how far its reading edge lies back from the straight edge [mm]
    leaves
        in all, cover left out; two to a wrap
    u_mm
        standard uncertainty of a depth [mm]; None: 0.25 is assumed

    Raises
    ------
    ValueError
        fewer than four leaves, or fewer than two of either half
    """
    if leaves < 4 or leaves % 2:
        raise ValueError(f"a pamphlet has two leaves to a wrap, four or more; got {leaves}")
    if len(set(leaf)) != len(leaf) or not all(1 <= one <= leaves for one in leaf):
        raise ValueError(f"leaves count from 1 (front) to {leaves}, each read once; got {[*leaf]}")
    j = np.array(leaf, dtype=np.float64) - (leaves + 1) / 2
    front, back = int((j < 0).sum()), int((j > 0).sum())
    if min(front, back) < 2:
        raise ValueError(
            f"roll and creep need two leaves or more of the front half and two of the back half; "
            f"got {front} and {back}"
        )
    u = np.full(len(j), DEPTH_U_MM if u_mm is None else u_mm)
    columns = [np.ones_like(j), j, np.abs(j)]
    # A ramp and a step look alike unless each half is read at three places.
    if min(front, back) >= 3:
        columns.append(np.sign(j))
    found = fit(np.column_stack(columns), np.asarray(depth_mm, np.float64), u, u_mm is None)
    step = Reading(float(found.values[3]), found.u(3)) if len(columns) == 4 else None
    return Steps(
        Reading(float(found.values[1]), found.u(1)), Reading(float(found.values[2]), found.u(2)),
        step, found.scatter, len(j),
    )  # fmt: skip


def roll_of_ramp(ramp: Reading, leaves: int, thickness: Reading) -> Reading:
    """Roll [degrees] from the ramp [mm a leaf]: ``tan(theta) = n ramp / T``."""
    tangent = leaves * ramp.value / thickness.value
    u = math.hypot(leaves * ramp.u, tangent * thickness.u) / thickness.value
    return Reading(math.degrees(math.atan(tangent)), math.degrees(u / (1 + tangent**2)))


@dataclass(frozen=True, slots=True)
class Halves:
    """A sheet lying flat, outer side up, head away: ``front_mm`` from the fold to the right reading
    edge (page 1's side), ``back_mm`` to the left one; ``u_mm`` of either, the fold's place in."""

    name: str
    wrap: int
    front_mm: float
    back_mm: float
    u_mm: float


@dataclass(frozen=True, slots=True)
class Stands:
    """How far a sheet's reading edges will stand out beyond the cover's (+) or behind them (-),
    front and back [mm]; ``front.u`` holds everything, ``u_own_mm`` what this sheet alone adds."""

    name: str
    front: Reading
    back: Reading
    u_own_mm: float


def halves_of_width(name: str, wrap: int, width_mm: float, u_mm: float) -> Halves:
    """A sheet whose halves were not measured: equal, the fold's place unsure."""
    half = width_mm / 2
    return Halves(name, wrap, half, half, math.hypot(u_mm / 2, FOLD_U_MM))


def predict(
    wraps: Sequence[Halves], cover: Halves | None, kappa_t: Reading, cover_leaf: float = 1.41
) -> tuple[Stands, ...]:
    """Where each reading edge stands once folded on its fold and nested.

    Wrap ``j`` (0 = outermost) is pushed out by ``kappa t j`` beyond the outermost, and that by
    ``kappa (t + t_c) / 2`` beyond the cover (leaf centre to leaf centre).

    Parameters
    ----------
    wraps, cover
        half widths; without a cover all is told against the outermost wrap there is
    kappa_t
        creep from wrap to wrap [mm]
    cover_leaf
        thickness of the cover in leaves [-]
    """
    if not wraps:
        raise ValueError("give the widths of at least one wrap")
    against = cover or min(wraps, key=lambda one: one.wrap)
    first = (1 + cover_leaf) / 2 if cover else 1.0 - against.wrap
    out = []
    for one in sorted(wraps, key=lambda one: one.wrap):
        places = one.wrap - 1 + first
        push = kappa_t.value * places
        common = 0.0 if one is against else math.hypot(against.u_mm, kappa_t.u * places)
        own = 0.0 if one is against else one.u_mm
        u = math.hypot(common, own)
        out.append(
            Stands(
                one.name, Reading(one.front_mm + push - against.front_mm, u),
                Reading(one.back_mm + push - against.back_mm, u), own,
            )
        )  # fmt: skip
    return tuple(out)
