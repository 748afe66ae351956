"""What a search for parcels found, as text that a later check can hold against the rules.

A search is not run again years later: it may be stopped, and another solver may find another of
several best plans. What it found is kept: the plan, and for every answer the plan it compares with.
Read back, each is held against the rules and its gain worked out anew. What cannot be checked so,
the solver's bound, is called stated.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from quirewell.science.planning.parcel_answers import (
    Answer,
    NowOrWait,
    answers,
    first_parcel,
    neutral,
    now_or_wait,
)
from quirewell.science.planning.parcel_search import SECONDS, Found, every_option, solve
from quirewell.science.planning.parcels import Option, Problem, Wish, broken, total

# Seconds for one answer at most, and rounds in which an answer's plan may better the plan itself.
ANSWER_S, ROUNDS = 2.0, 3


@dataclass(frozen=True, slots=True)
class Kept:
    """Everything found: the plan under the wish, the plan without it (None: nothing was wished),
    the first question, the answers; ``whole``: every item was asked about."""

    best: Found
    plain: Found | None
    first: NowOrWait | None
    answers: tuple[Answer, ...]
    whole: bool


def search(
    problem: Problem,
    wish: Wish,
    more: int,
    *,
    seconds: float = SECONDS,
    gap: float | None = None,
    progress: Callable[[Found], None] = lambda found: None,
    stopped: Callable[[], bool] = lambda: False,
) -> Kept:
    """Search for the plan and the answers; ``seconds`` bound the plan's own search,
    and the answers' once more."""
    options = every_option(problem)
    best = solve(
        problem, options, wish, gap=gap, left=_clock(seconds), progress=progress, stopped=stopped
    )
    plain = None
    if wish != Wish():
        plain = solve(problem, options, gap=gap, left=_clock(seconds), stopped=stopped)
    if best.why == "impossible" or not problem.parcels or not problem.tiers:
        return Kept(best, plain, None, (), True)
    left = _clock(seconds)
    first, told, whole = None, [], False
    for _ in range(ROUNDS):
        late = [False]

        def over(late: list[bool] = late) -> bool:
            late[0] = late[0] or stopped() or left() <= 0
            return late[0]

        first = (
            None
            if over()
            else now_or_wait(problem, options, wish, more, _clock(min(left(), seconds / 4)))
        )
        told = answers(problem, options, best, wish, lambda: _clock(min(left(), ANSWER_S)), over)
        whole = not late[0]
        better = _better(problem, wish, best, first, told)
        if better is None:
            break
        best = better
    return Kept(best, plain, first, tuple(told), whole)


def _better(
    problem: Problem, wish: Wish, best: Found, first: NowOrWait | None, told: Sequence[Answer]
) -> Found | None:
    """An answer's plan that keeps the wish and beats the plan, where the plan was not proved."""
    plans = [one.other for one in told] + ([first.now] if first else [])
    able = [p for p in plans if p.why != "impossible" and not broken(problem, p.chosen, wish)]
    top = max(able, key=lambda plan: plan.gain, default=best)
    if top.gain <= best.gain:
        return None
    proved = best.bound is not None and top.gain >= best.bound
    return Found(top.chosen, top.gain, best.bound, "proved" if proved else best.why)


def _clock(seconds: float) -> Callable[[], float]:
    """Seconds left from now on."""
    until = time.monotonic() + seconds
    return lambda: until - time.monotonic()


def to_text(kept: Kept) -> str:
    """What was found as text; answers as changes from the plan."""
    base = kept.best.chosen
    data: dict[str, Any] = {"best": _said(kept.best, {}), "whole": kept.whole}
    if kept.plain is not None:
        data["plain"] = _said(kept.plain, base)
    if kept.first is not None:
        data["first"] = {
            "now": _said(kept.first.now, base), "more": kept.first.more,
            "with_more": _said(kept.first.with_more, base),
        }  # fmt: skip
    data["answers"] = [
        {"item": one.item, "question": one.question, **_said(one.other, base)}
        for one in kept.answers
    ]
    return json.dumps(data, sort_keys=True, separators=(",", ":"))


def _said(found: Found, base: Mapping[str, Option]) -> dict[str, Any]:
    changed = {
        name: list(option.key) for name, option in found.chosen.items()
        if base.get(name) != option
    }  # fmt: skip
    gone = sorted(set(base) - set(found.chosen))
    return {"goes": changed, "stays": gone, "bound": found.bound, "why": found.why}


def from_text(text: str, problem: Problem, wish: Wish) -> Kept:
    """Read back what was found; every plan is held against the rules and summed again.

    Raises:
        ValueError: for what is no such text, or a plan that breaks a rule.
    """
    options: dict[tuple[str, ...], Option] = {
        (one.item, *one.key): one for one in every_option(problem)
    }
    try:
        data = json.loads(text)
        best = _read(data["best"], {}, options, problem, wish)
        base = best.chosen
        plain = None
        if "plain" in data:
            plain = _read(data["plain"], base, options, problem, Wish())
        first = None
        if "first" in data:
            start = first_parcel(problem).name
            row = data["first"]
            now = _read(row["now"], base, options, problem, wish)
            if any(one.parcel != start for one in now.chosen.values()):
                raise ValueError("the plan for the first parcel sends with another")
            grown = _read(row["with_more"], base, options, problem, wish)
            first = NowOrWait(start, now, int(row["more"]), grown)
        told = tuple(_answer(row, base, options, problem, wish) for row in data["answers"])
        return Kept(best, plain, first, told, bool(data["whole"]))
    except (KeyError, TypeError, json.JSONDecodeError) as error:
        raise ValueError(f"what was found cannot be read back: {error}") from error


def _answer(
    row: Mapping[str, Any], base: Mapping[str, Option],
    options: Mapping[tuple[str, ...], Option], problem: Problem, wish: Wish,
) -> Answer:  # fmt: skip
    item, question = str(row["item"]), row["question"]
    asked = replace(wish, inside=wish.inside - {item})
    if question == "with":
        asked = replace(wish, inside=wish.inside | {item})
    elif question == "without":
        asked = replace(asked, outside=wish.outside | {item})
    other = _read(row, base, options, problem, asked)
    if question == "sooner" and item in other.chosen:
        weeks = {parcel.name: parcel.week for parcel in problem.parcels}
        if weeks[other.chosen[item].parcel] >= weeks[base[item].parcel]:
            raise ValueError(f"the plan that sends {item!r} sooner does not")
    return Answer(item, question, other)


def _read(
    row: Mapping[str, Any], base: Mapping[str, Option],
    options: Mapping[tuple[str, ...], Option], problem: Problem, wish: Wish,
) -> Found:  # fmt: skip
    bound = None if row["bound"] is None else int(row["bound"])
    if row["why"] == "impossible":
        return Found({}, 0, bound, "impossible")
    chosen = {name: option for name, option in base.items() if name not in row["stays"]}
    for name, key in row["goes"].items():
        if neutral(name):
            way, tier, parcel = map(str, key)
            chosen[name] = Option(name, way, tier, parcel, 0, 0, 0, 0)
        else:
            chosen[name] = options[name, *key]
    # A search cut short may have met nothing that holds what was asked; then it says nothing.
    rules = broken(problem, chosen, wish)
    if rules and not (row["why"] in ("time", "stopped") and not chosen):
        raise ValueError(f"a plan that was kept breaks a rule: {'; '.join(rules)}")
    gain = total(problem, chosen)
    if bound is not None and gain > bound:
        raise ValueError("a plan that was kept passes the bound it was kept with")
    return Found(chosen, gain, bound, str(row["why"]))
