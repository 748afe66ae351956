"""A trial in one picture: a line for each pair, and the difference against the margin beside it.

Marks differ by shape, never by colour alone: a disc for the first way, a square for the second;
pairs that do not count are hollow and dashed. No style sheet and no script (``drawings``).
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from quirewell.report.limbs import Palette
from quirewell.stages.trial_measured import VerdictView

WIDTH, HEIGHT, SHOWN_PX, FONT = 340, 272, 440, 17
_TOP, _FOOT = 40.0, 206.0
_A, _B, _DIFFERENCE, _HALF = 66.0, 166.0, 262.0, 34.0
_HEADS = {"changes": "Change, pair by pair", "given": "Change, pair by pair",
          "after": "After, pair by pair"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Scale:
    """Values on a panel: from ``low`` at its foot to ``high`` at its top, in steps of ``step``."""

    low: float
    high: float
    step: float

    def y(self, value: float) -> float:
        """Height of a value in the view box."""
        return _FOOT - (value - self.low) / (self.high - self.low) * (_FOOT - _TOP)

    def ticks(self) -> list[tuple[float, str]]:
        """Round values on the panel, each as words."""
        places = max(0, -math.floor(math.log10(self.step) + 1e-9))
        count = round((self.high - self.low) / self.step)
        values = [self.low + index * self.step for index in range(count + 1)]
        return [(one, f"{one + 0.0:.{places}f}".replace("-", "\u2212")) for one in values]


def scale_of(values: Sequence[float], finest: float = 0.0) -> Scale:
    """Round bounds around values, four to seven ticks, none closer than ``finest``.

    >>> scale_of([5, 7]), scale_of([-0.3, 0.5])
    (Scale(low=5.0, high=7.0, step=0.5), Scale(low=-0.4, high=0.6000000000000001, step=0.2))
    """
    low, high = min(values), max(values)
    spread = high - low or max(abs(high), 1.0) / 4
    rough = spread / 4
    power = 10.0 ** math.floor(math.log10(rough))
    step = max(finest, next(power * one for one in (1, 2, 5, 10) if power * one >= rough * 0.999))
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    if first == last:
        first, last = first - 1, last + 1
    return Scale(first * step, last * step, step)


def drawable(view: VerdictView) -> bool:
    """Whether there is anything to draw: a verdict with a difference."""
    return view.finding("trial.difference") is not None


def trial_svg(view: VerdictView, palette: Palette | None = None) -> str:
    """The picture of a trial's verdict as SVG text."""
    ink = palette or Palette()
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" '
        f'width="{SHOWN_PX}" height="{round(SHOWN_PX * HEIGHT / WIDTH)}" '
        f'font-family="sans-serif" font-size="{FONT}" role="img" '
        f'aria-label="{escape(trial_alt(view), quote=True)}">',
        *_pairs(view, ink), *_difference(view, ink), "</svg>",
    ]  # fmt: skip
    return "\n".join(parts)


def trial_alt(view: VerdictView) -> str:
    """The picture in words."""
    each = "; ".join(
        f"pair {number}: {one:.3g} by the first way, {two:.3g} by the second"
        for number, (one, two, _) in enumerate(_plotted(view), start=1)
    )
    return f"{view.says} {each}."


def _plotted(view: VerdictView) -> list[tuple[float, float, bool]]:
    return [
        (row.plotted[0], row.plotted[1], row.difference is not None)
        for row in view.rows
        if row.plotted is not None
    ]


def _pairs(view: VerdictView, ink: Palette) -> list[str]:
    rows = _plotted(view)
    finest = 1.0 if view.view.trial.unit == "step" else 0.0
    scale = scale_of([value for one, two, _ in rows for value in (one, two)], finest)
    basis = view.run.drawing.get("basis", "after") if view.run else "after"
    out = [_text(0, 16, _HEADS[basis], ink, "start", bold=True)]
    for value, words in scale.ticks():
        out.append(
            _line(44, scale.y(value), _B + 12, scale.y(value), ink.pencil, 0.5, 'opacity="0.5"')
        )
        out.append(_text(38, scale.y(value) + 5, words, ink, "end"))
    for (one, two, counts), times in Counter(rows).items():
        width = 1.4 + 0.9 * (times - 1)
        dash = "" if counts else 'stroke-dasharray="5 4"'
        out.append(_line(_A, scale.y(one), _B, scale.y(two), ink.ink, width, dash))
        fill = ink.ink if counts else ink.paper
        out.append(f'<circle cx="{_A}" cy="{scale.y(one):.1f}" r="5" fill="{fill}" '
                   f'stroke="{ink.ink}" stroke-width="1.2"/>')  # fmt: skip
        out.append(_square(_B, scale.y(two), fill, ink))
        if times > 1:
            out.append(_text(_B + 10, scale.y(two) + 5, f"×{times}", ink, "start"))
    out.append(f'<circle cx="{_A - 26}" cy="{_FOOT + 23}" r="5" fill="{ink.ink}"/>')
    out.append(_square(_B - 32, _FOOT + 23, ink.ink, ink))
    out.append(_text(_A - 17, _FOOT + 28, "first", ink, "start"))
    out.append(_text(_B - 23, _FOOT + 28, "second", ink, "start"))
    if any(not counts for _, _, counts in rows):
        out.append(_text(0, _FOOT + 56, "dashed: left out", ink, "start"))
    return out


def _difference(view: VerdictView, ink: Palette) -> list[str]:
    found, held = view.finding("trial.difference"), view.finding("trial.margin")
    assert found is not None and found.value is not None
    margin = held.value if held is not None else None
    low, high = found.low90, found.high90
    known = [0.0, found.value, *(one for one in (low, high) if one is not None)]
    if margin is not None:
        known += [margin, -margin]
    scale = scale_of(known)
    left, right = _DIFFERENCE - _HALF, _DIFFERENCE + _HALF
    out = [_text(WIDTH, 16, "Difference", ink, "end", bold=True)]
    if margin is not None:
        top, foot = scale.y(margin), scale.y(-margin)
        out.append(
            f'<rect x="{left}" y="{top:.1f}" width="{2 * _HALF}" height="{foot - top:.1f}" '
            f'fill="{ink.levels[1]}" fill-opacity="0.55"/>'
        )
        for y in (top, foot):
            out.append(_line(left, y, right, y, ink.ink, 1, 'stroke-dasharray="4 3"'))
    for value, words in scale.ticks():
        out.append(_line(right, scale.y(value), right + 4, scale.y(value), ink.pencil, 0.8))
        out.append(_text(WIDTH, scale.y(value) + 5, words, ink, "end"))
    out.append(_line(left, scale.y(0), right, scale.y(0), ink.pencil, 1))
    if low is not None and high is not None:
        out.append(_line(_DIFFERENCE, scale.y(low), _DIFFERENCE, scale.y(high), ink.ink, 2.4))
        for value in (low, high):
            y = scale.y(value)
            out.append(_line(_DIFFERENCE - 9, y, _DIFFERENCE + 9, y, ink.ink, 2.4))
    x, y = _DIFFERENCE, scale.y(found.value)
    out.append(f'<polygon points="{x - 8},{y:.1f} {x},{y - 8:.1f} {x + 8},{y:.1f} {x},{y + 8:.1f}" '
               f'fill="{ink.ink}" stroke="{ink.paper}" stroke-width="1"/>')  # fmt: skip
    says = "first \u2212 second" if margin is None else "band: margin"
    out.append(_text(WIDTH, _FOOT + 28, says, ink, "end"))
    unit = "steps" if found.unit == "step" else found.unit
    out.append(_text(WIDTH, _FOOT + 56, f"bar: 90 %, in {unit}", ink, "end"))
    return out


def _line(
    x: float, y: float, to_x: float, to_y: float, colour: str, width: float, more: str = ""
) -> str:
    return (
        f'<line x1="{x:.1f}" y1="{y:.1f}" x2="{to_x:.1f}" y2="{to_y:.1f}" stroke="{colour}" '
        f'stroke-width="{width:.1f}" {more}/>'
    )


def _square(x: float, y: float, fill: str, ink: Palette) -> str:
    return (
        f'<rect x="{x - 5:.1f}" y="{y - 5:.1f}" width="10" height="10" fill="{fill}" '
        f'stroke="{ink.ink}" stroke-width="1.2"/>'
    )


def _text(x: float, y: float, words: str, ink: Palette, anchor: str, bold: bool = False) -> str:
    weight = ' font-weight="600"' if bold else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{ink.ink}"{weight}>'
        f"{escape(words)}</text>"
    )
