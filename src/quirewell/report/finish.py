"""Damp, heat and press as a chapter: the chamber, the press from inside with its picture, the iron.

The stack is drawn as on the page; what else could be done stands beside it as a table, each row
traced to the run it was worked out in.
"""

from __future__ import annotations

from typing import Any
from xml.sax.saxutils import escape

from quirewell.record.finding import Run
from quirewell.record.nouns import ItemState
from quirewell.report.workings import workings_part
from quirewell.stages.press_view import PressView, press_view
from quirewell.stages.pressing import MIDWAY
from quirewell.stages.results import Shown
from quirewell.stages.working import newest
from quirewell.stages.working_rows import WORKINGS

OTHERS = ("chamber", "iron")
TOLD = ("press.alarm", "press.open_side", "press.change", "press.swap")
STACK_FILE = "press-stack.svg"
# Print colours of layers and sheets: paper and pencil, with shape and place saying the same.
_LAYERS = {"aluminium": "#d4cdbb", "granite": "#cfcac2", "release": "#f6edd3", "film": "#f6edd3"}
_SHEETS = {"calm": "#5b8a94", "amber": "#b59a52", "red": "#b4635a"}


def finish_part(state: ItemState) -> dict[str, Any]:
    """The chapter's data; empty parts where nothing of it was worked out."""
    run = newest(state, WORKINGS["press"])
    return {
        "works": workings_part(state, OTHERS),
        "press": {} if run is None else _press(run),
        "numbers": workings_part(state, ("press",), TOLD),
    }


def finish_files(state: ItemState) -> dict[str, bytes]:
    """Pictures of the chapter by file name."""
    run = newest(state, WORKINGS["press"])
    return {} if run is None else {STACK_FILE: stack_svg(press_view(run)).encode()}


def _press(run: Run) -> dict[str, Any]:
    view = press_view(run)
    by_name = {one.quantity: one for one in run.findings}
    told = [Shown(by_name[name].text, (by_name[name].id,), name) for name in TOLD]
    ref = (f"run:{run.id}",)
    return {
        "file": STACK_FILE,
        "alt": "The stack from top to bottom with the water of each sheet. "
        + " ".join(f"{bar.says}." for bar in (view.bars[0], view.bars[-1])),
        "caption": Shown(
            f"The stack, {view.heat_says}; along each sheet its water when heating ends, in "
            "grams a gram of paper (90 %). The dashed line is where all began; the heavy line is "
            "the heat.",
            ref,
            "text",
        ),
        "told": told,
        "midway": f"Each row is {MIDWAY}.",
        "head": [
            "One change at a time",
            "Hot and damp",
            "Dampest",
            "Cool side",
            "Water",
            "Cool in",
        ],
        "rows": [
            [
                Shown(row.name + (" (helps)" if row.helps else ""), ref, "text"),
                *(
                    Shown(text, ref, "text")
                    for text in (row.hot_and_damp, row.greatest, row.cool_side, row.out, row.cools)
                ),
            ]
            for row in view.changes
        ],
    }


def stack_svg(view: PressView) -> str:
    """The stack drawn for print: layers, sheets with their water, a scale."""
    tall = view.tall + 10
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="-4 -4 108 {tall:g}" '
        'font-family="sans-serif" font-size="3">'
    ]
    for x, _ in view.ticks:
        parts.append(
            f'<line x1="{x:g}" x2="{x:g}" y1="{view.bars[0].top:g}" y2="{view.tall:g}" '
            'stroke="#c9c2b2" stroke-width="0.15"/>'
        )
    for block in view.blocks:
        fill = _LAYERS.get(block.kind, "#f3eee2")
        parts.append(
            f'<rect x="0" y="{block.top:g}" width="100" height="{block.tall:g}" fill="{fill}" '
            'stroke="#8a8374" stroke-width="0.2"/>'
            f'<text x="1.5" y="{block.top + 3.5:g}">{escape(block.name)}</text>'
        )
    for bar in view.bars:
        colour = _SHEETS[bar.level]
        width = max(bar.high - bar.low, 0.4)
        parts.append(
            f'<rect x="{bar.low:g}" y="{bar.top + 0.15:g}" width="{width:g}" '
            f'height="{bar.tall - 0.3:g}" fill="{colour}" fill-opacity="0.6"/>'
            f'<rect x="{bar.middle - 0.3:g}" y="{bar.top + 0.15:g}" width="0.6" '
            f'height="{bar.tall - 0.3:g}" fill="#1e2a30"/>'
        )
    foot = view.bars[-1].top + view.bars[-1].tall
    parts.append(
        f'<line x1="{view.start:g}" x2="{view.start:g}" y1="{view.bars[0].top:g}" y2="{foot:g}" '
        'stroke="#1e2a30" stroke-width="0.3" stroke-dasharray="1 0.8"/>'
    )
    for hot, y in ((view.hot_above, -2.2), (view.hot_below, view.tall + 0.4)):
        if hot:
            parts.append(f'<rect x="-2" y="{y:g}" width="104" height="1.8" fill="#1e2a30"/>')
    for x, words in view.ticks:
        parts.append(f'<text x="{x:g}" y="{view.tall + 5.5:g}" text-anchor="middle">{words}</text>')
    return "".join(parts) + "</svg>"
