"""A schedule by rule, without a solver: one activity after the other, the most urgent first.

Serial schedule generation: first what a maximum lag already presses, then by least latest start.
Where an activity would come too late for a maximum lag, the activities that hold it back are taken
out again and start later (`franck2001`). It proves nothing but what a lower bound proves, and may
give up where a schedule exists.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from quirewell.science.planning.bench_network import Network


def by_rule(net: Network) -> tuple[int, ...] | None:
    """Starts that keep every rule, or None after 100 times of taking out and 2 more for each
    activity. ``net`` has neither a positive circle nor too large a demand."""
    count = len(net.durations)
    left = 100 + 2 * count
    apart = _apart(net)
    back = apart.T
    first_come = (apart > 0) | ((apart == 0) & (back < 0))
    latest = [-q for q in net.tails]
    release = np.array(net.heads, dtype=np.float64)
    starts: dict[int, int] = {}
    while len(starts) < count:
        placed = list(starts)
        at_what = np.array([starts[i] for i in placed], dtype=np.float64)[:, None]
        least = (at_what + apart[placed]).max(axis=0, initial=-np.inf).clip(release)
        upto = (at_what - back[placed]).min(axis=0, initial=np.inf)
        waits = first_come.copy()
        waits[placed] = False
        ready = [int(j) for j in np.flatnonzero(~waits.any(axis=0)) if j not in starts]
        j = min(ready, key=lambda i: (upto[i], latest[i], i))
        at = _first_place(net, starts, j, int(least[j]))
        if at <= upto[j]:
            starts[j] = at
            continue
        left -= 1
        if left < 0:
            return None
        hold = [i for i, s in starts.items() if s - apart[j, i] == upto[j]]
        first = min(starts[i] for i in hold)
        for i in hold:
            release[i] = starts[i] + at - upto[j]
        starts = {i: s for i, s in starts.items() if i not in hold and s <= first}
    return tuple(starts[i] for i in range(count))


def _apart(net: Network) -> NDArray[np.float64]:
    """Longest ways by lags from each activity to each other, -inf where none leads (Floyd and
    Warshall's); whole numbers, which doubles hold exactly up to far above ``LONGEST``."""
    count = len(net.durations)
    found = np.full((count, count), -np.inf)
    np.fill_diagonal(found, 0.0)
    for i, j, d in net.lags:
        found[i, j] = max(found[i, j], d)
    for k in range(count):
        np.maximum(found, found[:, k, None] + found[None, k, :], out=found)
    return found


def _first_place(net: Network, starts: dict[int, int], j: int, least: int) -> int:
    """First moment from ``least`` on at which the resources bear the activity to its end."""
    if net.durations[j] == 0 or not any(net.demands[j]):
        return least
    ends = {s + net.durations[i] for i, s in starts.items()}
    for at in sorted({least} | {e for e in ends if e > least}):
        until = at + net.durations[j]
        near = [i for i, s in starts.items() if s < until and at < s + net.durations[i]]
        moments = {at} | {starts[i] for i in near if starts[i] > at}
        if all(_bears(net, starts, near, j, moment) for moment in moments):
            return at
    raise RuntimeError("no place after all other activities have ended")


def _bears(net: Network, starts: dict[int, int], near: list[int], j: int, moment: int) -> bool:
    running = [i for i in near if starts[i] <= moment < starts[i] + net.durations[i]]
    return all(
        asked == 0 or asked + sum(net.demands[i][k] for i in running) <= net.capacities[k]
        for k, asked in enumerate(net.demands[j])
    )
