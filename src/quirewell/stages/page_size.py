"""How large a page of an item is: as measured, as described, or as its other pages are."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median

from quirewell.record.nouns import ItemState
from quirewell.stages.naming import sheet_of
from quirewell.stages.results import PageResult, page_results

MEASURED, DESCRIBED = "as measured", "as described"
LIKE_OTHERS = "as its other pages measure"


@dataclass(frozen=True, slots=True)
class PageSize:
    """Width and height of a page, or of a whole side, in mm, on whose word, and the findings or
    records that say it."""

    width_mm: float
    height_mm: float
    by: str
    refs: tuple[str, ...] = ()


class PageSizes:
    """Sizes of an item's pages, its measurements gone through once."""

    def __init__(self, state: ItemState) -> None:
        self._gathering = state.gathering
        self._measured = {
            result.place: size
            for result in page_results(state)
            if (size := _measured(result)) is not None
        }

    def of(self, place: str) -> PageSize | None:
        """The size of a page ("w03.outer.left") or of a whole side ("w03.outer").

        None for places that are no page or side, and where nothing says a size.
        """
        parts = place.split(".")
        if not sheet_of(place) or len(parts) == 1:
            return None
        if len(parts) == 3:
            return self._page(place)
        if place in self._measured:
            return self._measured[place]
        left, right = (self._page(f"{place}.{panel}") for panel in ("left", "right"))
        if left is None or right is None:
            return None
        by = left.by if left.by == right.by else f"{left.by}, and {right.by}"
        width, height = left.width_mm + right.width_mm, max(left.height_mm, right.height_mm)
        return PageSize(width, height, by, tuple(dict.fromkeys((*left.refs, *right.refs))))

    def _page(self, place: str) -> PageSize | None:
        if place in self._measured:
            return self._measured[place]
        known = self._gathering
        if known is not None and known.width_mm and known.height_mm:
            return PageSize(known.width_mm, known.height_mm, DESCRIBED, ("gathering",))
        like = [
            size
            for other, size in self._measured.items()
            if other.count(".") == 2 and (sheet_of(other) == "c") == (sheet_of(place) == "c")
        ]
        if not like:
            return None
        width, height = (median(getattr(one, name) for one in like) for name in _NAMES)
        refs = tuple(dict.fromkeys(ref for one in like for ref in one.refs))
        return PageSize(width, height, LIKE_OTHERS, refs)


_NAMES = ("width_mm", "height_mm")


def _measured(result: PageResult) -> PageSize | None:
    """As measured before treatment, or else after it."""
    for moment in ("before", "after"):
        wide, high = (result.at(moment, f"leaf.{name}") for name in _NAMES)
        if wide.value and high.value:
            return PageSize(wide.value, high.value, MEASURED, (*wide.refs, *high.refs))
    return None
