"""Why an item goes or stays, and whether to wait: each answer is the difference of two plans.

A difference is exact for the two plans compared. It is what the item is worth to the best plan only
where both are proved the best; otherwise it is about that.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from quirewell.science.planning.parcel_search import SECONDS, Found, solve
from quirewell.science.planning.parcels import Item, Option, Parcel, Problem, Tier, Wish

Question = Literal["without", "with", "sooner"]


@dataclass(frozen=True, slots=True)
class Answer:
    """A question about one item: the best plan without it ("without", it goes), with it ("with", it
    stays), or with it in an earlier parcel or not at all ("sooner", it waits)."""

    item: str
    question: Question
    other: Found


@dataclass(frozen=True, slots=True)
class NowOrWait:
    """The first question: the best plan with the first parcel only, and the best plan when ``more``
    further items, that by themselves neither gain nor lose, come for the parcels after it."""

    first: str
    now: Found
    more: int
    with_more: Found


def first_parcel(problem: Problem) -> Parcel:
    """The parcel that goes first (of several at once, the cheapest to send)."""
    return min(problem.parcels, key=lambda p: (p.week, p.fixed, p.name))


def _but(wish: Wish, item: str, question: Question, sooner: frozenset[str]) -> Wish:
    if question == "with":
        return replace(wish, inside=wish.inside | {item})
    if question == "without":
        return replace(wish, outside=wish.outside | {item}, inside=wish.inside - {item})
    return replace(wish, inside=wish.inside - {item}, only={**wish.only, item: sooner})


def answers(
    problem: Problem,
    options: Sequence[Option],
    best: Found,
    wish: Wish,
    clock: Callable[[], Callable[[], float]] = lambda: lambda: SECONDS,
    stopped: Callable[[], bool] = lambda: False,
) -> list[Answer]:
    """An answer for each item, by searching again, those that go first; those after ``stopped``
    are left out. Items that no tier and parcel takes have none. ``clock`` starts a count of the
    seconds left for one answer."""
    weeks = {parcel.name: parcel.week for parcel in problem.parcels}
    able = {one.item for one in options}
    out: list[Answer] = []
    for item in sorted(problem.items, key=lambda one: (one.name not in best.chosen, one.name)):
        if item.name not in able:
            continue
        asked: list[Question] = []
        sooner: frozenset[str] = frozenset()
        if item.name in best.chosen:
            asked.append("without")
            at = weeks[best.chosen[item.name].parcel]
            sooner = frozenset(
                o.parcel for o in options if o.item == item.name and weeks[o.parcel] < at
            )
            if sooner:
                asked.append("sooner")
        elif item.name not in wish.outside:
            asked.append("with")
        for question in asked:
            if stopped():
                return out
            other = solve(
                problem, options, _but(wish, item.name, question, sooner),
                left=clock(),
            )  # fmt: skip
            out.append(Answer(item.name, question, other))
    return out


def now_or_wait(
    problem: Problem, options: Sequence[Option], wish: Wish, more: int = 2,
    left: Callable[[], float] = lambda: SECONDS,
) -> NowOrWait:  # fmt: skip
    """Send with the first parcel, or wait: both sides by search."""
    first = first_parcel(problem)
    now = solve(problem, [o for o in options if o.parcel == first.name], wish, left=left)
    later = [p for p in problem.parcels if p.week > first.week] or [first]
    return NowOrWait(first.name, now, more, solve(
        problem, [*options, *_neutral(problem.tiers, later, more)], wish, left=left,
    ))  # fmt: skip


def _neutral(tiers: Sequence[Tier], parcels: Sequence[Parcel], count: int) -> list[Option]:
    """Items that only count: no gain, nothing declared, no work, nothing paid."""
    return [
        Option(f"\0more {i}", "", tier.name, parcel.name, 0, 0, 0, 0)
        for i in range(count) for tier in tiers for parcel in parcels
    ]  # fmt: skip


def neutral(name: str) -> bool:
    """Whether a name in a plan stands for an item that is not there yet."""
    return name.startswith("\0")


def nearest(item: Item, options: Sequence[Option]) -> Option | None:
    """The item's own best way, before any fixed cost; None where nothing takes it."""
    own = [one for one in options if one.item == item.name]
    return max(own, key=lambda one: (one.gain, one.key)) if own else None
