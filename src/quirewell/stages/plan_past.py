"""What is known of the past made whole before a plan is worked out anew.

Nobody notes everything with wet hands. What has begun shows that what goes before it is over; a
sheet laid down goes on by itself; a bath nobody has ended still goes on. What is taken so is said.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from quirewell.science.planning.bench_shop import Fixed, Wait, Work


@dataclass(frozen=True, slots=True)
class Past:
    """What happened, each work begun before now with its end where it is over; waits, those let go
    that reality has broken; works taken as over, as begun, as still in a bath, and late already.
    ``first`` are the waits with late works held to be done first, one after another."""

    fixed: tuple[Fixed, ...]
    waits: tuple[Wait, ...]
    over: tuple[str, ...] = ()
    begun: tuple[str, ...] = ()
    soaking: tuple[str, ...] = ()
    late: tuple[str, ...] = ()
    first: tuple[Wait, ...] = ()


def made_whole(
    works: Sequence[Work], waits: Sequence[Wait], fixed: Iterable[Fixed], now: int,
    hours: Sequence[tuple[int, int]],
) -> Past:  # fmt: skip
    """The past of a plan at ``now`` [min], made whole."""
    by_id = {work.id: work for work in works}
    held = {one.work: one for one in fixed}
    if not held:
        return Past((), tuple(waits))
    over = _before(by_id, waits, held)
    begun = _by_itself(by_id, waits, held, now)
    soaking = _still(by_id, waits, held, now)
    late: list[str] = []
    kept = []
    for wait in waits:
        first = held.get(wait.before)
        if first is not None and first.end is not None and wait.after not in held:
            wait = _let_go(wait, first.end, now, by_id[wait.after], hours, late)
        kept.append(wait)
    return Past(
        tuple(held.values()), tuple(kept), tuple(over), tuple(begun), tuple(soaking), tuple(late),
        _first(by_id, kept, held, late, now, hours) if late else (),
    )  # fmt: skip


def _first(
    works: Mapping[str, Work], waits: Sequence[Wait], held: Mapping[str, Fixed],
    late: Sequence[str], now: int, hours: Sequence[tuple[int, int]],
) -> tuple[Wait, ...]:  # fmt: skip
    """Waits with a new limit for what is late: by when one pair of hands could have begun all of
    it, one work after another, once it is free."""
    busy = [
        one.start + works[one.work].minutes
        for one in held.values()
        if one.end is None and works[one.work].hands
    ]
    at = max([now, *busy])
    for id in dict.fromkeys(late):
        minutes = works[id].minutes
        spans = [(max(a, at), b) for a, b in hours if max(a, at) + minutes <= b]
        if works[id].hands and spans:
            begin = min(spans)[0]
            last, at = begin, begin + minutes
        else:
            last = at
    out = []
    for wait in waits:
        one = held.get(wait.before)
        if wait.after in late and wait.most is None and one is not None and one.end is not None:
            wait = replace(wait, most=max(last - one.end, wait.least))
        out.append(wait)
    return tuple(out)


def _before(works: Mapping[str, Work], waits: Sequence[Wait], held: dict[str, Fixed]) -> list[str]:
    """Ends of all that goes before what has begun; its times, where nobody noted them, are the
    latest that fit."""
    into: dict[str, list[Wait]] = {}
    for wait in waits:
        into.setdefault(wait.after, []).append(wait)
    taken: list[str] = []
    stack = list(held)
    while stack:
        after = held[stack.pop()]
        for wait in into.get(after.work, []):
            known = held.get(wait.before)
            if known is not None and known.end is not None:
                continue
            end = after.start - wait.least
            begin = end - works[wait.before].minutes if known is None else known.start
            end = max(begin, after.start if end < begin else end)
            held[wait.before] = Fixed(wait.before, begin, end)
            taken.append(wait.before)
            stack.append(wait.before)
    return taken


def _by_itself(
    works: Mapping[str, Work], waits: Sequence[Wait], held: dict[str, Fixed], now: int
) -> list[str]:
    """What needs no hand and had to follow at once has begun (a sheet laid on the rack dries)."""
    taken: list[str] = []
    more = True
    while more:
        more = False
        for wait in waits:
            first = held.get(wait.before)
            if (
                first is None or first.end is None or wait.most is None or wait.after in held
                or works[wait.after].hands or first.end + wait.most >= now
            ):  # fmt: skip
                continue
            held[wait.after] = Fixed(wait.after, first.end + wait.least)
            taken.append(wait.after)
            more = True
            _end(works, waits, held, wait.after, now)
    return taken


def _still(
    works: Mapping[str, Work], waits: Sequence[Wait], held: dict[str, Fixed], now: int
) -> list[str]:
    """What nobody ended though its time is over: a bath goes on until now, all else ended as
    planned."""
    soaking = []
    for id in list(held):
        if _end(works, waits, held, id, now):
            soaking.append(id)
    return soaking


def _end(
    works: Mapping[str, Work], waits: Sequence[Wait], held: dict[str, Fixed], id: str, now: int
) -> bool:
    one = held[id]
    planned = one.start + works[id].minutes
    if one.end is not None or planned > now:
        return False
    next_begun = any(wait.before == id and wait.after in held for wait in waits)
    bath = (
        not works[id].hands
        and not next_begun
        and any(wait.before == id and wait.wet and wait.most is not None for wait in waits)
    )
    held[id] = replace(one, end=now if bath else planned)
    return bath and now > planned


def _let_go(
    wait: Wait, end: int, now: int, after: Work, hours: Sequence[tuple[int, int]], late: list[str]
) -> Wait:
    """A wait whose end has passed, or passes before anybody is there, is let go and said."""
    if wait.most is None:
        return wait
    last = end + wait.most
    could = now <= last and (
        not after.hands
        or any(max(a, now, end + wait.least) + after.minutes <= b
               and max(a, now, end + wait.least) <= last for a, b in hours)
    )  # fmt: skip
    if could:
        return wait
    late.append(wait.after)
    return replace(wait, most=None)
