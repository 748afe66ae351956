"""The bench as a constraint model for CP-SAT: shared trays free or settled, hours, places, waits.

Hands: no two works at once for one person, each start where the whole work lies in one stretch of
hours. A work without hands runs on, but what must follow it in time may need hands: so no bath
ends at night. Trays: slots filled in the order of their starts; a sheet lies in one.
"""

from __future__ import annotations

import itertools
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from ortools.sat.python import cp_model

from quirewell.science.planning.bench_alike import alike
from quirewell.science.planning.bench_blocks import (
    Blocks,
    Group,
    Run,
    blocks,
    runs_and_groups,
    up,
    windows,
)
from quirewell.science.planning.bench_shop import Problem

MOST_AGAIN = 100


@dataclass(slots=True)
class Model:
    """The variables of a built model; ``slots`` holds, for each free group, who lies in which."""

    problem: Problem
    runs: tuple[Run, ...]
    groups: tuple[Group, ...]
    laid: Blocks
    cp: cp_model.CpModel
    end: Any
    starts: list[Any]
    ends: list[Any]
    stretches: tuple[tuple[int, int], ...]
    hands: list[tuple[Any, Any, Any, Any]] = field(default_factory=list)
    slots: list[list[list[Any]]] = field(default_factory=list)
    slot_starts: list[list[list[Any]]] = field(default_factory=list)
    gaps: list[tuple[Any, int]] = field(default_factory=list)


def build(
    problem: Problem, *, latest: int | None = None, without: Collection[tuple[str, str]] = (),
    settled: Sequence[Run] | None = None, sitting: bool = False,
) -> Model:  # fmt: skip
    """The model; ``latest`` (units) no end comes after, ``without`` leaves rules out, ``settled``
    gives every tray run, ``sitting`` adds which stretch of hours each work of hands lies in."""
    runs, groups = runs_and_groups(problem)
    if settled is not None:
        runs, groups = tuple(settled), ()
    laid = blocks(problem, runs)
    stretches = _stretches(problem, latest, without)
    horizon = _horizon(problem, laid, stretches, latest)
    cp = cp_model.CpModel()
    end = cp.new_int_var(0, horizon, "end")
    made = Model(problem, runs, groups, laid, cp, end, [], [], stretches)
    held = {
        laid.of[work.id]
        for group in groups
        for work in problem.works
        if (work.item, work.sheet) in group.sheets and work.step in group.steps
    }
    for number, block in enumerate(laid.blocks):
        _block(made, number, number in held, horizon)
        if block.start is None:
            cp.add(end >= made.ends[number])
        else:
            cp.add(end >= up(block.end or 0, problem.shop.grid_min))
    _links(made, without)
    spans: dict[str, list[tuple[Any, int]]] = {}
    for group in groups:
        _group(made, group, spans, horizon)
    _people(made, without)
    _places(made, spans, without, horizon)
    if sitting:
        _sittings(made)
    return made


def _stretches(
    problem: Problem, latest: int | None, without: Collection[tuple[str, str]]
) -> tuple[tuple[int, int], ...]:
    held = windows(problem)
    now = up(problem.now, problem.shop.grid_min)
    far = 4 * sum(up(work.minutes, problem.shop.grid_min) for work in problem.works)
    far += sum(up(wait.least, problem.shop.grid_min) for wait in problem.waits)
    last = held[-1][1] if held else now
    if ("hours", "") in without:
        return ((now, (last if ("last", "") not in without else last + far)),)
    if ("last", "") in without and held:
        held = _again(problem, held, far)
    if latest is not None:
        held = tuple((a, min(b, latest)) for a, b in held if a < latest)
    return held


def _again(
    problem: Problem, held: tuple[tuple[int, int], ...], far: int
) -> tuple[tuple[int, int], ...]:
    """The hours given, again and again after their end, at most ``MOST_AGAIN`` times."""
    grid = problem.shop.grid_min
    whole = [(up(a, grid), b // grid) for a, b in sorted(problem.shop.hours)]
    first, last = whole[0][0], max(b for _, b in whole)
    period = up((last - first) * grid, 1440) * 1440 // grid
    times = min(MOST_AGAIN, 2 + far // period)
    more = ((a + n * period, b + n * period) for n in range(1, times) for a, b in whole)
    return (*held, *(one for one in more if one[0] >= held[-1][1] and one[1] > one[0]))


def _horizon(
    problem: Problem, laid: Blocks, stretches: Sequence[tuple[int, int]], latest: int | None
) -> int:
    grid = problem.shop.grid_min
    last = max([up(problem.now, grid), *(b for _, b in stretches)])
    last = max([last, *(up(one.end, grid) for one in laid.blocks if one.end is not None)])
    last += sum(one.size for one in laid.blocks if one.start is None and not one.hands)
    return last if latest is None else latest


def _fits(made: Model, size: int) -> cp_model.Domain:
    fits = [[a, b - size] for a, b in made.stretches if b - a >= size]
    if not fits:  # no stretch is long enough
        made.cp.add_bool_or([])
    return cp_model.Domain.from_intervals(fits or [[0, 0]])


def _block(made: Model, number: int, shared: bool, horizon: int) -> None:
    """Start and end of a block; one of a free group takes them from its slot."""
    problem, cp = made.problem, made.cp
    block = made.laid.blocks[number]
    grid = problem.shop.grid_min
    if block.start is not None:
        made.starts.append(block.start // grid)
        made.ends.append(up(block.end or 0, grid))
        return
    now = up(problem.now, grid)
    if block.hands:
        start = cp.new_int_var_from_domain(_fits(made, block.size), f"s{number}")
    else:
        start = cp.new_int_var(now, max(now, horizon), f"s{number}")
    made.starts.append(start)
    if shared:
        end = cp.new_int_var(now, max(now, horizon), f"e{number}")
        cp.add(end >= start + block.size)
        made.ends.append(end)
        return
    made.ends.append(start + block.size)
    if block.hands:
        made.hands.append((start, start + block.size, block.size, True))


def _links(made: Model, without: Collection[tuple[str, str]]) -> None:
    grid = made.problem.shop.grid_min
    for link in made.laid.links:
        before = made.laid.blocks[link.before]
        start = made.starts[link.after]
        name = "\n".join(link.steps)
        least = 0 if ("least", name) in without else link.least
        most = None if ("most", name) in without else link.most
        if before.end is not None:
            made.cp.add(start >= up(before.end + least, grid))
            if most is not None:
                made.cp.add(start <= (before.end + most) // grid)
            continue
        end = made.ends[link.before]
        made.cp.add(start >= end + up(least, grid))
        if most is not None:
            made.cp.add(start <= end + most // grid)
        if link.wet and (most is None or most // grid > up(least, grid)):
            made.gaps.append((start - end, link.count))


def _group(
    made: Model, group: Group, spans: dict[str, list[tuple[Any, int]]], horizon: int
) -> None:
    """Slots for a free group: who lies in which, each step as long as its longest member."""
    cp, problem, laid = made.cp, made.problem, made.laid
    tray = problem.trays[group.tray]
    by = {(work.item, work.sheet, work.step): work.id for work in problem.works}
    of = [[laid.of[by[(*sheet, step)]] for step in group.steps] for sheet in group.sheets]
    count, now = len(group.sheets), up(problem.now, problem.shop.grid_min)
    x = [[cp.new_bool_var("") for _ in range(count)] for _ in range(count)]
    for row in x:
        cp.add_exactly_one(row)
    used = [cp.new_bool_var("") for _ in range(count)]
    all_starts: list[list[Any]] = []
    for k in range(count):
        column = [row[k] for row in x]
        cp.add(sum(column) <= group.most).only_enforce_if(used[k])
        cp.add_bool_or(column).only_enforce_if(used[k])
        for lit in column:
            cp.add_implication(lit, used[k])
        starts: list[Any] = []
        ends: list[Any] = []
        for j in range(len(group.steps)):
            mine = [laid.blocks[row[j]] for row in of]
            sizes = [one.size for one in mine]
            hands = any(one.hands for one in mine)
            if hands:
                start = cp.new_int_var_from_domain(_fits(made, min(sizes)), "")
            else:
                start = cp.new_int_var(now, max(now, horizon), "")
            size: Any = sizes[0]
            if len(set(sizes)) > 1:
                size = cp.new_int_var(min(sizes), max(sizes), "")
                for lit, one in zip(column, sizes, strict=True):
                    cp.add(size >= one).only_enforce_if(lit)
                for big in sorted(set(sizes))[:-1]:  # no longer than its longest member
                    longer = [lit for lit, one in zip(column, sizes, strict=True) if one > big]
                    cp.add(size <= big).only_enforce_if([~lit for lit in longer])
            end = cp.new_int_var(now, max(now, horizon), "")
            cp.add(end == start + size)
            for i, lit in enumerate(column):
                cp.add(made.starts[of[i][j]] == start).only_enforce_if(lit)
                cp.add(made.ends[of[i][j]] == end).only_enforce_if(lit)
            if starts:
                cp.add(start >= ends[-1])
            if hands:
                made.hands.append((start, end, size, used[k]))
            for name in dict.fromkeys(n for one in mine for n in one.uses if n != tray.equipment):
                spans.setdefault(name, []).append(
                    (cp.new_optional_interval_var(start, size, end, used[k], ""), 1)
                )
            starts.append(start)
            ends.append(end)
        whole = cp.new_int_var(0, max(now, horizon), "")
        spans.setdefault(tray.equipment, []).append(
            (cp.new_optional_interval_var(starts[0], whole, ends[-1], used[k], ""), 1)
        )
        if k:
            cp.add_implication(used[k], used[k - 1])
            cp.add(starts[0] >= all_starts[-1][0]).only_enforce_if(used[k])
        all_starts.append(starts)
    cp.add(sum(used) >= up(count, group.most))
    made.slots.append(x)
    made.slot_starts.append(all_starts)
    others = {sheet for other in made.groups if other is not group for sheet in other.sheets}
    for pairs in alike(problem, group):
        if not others & {group.sheets[i] for i in pairs}:
            _in_order(made, group, pairs, x)


def _in_order(made: Model, group: Group, pairs: Sequence[int], x: list[list[Any]]) -> None:
    """Sheets that are all alike go in the order of their names, up to the tray and into it."""
    slot = [sum(k * lit for k, lit in enumerate(x[i])) for i in pairs]
    for left, right in itertools.pairwise(slot):
        made.cp.add(left <= right)
    steps = {
        (work.item, work.sheet, work.step): made.laid.of[work.id] for work in made.problem.works
    }
    after = {(link.before, link.after) for link in made.laid.links}
    sheets = [group.sheets[i] for i in pairs]
    mine = {
        step: number for (item, sheet, step), number in steps.items() if (item, sheet) == sheets[0]
    }
    known = {number: step for step, number in mine.items()}
    before: set[str] = set()
    stack = [mine[group.steps[0]]]
    while stack:
        then = stack.pop()
        for a, b in after:
            if b == then and a in known and known[a] not in before:
                before.add(known[a])
                stack.append(a)
    for step in before:
        line = [made.starts[steps[(*sheet, step)]] for sheet in sheets]
        for left, right in itertools.pairwise(line):
            made.cp.add(left <= right)


def _people(made: Model, without: Collection[tuple[str, str]]) -> None:
    if ("people", "") in without:
        return
    cp, shop = made.cp, made.problem.shop
    spans: list[tuple[Any, int]] = []
    for start, end, size, used in made.hands:
        if used is True:
            spans.append((cp.new_fixed_size_interval_var(start, size, ""), 1))
        else:
            spans.append((cp.new_optional_interval_var(start, size, end, used, ""), 1))
    if any(not isinstance(size, int) for _, _, size, _ in made.hands):
        for (_, a), (b, _) in itertools.pairwise(made.stretches):
            if b > a:
                spans.append((cp.new_fixed_size_interval_var(a, b - a, ""), shop.people))
        if made.stretches:
            last = made.stretches[-1][1]
            for _, end, size, used in made.hands:
                if not isinstance(size, int):
                    cp.add(end <= last).only_enforce_if(used)
    begun = [
        (block.start, block.end)
        for block in made.laid.blocks
        if block.hands and block.start is not None
    ]
    spans += _profile(made, begun, shop.people)
    _capacity(cp, spans, shop.people)


def _places(
    made: Model, more: dict[str, list[tuple[Any, int]]], without: Collection[tuple[str, str]],
    horizon: int,
) -> None:  # fmt: skip
    cp, laid = made.cp, made.laid
    spans: dict[str, list[tuple[Any, int]]] = {name: list(held) for name, held in more.items()}
    begun: dict[str, list[tuple[int | None, int | None]]] = {}
    slotted = {
        laid.of[work.id]
        for group in made.groups
        for work in made.problem.works
        if (work.item, work.sheet) in group.sheets and work.step in group.steps
    }
    now = up(made.problem.now, made.problem.shop.grid_min)
    held = [
        (name, i, i) for i, one in enumerate(laid.blocks) for name in one.uses if i not in slotted
    ]
    held += [(one.equipment, one.first, one.last) for one in laid.spans]
    for name, first, last in held:
        a, b = laid.blocks[first], laid.blocks[last]
        if b.start is not None:
            begun.setdefault(name, []).append((a.start, b.end))
        elif first == last:
            spans.setdefault(name, []).append(
                (cp.new_fixed_size_interval_var(made.starts[first], a.size, ""), 1)
            )
        else:
            start = made.starts[first] if a.start is None else now
            size = cp.new_int_var(0, max(horizon, now), "")
            spans.setdefault(name, []).append(
                (cp.new_interval_var(start, size, made.ends[last], ""), 1)
            )
    for name, mine in spans.items():
        if ("places", name) not in without:
            places = made.problem.shop.places[name]
            _capacity(cp, [*mine, *_profile(made, begun.get(name, []), places)], places)


def _profile(
    made: Model, begun: Sequence[tuple[int | None, int | None]], most: int
) -> list[tuple[Any, int]]:
    """What has begun, from now on, never more than there is: it stands whatever the rules say."""
    grid = made.problem.shop.grid_min
    now = up(made.problem.now, grid)
    parts = [(now, up(b, grid)) for a, b in begun if a is not None and b is not None]
    marks = sorted({now, *(b for _, b in parts if b > now)})
    out = []
    for a, b in itertools.pairwise(marks):
        load = min(most, sum(end > a for _, end in parts))
        if load:
            out.append((made.cp.new_fixed_size_interval_var(a, b - a, ""), load))
    return out


def _capacity(cp: cp_model.CpModel, spans: Sequence[tuple[Any, int]], most: int) -> None:
    if most == 1 and all(load == 1 for _, load in spans):
        cp.add_no_overlap([one for one, _ in spans])
    elif sum(load for _, load in spans) > most:
        cp.add_cumulative([one for one, _ in spans], [load for _, load in spans], most)


def _sittings(made: Model) -> None:
    """Which stretch of hours each work of hands lies in: no stretch holds more than its length."""
    cp, people = made.cp, made.problem.shop.people
    load: list[list[Any]] = [[] for _ in made.stretches]
    for start, end, size, used in made.hands:
        least = size if isinstance(size, int) else 1
        row = []
        for number, (a, b) in enumerate(made.stretches):
            if b - a < least:
                continue
            lit = cp.new_bool_var("")
            cp.add(start >= a).only_enforce_if(lit)
            cp.add(end <= b).only_enforce_if(lit)
            row.append(lit)
            load[number].append(least * lit)
        if used is True:
            cp.add_exactly_one(row)
        else:
            cp.add(sum(row) == used)
    for (a, b), mine in zip(made.stretches, load, strict=True):
        if mine:
            cp.add(sum(mine) <= (b - a) * people)


def hint(made: Model, starts: Mapping[str, int]) -> None:
    """Hint starts [min] by work; sheets of a free group that began together share a slot."""
    grid, cp = made.problem.shop.grid_min, made.cp
    for number, block in enumerate(made.laid.blocks):
        known = [starts[id] for id in block.works if id in starts]
        if known and block.start is None:
            cp.add_hint(made.starts[number], min(known) // grid)
    by = {(work.item, work.sheet, work.step): work.id for work in made.problem.works}
    for group, x, slots in zip(made.groups, made.slots, made.slot_starts, strict=True):
        first = [starts.get(by[(*sheet, group.steps[0])]) for sheet in group.sheets]
        if None in first:
            continue
        runs: list[list[int]] = []
        for i in sorted(range(len(first)), key=lambda i: (first[i], i)):
            if runs and first[runs[-1][0]] == first[i] and len(runs[-1]) < group.most:
                runs[-1].append(i)
            else:
                runs.append([i])
        for k, run in enumerate(runs):
            for i in range(len(first)):
                cp.add_hint(x[i][k], i in run)
            for step, var in zip(group.steps, slots[k], strict=True):
                id = by[(*group.sheets[run[0]], step)]
                if id in starts:
                    cp.add_hint(var, starts[id] // grid)


def runs_found(made: Model, value: Any) -> tuple[Run, ...]:
    """Every tray run of a solution; ``value`` reads a variable."""
    out = list(made.runs)
    for group, x in zip(made.groups, made.slots, strict=True):
        for k in range(len(group.sheets)):
            members = tuple(
                sheet for sheet, row in zip(group.sheets, x, strict=True) if value(row[k])
            )
            if members:
                out.append(Run(group.tray, members))
    return tuple(out)
