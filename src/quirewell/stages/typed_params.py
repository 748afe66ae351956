"""Typed parameters of a method: text as it was asked with, read with a usual value where empty.

What was typed is read as :mod:`.typed` reads it; limits are the science's own.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TypeVar

from quirewell.stages import typed

Params = Mapping[str, str]
Word = TypeVar("Word", bound=str)


def refuse_unknown(params: Params, known: Iterable[str], says: str) -> None:
    """Refuse a parameter that is none of ``known``; ``says``: "press.iron knows no parameter".

    Raises:
        ValueError: with the first that is not known, and what there is.
    """
    there = tuple(known)
    for name in sorted(set(params) - set(there)):
        raise ValueError(f"{says} {name[:60]!r}; it knows {', '.join(there)}")


def number(params: Params, name: str, usual: float) -> float:
    """A number.

    >>> number({"wet_m2": "0,06"}, "wet_m2", 0.1)
    0.06
    """
    text = params.get(name, "").strip()
    return float(typed.number(text)) if text else usual


def whole(params: Params, name: str, usual: int) -> int:
    """A whole number; ``name`` is a plural ("wraps").

    Raises:
        ValueError: for what is not whole.
    """
    value = number(params, name, usual)
    if value != int(value):
        raise ValueError(f"{name} are whole, got {value:g}")
    return int(value)


def celsius(params: Params, name: str, usual: float) -> float:
    """A temperature [C]."""
    text = params.get(name, "").strip()
    return float(typed.temperature_c(text)) if text else usual


def minutes(params: Params, name: str, usual: float) -> float:
    """Minutes."""
    text = params.get(name, "").strip()
    return float(typed.minutes(text)) if text else usual


def humidity(params: Params, name: str, usual: float) -> float:
    """A humidity typed in per cent, as a share (0 to 1).

    Raises:
        ValueError: for what looks like a share already.

    >>> humidity({}, "rh_pct", 65.0)
    0.65
    """
    value = number(params, name, usual)
    if 0 < value <= 1:
        raise ValueError(f"humidity is per cent here: was {value:g} meant as {100 * value:g} %?")
    return value / 100


def one_of(params: Params, name: str, known: tuple[Word, ...], usual: Word) -> Word:
    """One of a few words.

    Raises:
        ValueError: for another word.
    """
    text = params.get(name, "") or usual
    for word in known:
        if word == text:
            return word
    raise ValueError(f"{name} is one of {', '.join(known)}, got {text[:60]!r}")
