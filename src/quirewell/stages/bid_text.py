"""An offer as a file (TOML) for ``bid.highest``: tables only order it for the reader, each key is
a parameter of the method; ``[answers]`` holds sign = answer, and tables of sales and signs are
files named in it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from quirewell.record.plain_data import BadData, toml_data
from quirewell.stages.bidding import KNOWN

TABLES = ("offer", "value", "work", "selling", "wanted", "answers")
FILES = ("sales", "signs", "rates")
_WORDS = ("title", "seller", "note")


class OfferError(ValueError):
    """A file that is no offer; the message says what to write."""


def read_offer(text: str, file_of: Callable[[str], str]) -> tuple[str, dict[str, str]]:
    """Title and parameters of an offer; ``file_of`` gives the text of a file that it names.

    Raises:
        OfferError: in a sentence.
    """
    try:
        data = toml_data(text)
    except BadData as error:
        raise OfferError(f"it cannot be read as TOML: {error}") from error
    params: dict[str, str] = {}
    title = ""
    for table, held in data.items():
        if table not in TABLES or not isinstance(held, dict):
            raise OfferError(f"there is no table [{table[:40]}]; they are {', '.join(TABLES)}")
        if table == "answers":
            params["answers"] = "\n".join(f"{sign} = {said}" for sign, said in held.items())
            continue
        for key, value in held.items():
            if key == "title":
                title = str(value)
            if key in _WORDS:
                continue
            if key not in KNOWN or key == "answers":
                raise OfferError(
                    f"[{table}] knows no {key[:40]!r}; it knows {', '.join((*_WORDS, *KNOWN))}"
                )
            if key in params:
                raise OfferError(f"{key} is there twice, again in [{table}]")
            said = _text(value, key)
            params[key] = file_of(said) if key in FILES else said
    return title, params


def _text(value: Any, key: str) -> str:
    if isinstance(value, list):
        return " ".join(_text(one, key) for one in value)
    if isinstance(value, (dict, bool)):
        raise OfferError(f"{key} is a number or a word, got {str(value)[:40]}")
    return str(value)
