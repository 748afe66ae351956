"""Where single leaves go in again while sheets are laid, inner side up, from the cover inwards."""

from __future__ import annotations

from quirewell.record.nouns import ItemState
from quirewell.record.rejoining import SheetFound
from quirewell.stages.naming import sheet_words
from quirewell.stages.taking_apart import printed_pages


def leaves_laid(state: ItemState, place: str, following: str) -> tuple[str, ...]:
    """What is laid in once a sheet lies and before the ``following`` one (empty: it is the last),
    as sentences: a leaf that lay behind this sheet's inner left page, or behind the outer left
    page of the next. With the last sheet those of which nobody said where they lay."""
    mine = _pages(state, place)
    upon = {"0": "on the left"} if place == "c" else {mine[2]: f"on page {mine[2]}, on the left"}
    told = []
    if following:
        outer = _pages(state, following)[0]
        upon[outer] = f"on the right, under {sheet_words(following).lower()}"
    for leaf in _leaves(state):
        if leaf.after is not None and str(leaf.after) in upon:
            told.append(f"Then lay in {_words(leaf)} {upon[str(leaf.after)]}; it lay so.")
        elif leaf.after is None and not following:
            told.append(f"{_words(leaf).capitalize()}: nobody said where it lay.")
    return tuple(told)


def _leaves(state: ItemState) -> list[SheetFound]:
    return sorted(
        (one for one in state.found.values() if one.place[0] == "s"), key=lambda one: one.place
    )


def _pages(state: ItemState, place: str) -> list[str]:
    """Outer left, outer right, inner left, inner right; a cover's carry no number."""
    return ["", "", "", ""] if place == "c" else printed_pages(state, place).split()


def _words(leaf: SheetFound) -> str:
    pages = [one for one in leaf.pages.split() if one.isdigit()]
    return sheet_words(leaf.place).lower() + (f" (pages {' and '.join(pages)})" if pages else "")
