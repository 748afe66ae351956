"""Choices a form offers: places on the item."""

from __future__ import annotations

from quirewell.record.nouns import ItemState
from quirewell.stages.examine import known_sheets
from quirewell.stages.naming import sheet_words

WHOLE = ("item", "spine", "staples", "front", "back", "head", "tail", "fore-edge", "centrefold")


def places(state: ItemState) -> list[tuple[str, str]]:
    """The whole item, its parts, and its sheets."""
    whole = [(place, "the whole item" if place == "item" else place) for place in WHOLE]
    return whole + [(code, sheet_words(code)) for code in known_sheets(state)]


def faces(sheet: str) -> list[tuple[str, str]]:
    """One sheet, its sides and its pages."""
    found = [(sheet, "the sheet")]
    for side in ("outer", "inner"):
        found.append((f"{sheet}.{side}", f"{side} side"))
        found += [(f"{sheet}.{side}.{half}", f"{side} side, {half}") for half in ("left", "right")]
    return found


def scanned(state: ItemState) -> list[tuple[str, str]]:
    """Where a picture can belong: the whole item, or a side of a sheet."""
    found = [("", "choose"), ("item", "the whole item")]
    for code in known_sheets(state):
        name = sheet_words(code)
        found += [(f"{code}.{side}", f"{name}, {side} side") for side in ("outer", "inner")]
    return found
