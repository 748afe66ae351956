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
_MARKS = ("torn", "rusted", "plugged")
# How far the broken outline of lying flush is drawn off, however little a sheet is moved.
_WAY = 4.0


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
    """One sheet as it lies, inner side up: what is to be seen on it, its holes by state, and the
    way it is moved from lying flush (broken outline) to its place, far larger than it is."""
    wide, tall = _SHEET
    fold = wide / 2
    moves = "; ".join(step.moves) or "no move asked for"
    words = (
        f"{step.name}, inner side up, its head above; {' left, '.join(step.halves)} right. "
        f"{moves}. "
        + " ".join(f"Hole {one.number} {one.state or 'not marked'}." for one in step.holes)
    )  # fmt: skip
    right, down = (_WAY * ((one > 0) - (one < 0)) for one in step.slide_mm)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="laysheet" viewBox="-8 -13 {wide + 16:g} '
        f'{tall + 27:g}" role="img" aria-label={quoteattr(words)} font-family="sans-serif" '
        f'font-size="5">{_mark(fold, -6.5, "head")}{_mark(fold, tall + 11, "tail: you sit here")}'
    ]
    if right or down:
        parts.append(
            f'<rect class="flush" x="{-right:g}" y="{-down:g}" width="{wide:g}" height="{tall:g}" '
            'fill="none" stroke="#6b6455" stroke-width="0.6" stroke-dasharray="2 1.4"/>'
        )
    parts.append(
        f'<rect class="paper" x="0" y="0" width="{wide:g}" height="{tall:g}" fill="#f3eee2" '
        'stroke="#6b6455" stroke-width="0.6"/>'
        f'<line x1="{fold:g}" x2="{fold:g}" y1="0" y2="{tall:g}" stroke="#6b6455" '
        'stroke-width="0.5" stroke-dasharray="2 1.4"/>'
    )
    for at, said in zip((fold / 2, 1.5 * fold), step.halves, strict=True):
        parts.append(f'<text x="{at:g}" y="9" text-anchor="middle" fill="#26231f">{said}</text>')
    last = max([one.y_mm or 0.0 for one in step.holes] + [1.0]) * 1.3
    for at, one in enumerate(step.holes):
        y = tall * ((one.y_mm / last) if one.y_mm is not None else (at + 1) / (len(step.holes) + 1))
        side, anchor = (4.5, "start") if at % 2 == 0 else (-4.5, "end")
        parts.append(_hole(fold, y, one.state))
        odd = "set aside" if one.aside else one.state
        said = f"{one.number}" + ("" if odd in ("", "clean") else f" {odd}")
        parts.append(
            f'<text x="{fold + side:g}" y="{y + 1.7:.2f}" text-anchor="{anchor}" '
            f'fill="#26231f">{escape(said)}</text>'
        )
    parts += _arrows(step, fold, tall)
    return "".join(parts) + "</svg>"


def _mark(x: float, y: float, words: str) -> str:
    """A word outside the sheet, on the page's own ground."""
    return f'<text x="{x:g}" y="{y:g}" text-anchor="middle" class="ink">{words}</text>'


def _hole(x: float, y: float, state: str) -> str:
    """A hole over the wire's place, which is a cross."""
    if state == "missing":
        return (
            f'<path d="M{x - 1.6:g} {y - 1.6:.2f}l3.2 3.2m0 -3.2l-3.2 3.2" stroke="#9a3b2f" '
            'stroke-width="0.8"/>'
        )
    if state in _MARKS:
        shape = (
            f'<ellipse cx="{x:g}" cy="{y:.2f}" rx="1.2" ry="2" fill="#9a3b2f" '
            'fill-opacity="0.3" stroke="#9a3b2f" stroke-width="0.5"/>'
        )
    else:
        shape = (
            f'<circle cx="{x:g}" cy="{y:.2f}" r="1.5" fill="#fff" '
            f'fill-opacity="{0.9 if state else 0:g}" stroke="#2f5f6b" stroke-width="0.6"/>'
        )
    return (
        f'{shape}<path d="M{x - 3.2:g} {y:.2f}h6.4M{x:g} {y - 1.5:.2f}v3" stroke="#1e2a30" '
        'stroke-width="0.35"/>'
    )


def _arrows(step: LayStep, fold: float, tall: float) -> list[str]:
    """Each move an arrow of one length with its millimetres, left of the fold; the turn a bow at
    the right of it."""
    out = []
    right, down = step.slide_mm
    x, y = 0.4 * fold, 0.5 * tall
    if right:
        out.append(_arrow(x, y, 8.0 if right > 0 else -8.0, 0.0, abs(right), (x, y - 5)))
    if down:
        y += 19 if right else 0
        out.append(_arrow(x, y, 0.0, 8.0 if down > 0 else -8.0, abs(down), (x + 15, y + 2)))
    if step.turn_mrad:
        x, y, clockwise = 1.5 * fold, 0.55 * tall, step.turn_mrad > 0
        start, end = (-9, 9) if clockwise else (9, -9)
        out.append(
            f'<path d="M{x + start:g} {y:g}A9 9 0 0 {1 if clockwise else 0} {x + end:g} {y:g}" '
            'fill="none" stroke="#1e2a30" stroke-width="1.6"/>'
            f'<path d="M5 0L-1 -3.6L-1 3.6Z" fill="#1e2a30" transform="translate({x + end:g} '
            f'{y:g}) rotate(90)"/>'
        )
    return out


def _arrow(x: float, y: float, dx: float, dy: float, mm: float, at: tuple[float, float]) -> str:
    turn = math.degrees(math.atan2(dy, dx))
    return (
        f'<line x1="{x - dx:g}" y1="{y - dy:g}" x2="{x + dx:g}" y2="{y + dy:g}" '
        'stroke="#1e2a30" stroke-width="1.6"/>'
        f'<path d="M5 0L-1 -3.6L-1 3.6Z" fill="#1e2a30" transform="translate({x + dx:g} '
        f'{y + dy:g}) rotate({turn:g})"/><text x="{at[0]:g}" y="{at[1]:g}" text-anchor="middle" '
        f'font-weight="bold" font-size="6" fill="#1e2a30">{mm:.1f} mm</text>'
    )
