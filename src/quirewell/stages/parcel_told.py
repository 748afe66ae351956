"""A plan for parcels in sentences: the first answer, and why each item goes, waits or stays."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from quirewell.science.planning.parcel_answers import Answer, nearest, neutral
from quirewell.science.planning.parcel_search import Found
from quirewell.science.planning.parcels import Item, Option, Problem, Wish, why_not
from quirewell.stages.parcel_found import Kept

_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
            "eleven", "twelve")  # fmt: skip
_REASONS = {
    "year": "its year of issue fits no tier's rule of age",
    "no year": "tiers with a rule of age want its year of issue, and none is given",
    "ceiling": "declared at {declared} it passes the ceiling of each tier",
    "ready": "it is ready after the last parcel has gone",
    "cap": "declared at {declared} it is more than a parcel may be insured for",
    "minimum above maximum": "no tier that takes it can be used",
}


@dataclass(frozen=True, slots=True)
class Verdict:
    """The first answer: a word, sentences, what it saves against sending what goes now [cents],
    and what further items would save [cents]."""

    word: str
    says: str
    saves: int | None
    more_saves: int | None


def amount(cents: int) -> str:
    """A sum of money; decimals where it is not whole.

    >>> amount(5200), amount(-1792)
    ('52', '-17.92')
    """
    return f"{cents / 100:.0f}" if cents % 100 == 0 else f"{cents / 100:.2f}"


def count_words(count: int) -> str:
    """A count in words up to twelve."""
    return _NUMBERS[count] if count < len(_NUMBERS) else str(count)


def named(names: Iterable[str]) -> str:
    """Up to three names joined; otherwise nothing."""
    listed = list(names)
    if not 0 < len(listed) <= 3:
        return ""
    return f" ({', '.join(listed[:-1])} and {listed[-1]})" if listed[1:] else f" ({listed[0]})"


def between(better: Found, worse: Found) -> tuple[int, int] | None:
    """Least and most that the best plan of one kind can be above that of another [cents]; None
    where a bound is not known."""
    if better.bound is None or worse.bound is None:
        return None
    return max(0, better.gain - worse.bound), max(0, better.bound - worse.gain)


def _differ(better: Found, worse: Found) -> str:
    """By how much, in words: a sum where both plans are proved, otherwise from and to."""
    ends = between(better, worse)
    if ends is None:
        return f"about {amount(max(0, better.gain - worse.gain))}"
    low, high = ends
    return amount(low) if low == high else f"{amount(low)} to {amount(high)}"


def first_answer(kept: Kept, problem: Problem, currency: str) -> Verdict:
    """Send now, wait, or keep; and what two more would bring."""
    best, first = kept.best, kept.first
    if best.why == "impossible":
        says = (
            "What was asked cannot be: no plan keeps all the rules with it. Let one of the wishes "
            "go, or switch a tier on."
        )
        return Verdict("impossible", says, None, None)
    if first is None and not (problem.tiers and problem.parcels):
        lacks = "tier" if not problem.tiers else "parcel"
        says = f"Keep everything: no {lacks} is open, so nothing can be sent."
        return Verdict("keep", says, None, None)
    if first is None:
        return Verdict("not asked", "Whether to wait was not asked: time was up.", None, None)
    goes = [name for name, one in best.chosen.items() if one.parcel == first.first]
    later = [name for name in best.chosen if name not in goes]
    saves = None if first.now.why == "impossible" else best.gain - first.now.gain
    if not best.chosen:
        word, says = "keep", _keep(kept, currency)
    elif not later:
        word = "send now"
        says = f"Send {count_words(len(goes))} now, with {first.first}."
    else:
        start = next(p.week for p in problem.parcels if p.name == first.first)
        coming = sorted(i.name for i in problem.items if i.name in later and i.ready > start)
        word = "some now" if goes else "wait"
        says = f"Send {count_words(len(goes))} now, with {first.first}; " if goes else "Wait: "
        says += f"{count_words(len(later))} {'go' if len(later) > 1 else 'goes'} later"
        if coming:
            some = count_words(len(coming)) if len(coming) < len(later) else "all"
            says += f", {some} of them not ready yet{named(coming)}"
        if saves is not None:
            says += f". Against sending all that goes with {first.first} and nothing after it, "
            says += f"this saves {_differ(best, first.now)} {currency}"
        says += "."
        if saves is None:
            says += f" What was asked cannot be kept with {first.first} alone."
    more = max(0, first.with_more.gain - best.gain)
    one = f"{count_words(first.more)} more"
    if more and any(map(neutral, first.with_more.chosen)):
        says += (
            f" Waiting for {one} that by themselves only pay their way would gain "
            f"{_differ(first.with_more, best)} {currency} further."
        )
    else:
        more = 0
        says += f" Waiting for {one} that by themselves only pay their way would gain nothing."
    return Verdict(word, says, saves, more)


def _keep(kept: Kept, currency: str) -> str:
    says = "Keep everything: sending gains nothing."
    losses = [
        (one.other.gain - kept.best.gain, one.item)
        for one in kept.answers
        if one.question == "with" and one.item in one.other.chosen
    ]
    if losses:
        loss, item = max(losses)
        says += f" Nearest to it is {item}: with it the plan would lose {amount(-loss)} {currency}."
    return says


def why_sent(item: Item, kept: Kept, problem: Problem) -> str:
    """Why an item goes as it does."""
    option = kept.best.chosen[item.name]
    asked = {one.question: one for one in kept.answers if one.item == item.name}
    without, sooner = asked.get("without"), asked.get("sooner")
    if sooner is not None and sooner.other.why != "impossible":
        saved = kept.best.gain - sooner.other.gain
        if saved > 0:
            return _waits(item, option, kept, problem, sooner)
    if without is None or without.other.why == "impossible":
        return f"goes; by itself {_own(option.gain)}; what it does to the plan was not asked"
    brings = kept.best.gain - without.other.gain
    if brings < 0:
        more = _differ(without.other, kept.best)
        return f"goes because it was asked; the plan would be {more} more without"
    tell = _differ(kept.best, without.other)
    if option.gain < 0 < brings:
        return (
            f"goes to fill {option.tier}: loses {amount(-option.gain)} by itself and leaves the "
            f"plan {tell} better"
        )
    return f"goes; without it the plan would be {tell} less"


def _waits(item: Item, option: Option, kept: Kept, problem: Problem, sooner: Answer) -> str:
    weeks = {parcel.name: parcel.week for parcel in problem.parcels}
    ready = {one.name: one.ready for one in problem.items}
    could = min(
        (p.week for p in problem.parcels if p.week >= item.ready), default=weeks[option.parcel]
    )
    others = sorted(
        name for name, one in kept.best.chosen.items()
        if name != item.name and one.parcel == option.parcel and ready[name] > could
    )  # fmt: skip
    saved = _differ(kept.best, sooner.other)
    if others:
        who = f"{count_words(len(others))} more{named(others)}"
        return f"waits for {who}; saves {saved}"
    return f"waits for {option.parcel}; saves {saved}"


def _own(gain: int) -> str:
    return f"it gains {amount(gain)}" if gain >= 0 else f"it loses {amount(-gain)}"


def why_stays(
    item: Item, kept: Kept, problem: Problem, options: list[Option], wish: Wish
) -> tuple[str, int | None]:
    """Why an item stays, and what sending it would take from the plan [cents]; None: not known."""
    if item.name in wish.outside:
        return "stays, as asked", None
    best = nearest(item, options)
    if best is None:
        return f"stays: {_no_way(item, problem)}", None
    worthless = all(way.mean == 0 for way in item.ways)
    start = "stays: worth nothing at any grade" if worthless else "stays"
    answer = next((a for a in kept.answers if (a.item, a.question) == (item.name, "with")), None)
    if answer is not None and answer.other.why == "impossible":
        few = (
            "no plan keeps the rules with it: too few for a minimum count, or a cap, hours or money"
        )
        return f"{start}: {few}", None
    if answer is None or item.name not in answer.other.chosen:
        return f"{start}: {_own(best.gain)} by itself; what it does to the plan was not asked", None
    loses = max(0, kept.best.gain - answer.other.gain)
    tell = _differ(kept.best, answer.other)
    joined = ", and" if worthless else ":"
    if best.gain > 0:
        return (
            f"stays: gains {amount(best.gain)} by itself, but with it the whole plan would be "
            f"{tell} less",
            loses,
        )
    if tell == "0":
        return f"{start}{joined} sending it would change nothing", 0
    return f"{start}{joined} it would lose {tell} whatever is done", loses


def _no_way(item: Item, problem: Problem) -> str:
    if not problem.tiers:
        return "no tier is open"
    if not problem.parcels:
        return "no parcel goes"
    reasons = {
        why_not(item, way.declared, tier, parcel): way.declared
        for way in item.ways for tier in problem.tiers for parcel in problem.parcels
    }  # fmt: skip
    says = [
        text.format(declared=amount(reasons[key]))
        for key, text in _REASONS.items() if key in reasons
    ]  # fmt: skip
    return "; ".join(says)


def how_sure(found: Found) -> str:
    """How good the plan is known to be."""
    if found.why == "impossible":
        return "no plan"
    if found.gap is None:
        return "best found so far; how much better is possible is not known"
    if found.gap == 0:
        return "proved the best"
    if found.gap == float("inf") or found.bound is None:
        return "best found; how much better is possible is not known"
    return (
        f"best found; at most {100 * found.gap:.2g} % ({amount(found.bound - found.gain)}) better "
        "is possible"
    )


__all__ = ["Verdict", "amount", "first_answer", "how_sure", "why_sent", "why_stays"]
