"""Projects for the tests of the bench plan: job shops, trays, tiny ones, and trying everything."""

from __future__ import annotations

import itertools
import json
import random
from pathlib import Path
from typing import NamedTuple

DATA = Path(__file__).parent / "data" / "job_shop" / "instances.json"


class Project(NamedTuple):
    durations: list[int]
    demands: list[list[int]]
    capacities: list[int]
    lags: list[tuple[int, int, int]]


def job_shop(name: str) -> tuple[Project, int]:
    """A published job shop as a project with one-place machines, and its published optimum."""
    told = json.loads(DATA.read_text(encoding="utf-8"))[name]
    project = Project([], [], [1] * len(told["machines_matrix"][0]), [])
    for lengths, machines in zip(told["duration_matrix"], told["machines_matrix"], strict=True):
        for step, (length, machine) in enumerate(zip(lengths, machines, strict=True)):
            at = len(project.durations)
            if step:
                project.lags.append((at - 1, at, lengths[step - 1]))
            project.durations.append(length)
            project.demands.append([int(k == machine) for k in range(len(project.capacities))])
    return project, told["optimum"]


def baths(batches: int, trays: int, wash: int, wait: int = 10) -> Project:
    """Fill 5, wash, transfer 5 at most ``wait`` later, second bath 20, lift 5 at most ``wait``
    later [min]; one person fills, transfers and lifts. Batches go to the trays in turn; a wait is
    shorter than a wash, so no other batch fits into a tray while one waits there.
    """
    project = Project([], [], [1] + [1] * trays, [])
    for batch in range(batches):
        first = len(project.durations)
        for length, hands in ((5, 1), (wash, 0), (5, 1), (20, 0), (5, 1)):
            project.durations.append(length)
            row = [hands] + [0] * trays
            row[1 + batch % trays] = 1
            project.demands.append(row)
        for step, longest in enumerate((0, wait, 0, wait)):
            length = project.durations[first + step]
            project.lags.append((first + step, first + step + 1, length))
            project.lags.append((first + step + 1, first + step, -length - longest))
    return project


def within(project: Project, window: int) -> Project:
    """The same with a source and a sink of no duration, the sink at most ``window`` later."""
    count = len(project.durations)
    source, sink = count, count + 1
    lags = list(project.lags)
    for i, length in enumerate(project.durations):
        lags += [(source, i, 0), (i, sink, length)]
    lags.append((sink, source, -window))
    nothing = [0] * len(project.capacities)
    return Project(
        [*project.durations, 0, 0], [*project.demands, nothing, nothing], project.capacities, lags
    )


def tiny(seed: int) -> Project:
    """A random project of 2 to 4 activities, often tight enough to be impossible."""
    draw = random.Random(seed)
    count = draw.randint(2, 4)
    capacities = [draw.randint(1, 2) for _ in range(draw.randint(1, 2))]
    durations = [draw.randint(0, 3) for _ in range(count)]
    demands = [[draw.randint(0, c) for c in capacities] for _ in range(count)]
    lags = []
    for i, j in itertools.combinations(range(count), 2):
        if draw.random() < 0.5:
            least = draw.randint(0, 3)
            lags.append((i, j, least))
        if draw.random() < 0.45:
            lags.append((j, i, -draw.randint(1, 3)))
    return Project(durations, demands, capacities, lags)


def by_trying(project: Project) -> int | None:
    """Least makespan of every possible schedule, by trying all; None: there is none.

    Activities are placed in the order of their numbers, each at every start from 0 to the sum of
    all durations and lags: a later start is never needed, as all that comes after an idle time
    can be brought forward.
    """
    durations, demands, capacities, lags = project
    last = sum(durations) + sum(max(d, 0) for _, _, d in lags)
    best: list[int | None] = [None]

    def bears(starts: list[int]) -> bool:
        for moment in set(starts):
            running = [i for i, s in enumerate(starts) if s <= moment < s + durations[i]]
            for k, capacity in enumerate(capacities):
                if sum(demands[i][k] for i in running) > capacity:
                    return False
        return True

    def place(starts: list[int]) -> None:
        end = max((s + p for s, p in zip(starts, durations, strict=False)), default=0)
        if best[0] is not None and end >= best[0]:
            return
        at = len(starts)
        if at and not bears(starts):
            return
        if at == len(durations):
            best[0] = end
            return
        for start in range(last + 1):
            held = [
                (start if j == at else starts[j]) - (start if i == at else starts[i]) >= d
                for i, j, d in lags
                if max(i, j) == at
            ]
            if all(held):
                place([*starts, start])

    place([])
    return best[0]
