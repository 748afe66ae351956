"""Places as people type them: "w03", "3", "1-4", "c", "cover", "all", "w03.outer.left"."""

from __future__ import annotations

import re
from collections.abc import Mapping

from quirewell.record.nouns import ItemState, check_place, wrap_code
from quirewell.stages.naming import sheet_of
from quirewell.stages.refusal import Problem, Refusal

_WRAP = re.compile(r"(?:w|wrap)?(\d{1,2})((?:\.\w+)*)", re.IGNORECASE)
_RANGE = re.compile(r"(?:w|wrap)?(\d{1,2})(?:-|\u2013|to)(?:w|wrap)?(\d{1,2})", re.IGNORECASE)
_WORDS = {"cover": "c", "whole": "item"}


def read_places(
    state: ItemState, form: Mapping[str, str], *, field: str = "places", otherwise: str = ""
) -> tuple[str, ...]:
    """Places named in a form's field, separated by spaces or commas; each once, in order.

    Raises:
        Refusal: text that names no place, or a wrap this item does not have.
    """
    text = form.get(field, "").strip() or otherwise
    places: dict[str, None] = {}
    try:
        for word in re.split(r"[\s,;]+", text):
            if word:
                places.update(dict.fromkeys(_places(state, word)))
        for place in places:
            _check_on_item(state, place)
    except ValueError as error:
        says = f"{str(error)[:1].upper()}{str(error)[1:]}."
        raise Refusal((Problem(field, says),), values=dict(form)) from error
    if not places:
        raise Refusal((Problem(field, "Say which sheets this is about."),), values=dict(form))
    return tuple(places)


def _places(state: ItemState, word: str) -> tuple[str, ...]:
    lower = word.lower()
    if lower in ("all", "wraps"):
        if state.gathering is None:
            return ("item",)
        sheets = state.gathering.sheets()
        return tuple(sheet for sheet in sheets if lower == "all" or sheet != "c")
    if lower in _WORDS:
        return (_WORDS[lower],)
    span = _RANGE.fullmatch(lower)
    if span is not None:
        first, last = int(span[1]), int(span[2])
        if first > last:
            raise ValueError(f"{word!r} runs backwards; write {last}-{first}")
        return tuple(wrap_code(wrap) for wrap in range(first, last + 1))
    wrap = _WRAP.fullmatch(lower)
    if wrap is not None:
        return (check_place(wrap_code(int(wrap[1])) + wrap[2]),)
    return (check_place(lower),)


def _check_on_item(state: ItemState, place: str) -> None:
    gathering = state.gathering
    sheet = sheet_of(place)
    if gathering is None or not sheet or sheet in gathering.sheets():
        return
    if sheet == "c":
        raise ValueError("this item is described without a cover, but the cover is named")
    raise ValueError(
        f"this item has wraps 1 to {gathering.wraps} (1 is the outermost), "
        f"got wrap {int(sheet[1:])}"
    )
