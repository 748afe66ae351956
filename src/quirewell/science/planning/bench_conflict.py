"""Why a plan cannot be: a smallest set of rules that cannot hold together, in plain words.

Rules are left out one after another; one without which there is still no plan is no part of it.
What stays is minimal: with any one of them left out there is a plan.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from quirewell.science.planning.bench_blocks import up
from quirewell.science.planning.bench_shop import Problem, Wait

Rule = tuple[str, str]
Possible = Callable[[Problem, Sequence[Rule], float], bool | None]


def conflict(problem: Problem, possible: Possible, seconds: float) -> tuple[str, ...]:
    """The rules of a minimal conflict in words; ``possible`` asks for a plan without some rules."""
    return tuple(words(problem, rule) for rule in smallest(problem, possible, seconds))


def smallest(problem: Problem, possible: Possible, seconds: float) -> tuple[Rule, ...]:
    """A minimal conflict by leaving out; within ``seconds`` [s], what stays open is kept."""
    kept = list(rules(problem))
    left: list[Rule] = []
    each = max(0.2, min(3.0, seconds / max(1, len(kept))))
    for rule in rules(problem):
        if possible(problem, [*left, rule], each) is False:
            left.append(rule)
            kept.remove(rule)
    return tuple(kept)


def rules(problem: Problem) -> tuple[Rule, ...]:
    """The rules a conflict may name, those a person would rather keep last."""
    step = {work.id: work.step for work in problem.works}
    out: dict[Rule, None] = {("last", ""): None}
    for least in (True, False):
        for wait in problem.waits:
            if wait.least if least else wait.most is not None:
                name = f"{step[wait.before]}\n{step[wait.after]}"
                out["least" if least else "most", name] = None
    used = {name for work in problem.works for name in work.uses}
    used |= {one.equipment for one in problem.holds} | {one.equipment for one in problem.trays}
    out |= {("places", name): None for name in sorted(used)}
    out |= {("people", ""): None, ("hours", ""): None}
    return tuple(out)


def words(problem: Problem, rule: Rule) -> str:
    """A rule in words."""
    kind, name = rule
    if kind in ("least", "most"):
        return _wait_words(problem, kind, name)
    if kind == "places":
        return f"{name}: {problem.shop.places[name]} at once"
    if kind == "people":
        return f"hands: {problem.shop.people} at once"
    if kind == "last":
        last = max((end for _, end in problem.shop.hours), default=problem.now)
        return f"everything with hands is done by {_moment(last)}, where the hours given end"
    held = [b - a for a, b in problem.shop.hours if b > problem.now]
    longest = max(held, default=0)
    work = max((one for one in problem.works if one.hands), key=lambda one: one.minutes)
    most = up(work.minutes, problem.shop.grid_min) * problem.shop.grid_min
    more = f"; {_plain(work.step)} takes {most} min without a break" if most > longest else ""
    return f"hands only within working hours, {longest} min at the longest{more}"


def _wait_words(problem: Problem, kind: str, name: str) -> str:
    step = {work.id: work.step for work in problem.works}
    mine: list[Wait] = [
        one for one in problem.waits if f"{step[one.before]}\n{step[one.after]}" == name
    ]
    before, after = map(_plain, name.split("\n"))
    if kind == "least":
        return f"{after} at least {max(one.least for one in mine)} min after {before}"
    most = min(one.most for one in mine if one.most is not None)
    return (
        f"{after} at once after {before}"
        if not most
        else (f"{after} at most {most} min after {before}")
    )


def _plain(step: str) -> str:
    return step.partition("@")[0]


def _moment(minute: int) -> str:
    day, rest = divmod(minute, 1440)
    return f"day {day + 1}, {rest // 60:02d}:{rest % 60:02d}"
