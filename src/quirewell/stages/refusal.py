"""How a stage says no: a sentence for the person, and what would make it yes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with what was asked: the form field it belongs to, and a sentence."""

    field: str
    says: str


@dataclass(eq=False)
class Refusal(Exception):
    """A command that cannot be carried out. ``rule`` names a caution that may be overridden.

    Not frozen: Python writes the traceback onto an exception on its way out of a ``with``.
    """

    problems: tuple[Problem, ...]
    rule: str = ""
    values: dict[str, str] = field(default_factory=dict)

    def __str__(self) -> str:
        return " ".join(problem.says for problem in self.problems)


def no(form: Mapping[str, str], at: str, says: str) -> Refusal:
    """A refusal at one box that holds what was typed."""
    return Refusal((Problem(at, says),), values=dict(form))


def refused(form: Mapping[str, str], at: str, says: str) -> Refusal:
    """The same from a clause, made a sentence: begun with a capital and ended once.

    >>> str(refused({}, "price", "this is no price"))
    'This is no price.'
    """
    says = says[:1].upper() + says[1:]
    return no(form, at, says if says.endswith("?") else f"{says.rstrip('.')}.")
