"""What went wrong during treatment, in the report: told as it was noted, with its time."""

from __future__ import annotations

from typing import Any

from quirewell.record.dealing import Mishap
from quirewell.record.nouns import ItemState
from quirewell.report.content import day
from quirewell.report.model import typed
from quirewell.stages.naming import place_words


def went_wrong(state: ItemState) -> list[list[Any]]:
    """A row to each: when, where, what, what was done about it, and whether it is over."""
    return [
        [moment(one), _capital(place_words(one.place)), typed(one.what, one.id), _after(one)]
        for one in state.mishaps.values()
    ]


def moment(one: Mishap) -> str:
    """The day of a mishap, with its time where the clock was noted."""
    if one.at:
        return f"{day(one.at)}, {one.at[11:16]} UTC"
    return day(one.day) if one.day else ""


def _after(one: Mishap) -> str:
    words = one.done_about or "nothing noted"
    if one.over_at:
        return f"{words}; over at {one.over_at[11:16]} UTC on {day(one.over_at)}"
    return f"{words}; not said to be over" if one.at else words


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
