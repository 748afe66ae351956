"""Sheets of a group that are all alike: any two of them may change places in a plan."""

from __future__ import annotations

from collections import Counter

from quirewell.science.planning.bench_blocks import Group, Sheet
from quirewell.science.planning.bench_shop import Problem


def alike(problem: Problem, group: Group) -> tuple[tuple[int, ...], ...]:
    """Sets of two or more members (by number) with the same works, waits and holds, none begun."""
    begun = {one.work for one in problem.fixed}
    kinds: dict[object, list[int]] = {}
    for number, sheet in enumerate(group.sheets):
        mine = {work.id for work in problem.works if (work.item, work.sheet) == sheet}
        if not mine & begun:
            kinds.setdefault(_signature(problem, sheet), []).append(number)
    return tuple(tuple(mine) for mine in kinds.values() if len(mine) > 1)


def _signature(problem: Problem, sheet: Sheet) -> object:
    own = {work.id: work for work in problem.works if (work.item, work.sheet) == sheet}

    def name(id: str) -> tuple[bool, str]:
        return (True, own[id].step) if id in own else (False, id)

    works = Counter((one.step, one.minutes, one.hands, one.uses) for one in own.values())
    waits = Counter(
        (name(one.before), name(one.after), one.least, one.most, one.wet)
        for one in problem.waits
        if one.before in own or one.after in own
    )
    holds = Counter(
        (one.equipment, name(one.first), name(one.last))
        for one in problem.holds
        if one.first in own or one.last in own
    )
    trays = tuple(
        (number, sheet[1] in tray.alone)
        for number, tray in enumerate(problem.trays)
        if any(one.step in tray.steps for one in own.values())
    )
    return (
        sheet[0],
        frozenset(works.items()),
        frozenset(waits.items()),
        frozenset(holds.items()),
        trays,
    )
