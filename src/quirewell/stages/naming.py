"""Names of places and moments in the trade's plain words."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from quirewell.record.nouns import Gathering
from quirewell.science.booklet.gathering import wrap_pages

STAGES = ("intake", "examine", "decide", "treat", "rejoin", "finish", "prove", "send")


def sheet_of(place: str) -> str:
    """Sheet a place lies on: "w03.outer.left" -> "w03"; empty when it lies on none.

    >>> sheet_of("w03.outer.left"), sheet_of("spine")
    ('w03', '')
    """
    head = place.split(".")[0]
    return head if head == "c" or (head[:1] == "w" and head[1:].isdigit()) else ""


def leaf_of(place: str) -> str:
    """Leaf a page lies on, named by its outer page; the place itself when it is no page.

    >>> leaf_of("w03.inner.left"), leaf_of("w03")
    ('w03.outer.right', 'w03')
    """
    parts = place.split(".")
    if len(parts) != 3 or parts[1] == "outer":
        return place
    return f"{parts[0]}.outer.{'right' if parts[2] == 'left' else 'left'}"


def time_words(minutes: Decimal) -> str:
    """A length of time as people say it: minutes up to three hours, hours beyond.

    >>> time_words(Decimal(100)), time_words(Decimal(2250)), time_words(Decimal(1360))
    ('100 min', '37.5 h', '22 h 40 min')
    """
    if minutes <= 180:
        return f"{minutes} min"
    if minutes % 6 == 0:
        return f"{(minutes / 60).normalize():f} h"
    return f"{minutes // 60:f} h {(minutes % 60).normalize():f} min"


def amount_words(value: float, noun: str, form: str = ".0f") -> str:
    """An amount with its noun, rounded as ``form`` says.

    >>> amount_words(1.2, "minute"), amount_words(0.3, "minute"), amount_words(2.5, "day", "g")
    ('1 minute', 'less than 1 minute', '2.5 days')
    """
    said = f"{value:{form}}"
    if said == "0" and value > 0:
        return f"less than 1 {noun}"
    return f"{said} {noun}{'' if said == '1' else 's'}"


def sheet_words(sheet: str) -> str:
    """Sheet in words: "w03" -> "Wrap 3", "c" -> "Cover", "s01" -> "Single leaf 1"."""
    if sheet == "c":
        return "Cover"
    return f"{'Single leaf' if sheet[0] == 's' else 'Wrap'} {int(sheet[1:])}"


def place_words(place: str) -> str:
    """Place in words.

    >>> place_words("w03.outer.left")
    'wrap 3, outer side, left'
    >>> place_words("item")
    'the whole item'
    """
    if not place:
        return "not assigned"
    if not sheet_of(place):
        return {"item": "the whole item"}.get(place, place)
    parts = place.split(".")
    words = [sheet_words(parts[0]).lower()]
    if len(parts) > 1:
        words.append(f"{parts[1]} side")
    if len(parts) > 2:
        words.append(parts[2])
    return ", ".join(words)


def places_words(places: Iterable[str]) -> str:
    """Several places in words, neighbouring wraps drawn together.

    >>> places_words(["c", "w01", "w02", "w03", "w09.outer"])
    'cover, wraps 1 to 3, wrap 9, outer side'
    >>> places_words(["w01", "w02"])
    'wraps 1 and 2'
    """
    words: list[str] = []
    run: list[int] = []
    for place in [*places, ""]:
        wrap = int(place[1:]) if len(place) == 3 and place[1:].isdigit() else None
        if run and wrap != run[-1] + 1:
            words.append(_wraps(run))
            run = []
        if wrap is not None:
            run.append(wrap)
        elif place:
            words.append(place_words(place))
    return ", ".join(words)


def _wraps(run: list[int]) -> str:
    if len(run) == 1:
        return f"wrap {run[0]}"
    return f"wraps {run[0]} {'and' if len(run) == 2 else 'to'} {run[-1]}"


def page_number(place: str, gathering: Gathering) -> int | None:
    """Page number printed order gives a page's place; None for the cover and larger places.

    >>> page_number("w01.outer.right", Gathering(9))
    1
    """
    parts = place.split(".")
    if len(parts) != 3 or not parts[0].startswith("w"):
        return None
    wrap = int(parts[0][1:])
    if wrap > gathering.wraps:
        return None
    pages = wrap_pages(wrap, gathering.wraps)
    found = {
        ("outer", "left"): pages.outer_left,
        ("outer", "right"): pages.outer_right,
        ("inner", "left"): pages.inner_left,
        ("inner", "right"): pages.inner_right,
    }[parts[1], parts[2]]
    return found + gathering.first_page - 1


def sheet_pages(sheet: str, gathering: Gathering) -> str:
    """Pages a sheet carries, in words: "pages 5, 6, 31 and 32"."""
    if sheet == "c":
        return "front, inside front, inside back, back"
    numbers = sorted(
        number
        for side in ("outer", "inner")
        for panel in ("left", "right")
        if (number := page_number(f"{sheet}.{side}.{panel}", gathering)) is not None
    )
    return f"pages {', '.join(map(str, numbers[:-1]))} and {numbers[-1]}"
