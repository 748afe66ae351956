"""Pictures of putting together: how the holes of all sheets fall on each other, and one sheet as
it is laid. The same on the page and in the report; place and words say what colour says."""

from __future__ import annotations

import math
from xml.sax.saxutils import escape, quoteattr

from quirewell.stages.rejoining import LayStep, MatchPicture

# One panel of the match, and a sheet as it lies, in the units of the picture.
PANEL = 44.0
_DOT = 1.1
_SHEET = (120.0, 84.0)
_MARKS = {"torn": "torn", "rusted": "rusted", "plugged": "plugged"}


def match_svg(picture: MatchPicture, times: int) -> str:
    """A panel for each hole: the common place a cross, the wire a ring, each sheet a dot."""
    wide, tall = PANEL * len(picture.panels), PANEL + 9
    words = f"How the holes fall on each other, {times} times larger than they are. " + " ".join(
        f"Hole {panel.number}: {len(panel.dots)} sheets, the farthest {panel.farthest_mm:.2f} "
        "mm off."
        for panel in picture.panels
    )
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="match" viewBox="0 0 {wide:g} {tall:g}" '
        f'role="img" aria-label={quoteattr(words)} font-family="sans-serif" font-size="2.8">'
    ]
    for at, panel in enumerate(picture.panels):
        left, middle = at * PANEL, PANEL / 2
        cx, cy = left + middle, middle
        ring = min(picture.wire_mm / 2 * times, 0.7 * PANEL)
        parts.append(
            f'<clipPath id="p{at}"><rect x="{left + 0.5:g}" y="0.5" width="{PANEL - 1:g}" '
            f'height="{PANEL - 1:g}"/></clipPath>'
            f'<rect class="edge" x="{left + 0.5:g}" y="0.5" width="{PANEL - 1:g}" '
            f'height="{PANEL - 1:g}" fill="none" stroke="#8a8374" stroke-width="0.25"/>'
            f'<g clip-path="url(#p{at})"><circle class="wire" cx="{cx:g}" cy="{cy:g}" '
            f'r="{ring:.2f}" fill="none" stroke="#8a8374" stroke-width="0.25" '
            f'stroke-dasharray="1 0.8"/><path class="hair" d="M{cx - 2:g} {cy:g}h4M{cx:g} '
            f'{cy - 2:g}v4" stroke="#1e2a30" stroke-width="0.3" fill="none"/></g>'
        )
        for dot in panel.dots:
            parts.append(_dot(cx, cy, dot.dx_mm * times, dot.dy_mm * times, dot.name, dot.mind))
        parts.append(f'<text x="{cx:g}" y="{PANEL + 3:g}" text-anchor="middle">hole '
                     f"{panel.number}</text>")  # fmt: skip
    bar = _bar_mm(times)
    parts.append(
        f'<path d="M1 {PANEL + 6:g}h{bar * times:.3f}" stroke="#1e2a30" stroke-width="0.5"/>'
        f'<text x="{bar * times + 2.5:.2f}" y="{PANEL + 7:g}">{bar:g} mm; dashed: the wire</text>'
    )
    return "".join(parts) + "</svg>"


def _bar_mm(times: int) -> float:
    return next(one for one in (5.0, 1.0, 0.5, 0.2, 0.1) if one * times <= 16 or one == 0.1)


def _dot(cx: float, cy: float, dx: float, dy: float, name: str, mind: bool) -> str:
    reach = PANEL / 2 - 1.8
    away = math.hypot(dx, dy)
    if max(abs(dx), abs(dy)) > reach:  # off the panel: a wedge at its rim, named
        share = reach / max(abs(dx), abs(dy))
        x, y = cx + dx * share, cy + dy * share
        turn = math.degrees(math.atan2(dy, dx))
        return (
            f'<path d="M1.4 0L-1 -1L-1 1Z" fill="#9a3b2f" transform="translate({x:.2f} {y:.2f}) '
            f'rotate({turn:.1f})"><title>{escape(name)}</title></path>' + _name(x, y, name, cx)
        )
    x, y = cx + dx, cy + dy
    shape = (
        f'<rect x="{x - _DOT:.2f}" y="{y - _DOT:.2f}" width="{2 * _DOT:g}" height="{2 * _DOT:g}" '
        'fill="#9a3b2f"'
        if mind
        else f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{_DOT:g}" fill="#2f5f6b" fill-opacity="0.75"'
    )
    end = "</rect>" if mind else "</circle>"
    return f"{shape}><title>{escape(name)}</title>{end}" + (
        _name(x, y, name, cx) if mind and away else ""
    )


def _name(x: float, y: float, name: str, cx: float) -> str:
    anchor, step = ("end", -1.8) if x > cx else ("start", 1.8)
    return f'<text x="{x + step:.2f}" y="{y + 1:.2f}" text-anchor="{anchor}">{escape(name)}</text>'


def lay_svg(step: LayStep) -> str:
    """One sheet as it lies, inner side up: its holes by state, and the way it is moved."""
    wide, tall = _SHEET
    fold = wide / 2
    moves = "; ".join(step.moves) or "lies right when flush"
    words = f"{step.name}, inner side up, its head above. {moves}. " + " ".join(
        f"Hole {one.number} {one.state or 'not marked'}." for one in step.holes
    )
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="laysheet" viewBox="-4 -8 {wide + 8:g} '
        f'{tall + 14:g}" role="img" aria-label={quoteattr(words)} font-family="sans-serif" '
        'font-size="4">'
        f'<rect class="paper" x="0" y="0" width="{wide:g}" height="{tall:g}" fill="#f3eee2" '
        'stroke="#8a8374" stroke-width="0.4"/>'
        f'<line x1="{fold:g}" x2="{fold:g}" y1="0" y2="{tall:g}" stroke="#8a8374" '
        'stroke-width="0.4" stroke-dasharray="2 1.4"/>'
        f'<text x="{fold:g}" y="-2.5" text-anchor="middle" class="ink">head</text>'
    ]
    span = max([one.y_mm or 0.0 for one in step.holes] + [1.0]) * 1.3
    for at, one in enumerate(step.holes):
        y = tall * ((one.y_mm / span) if one.y_mm is not None else (at + 1) / (len(step.holes) + 1))
        side, anchor = (3.5, "start") if at % 2 == 0 else (-3.5, "end")
        parts.append(_hole(fold, y, one.state))
        said = f"{one.number}" + ("" if one.state in ("", "clean") else f" {one.state}")
        parts.append(
            f'<text x="{fold + side:g}" y="{y + 1.4:.2f}" text-anchor="{anchor}" class="ink">'
            f"{escape(said)}</text>"
        )
    parts += _arrows(step, fold, tall)
    return "".join(parts) + "</svg>"


def _hole(x: float, y: float, state: str) -> str:
    if state == "missing":
        return (
            f'<path d="M{x - 1.6:g} {y - 1.6:.2f}l3.2 3.2m0 -3.2l-3.2 3.2" stroke="#9a3b2f" '
            'stroke-width="0.6"/>'
        )
    if state in _MARKS:
        return (
            f'<ellipse cx="{x:g}" cy="{y:.2f}" rx="1.2" ry="2.2" fill="#9a3b2f" '
            'fill-opacity="0.4" stroke="#9a3b2f" stroke-width="0.5"/>'
        )
    fill = "#2f5f6b" if state else "none"
    return (
        f'<circle cx="{x:g}" cy="{y:.2f}" r="1.3" fill="{fill}" stroke="#2f5f6b" '
        'stroke-width="0.5"/>'
    )


def _arrows(step: LayStep, fold: float, tall: float) -> list[str]:
    """The move as an arrow from the middle of the left page, longer than it is; the turn as a bow
    at the right."""
    out = []
    right, down = step.slide_mm if step.moves else (0.0, 0.0)
    size = math.hypot(right, down)
    if size > 0.05:
        x, y = fold / 2, tall / 2
        dx, dy = 16 * right / size, 16 * down / size
        turn = math.degrees(math.atan2(dy, dx))
        out.append(
            f'<line x1="{x - dx / 2:.2f}" y1="{y - dy / 2:.2f}" x2="{x + dx / 2:.2f}" '
            f'y2="{y + dy / 2:.2f}" stroke="#1e2a30" stroke-width="1.2"/>'
            f'<path d="M4 0L-1 -3L-1 3Z" fill="#1e2a30" transform="translate({x + dx / 2:.2f} '
            f'{y + dy / 2:.2f}) rotate({turn:.1f})"/>'
        )
    if any(line.startswith("turned") for line in step.moves):
        x, y, clockwise = 1.5 * fold, tall / 2, step.turn_mrad > 0
        start, end = (-9, 9) if clockwise else (9, -9)
        tip = 45 if clockwise else 135
        out.append(
            f'<path d="M{x + start:g} {y:g}A9 9 0 0 {1 if clockwise else 0} {x + end:g} {y:g}" '
            'fill="none" stroke="#1e2a30" stroke-width="1.2"/>'
            f'<path d="M4 0L-1 -3L-1 3Z" fill="#1e2a30" transform="translate({x + end:g} {y:g}) '
            f'rotate({tip + 45 if clockwise else tip - 45})"/>'
        )
    return out
