"""A project of activities, resources and lags, read strictly: longest paths and lower bounds.

``lags`` are (i, j, d): activity j starts at least d after i starts; a negative d is a maximum lag,
i starts at most -d after j. All numbers are integers of one unit of time.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

Lag = tuple[int, int, int]
LONGEST = 10**12
"""Sum of all lengths allowed, well inside the solver's 64-bit integers."""


@dataclass(frozen=True, slots=True)
class Network:
    """A project whose numbers were looked at.

    ``heads``: earliest starts by lags alone. ``tails``: least time from a start to the end of the
    project. ``cycle``: lags (by number) that no schedule can keep together, where they run round
    in a circle of positive length; heads and tails are empty then. ``too_much``: activities that
    ask more of a resource than there is, as (activity, resource).
    """

    durations: tuple[int, ...]
    demands: tuple[tuple[int, ...], ...]
    capacities: tuple[int, ...]
    lags: tuple[Lag, ...]
    heads: tuple[int, ...]
    tails: tuple[int, ...]
    cycle: tuple[int, ...]
    too_much: tuple[tuple[int, int], ...]

    def users(self, resource: int) -> list[int]:
        """Activities that take some of the resource for some time."""
        return [i for i, p in enumerate(self.durations) if p > 0 and self.demands[i][resource] > 0]

    @property
    def bound(self) -> int:
        """No schedule ends before: the longest path, and each resource's work from the earliest
        head of its users, shared by all its places, to the least that must follow."""
        best = max((h + q for h, q in zip(self.heads, self.tails, strict=True)), default=0)
        for k, capacity in enumerate(self.capacities):
            users = self.users(k)
            if users and capacity > 0:
                work = sum(self.durations[i] * self.demands[i][k] for i in users)
                after = min(self.tails[i] - self.durations[i] for i in users)
                best = max(best, min(self.heads[i] for i in users) - (-work // capacity) + after)
        return best

    @property
    def horizon(self) -> int:
        """Where there is a schedule, there is one that ends by then (`bartusch1988`): the sum
        over activities of the longer of the duration and the longest lag that leaves it."""
        reach = list(self.durations)
        for i, _, d in self.lags:
            reach[i] = max(reach[i], d)
        return sum(reach)


def network(durations: Any, demands: Any, capacities: Any, lags: Any) -> Network:
    """The project, or a ValueError that says which number is wrong."""
    p = _counts(durations, "durations", "the duration of activity")
    c = _counts(capacities, "capacities", "the capacity of resource")
    rows = _listed(demands, "demands")
    if not rows and not c:
        rows = [()] * len(p)
    if len(rows) != len(p):
        raise ValueError(
            f"there are {len(p)} durations but {len(rows)} rows of demands; give a row each"
        )
    r = []
    for i, row in enumerate(rows):
        asked = _counts(row, f"demands of activity {i}", f"activity {i}'s demand for resource")
        if len(asked) != len(c):
            raise ValueError(
                f"activity {i} has {len(asked)} demands but there are {len(c)} resources; "
                "give one demand per resource, 0 where it takes none"
            )
        r.append(asked)
    kept = tuple(_lag(number, lag, len(p)) for number, lag in enumerate(_listed(lags, "lags")))
    if sum(p) + sum(abs(d) for _, _, d in kept) > LONGEST:
        raise ValueError(
            f"durations and lags sum to more than {LONGEST}; use a larger unit of time"
        )
    too_much = tuple(
        (i, k) for i, row in enumerate(r) for k, a in enumerate(row) if p[i] > 0 and a > c[k]
    )
    heads, cycle = longest([0] * len(p), kept)
    tails: list[int] = []
    if not cycle:
        tails, _ = longest(list(p), [(j, i, d) for i, j, d in kept])
    return Network(p, tuple(r), c, kept, tuple(heads), tuple(tails), cycle, too_much)


def longest(least: Sequence[int], lags: Sequence[Lag]) -> tuple[list[int], tuple[int, ...]]:
    """Least values x with x_i >= least_i and x_j >= x_i + d; or a circle of lags, by number, that
    has none (Bellman and Ford's rounds; a value that still grows after n rounds lies behind one).
    """
    found = list(least)
    by: list[int] = [-1] * len(found)
    for _ in range(len(found) + 1):
        grown = -1
        for number, (i, j, d) in enumerate(lags):
            if found[i] + d > found[j]:
                found[j] = found[i] + d
                by[j] = number
                grown = j
        if grown < 0:
            return found, ()
    at = grown
    for _ in found:
        at = lags[by[at]][0]
    circle = [by[at]]
    while lags[circle[-1]][0] != at:
        circle.append(by[lags[circle[-1]][0]])
    return [], tuple(reversed(circle))


def whole(value: Any, what: str) -> int:
    """The integer, or a ValueError that names what it was for."""
    if not isinstance(value, int | np.integer):
        raise ValueError(f"{what} is {value!r}; only whole numbers are taken")
    return int(value)


def _listed(values: Any, what: str) -> list[Any]:
    if isinstance(values, str | bytes) or not isinstance(values, Iterable):
        raise ValueError(f"{what} must be a list, not {values!r}")
    return list(values)


def _counts(values: Any, what: str, each: str) -> tuple[int, ...]:
    found = []
    for i, value in enumerate(_listed(values, what)):
        number = whole(value, f"{each} {i}")
        if number < 0:
            raise ValueError(f"{each} {i} is {number}; it must be 0 or more")
        found.append(number)
    return tuple(found)


def _lag(number: int, lag: Any, count: int) -> Lag:
    values = _listed(lag, f"lag {number}")
    if len(values) != 3:
        raise ValueError(f"lag {number} is {lag!r}; give (i, j, d): j starts at least d after i")
    i, j, d = (whole(value, f"a number of lag {number}") for value in values)
    for end in (i, j):
        if not 0 <= end < count:
            raise ValueError(
                f"lag {number} names activity {end}, but the {count} activities count from 0"
            )
    return i, j, d
