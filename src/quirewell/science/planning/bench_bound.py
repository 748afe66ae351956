"""No plan for the bench ends sooner than this: ways through the waits, and hands within hours.

For every pair of a head (nothing of a set of works begins sooner) and a tail (so much comes after
each of them): the set's work of hands has to fit into the working hours from the head on, and the
tail follows. Work in a tray that may still be shared counts as if every tray were full.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np

from quirewell.science.planning.bench_blocks import Blocks, up, windows
from quirewell.science.planning.bench_shop import Problem


def ways(problem: Problem, laid: Blocks) -> list[int] | None:
    """From each block's start the longest way to the end (units); None where waits go in a ring."""
    grid = problem.shop.grid_min
    out = [one.size for one in laid.blocks]
    for _ in range(len(out) + 1):
        more = False
        for link in laid.links:
            way = laid.blocks[link.before].size + up(link.least, grid) + out[link.after]
            if way > out[link.before]:
                out[link.before], more = way, True
        if not more:
            return out
    return None


def heads(problem: Problem, laid: Blocks, free: Collection[int] = ()) -> list[int] | None:
    """Each block's soonest start (units) by waits and hours alone; None where there is none. A
    block of a ``free`` group may last longer than its own work: a longest wait says less there."""
    grid, hours = problem.shop.grid_min, windows(problem)
    now = up(problem.now, grid)
    out = [now if one.start is None else one.start // grid for one in laid.blocks]
    for _ in range(4 * len(out) + 4):
        before = list(out)
        for number, block in enumerate(laid.blocks):
            if block.start is None and block.hands:
                fits = (max(out[number], a) for a, b in hours
                        if max(out[number], a) + block.size <= b)  # fmt: skip
                start = next(fits, None)
                if start is None:
                    return None
                out[number] = start
        for link in laid.links:
            first = laid.blocks[link.before]
            if first.end is not None:
                end = up(first.end + link.least, grid)
            else:
                end = out[link.before] + first.size + up(link.least, grid)
            out[link.after] = max(out[link.after], end)
            if link.most is not None and first.end is None and link.before not in free:
                least = out[link.after] - link.most // grid - first.size
                out[link.before] = max(out[link.before], least)
        if out == before:
            return out
    return out


def soonest(problem: Problem, laid: Blocks, shares: Mapping[int, int] | None = None) -> int:
    """The bound (units). ``shares``: for blocks of a free group, how many may lie together."""
    grid, hours = problem.shop.grid_min, windows(problem)
    now = up(problem.now, grid)
    first, tail = heads(problem, laid, shares or ()), ways(problem, laid)
    if first is None or tail is None:
        return now
    best = now
    for number, block in enumerate(laid.blocks):
        ended = block.start is not None and block.end is not None
        best = max(best, up(block.end or 0, grid) if ended else first[number] + tail[number])
    mine = [i for i, one in enumerate(laid.blocks) if one.hands and one.start is None]
    if mine and hours:
        shares = shares or {}
        lows, highs = np.array(hours).T
        before = np.concatenate([[0], np.cumsum(highs - lows)])
        size = np.array([laid.blocks[i].size / shares.get(i, 1) for i in mine])
        head = np.array([first[i] for i in mine])
        after = np.array([tail[i] - laid.blocks[i].size for i in mine])
        order = np.argsort(-after, kind="stable")
        for start in sorted(set(head.tolist())):
            rows = order[head[order] >= start]
            need = np.ceil(np.cumsum(size[rows]) / problem.shop.people - 1e-9)
            number = max(0, int(np.searchsorted(lows, start, side="right")) - 1)
            open_before = before[number] + min(max(0, start - lows[number]), (highs - lows)[number])
            total = open_before + need
            index = np.searchsorted(before, total, side="left") - 1
            inside = index < len(hours)
            end = lows[index[inside]] + total[inside] - before[index[inside]]
            if len(end):
                best = max(best, int(np.max(end + after[rows][inside])))
            if not inside.all():  # more hands than hours: the last moment at the least
                best = max(best, int(highs[-1]))
    return _at_work(problem, laid, hours, best)


def _at_work(
    problem: Problem, laid: Blocks, hours: tuple[tuple[int, int], ...], best: int
) -> int:  # fmt: skip
    """Where all that can come last needs hands, the end lies within working hours."""
    goes_on = {link.before for link in laid.links}
    last = [one for i, one in enumerate(laid.blocks) if i not in goes_on]
    if any(not one.hands or one.start is not None for one in last):
        return best
    least = min(one.size for one in last)
    return min((max(best, a + least) for a, b in hours if max(best, a + least) <= b), default=best)
