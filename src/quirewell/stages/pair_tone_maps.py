"""Maps of the paper's tone over a page, before, after and the change, as a comparison drew them.

Each part of the page carries its number, so that no colour has to be read. All are as if both
pictures had been lit alike, where that could be brought about.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from quirewell.record.finding import Run
from quirewell.stages.pair_layers import Cell
from quirewell.stages.results import PageResult, Shown

_CHANGE_STEPS = ("m2", "m1", "0", "p1", "p2")
_TONE_STEPS = ("t0", "t1", "t2", "t3", "t4")
_TOPS = (1.0, 2.0, 3.0, 5.0, 8.0, 12.0, 20.0)
# A scanner repeats a tone to 0.25 in L* (from memory): two cells of two pictures, 95 %.
APART_L = 1.96 * math.sqrt(2) * 0.25


@dataclass(frozen=True, slots=True)
class ToneMap:
    """One map: its cells with their numbers, and what each step of its colours stands for."""

    key: str
    name: str
    says: str
    cells: tuple[Cell, ...]
    scale: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class _Part:
    box: tuple[float, float, float, float]
    before: tuple[float, float, float]
    after: tuple[float, float, float]


def tone_maps(run: Run) -> tuple[ToneMap, ...]:
    """The maps of a comparison; none where it drew none (too little bare paper, an older one)."""
    parts = _parts(run.drawing.get("tones", ""))
    if not parts:
        return ()
    levels = [lab[0] for part in parts for lab in (part.before, part.after)]
    low, high = math.floor(min(levels)), math.ceil(max(levels))
    return (
        _change("tone-change", "Paper lighter or darker, L*", parts, 0),
        _change("tone-yellow", "Paper yellower or bluer, b*", parts, 2),
        _level("tone-before", "Paper tone before, L*", [(p.box, p.before[0]) for p in parts],
               low, high),
        _level("tone-after", "Paper tone after, L*", [(p.box, p.after[0]) for p in parts],
               low, high),
    )  # fmt: skip


def _parts(text: str) -> list[_Part]:
    out = []
    for group in text.split():
        values = [float(word) for word in group.split(",")]
        if len(values) == 11:
            out.append(_Part(tuple(values[:4]), tuple(values[4:7]), tuple(values[7:10])))  # type: ignore[arg-type]
    return out


def _change(key: str, name: str, parts: list[_Part], axis: int) -> ToneMap:
    moves = [(part.box, part.after[axis] - part.before[axis]) for part in parts]
    largest = max(abs(value) for _, value in moves)
    top = next((step for step in _TOPS if step >= largest), _TOPS[-1])
    cells = tuple(
        Cell(*box, _signed(value), _CHANGE_STEPS[min(4, max(0, round(2 * value / top) + 2))])
        for box, value in moves
    )
    ends = (-top, -top / 2, 0.0, top / 2, top)
    words = [_signed(end) for end in ends]
    words[0], words[-1] = f"{words[0]} or less", f"{words[-1]} or more"
    says = (
        "median of bare paper in each part, after less before; parts that differ by less than "
        f"{APART_L:.1f} may be alike"
    )
    return ToneMap(key, name, says, cells, tuple(zip(_CHANGE_STEPS, words, strict=True)))


def _level(
    key: str, name: str, levels: list[tuple[tuple[float, float, float, float], float]],
    low: int, high: int,
) -> ToneMap:  # fmt: skip
    span = max(1, high - low)
    cells = tuple(
        Cell(*box, f"{value:.1f}", _TONE_STEPS[min(4, max(0, round(4 * (value - low) / span)))])
        for box, value in levels
    )
    words = [f"{low + span * step / 4:.0f}" for step in range(5)]
    says = "median of bare paper in each part; one scale for before and after"
    return ToneMap(key, name, says, cells, tuple(zip(_TONE_STEPS, words, strict=True)))


def _signed(value: float) -> str:
    text = f"{value:+.1f}"
    return text[1:] if float(text) == 0 else text.replace("-", "\u2212")


_PROFILE = (
    ("tone.margin_L", "Margin, lightness L*"),
    ("tone.centre_L", "Centre, lightness L*"),
    ("tone.margin_b", "Margin, yellowness b*"),
    ("tone.centre_b", "Centre, yellowness b*"),
    ("tone.margin_db", "Margin more yellow than the centre, b*"),
    ("tone.profile.decay_mm", "Reach of the browning from the edges"),
)


def profile_rows(page: PageResult) -> tuple[tuple[str, Shown, Shown], ...]:
    """Tone from the edge to the centre, before and after, each as its own picture was measured."""
    rows = [(name, page.at("before", key), page.at("after", key)) for key, name in _PROFILE]
    return tuple(row for row in rows if row[1] or row[2])
