"""How each family of damage is drawn: its own line, its own hatch, its own sign for a point.

Colour comes on top and is never needed: printed grey the families stay apart. Lengths are in
millimetres of the paper the drawing is printed on; ``per`` makes them millimetres of the thing.
"""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

from quirewell.stages.damage_schedule import FAMILIES, OTHER, Family

FONTS = "'Libertinus Serif', 'Iowan Old Style', 'Palatino Linotype', Palatino, Georgia, serif"
INK, PAPER, PENCIL = "#26231f", "#fffdf7", "#6a6257"


@dataclass(frozen=True, slots=True)
class Style:
    """A family's colour, the width and dashes of its line, a tile of its hatch (a path in a square
    of ``tile`` mm) and the path of its point, about 0,0."""

    colour: str
    width: float
    dash: str
    tile: float
    hatch: str
    sign: str
    says: str


STYLES: dict[Family, Style] = {
    "loss": Style("#8a2a1c", 0.4, "", 1.6, "M0,0L1.6,1.6M1.6,0L0,1.6", "M-1,-1L1,1M1,-1L-1,1",
                  "lost paper: crossed lines"),
    "tear": Style("#26231f", 0.8, "", 2.0, "M0,2L2,0", "M-1,1L1,-1", "tears: a heavy line"),
    "crease": Style("#1d5160", 0.5, "2.4 0.8 0.5 0.8", 2.4, "M1.2,0V2.4", "M-1,-0.7L0,0.8L1,-0.7",
                    "creases and folds: dash and dot"),
    "stain": Style("#7a5200", 0.5, "0.1 1", 1.5, "M0.6,0.75h0.3", "M-0.9,0a0.9,0.9 0 1 0 1.8,0"
                   "a0.9,0.9 0 1 0 -1.8,0M-0.2,0h0.4", "stains: dots"),
    "rub": Style("#585147", 0.45, "1.2 0.9", 2.4, "M0.3,0.6h1M1.5,1.8h0.9", "M-0.9,-0.9h1.8v1.8"
                 "h-1.8z", "rubbed, faded, brittle: dashes"),
    "mark": Style("#3f3a7d", 0.4, "4 0.8", 1.6, "M0,0.8H1.6", "M0,-1L1,0.8H-1z",
                  "writing, stamps, tape: level lines"),
    OTHER: Style("#26231f", 0.4, "0.6 0.6", 3.0, "M1.5,0.9v1.2M0.9,1.5h1.2",
                 "M-0.9,0h1.8M0,-0.9v1.8", "anything else: small crosses"),
}  # fmt: skip
assert set(STYLES) == {*FAMILIES, OTHER}


def patterns(families: list[Family], per: float, prefix: str) -> str:
    """The hatches of some families as SVG definitions, named ``prefix`` and the family."""
    parts = []
    for family in families:
        style = STYLES[family]
        parts.append(
            f'<pattern id="{prefix}{family}" patternUnits="userSpaceOnUse" width="{style.tile:g}" '
            f'height="{style.tile:g}" patternTransform="scale({per:g})"><path d="{style.hatch}" '
            f'fill="none" stroke="{style.colour}" stroke-width="0.18" stroke-linecap="round"/>'
            "</pattern>"
        )
    return f"<defs>{''.join(parts)}</defs>"


def drawn(family: Family, kind: str, path: str, per: float, prefix: str, says: str) -> str:
    """One region as SVG: ``path`` in millimetres of the thing."""
    style = STYLES[family]
    title = f"<title>{escape(says)}</title>"
    if kind == "point":
        return ""
    fill = f"url(#{prefix}{family})" if kind == "polygon" else "none"
    dash = " ".join(f"{float(part) * per:g}" for part in style.dash.split())
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<g>{title}<path class="damage {family}" d="{path}" fill="{fill}" '
        f'stroke="{style.colour}" stroke-width="{style.width * per:g}"{dashes} '
        'stroke-linecap="round" stroke-linejoin="round"/></g>'
    )


def sign(family: Family, x: float, y: float, per: float, says: str) -> str:
    """A family's point at x, y [mm of the thing]."""
    style = STYLES[family]
    return (
        f'<g><title>{escape(says)}</title><path class="damage {family}" '
        f'transform="translate({x:g} {y:g}) scale({per:g})" d="{style.sign}" fill="none" '
        f'stroke="{style.colour}" stroke-width="0.45" stroke-linecap="round" '
        'stroke-linejoin="round"/></g>'
    )


def key_svg(families: list[Family], prefix: str = "key-") -> str:
    """The key: a swatch and words for each family, two in a row; 160 mm wide."""
    rows = (len(families) + 1) // 2
    high = 6.5 * max(rows, 1)
    parts = [patterns(families, 1.0, prefix)]
    for at, family in enumerate(families):
        style, x, y = STYLES[family], 81 * (at % 2) + 0.6, 6.5 * (at // 2) + 0.8
        parts.append(
            drawn(family, "polygon", f"M{x:g},{y:g}h11v4.6h-11z", 1.0, prefix, style.says)
            + drawn(family, "line", f"M{x + 13:g},{y + 2.3:g}h7", 1.0, prefix, style.says)
            + sign(family, x + 23, y + 2.3, 1.0, style.says)
            + f'<text x="{x + 26:g}" y="{y + 3.4:g}" font-size="3" fill="{INK}">'
            f"{escape(style.says)}</text>"
        )
    words = "; ".join(STYLES[family].says for family in families)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="damage-key" viewBox="0 0 162 {high:g}" '
        f'width="162mm" height="{high:g}mm" role="img" aria-label="{escape(f"Key: {words}")}" '
        f'font-family="{escape(FONTS)}"><rect width="162" height="{high:g}" fill="{PAPER}"/>'
        f"{''.join(parts)}</svg>"
    )
