"""Which ways of sending an item can be left out of the search without losing the best plan.

A losing item can be worth sending where it fills a tier's minimum count, so that a rule "leave out
what loses" is wrong. Two rules are safe:

- *worse twin*: the item has another way with the same parcel that gains as much or more, declares,
  works and lays out no more, and neither tier counts its items;
- *too dear a filler*: it loses more than the tier would lose without it. Without it a tier that was
  just full enough is closed in that parcel, and each of the other (minimum - 1) items loses at
  most what it gains there over the best uncounted tier in the same parcel, done the same way.
"""

from __future__ import annotations

from collections.abc import Sequence

from quirewell.science.planning.parcels import Option, Problem, Tier, Wish


def counted(tier: Tier) -> bool:
    """Whether the number of items in the tier matters."""
    return tier.minimum > 1 or tier.maximum is not None


def allowed(options: Sequence[Option], wish: Wish) -> list[Option]:
    """Options that what was asked leaves open."""
    return [
        one
        for one in options
        if one.item not in wish.outside
        and one.tier not in wish.closed
        and (one.item not in wish.only or one.parcel in wish.only[one.item])
    ]


def prune(problem: Problem, options: Sequence[Option], inside: frozenset[str]) -> list[Option]:
    """The options that can be in a best plan; ``inside``: items that must go."""
    counting = {tier.name for tier in problem.tiers if counted(tier)}
    kept = _without_twins(options, counting)
    least = {tier.name: tier.minimum for tier in problem.tiers}
    losses = _losses(problem, kept, counting, inside)
    floors: dict[tuple[str, str], float] = {}
    for place, each in losses.items():
        others = least[place[0]] - 1
        floors[place] = -float(sum(sorted(each.values(), reverse=True)[:others])) if others else 0.0
    out = []
    for one in kept:
        floor = floors[one.tier, one.parcel]
        if one.item in inside or (one.gain >= floor if floor < 0 else one.gain > 0):
            out.append(one)
    return out


def _without_twins(options: Sequence[Option], counting: set[str]) -> list[Option]:
    groups: dict[tuple[str, str], list[Option]] = {}
    out = []
    for one in options:
        if one.tier in counting:
            out.append(one)
        else:
            groups.setdefault((one.item, one.parcel), []).append(one)
    for group in groups.values():
        best: list[Option] = []
        for one in sorted(group, key=lambda o: (-o.gain, o.minutes, o.outlay, o.declared, o.key)):
            if not any(
                good.minutes <= one.minutes
                and good.outlay <= one.outlay
                and good.declared <= one.declared
                for good in best
            ):
                best.append(one)
        out += best
    return out


def _losses(
    problem: Problem, options: Sequence[Option], counting: set[str], inside: frozenset[str]
) -> dict[tuple[str, str], dict[str, float]]:
    """For each tier and parcel what each item loses at most when they are closed to it [cents].

    An item that must go may have no other way, so that nothing bounds what a filler is worth to it.
    With a limit on what is spent, only staying at home is sure to be open."""
    instead: dict[tuple[str, str, str], int] = {}
    if problem.spend is None:
        for one in options:
            if one.tier not in counting:
                key = one.item, one.way, one.parcel
                instead[key] = max(instead.get(key, 0), one.gain)
    out: dict[tuple[str, str], dict[str, float]] = {}
    for one in options:
        each = out.setdefault((one.tier, one.parcel), {})
        loss = float(one.gain - instead.get((one.item, one.way, one.parcel), 0))
        if one.item in inside:
            loss = float("inf")
        each[one.item] = max(each.get(one.item, 0.0), loss)
    return out
