"""A bid in words: the sentence, what to ask first, the letter to the seller, what to know."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any

from quirewell.science.planning.bid import Bid, Odds, Question
from quirewell.stages.buying_signs import SignRow

CAUSES: Mapping[str, str] = {
    "post": "post", "materials": "materials", "hours": "your hours", "grading": "the grading fee",
    "fee": "the fee of a sale", "premium": "the premium on a bid", "wait": "waiting",
    "told": "disclosure", "want": "the return you want",
}  # fmt: skip
ASSUMES = (
    "How common a fault is, how often its sign is seen and what it leaves of the worth are common "
    "practice, no source; each can be set in your own rows.",
    "Faults are taken to be independent of one another, and to multiply.",
    "Your own hours count as money spent, for gain and for loss.",
)


def of(unit: str) -> str:
    """A currency after a number; nothing where none was named."""
    return "" if unit in ("", "1") else f" {unit}"


def cause(name: str) -> str:
    """A cause in words: "fault:tape" -> "tape"."""
    return name.removeprefix("fault:") if name.startswith("fault:") else CAUSES[name]


def about(money: float, spread: float, down: bool = True) -> str:
    """Money to what a band ``spread`` wide bears; a bid is rounded ``down``.

    >>> about(49.976, 28.0), about(75.0, 0.0), about(1239.5, 400.0), about(49.976, 28.0, False)
    ('49', '75.00', '1230', '50')
    """
    digits = 2 if spread < 0.1 else 1 - math.floor(math.log10(spread))
    step = 10.0**-digits
    steps = round(money / step, 6)
    told = math.floor(steps) if down else round(steps)
    return f"{told * step + 0.0:.{max(digits, 0)}f}"


def rough(money: float) -> str:
    """Money of 0 or more to two figures.

    >>> rough(1234.0), rough(4.56), rough(0.0)
    ('1200', '4.6', '0.00')
    """
    return about(money, money, False)


def spread_of(out: Mapping[str, Any]) -> float:
    """How far the bids of a loss 1 in 5 and 1 in 2 lie apart, of a bid as JSON."""
    ends = [(out[name] or {}).get("value", 0.0) for name in ("one_in_five", "one_in_two")]
    return float(abs(ends[1] - ends[0]))


def sentence(
    bid: Bid, odds: Odds, asking: float | None, bids: tuple[float, float, float], unit: str
) -> str:
    """The highest bid, its odds, and what the asking price is beside them."""
    top, fifth, half = bids
    spread = abs(half - fifth)

    def money(amount: float, down: bool = True) -> str:
        return f"{about(amount, spread, down)}{of(unit)}"

    if top <= 0:
        lost = -bid.gain(0.0)
        if lost > 0:
            says = (
                f"At no price: even as a gift it would lose about {money(lost, False)} on average."
            )
        else:
            says = (
                f"At no price: even as a gift its mean gain of {money(-lost, False)} is not the "
                "return you want."
            )
        return f"{says} If you want it for itself, that is what it costs you."
    told = f"about {money(top)}" if float(about(top, spread)) > 0 else "next to nothing"
    says = f"Bid up to {told}: there the mean gain is just what you want of it."
    if fifth > 0:
        says += f" At {money(fifth)} a loss has the chance 1 in 5, at {money(half)} 1 in 2."
    elif half > 0:
        says += f" At {money(half)} a loss has the chance 1 in 2, at no bid as little as 1 in 5."
    else:
        says += " At any bid a loss is likelier than not; the mean rests on a few good outcomes."
    if asking is not None:
        gain, loss = bid.gain(asking), bid.chance_of_loss(odds, asking)
        word = "gain" if gain >= 0 else "loss"
        says += (
            f" At the price asked the mean {word} is {money(abs(gain), False)}, and a loss has the "
            f"chance {100 * loss:.0f} %."
        )
        if asking > top:
            says += " That is above the highest bid."
    return says


def narrows(questions: Iterable[Question], names: Mapping[str, SignRow], unit: str, at: str) -> str:
    """The one question that is worth most."""
    first = next(iter(questions), None)
    if first is None:
        return "No sign is open; what is left is what such a copy would bring: note more sales."
    if first.worth < 0.005:
        return (
            f"No single answer would change the decision {at}; what would narrow it most is what "
            "such a copy brings: note more sales."
        )
    row = names[first.sign]
    return (
        f"Ask first: {row.ask} The answer is worth about {rough(first.worth)}{of(unit)} to you, "
        f"{at}. What would settle it: {row.settles}."
    )


def letter(title: str, questions: Iterable[SignRow]) -> str:
    """Questions to the seller, to copy."""
    rows = list(questions)
    if not rows:
        return ""
    lines = "\n".join(f"{number}. {row.ask}" for number, row in enumerate(rows, 1))
    return (
        f"Good day,\n\nI am interested in your {title}. Before I bid I should like to know a few "
        f"things that the photographs do not show:\n\n{lines}\n\nPlease do not bend or clean "
        'anything for it. An honest "I do not know" is a good answer too.\n\nThank you'
    )


def warnings(given: Mapping[str, str], bid: Bid) -> tuple[str, ...]:
    """What was not given and so not counted, and what is assumed."""
    out = []
    if "fee_pct" not in given:
        out.append("No fee of a sale is counted (fee_pct, per cent of the price).")
    if "hours" not in given:
        out.append("No hours of work are counted.")
    elif "hourly" not in given:
        out.append("Hours are given but not what one is worth (hourly), so they count nothing.")
    if "want" not in given and "want_pct" not in given:
        out.append("No return is asked: at the highest bid nothing is left over on average.")
    known = bid.answers or {}
    if not any(known.values()):
        out.append("No sign was looked at yet; each keeps the chance such faults usually have.")
    return (*out, *ASSUMES)
