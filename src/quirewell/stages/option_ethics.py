"""The object first: what is said of an option that harms it for gain. Rules as rows.

A row that ``bars`` keeps an option from being named best, whatever it brings; the option stays in
the table with its numbers, as the word of whoever typed it. Common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass

from quirewell.stages.options_table import OptionRow


@dataclass(frozen=True, slots=True)
class EthicsRule:
    """One rule: ``words`` (a pattern) of an option's own text, or ``when`` something holds."""

    key: str
    says: str
    bars: bool
    words: str = ""
    when: str = ""


RULES = (
    EthicsRule(
        "trim", "Trimming takes original paper away for good and can be seen by measuring: never "
        "proposed here.", True, words=r"\btrim|\bguillotin|\bcut(ting)? (down|the edge)|\bshav",
    ),
    EthicsRule(
        "bleach", "Bleaching weakens the fibres it whitens and goes on after it: never proposed "
        "here.", True, words=r"bleach|peroxide|hypochlorit|chlorine|whiten",
    ),
    EthicsRule(
        "colour", "Added colour hides what the paper is from the next owner: never proposed here.",
        True,
        words=r"colou?r[- ](touch|add|fill)|(add|touch)\w*[- ](of[- ])?colou?r|retouch"
        r"|re-?colou?r|touch\w* (in|up)\b|in-?paint|\bpaint|\bink(ed|ing) in|\bmarker",
    ),
    EthicsRule(
        "holes", "New holes weaken the fold and tell a false story of how it was made: never "
        "proposed here.", True,
        words=r"new[- ]?(staple[- ]?)?holes?|\bpunch|\bdrill|\bsewn? through",
    ),
    EthicsRule(
        "history", "A stamp, a name or a date on it is part of its history; to take it off for a "
        "price is a loss to it.", True,
        words=r"(remov|eras|rub|scrap|tak)\w*[- ](off |out |away )?(the |a |an |its )?"
        r"(arrival |date |owner'?s? |shop )*[- ]?(stamps?|dates?|names?|inscriptions?"
        r"|writing|labels?)"
        r"|(stamp|date|name|inscription|writing)s?[- ](off|out|remov\w*|eras\w*)",
    ),
    EthicsRule(
        "hide", "What is done is told; an option that hides it deceives whoever buys.", True,
        words=r"\bhid(e|ing|den)\b|undisclosed|not (to be )?(told|disclosed)|conceal",
    ),
    EthicsRule(
        "mould", "There is mould in it: set it apart first. Nothing else is weighed against that.",
        True, when="mould",
    ),
    EthicsRule(
        "shortens", "It makes the paper last less long than leaving it alone; a price does not "
        "make up for that.", True, when="shortens",
    ),
    EthicsRule(
        "price-only", "It does what cannot be taken back, and helps nothing that was noted: only "
        "a price could gain.", True, when="helps nothing",
    ),
    EthicsRule(
        "looks", "It cannot be taken back, and nothing worked out says that the paper lasts longer "
        "for it: it serves looks, handling and price.", False, when="looks",
    ),
)  # fmt: skip


def judged(row: OptionRow, damage: Collection[str], life: float | None) -> tuple[EthicsRule, ...]:
    """The rules that speak of an option; ``damage`` the codes noted, ``life`` its ratio of lives
    where known."""
    if row.kind == "leave":
        return ()
    text = " ".join((row.name, *row.own_words, row.note)).casefold()
    text = re.sub(r"\b(no|not|without|never) (any )?[\w-]+", " ", text)  # "without trimming"
    helps = any(code in damage for one in row.repairs for code in one.codes)
    holds = {
        "mould": "mould" in damage and bool(row.steps),
        "shortens": life is not None and life < 1,
        "helps nothing": bool(row.gone)
        and not helps
        and bool(damage)
        and (life or 0) <= 1
        and row.chances is None,
        "looks": bool(row.gone) and helps and (life or 0) <= 1,
    }
    return tuple(
        rule for rule in RULES
        if (re.search(rule.words, text) if rule.words else holds[rule.when])
    )  # fmt: skip
