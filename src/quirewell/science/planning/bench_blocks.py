"""A bench problem in whole units of its grid: works done as one, what waits for what, hours.

Sheets that share a tray run are one block at each of its steps, as long as its longest member; each
other work is a block by itself. What has begun is a block with its own minutes. Lengths and least
waits are rounded up to the grid, most waits down, hours inwards: what fits here fits at the bench.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from quirewell.science.planning.bench_shop import Fixed, Placed, Problem, Work

Sheet = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Run:
    """Sheets that go through one tray together; ``tray`` counts the problem's trays."""

    tray: int
    sheets: tuple[Sheet, ...]


@dataclass(frozen=True, slots=True)
class Group:
    """Sheets of which any may share a tray, ``most`` at once, each with the same steps."""

    tray: int
    sheets: tuple[Sheet, ...]
    most: int
    steps: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Block:
    """Works done as one; ``size`` in units. ``start`` and ``end`` [min] of what has begun."""

    works: tuple[str, ...]
    size: int
    hands: bool
    uses: tuple[str, ...]
    run: int | None = None
    start: int | None = None
    end: int | None = None


@dataclass(frozen=True, slots=True)
class Link:
    """A wait between two blocks, in the problem's minutes; ``count`` sheets wait so."""

    before: int
    after: int
    least: int
    most: int | None
    wet: bool
    count: int
    steps: tuple[str, str]


@dataclass(frozen=True, slots=True)
class Span:
    """A place of equipment held from the start of one block to the end of another."""

    equipment: str
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Blocks:
    """A problem whose tray runs are settled."""

    blocks: tuple[Block, ...]
    links: tuple[Link, ...]
    spans: tuple[Span, ...]
    of: dict[str, int]


def up(minutes: int, grid: int) -> int:
    """Minutes in units, rounded up."""
    return -(-minutes // grid)


def windows(problem: Problem) -> tuple[tuple[int, int], ...]:
    """Working hours from now on in units; hours that touch are one stretch."""
    grid = problem.shop.grid_min
    now = up(problem.now, grid)
    out: list[tuple[int, int]] = []
    for start, end in sorted(problem.shop.hours):
        low, high = max(up(start, grid), now), end // grid
        if out and low <= out[-1][1]:
            out[-1] = (out[-1][0], max(out[-1][1], high))
        elif high > low:
            out.append((low, high))
    return tuple(out)


def check(problem: Problem) -> None:
    """Refuse what is no problem.

    Raises:
        ValueError: names that do not fit, equipment the bench has not, or a tray settled amiss.
    """
    ids = {work.id for work in problem.works}
    if len(ids) != len(problem.works):
        raise ValueError("two works have the same name; each work of a plan needs its own")
    if problem.shop.grid_min < 1:
        raise ValueError("the grid of a plan is one minute or more")
    named = [n for wait in problem.waits for n in (wait.before, wait.after)]
    named += [n for hold in problem.holds for n in (hold.first, hold.last)]
    named += [one.work for one in problem.fixed]
    for name in named:
        if name not in ids:
            raise ValueError(f"a wait, a hold or a record names the work {name!r}, which is none")
    used = {name for work in problem.works for name in work.uses}
    used |= {hold.equipment for hold in problem.holds} | {one.equipment for one in problem.trays}
    for name in sorted(used):
        if name not in problem.shop.places:
            raise ValueError(f"the bench has no {name!r}; say how many places it has")
    for tray in problem.trays:
        if tray.most < 1:
            raise ValueError("a tray takes one sheet or more")
    for settled in problem.given or ():
        for number, tray in enumerate(problem.trays):
            mine = [one for one in settled if _steps(problem, number, one)]
            if len(mine) > tray.most:
                raise ValueError(f"a tray takes {tray.most} sheets, got {_say(mine)}")
            if len(mine) > 1 and any(sheet in tray.alone for _, sheet in mine):
                raise ValueError(f"a sheet that goes alone shares no tray: {_say(mine)}")
            if not tray.mix_items and len({item for item, _ in mine}) > 1:
                raise ValueError(f"sheets of two items share no tray unless allowed: {_say(mine)}")


def runs_and_groups(problem: Problem) -> tuple[tuple[Run, ...], tuple[Group, ...]]:
    """Tray runs that are settled (given, begun, or alone), and groups still free."""
    runs: list[Run] = []
    free: list[Group] = []
    begun = {one.work: one for one in problem.fixed}
    for number, tray in enumerate(problem.trays):
        sheets = {
            (work.item, work.sheet): None for work in problem.works if work.step in tray.steps
        }
        left = dict(sheets)
        for settled in problem.given or ():
            mine = tuple(one for one in settled if one in left)
            if mine:
                runs.append(Run(number, mine))
            for one in mine:
                del left[one]
        together: dict[tuple[object, ...], list[Sheet]] = {}
        for one in list(left):
            first = _first_begun(problem, number, one, begun)
            if first is not None:
                key = (first, "" if tray.mix_items else one[0], one if one[1] in tray.alone else "")
                together.setdefault(key, []).append(one)
                del left[one]
        for mates in together.values():
            for index in range(0, len(mates), tray.most):
                runs.append(Run(number, tuple(mates[index : index + tray.most])))
        kinds: dict[tuple[str, tuple[str, ...]], list[Sheet]] = {}
        for one in left:
            steps = _steps(problem, number, one)
            if one[1] in tray.alone or tray.most == 1:
                runs.append(Run(number, (one,)))
            else:
                kinds.setdefault(("" if tray.mix_items else one[0], steps), []).append(one)
        for (_, steps), members in kinds.items():
            if len(members) == 1:
                runs.append(Run(number, tuple(members)))
            else:
                free.append(Group(number, tuple(members), tray.most, steps))
    return tuple(runs), tuple(free)


def blocks(problem: Problem, runs: Sequence[Run]) -> Blocks:
    """The problem with these tray runs; works of free groups are blocks by themselves."""
    grid = problem.shop.grid_min
    begun = {one.work: one for one in problem.fixed}
    in_run: dict[tuple[Sheet, str], int] = {}
    for number, run in enumerate(runs):
        for step in problem.trays[run.tray].steps:
            for sheet in run.sheets:
                in_run[sheet, step] = number
    members: dict[object, list[Work]] = {}
    for work in problem.works:
        shared = in_run.get(((work.item, work.sheet), work.step))
        key: object = work.id if shared is None else (shared, work.step)
        members.setdefault(key, []).append(work)
    out: list[Block] = []
    of: dict[str, int] = {}
    for key, works in members.items():
        shared = key[0] if isinstance(key, tuple) else None
        drop = problem.trays[runs[shared].tray].equipment if shared is not None else ""
        uses = dict.fromkeys(name for work in works for name in work.uses if name != drop)
        size = max(up(work.minutes, grid) for work in works)
        held = [begun[work.id] for work in works if work.id in begun]
        start, end = _begun(held, len(works), size * grid, problem.now)
        for work in works:
            of[work.id] = len(out)
        out.append(
            Block(
                tuple(work.id for work in works),
                size,
                any(work.hands for work in works),
                tuple(uses),
                shared,
                start,
                end,
            )
        )
    return Blocks(
        tuple(out), _links(problem, out, of), _spans(problem, runs, in_run, of), of
    )  # fmt: skip


def placed(problem: Problem, laid: Blocks, starts: Sequence[int]) -> tuple[Placed, ...]:
    """Works at the blocks' starts (units), in the problem's order; what has begun as it was."""
    grid = problem.shop.grid_min
    begun = {one.work: one for one in problem.fixed}
    out = []
    for work in problem.works:
        block = laid.blocks[laid.of[work.id]]
        start, end = moments(block, starts[laid.of[work.id]], grid)
        fixed = begun.get(work.id)
        if fixed is not None:
            start = fixed.start
            end = end if fixed.end is None else fixed.end
        name = "" if block.run is None else f"t{block.run + 1}"
        out.append(Placed(work.id, start, end, name))
    return tuple(out)


def moments(block: Block, start: int, grid: int) -> tuple[int, int]:
    """Start and end of a block [min], ``start`` in units where it has not begun."""
    if block.start is not None and block.end is not None:
        return block.start, block.end
    return start * grid, (start + block.size) * grid


def wet_waiting(laid: Blocks, starts: Sequence[int], grid: int) -> int:
    """Minutes all wet sheets wait beyond what they must."""
    total = 0
    for link in laid.links:
        before, after = laid.blocks[link.before], laid.blocks[link.after]
        if link.wet and after.start is None:
            gap = starts[link.after] * grid - moments(before, starts[link.before], grid)[1]
            total += max(0, gap - link.least) * link.count
    return total


def _begun(
    held: Sequence[Fixed], members: int, minutes: int, now: int
) -> tuple[int | None, int | None]:
    if not held:
        return None, None
    start = min(one.start for one in held)
    ends = [one.end for one in held if one.end is not None]
    if len(ends) == members:
        return start, max(ends)
    return start, max(start + minutes, now, *ends)


def _links(problem: Problem, out: Sequence[Block], of: dict[str, int]) -> tuple[Link, ...]:
    step = {work.id: work.step for work in problem.works}
    known: dict[Link, int] = {}
    for wait in problem.waits:
        before, after = of[wait.before], of[wait.after]
        if out[after].start is None and before != after:
            steps = step[wait.before], step[wait.after]
            key = Link(before, after, wait.least, wait.most, wait.wet, 1, steps)
            known[key] = known.get(key, 0) + 1
    return tuple(replace(link, count=count) for link, count in known.items())


def _spans(
    problem: Problem, runs: Sequence[Run], in_run: dict[tuple[Sheet, str], int], of: dict[str, int]
) -> tuple[Span, ...]:
    spans = [Span(one.equipment, of[one.first], of[one.last]) for one in problem.holds]
    first: dict[int, list[str]] = {}
    order = {
        (n, step): i for n, tray in enumerate(problem.trays) for i, step in enumerate(tray.steps)
    }
    for work in problem.works:
        shared = in_run.get(((work.item, work.sheet), work.step))
        if shared is not None:
            first.setdefault(shared, []).append(work.id)
    step = {work.id: work.step for work in problem.works}
    for number, ids in first.items():
        tray = runs[number].tray
        ids.sort(key=lambda id: order[tray, step[id]])
        spans.append(Span(problem.trays[tray].equipment, of[ids[0]], of[ids[-1]]))
    return tuple(spans)


def _steps(problem: Problem, tray: int, sheet: Sheet) -> tuple[str, ...]:
    mine = {work.step for work in problem.works if (work.item, work.sheet) == sheet}
    return tuple(step for step in problem.trays[tray].steps if step in mine)


def _first_begun(
    problem: Problem, tray: int, sheet: Sheet, begun: dict[str, Fixed]
) -> int | None:  # fmt: skip
    starts = [
        begun[work.id].start for work in problem.works
        if (work.item, work.sheet) == sheet and work.step in problem.trays[tray].steps
        and work.id in begun
    ]  # fmt: skip
    return min(starts, default=None)


def _say(sheets: Iterable[Sheet]) -> str:
    return ", ".join(f"{sheet} of {item}" for item, sheet in sheets)
