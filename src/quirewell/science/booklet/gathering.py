"""Page arithmetic of a saddle-stitched gathering.

General rule of saddle stitching (common practice, no source): ``n`` nested wraps make ``4 n``
pages; wrap ``i`` (1 = outermost) carries on its outer side the pages ``4n-2i+2`` (left) and
``2i-1`` (right), on its inner side ``2i`` (left) and ``4n-2i+1`` (right). On either side the
two page numbers add up to ``4n + 1``.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class WrapPages:
    """Pages on one wrap (1 = outermost), each side as seen lying flat with the head up."""

    wrap: int
    outer_left: int
    outer_right: int
    inner_left: int
    inner_right: int


def wrap_pages(wrap: int, wraps: int) -> WrapPages:
    """Pages carried by wrap ``wrap`` [-] of ``wraps`` [-].

    Raises:
        ValueError: when the wrap is not one of the gathering.

    >>> wrap_pages(1, 9)
    WrapPages(wrap=1, outer_left=36, outer_right=1, inner_left=2, inner_right=35)
    """
    if not 1 <= wrap <= wraps:
        raise ValueError(f"wrap must be between 1 and {wraps} (1 is the outermost), got {wrap}")
    last = 4 * wraps
    return WrapPages(wrap, last - 2 * wrap + 2, 2 * wrap - 1, 2 * wrap, last - 2 * wrap + 1)


def page_place(page: int, wraps: int) -> tuple[int, str, str]:
    """Where an interior page is: (wrap, side "outer"/"inner", panel "left"/"right").

    Raises:
        ValueError: when the page is not in the gathering.

    >>> page_place(18, 9)
    (9, 'inner', 'left')
    """
    last = 4 * wraps
    if not 1 <= page <= last:
        raise ValueError(f"page must be between 1 and {last} for {wraps} wraps, got {page}")
    low = min(page, last + 1 - page)
    wrap = (low + 1) // 2
    pages = wrap_pages(wrap, wraps)
    for name in ("outer_left", "outer_right", "inner_left", "inner_right"):
        if getattr(pages, name) == page:
            side, panel = name.split("_")
            return wrap, side, panel
    raise AssertionError("unreachable: every page is on exactly one wrap")


def wraps_for_pages(pages: int) -> int:
    """Wraps [-] of a self-contained gathering of ``pages`` [-] interior pages.

    Raises:
        ValueError: when the pages cannot be made of whole wraps.

    >>> wraps_for_pages(36)
    9
    """
    if pages < 4 or pages % 4:
        below, above = max(4, pages // 4 * 4), (pages // 4 + 1) * 4
        raise ValueError(
            f"a stapled gathering has a multiple of four pages, got {pages}; "
            f"is it {below} or {above}, or is a leaf missing?"
        )
    return pages // 4
