"""A bench plan held against every rule, by a checker that knows no solver.

It reads the problem and the answer alone, in minutes, and shares no code with what made the plan.
What has begun is taken as it was: no rule is held against the past.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping

from quirewell.science.planning.bench_shop import Answer, Placed, Problem, Tray, Work


def broken(problem: Problem, answer: Answer) -> tuple[str, ...]:
    """The rules a plan breaks, in words; none where it keeps them all."""
    at = {one.work: one for one in answer.placed}
    names = [work.id for work in problem.works]
    if len(at) != len(answer.placed) or sorted(at) != sorted(names):
        return ("the plan does not place every work once",)
    out = [*_begun(problem, at), *_lengths(problem, at), *_hours(problem, at)]
    out += [*_waits(problem, at), *_trays(problem, at), *_people(problem, at)]
    out += _places(problem, at)
    if answer.makespan is not None and answer.makespan != max(
        (one.end for one in answer.placed), default=problem.now
    ):
        out.append("the end that is said is not the end of the last work")
    return tuple(dict.fromkeys(out))


def _begun(problem: Problem, at: Mapping[str, Placed]) -> Iterable[str]:
    past = {one.work: one for one in problem.fixed}
    for id, one in at.items():
        fixed = past.get(id)
        if fixed is None:
            if one.start < problem.now:
                yield f"{id} starts at {one.start}, before now ({problem.now})"
            if one.start % problem.shop.grid_min:
                yield f"{id} starts at {one.start}, off the grid of {problem.shop.grid_min} min"
        elif one.start != fixed.start:
            yield f"{id} has begun at {fixed.start}, and the plan says {one.start}"
        elif fixed.end is not None and one.end != fixed.end:
            yield f"{id} has ended at {fixed.end}, and the plan says {one.end}"
        elif fixed.end is None and one.end < problem.now:
            yield f"{id} goes on, and the plan has it ended at {one.end}"


def _shared(problem: Problem, at: Mapping[str, Placed]) -> dict[tuple[int, str, str], list[Work]]:
    """Works by tray, run and step."""
    out: dict[tuple[int, str, str], list[Work]] = {}
    for work in problem.works:
        for number, tray in enumerate(problem.trays):
            if work.step in tray.steps:
                out.setdefault((number, at[work.id].together, work.step), []).append(work)
    return out


def _lengths(problem: Problem, at: Mapping[str, Placed]) -> Iterable[str]:
    """As long as the work, in a tray as long as its longest member, rounded up to the grid."""
    grid = problem.shop.grid_min
    past = {one.work for one in problem.fixed}
    longest = {work.id: work.minutes for work in problem.works}
    for works in _shared(problem, at).values():
        most = max(work.minutes for work in works)
        longest.update({work.id: most for work in works})
        if any(work.id in past for work in works):
            past |= {work.id for work in works}
    ended = {one.work for one in problem.fixed if one.end is not None}
    for work in problem.works:
        one, want = at[work.id], -(-longest[work.id] // grid) * grid
        if work.id in past:
            if work.id not in ended and one.end < one.start + want:
                yield f"{work.id} goes on for {want} min, got {one.end - one.start}"
        elif one.end - one.start != want:
            yield f"{work.id} takes {want} min, got {one.end - one.start}"


def _hours(problem: Problem, at: Mapping[str, Placed]) -> Iterable[str]:
    stretches: list[list[int]] = []
    for start, end in sorted(problem.shop.hours):
        if stretches and start <= stretches[-1][1]:
            stretches[-1][1] = max(end, stretches[-1][1])
        else:
            stretches.append([start, end])
    past = _past(problem, at)
    for work in problem.works:
        one = at[work.id]
        if _hands(problem, at, work) and work.id not in past and not any(
            a <= one.start and one.end <= b for a, b in stretches
        ):  # fmt: skip
            yield f"{work.id} needs hands from {one.start} to {one.end}, outside working hours"


def _past(problem: Problem, at: Mapping[str, Placed]) -> set[str]:
    """Works that have begun, with those that share their tray at that step."""
    past = {one.work for one in problem.fixed}
    for works in _shared(problem, at).values():
        if any(work.id in past for work in works):
            past |= {work.id for work in works}
    return past


def _hands(problem: Problem, at: Mapping[str, Placed], work: Work) -> bool:
    if work.hands:
        return True
    return any(
        other.hands for works in _shared(problem, at).values() if work in works for other in works
    )


def _waits(problem: Problem, at: Mapping[str, Placed]) -> Iterable[str]:
    past = _past(problem, at)
    ends = {id: one.end for id, one in at.items()}
    for works in _shared(problem, at).values():
        last = max(at[work.id].end for work in works)
        ends.update({work.id: last for work in works})
    for wait in problem.waits:
        if wait.after in past:
            continue
        gap = at[wait.after].start - ends[wait.before]
        if gap < wait.least:
            yield f"{wait.after} starts {gap} min after {wait.before}, at least {wait.least}"
        if wait.most is not None and gap > wait.most:
            yield f"{wait.after} starts {gap} min after {wait.before}, at most {wait.most}"


def _trays(problem: Problem, at: Mapping[str, Placed]) -> Iterable[str]:
    past = _past(problem, at)
    given = {sheet: number for number, one in enumerate(problem.given or ()) for sheet in one}
    for number, tray in enumerate(problem.trays):
        runs: dict[str, dict[tuple[str, str], list[Work]]] = {}
        lies: dict[tuple[str, str], str] = {}
        for work in problem.works:
            if work.step not in tray.steps:
                continue
            run, sheet = at[work.id].together, (work.item, work.sheet)
            if not run:
                yield f"{work.id} lies in no tray"
            if lies.setdefault(sheet, run) != run:
                yield f"{work.sheet} of {work.item} changes its tray between steps"
            runs.setdefault(run, {}).setdefault(sheet, []).append(work)
        for run, sheets in runs.items():
            yield from _run(problem, at, number, run, sheets, past)
        for one, first in given.items():
            for other, second in given.items():
                if one not in lies or other not in lies or one >= other:
                    continue
                if (first == second) != (lies[one] == lies[other]):
                    yield f"{one[1]} and {other[1]} are not in the trays they were given"


def _run(
    problem: Problem, at: Mapping[str, Placed], number: int, run: str,
    sheets: Mapping[tuple[str, str], list[Work]], past: set[str],
) -> Iterable[str]:  # fmt: skip
    tray: Tray = problem.trays[number]
    if len(sheets) > tray.most:
        yield f"tray {run} holds {len(sheets)} sheets, at most {tray.most}"
    if len(sheets) > 1 and any(sheet in tray.alone for _, sheet in sheets):
        yield f"tray {run} holds a sheet that goes alone with others"
    if not tray.mix_items and len({item for item, _ in sheets}) > 1:
        yield f"tray {run} holds sheets of two items"
    steps: dict[str, set[tuple[int, int]]] = {}
    for works in sheets.values():
        if {work.step for work in works} != {w.step for w in next(iter(sheets.values()))}:
            yield f"tray {run} holds sheets with different steps"
        for work in works:
            if work.id not in past:
                steps.setdefault(work.step, set()).add((at[work.id].start, at[work.id].end))
        line = sorted((work for work in works), key=lambda work: tray.steps.index(work.step))
        for before, after in itertools.pairwise(line):
            if after.id not in past and at[after.id].start < at[before.id].end:
                yield f"{after.id} starts before {before.id} ends, out of order in its tray"
    for step, times in steps.items():
        if len(times) > 1:
            yield f"sheets in tray {run} are not together at {step}"


def _people(problem: Problem, at: Mapping[str, Placed]) -> Iterable[str]:
    spans: dict[object, tuple[int, int, bool]] = {}
    past = {one.work for one in problem.fixed}
    shared = {
        work.id: (number, run, step)
        for (number, run, step), works in _shared(problem, at).items()
        for work in works
    }
    for work in problem.works:
        if not _hands(problem, at, work):
            continue
        key = shared.get(work.id, work.id)
        _widen(spans, key, at[work.id].start, at[work.id].end, work.id in past)
    yield from _over("hands", list(spans.values()), problem.shop.people, problem.now)


def _places(problem: Problem, at: Mapping[str, Placed]) -> Iterable[str]:
    """Places of each equipment, one for a work that uses it, a hold, or a whole tray run."""
    past = {one.work for one in problem.fixed}
    spans: dict[str, dict[object, tuple[int, int, bool]]] = {}
    shared = {}
    for (number, run, step), works in _shared(problem, at).items():
        tray = problem.trays[number]
        for work in works:
            shared[work.id] = (number, run, step), tray.equipment
            held = spans.setdefault(tray.equipment, {})
            _widen(held, (number, run), at[work.id].start, at[work.id].end, work.id in past)
    for work in problem.works:
        key, tray_name = shared.get(work.id, (work.id, ""))
        for name in work.uses:
            if name != tray_name:
                held = spans.setdefault(name, {})
                _widen(held, key, at[work.id].start, at[work.id].end, work.id in past)
    for number, hold in enumerate(problem.holds):
        start, end = at[hold.first].start, at[hold.last].end
        for works in _shared(problem, at).values():
            if any(work.id == hold.last for work in works):
                end = max(end, *(at[work.id].end for work in works))
        held = spans.setdefault(hold.equipment, {})
        held[hold.first, hold.last, number] = (start, end, hold.first in past)
    for name, mine in spans.items():
        places = problem.shop.places.get(name, 0)
        yield from _over(name, list(mine.values()), places, problem.now)


def _widen(
    spans: dict[object, tuple[int, int, bool]] | dict[object, tuple[int, int, bool]],
    key: object, start: int, end: int, begun: bool,
) -> None:  # fmt: skip
    a, b, was = spans.get(key, (start, end, begun))
    spans[key] = (min(a, start), max(b, end), was or begun)


def _over(
    name: str, spans: list[tuple[int, int, bool]], most: int, now: int
) -> Iterable[str]:  # fmt: skip
    """Moments from now on with more than ``most``; what has begun alone is no fault."""
    for moment in sorted({start for start, _, _ in spans} | {now}):
        if moment < now:
            continue
        there = [begun for start, end, begun in spans if start <= moment < end]
        if len(there) > most and not all(there):
            yield f"at {moment} {len(there)} need {name}, and there are {most}"
            return
