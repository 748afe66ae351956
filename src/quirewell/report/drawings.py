"""The gathering as it lies on the bench, seen from the head.

The head is towards the eye and the front cover is up, so the spine lies on the right: nested
wraps are limbs that meet there, the front half above and the back half below, with the cover
outside. Each limb is one leaf. The page uses the drawing as navigation, page and report use
it as a heat map; both come from here.

Nothing here uses a style sheet or a script: colours are presentation attributes, so that the
same text serves under a strict content policy and inside a PDF. The page's palette speaks in
the page's own custom properties.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from html import escape
from typing import Literal

from quirewell.record.nouns import Gathering, wrap_code
from quirewell.report.limbs import LEVELS, PRINT, Layout, Palette, Shape, layout_for

__all__ = (
    "PRINT",
    "Limb",
    "LimbMark",
    "Palette",
    "Shape",
    "gathering_svg",
    "gathering_words",
    "legend_svg",
    "limb_of",
    "limbs",
)

_COUNT = (
    *("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"),
    *("eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen"),
    *("eighteen", "nineteen", "twenty"),
)


@dataclass(frozen=True, slots=True)
class LimbMark:
    """What to show on a limb.

    ``level`` 0 (least) to 5 (most) sets colour and pattern together, None draws the leaf as
    "nothing known"; ``label`` is the short text beside it ("+0.03 %"), ``words`` the sentence
    read out and shown as a tooltip.
    """

    level: int | None = None
    label: str = ""
    words: str = ""

    def __post_init__(self) -> None:
        if self.level is not None and not 0 <= self.level < LEVELS:
            raise ValueError(f"a level lies between 0 and {LEVELS - 1}, got {self.level}")


@dataclass(frozen=True, slots=True)
class Limb:
    """One leaf: ``place`` is its outer page ("w03.outer.right"), ``rank`` 0 the innermost."""

    place: str
    sheet: str
    half: Literal["front", "back"]
    rank: int
    pages: tuple[int, int] | None

    @property
    def name(self) -> str:
        """The leaf in words: "wrap 3, front leaf, pages 5 and 6"."""
        if self.pages is None:
            return f"{self.half} cover"
        wrap = int(self.sheet[1:])
        return f"wrap {wrap}, {self.half} leaf, pages {self.pages[0]} and {self.pages[1]}"

    @property
    def short(self) -> tuple[str, str]:
        """The leaf's two short labels: sheet and pages."""
        if self.pages is None:
            return f"{self.half} cover", ""
        return f"w{int(self.sheet[1:])}", f"{self.pages[0]}, {self.pages[1]}"

    @property
    def faces(self) -> tuple[str, str]:
        """Places of the leaf's two pages, outer side first."""
        inner = "left" if self.half == "front" else "right"
        return self.place, f"{self.sheet}.inner.{inner}"


def limbs(gathering: Gathering) -> tuple[Limb, ...]:
    """The leaves from the front cover down to the back cover, as they lie.

    >>> [limb.place for limb in limbs(Gathering(1))]
    ['c.outer.right', 'w01.outer.right', 'w01.outer.left', 'c.outer.left']
    """
    outside_in: list[tuple[str, int | None]] = [("c", None)] if gathering.cover else []
    outside_in += [(wrap_code(wrap), wrap) for wrap in range(1, gathering.wraps + 1)]
    first = gathering.first_page - 1
    front, back = [], []
    for depth, (sheet, wrap) in enumerate(outside_in):
        rank = len(outside_in) - 1 - depth
        ahead = behind = None
        if wrap is not None:
            last = gathering.pages
            ahead = (first + 2 * wrap - 1, first + 2 * wrap)
            behind = (first + last - 2 * wrap + 1, first + last - 2 * wrap + 2)
        front.append(Limb(f"{sheet}.outer.right", sheet, "front", rank, ahead))
        back.append(Limb(f"{sheet}.outer.left", sheet, "back", rank, behind))
    return tuple(front + back[::-1])


def limb_of(place: str) -> str:
    """The limb (its outer page's place) that a page's place lies on; empty for larger places.

    >>> limb_of("w03.inner.left"), limb_of("w03"), limb_of("w03.outer.left")
    ('w03.outer.right', '', 'w03.outer.left')
    """
    parts = place.split(".")
    if len(parts) != 3:
        return ""
    front = parts[1:] in (["outer", "right"], ["inner", "left"])
    return f"{parts[0]}.outer.{'right' if front else 'left'}"


def gathering_svg(
    gathering: Gathering,
    values: Mapping[str, LimbMark] | None = None,
    href: Callable[[str], str] | None = None,
    palette: Palette | None = None,
    shape: Shape = "wide",
    highlight: str = "",
    caption: str = "",
) -> str:
    """The drawing as SVG text.

    ``values`` maps a limb's place (see :func:`limbs`) or either of its pages to what it
    shows; ``href`` gives each limb's link and makes the drawing a group of links. ``shape``
    is "wide" (from about 620 px), "narrow" (a phone) or "print". ``highlight`` is the limb,
    page or sheet being worked on.
    """
    marks = values or {}
    strokes = palette or Palette()
    lay = layout_for(shape, gathering.wraps + gathering.cover, any(m.label for m in marks.values()))
    parts = [_opening(lay, caption or gathering_words(gathering), linked=href is not None)]
    parts.append(_bench(lay, strokes))
    drawn = [_limb(limb, lay, strokes, marks, href, highlight) for limb in limbs(gathering)]
    parts += drawn
    parts.append(_staples(gathering.staples, lay, strokes))
    parts.append(_halves(lay, strokes))
    parts.append("</svg>")
    return "".join(parts)


def gathering_words(
    gathering: Gathering, values: Mapping[str, LimbMark] | None = None, quantity: str = ""
) -> str:
    """The drawing in words, for those who cannot see it; with each known value if given."""
    wraps = f"{_count(gathering.wraps)} nested wrap{'s' if gathering.wraps != 1 else ''}"
    made = f"a cover around {wraps}" if gathering.cover else wraps
    held = f"held by {_count(gathering.staples)} staple{'s' if gathering.staples != 1 else ''}"
    words = (
        f"The gathering seen from the head: {made}, folded at the spine on the right and {held}; "
        "the front half lies above, the back half below."
    )
    known = []
    for limb in limbs(gathering):
        mark = _mark(limb, values or {})
        if mark is not None and mark.label:
            known.append(f"{limb.name}: {mark.label}")
    if known:
        words += f" {quantity or 'Values'} by leaf: " + "; ".join(known) + "."
    return words


def legend_svg(entries: Mapping[int, str], palette: Palette | None = None) -> str:
    """A key to the levels: one short bar with its pattern and words for each, side by side."""
    strokes = palette or Palette()
    parts, x = [], 0
    for level, words in sorted(entries.items()):
        bar = _bar(f"M{x + 4} 13H{x + 44}", level, 9.0, strokes, highlighted=False)
        parts.append(bar + _text(x + 54, 18, words, strokes.ink, 15))
        x += 74 + 8 * len(words)
    said = "; ".join(words for _, words in sorted(entries.items()))
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="gathering-key" viewBox="0 0 {x} 26" '
        f'width="{x}" height="26" role="img" aria-label="{escape(f"Key: {said}")}" '
        f'font-family="{FONTS}">'
    )
    return head + "".join(parts) + "</svg>"


FONTS = "'Libertinus Serif', 'Iowan Old Style', 'Palatino Linotype', Palatino, Georgia, serif"


def _count(number: int) -> str:
    return _COUNT[number] if number < len(_COUNT) else str(number)


def _mark(limb: Limb, values: Mapping[str, LimbMark]) -> LimbMark | None:
    for place in (*limb.faces, limb.sheet):
        if place in values:
            return values[place]
    return None


def _opening(lay: Layout, words: str, linked: bool) -> str:
    role = "group" if linked else "img"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="gathering gathering-{lay.shape}" '
        f'viewBox="0 0 {lay.width:g} {lay.height:g}" width="{lay.width:g}" '
        f'height="{lay.height:g}" role="{role}" aria-label="{escape(words)}" '
        f'font-family="{FONTS}">'
    )


def _bench(lay: Layout, strokes: Palette) -> str:
    y = lay.height - lay.foot_px / 2
    ticks = "".join(f"M{x:g} {y + 9:g}l9 -7" for x in range(10, int(lay.width) - 12, 23))
    return (
        f'<g fill="none" stroke="{strokes.pencil}" aria-hidden="true">'
        f'<path d="M4 {y:g}H{lay.width - 4:g}" stroke-width="1.4"/>'
        f'<path d="{ticks}" stroke-width="0.8"/></g>'
    )


def _limb(
    limb: Limb,
    lay: Layout,
    strokes: Palette,
    marks: Mapping[str, LimbMark],
    href: Callable[[str], str] | None,
    highlight: str,
) -> str:
    mark = _mark(limb, marks)
    chosen = bool(highlight) and highlight in (*limb.faces, limb.sheet)
    says = f"{limb.name}: {mark.words or mark.label}" if mark and (mark.words or mark.label) else ""
    says = says or limb.name
    curve = lay.curve(limb.rank, limb.half)
    bar_px = lay.bar_px * (1.45 if limb.sheet == "c" else 1.0)
    bar = (
        _blank(curve, bar_px, strokes, chosen)
        if marks and (mark is None or mark.level is None)
        else _bar(curve, mark.level if mark else None, bar_px, strokes, chosen)
    )
    parts = [
        f'<path class="limb-reach" d="{lay.reach(limb.rank, limb.half)}" fill="transparent"/>',
        bar,
        _labels(limb, mark, lay, strokes, chosen),
    ]
    inside = "".join(parts)
    if href is None:
        return f'<g class="limb"><title>{escape(says)}</title>{inside}</g>'
    here = ' aria-current="true"' if chosen else ""
    # The name begins with what is seen, so that it can be said aloud (WCAG 2.5.3).
    shown = (*limb.short, mark.label if mark else "")
    seen = " ".join(word for word in shown if word)
    says = f"{seen}: {says}"
    return (
        f'<a class="limb" href="{escape(href(limb.place))}" '
        f'aria-label="{escape(says)}"{here}>{inside}</a>'
    )


def _bar(curve: str, level: int | None, bar_px: float, strokes: Palette, highlighted: bool) -> str:
    """A leaf on edge: rim, paper, and the pattern that carries the level without colour."""
    rim, extra = (strokes.here, 5.0) if highlighted else (strokes.ink, 1.8)
    bars = (
        f'<path d="{curve}" stroke="{rim}" stroke-width="{bar_px + extra:g}"/>'
        f'<path d="{curve}" stroke="{strokes.paper if level is None else strokes.levels[level]}" '
        f'stroke-width="{bar_px:g}"/>'
    )
    dash = strokes.dashes[level] if level is not None else ""
    if level is not None and dash:
        bars += (
            f'<path d="{curve}" stroke="{strokes.grain[level]}" stroke-width="{bar_px * 0.42:g}" '
            f'stroke-dasharray="{dash}"/>'
        )
    return f'<g fill="none" aria-hidden="true">{bars}</g>'


def _blank(curve: str, bar_px: float, strokes: Palette, highlighted: bool) -> str:
    """A leaf nothing is known of: a thin broken pencil line."""
    rim, width = (strokes.here, bar_px * 0.7) if highlighted else (strokes.pencil, 1.3)
    return (
        f'<path d="{curve}" fill="none" stroke="{rim}" stroke-width="{width:g}" '
        'stroke-dasharray="6 5" aria-hidden="true"/>'
    )


def _labels(limb: Limb, mark: LimbMark | None, lay: Layout, strokes: Palette, chosen: bool) -> str:
    y = lay.fore_y(limb.rank, limb.half) + lay.font_px * 0.34
    sheet, pages = limb.short
    weight = "700" if chosen else "600"
    parts = [
        _text(lay.sheet_x, y, sheet, strokes.ink, lay.font_px, weight=weight),
        _text(lay.pages_x, y, pages, strokes.pencil, lay.font_px),
    ]
    if mark is not None and mark.label:
        parts.append(
            _text(lay.value_x, y, mark.label, strokes.ink, lay.font_px, anchor="end", weight=weight)
        )
    if chosen:
        parts.append(_text(1, y, "▸", strokes.here, lay.font_px))
    return f'<g aria-hidden="true">{" ".join(parts)}</g>'


def _text(
    x: float,
    y: float,
    words: str,
    fill: str,
    size: float,
    anchor: str = "start",
    weight: str = "400",
    style: str = "normal",
) -> str:
    return (
        f'<text x="{x:g}" y="{y:g}" font-size="{size:g}" fill="{fill}" text-anchor="{anchor}" '
        f'font-weight="{weight}" font-style="{style}">{escape(words)}</text>'
    )


def _staples(count: int, lay: Layout, strokes: Palette) -> str:
    """Staples seen end on: crown outside the spine, leg through every fold, clinched within."""
    if count == 0:
        return ""
    out_x, in_x, y = lay.spine_x + 7, lay.inner_fold_x - 7, lay.middle_y
    parts = []
    for behind in range(min(count, 3) - 1, -1, -1):
        rise, ink = -3.6 * behind, strokes.metal if behind == 0 else strokes.pencil
        width = 3.2 if behind == 0 else 1.6
        parts.append(
            f'<path d="M{in_x:g} {y + rise:g}H{out_x:g}" stroke="{ink}" stroke-width="{width}"/>'
        )
    for x in (in_x, out_x):
        parts.append(
            f'<circle cx="{x:g}" cy="{y:g}" r="4.4" fill="{strokes.metal}" '
            f'stroke="{strokes.paper}" stroke-width="1"/>'
        )
    words = "1 staple" if count == 1 else f"{count} staples, one behind the other"
    return (
        f'<g class="staples" fill="none"><title>{words}</title>'
        f'<g aria-hidden="true">{"".join(parts)}</g></g>'
    )


def _halves(lay: Layout, strokes: Palette) -> str:
    if not lay.halves:
        return ""
    x = lay.width - 6
    return (
        '<g aria-hidden="true">'
        + _text(
            x, lay.head_px + 4, "front half", strokes.pencil, lay.font_px, "end", style="italic"
        )
        + _text(
            x,
            lay.height - lay.foot_px - 2,
            "back half",
            strokes.pencil,
            lay.font_px,
            "end",
            style="italic",
        )
        + "</g>"
    )
