"""A schedule by rule, without a solver: one activity after the other, the most urgent first.

Serial schedule generation: first what a maximum lag already presses, then by least latest start.
Where an activity would come too late for a maximum lag, the activities that hold it back are taken
out again and start later (`franck2001`). It proves nothing but what a lower bound proves, and may
give up where a schedule exists.
"""

from __future__ import annotations

from quirewell.science.planning.bench_network import Network


def by_rule(net: Network) -> tuple[int, ...] | None:
    """Starts that keep every rule, or None after 100 times of taking out and 2 more for each
    activity. ``net`` has neither a positive circle nor too large a demand."""
    count = len(net.durations)
    left = 100 + 2 * count
    out: list[list[tuple[int, int]]] = [[] for _ in range(count)]
    for i, j, d in net.lags:
        if i != j:
            out[i].append((j, d))
    apart = [_apart(i, out, count) for i in range(count)]
    before = [
        [i for i in range(count) if i != j and _precedes(apart[i][j], apart[j][i])]
        for j in range(count)
    ]
    end = max((h + q for h, q in zip(net.heads, net.tails, strict=True)), default=0)
    latest = [end - q for q in net.tails]
    release = list(net.heads)
    starts: dict[int, int] = {}
    while len(starts) < count:
        ready = [j for j in range(count) if j not in starts and all(i in starts for i in before[j])]
        windows = {j: _window(j, starts, apart, release[j]) for j in ready}
        j = min(ready, key=lambda i: (windows[i][1] is None, windows[i][1] or 0, latest[i], i))
        least, upto = windows[j]
        at = _first_place(net, starts, j, least)
        if upto is None or at <= upto:
            starts[j] = at
            continue
        left -= 1
        if left < 0:
            return None
        late = at - upto
        back = apart[j]
        hold = [i for i, s in starts.items() if (d_i := back[i]) is not None and s - d_i == upto]
        first = min(starts[i] for i in hold)
        for i in hold:
            release[i] = starts[i] + late
        starts = {i: s for i, s in starts.items() if i not in hold and s <= first}
    return tuple(starts[i] for i in range(count))


def _apart(start: int, out: list[list[tuple[int, int]]], count: int) -> list[int | None]:
    """Longest way by lags from one activity to each other; None where none leads."""
    found: list[int | None] = [None] * count
    found[start] = 0
    waiting = [start]
    while waiting:
        following: dict[int, None] = {}
        for i in waiting:
            here = found[i]
            assert here is not None
            for j, d in out[i]:
                known = found[j]
                if known is None or here + d > known:
                    found[j] = here + d
                    following[j] = None
        waiting = list(following)
    return found


def _precedes(there: int | None, back: int | None) -> bool:
    """Whether an activity is to be placed before another: that one cannot start sooner."""
    return there is not None and (there > 0 or (there == 0 and (back is None or back < 0)))


def _window(
    j: int, starts: dict[int, int], apart: list[list[int | None]], release: int
) -> tuple[int, int | None]:
    """Earliest and latest start of an activity beside what is placed; None: no latest."""
    least, most = release, None
    for i, s in starts.items():
        there, back = apart[i][j], apart[j][i]
        if there is not None:
            least = max(least, s + there)
        if back is not None:
            most = s - back if most is None else min(most, s - back)
    return least, most


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
