"""How much later each work of a plan may be: its slack, in the order the plan has.

What begins earlier stays where it is. The work and all after it may move later, in the plan's order
on hands and on every place, within hours and waits, and the end comes no later. Of such plans there
is one in which everything is latest; the slack is how much later a work lies there.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from quirewell.science.planning.bench_blocks import Blocks, up, windows
from quirewell.science.planning.bench_shop import Problem


@dataclass(slots=True)
class _Net:
    """Start of ``after`` less start of ``before`` is at least ``apart``, for each (units)."""

    into: list[list[tuple[int, int]]]
    sizes: list[int]
    hands: list[bool]
    stretches: tuple[tuple[int, int], ...]

    def add(self, before: int, after: int, apart: int) -> None:
        if before != after:
            self.into[after].append((before, apart))

    def snap(self, block: int, start: int) -> int:
        """The latest start no later than ``start`` at which the block lies in working hours."""
        if not self.hands[block]:
            return start
        for low, high in reversed(self.stretches):
            fits = min(start, high - self.sizes[block])
            if fits >= low:
                return fits
        return -1


def slack(problem: Problem, laid: Blocks, starts: Sequence[int]) -> dict[str, int]:
    """Slack [min] of each work that has not begun."""
    grid = problem.shop.grid_min
    latest = later(problem, laid, starts)
    return {
        id: (latest[number] - starts[number]) * grid
        for number, block in enumerate(laid.blocks)
        if block.start is None
        for id in block.works
    }


def later(problem: Problem, laid: Blocks, starts: Sequence[int]) -> list[int]:
    """Each block's latest start (units), what begins before it kept where it is."""
    net = _net(problem, laid, starts)
    whole = _all_latest(net, laid, starts)
    return [
        _latest(net, starts, number, whole)[number] if block.start is None else starts[number]
        for number, block in enumerate(laid.blocks)
    ]


def latest(problem: Problem, laid: Blocks, starts: Sequence[int], number: int) -> list[int]:
    """The latest plan in the order of this one in which what begins no later than block ``number``
    (but itself) stays."""
    net = _net(problem, laid, starts)
    return _latest(net, starts, number, _all_latest(net, laid, starts))


def _net(problem: Problem, laid: Blocks, starts: Sequence[int]) -> _Net:
    grid = problem.shop.grid_min
    sizes = [_size(one, starts[i], grid) for i, one in enumerate(laid.blocks)]
    count = len(laid.blocks)
    net = _Net([[] for _ in range(count)], sizes,
               [one.hands for one in laid.blocks], windows(problem))  # fmt: skip
    for link in laid.links:
        before = laid.blocks[link.before]
        if before.end is None:
            net.add(link.before, link.after, sizes[link.before] + up(link.least, grid))
        elif link.most is not None:
            first = starts[link.before]
            net.add(link.after, link.before, first - (before.end + link.most) // grid)
            continue
        if link.most is not None:
            net.add(link.after, link.before, -(sizes[link.before] + link.most // grid))
    spans = [("", i, i) for i, one in enumerate(laid.blocks) if one.hands]
    spans += [(name, i, i) for i, one in enumerate(laid.blocks) for name in one.uses]
    spans += [(one.equipment, one.first, one.last) for one in laid.spans]
    for name in sorted({name for name, _, _ in spans}):
        mine = sorted(
            (starts[first], starts[last] + sizes[last], first, last)
            for kind, first, last in spans if kind == name
        )  # fmt: skip
        places = problem.shop.places[name] if name else problem.shop.people
        free = [(-1, -1)] * places  # (end, last block) of each place; the longest free is taken
        for start, end, first, last in mine:
            taken = min(free, default=(start + 1, -1))
            if taken[0] <= start:
                free.remove(taken)
                if taken[1] >= 0:
                    net.add(taken[1], first, sizes[taken[1]])
            free.append((end, last))
    return net


def _size(block: object, start: int, grid: int) -> int:
    end = getattr(block, "end", None)
    size: int = getattr(block, "size", 0)
    return size if end is None else up(end, grid) - start


def _all_latest(net: _Net, laid: Blocks, starts: Sequence[int]) -> list[int]:
    end = max(start + size for start, size in zip(starts, net.sizes, strict=True))
    out = [
        starts[i] if one.start is not None else net.snap(i, end - net.sizes[i])
        for i, one in enumerate(laid.blocks)
    ]
    _tighten(net, out, starts, range(len(out)))
    return out


def _latest(net: _Net, starts: Sequence[int], number: int, whole: Sequence[int]) -> list[int]:
    out = list(whole)
    kept = [i for i, start in enumerate(starts) if start <= starts[number] and i != number]
    for i in kept:
        out[i] = starts[i]
    _tighten(net, out, starts, kept)
    return out


def _tighten(net: _Net, out: list[int], starts: Sequence[int], changed: Iterable[int]) -> None:
    """Lower starts until every distance is kept, from the last to the first."""
    order = sorted(range(len(out)), key=lambda i: -starts[i])
    dirty = set(changed)
    while dirty:
        for after in order:
            if after not in dirty:
                continue
            dirty.remove(after)
            for before, apart in net.into[after]:
                low = out[after] - apart
                if low < out[before]:
                    out[before] = net.snap(before, low)
                    dirty.add(before)
