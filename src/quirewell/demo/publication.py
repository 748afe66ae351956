"""The invented *Copperbeck Garden Annual* of 1936: its sheets, their damage, their treatment.

Nine wraps and a cover about two millimetres wider than the wraps, two staples. A sheet is
described on its outer side, lying flat, head up: x runs from the left fore-edge over the fold
at ``half_mm`` to the right fore-edge.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from quirewell.demo.cover import PASSES
from quirewell.demo.difference import ciede2000
from quirewell.demo.outline import Loss, Movement, Outline, Run, draw_outline, edge_line
from quirewell.demo.staple_holes import PlannedHole, opening, planned_holes
from quirewell.demo.tone import Ageing, Lab, lab_from_linear, linear_from_lab

WRAPS = 9
HEIGHT_MM = 265.0
WRAP_HALF_MM = 195.0
COVER_HALF_MM = 197.0
CREEP_MM = 0.09
STAPLES_MM = (72.0, 193.0)
RED_LOSS_DE00 = 2.5
MOTTLE = 0.03
MEAN_MOTTLE = 0.4 * MOTTLE


@dataclass(frozen=True, slots=True)
class SheetPlan:
    """One sheet of the Annual and what was planted in it."""

    code: str
    half_mm: float
    height_mm: float
    outline: Outline
    before: Ageing
    after: Ageing
    movement: Movement
    split_mm: float
    holes: tuple[PlannedHole, ...]
    head_mm: float
    seed: int

    @property
    def wrap(self) -> int:
        """Number of the wrap, 1 = outermost; 0 for the cover."""
        return 0 if self.code == "c" else int(self.code[1:])

    @property
    def rust_mm(self) -> tuple[tuple[float, float], ...]:
        """Where rust has spread round a staple's leg, on the sheet."""
        spread = [hole for hole in self.holes if hole.state in ("rusted", "plugged")]
        return tuple((self.half_mm + hole.x_mm, self.head_mm + hole.y_mm) for hole in spread)


def sheet_codes() -> tuple[str, ...]:
    """Codes of all sheets, cover first, then wraps from the outside in."""
    return ("c", *(f"w{wrap:02d}" for wrap in range(1, WRAPS + 1)))


def sheet_plan(code: str, seed: int) -> SheetPlan:
    """The sheet called ``code``; the same seed, the same sheet."""
    wrap = 0 if code == "c" else int(code[1:])
    rng = np.random.default_rng([seed, 200 + wrap])
    half = COVER_HALF_MM if wrap == 0 else WRAP_HALF_MM - CREEP_MM * (wrap - 1)
    rng.standard_normal(2)  # spent, so that a seed gives the sheet it always gave
    split = {0: 24.0, 1: 15.0, 2: 7.0}.get(wrap, 0.0)
    losses = _losses(rng, wrap, half)
    outline = draw_outline(
        rng,
        2 * half,
        HEIGHT_MM,
        losses=losses,
        shear=float(0.0006 * rng.standard_normal()),
        roughness_mm=0.035,
    )
    rng.random(2)  # spent likewise
    head, slope = edge_line(outline, "head")
    head += slope * half
    holes = planned_holes(code, seed)
    rims = tuple(opening(hole, half, head, seed * 100 + wrap) for hole in holes if hole.open)
    outline = replace(outline, holes=rims)
    if split:
        outline = _split(outline, rng, half, split)
    before, after = _ageing(wrap)
    movement = Movement(
        float(rng.uniform(-0.0025, 0.0035)),
        float(rng.normal(0.0005, 0.0002)),
        float(rng.uniform(0.012, 0.035)),
        float(rng.uniform(-0.035, -0.012)),
        half,
        HEIGHT_MM,
    )
    return SheetPlan(
        code, half, HEIGHT_MM, outline, before, after, movement, split, holes, head,
        seed * 100 + wrap,
    )  # fmt: skip


def _ageing(wrap: int) -> tuple[Ageing, Ageing]:
    """Brownest outside and in the middle of the gathering, where air and staples reach."""
    if wrap == 0:
        return (
            Ageing((80.5, 3.2, 17.0), (72.0, 6.5, 23.0), 9.0, 0.5, 0.9, 24.0, 0.9),
            Ageing((84.0, 2.2, 13.5), (78.0, 4.5, 19.0), 9.0, 0.5, 0.4, 24.0, 0.55),
        )
    depth = (wrap - 1) / (WRAPS - 1)
    wet = 1.0 - 0.7 * depth
    before = Ageing(
        (75.5 + 4.0 * depth, 5.4 - 1.2 * depth, 23.5 - 2.5 * depth),
        (61.0 + 6.0 * depth, 10.0 - 2.0 * depth, 29.0 - 2.0 * depth),
        12.0 - 2.5 * depth,
        0.6,
        wet,
        22.0,
        1.0 if wrap in (1, WRAPS) else 0.65,
    )
    after = replace(
        before,
        centre=(81.0 + 3.0 * depth, 3.4 - 0.8 * depth, 18.3 - 2.0 * depth),
        edge=(70.0 + 5.0 * depth, 6.8 - 1.2 * depth, 24.0 - 2.0 * depth),
        tideline=0.42 * wet,
        rust=0.6 * before.rust,
    )
    return before, after


def _losses(rng: np.random.Generator, wrap: int, half: float) -> tuple[Loss, ...]:
    losses: list[Loss] = []
    worn = wrap <= 2
    for edge, start, length in (
        ("head", 0.0, half),
        ("head", half, half),
        ("foot", 0.0, half),
        ("foot", half, half),
        ("right", 0.0, HEIGHT_MM),
        ("left", 0.0, HEIGHT_MM),
    ):
        if rng.random() < (0.75 if worn else 0.35):
            at = start + length * rng.uniform(0.18, 0.82)
            deep = rng.uniform(2.0, 5.5) if worn else rng.uniform(1.2, 3.0)
            losses.append(Loss("chip", edge, at, 0.0, rng.uniform(3.0, 4.0 + 1.5 * deep), deep))
    if worn:
        losses.append(Loss("corner", "right", 0, 0, rng.uniform(6, 11), rng.uniform(5, 9)))
    if wrap in (0, 3):
        losses.append(Loss("corner", "head", 0, 0, rng.uniform(4, 8), rng.uniform(4, 8)))
    return tuple(losses)


def _split(outline: Outline, rng: np.random.Generator, half: float, split_mm: float) -> Outline:
    """Open the fold at the foot: a gap 0.7 mm wide at the edge that closes upwards."""
    runs: list[Run] = []
    for run in outline.runs:
        across = run.edge == "foot" and not run.loss
        if not across or not run.points[-1, 0] < half - 1.0 < half + 1.0 < run.points[0, 0]:
            runs.append(run)
            continue
        x = run.points[:, 0]
        first, last = int(np.argmax(x < half + 0.35)), int(np.argmax(x < half - 0.35))
        up = np.linspace(0.0, 1.0, round(split_mm / 0.5))
        gap = 0.35 * (1 - up) ** 0.8
        sway = 0.25 * np.cumsum(rng.standard_normal(len(up))) / np.sqrt(len(up)) * up
        foot = float(run.points[first, 1])
        rise = np.column_stack([half + gap + sway, foot - split_mm * up])
        fall = np.column_stack([half - gap + sway, foot - split_mm * up])[::-1]
        runs += [
            Run("foot", run.points[:first]),
            Run("foot", np.concatenate([rise, fall[1:]]), "split"),
            Run("foot", run.points[last:]),
        ]
    return Outline(tuple(runs), outline.holes)


def faded_red(paper: Lab, target_dE00: float = RED_LOSS_DE00) -> tuple[float, float, float]:
    """What the red lets back (linear R, G, B) after it lost ``target_dE00`` of its colour on
    ``paper``: its density fell evenly."""
    red = np.array(PASSES["red"])
    solid = ink_on_paper(PASSES["red"], paper)
    low, high = 0.5, 1.0
    for _ in range(40):
        share = 0.5 * (low + high)
        lost = ciede2000(solid, ink_on_paper(_triple(red**share), paper))
        low, high = (share, high) if lost > target_dE00 else (low, share)
    return _triple(red**high)


def ink_on_paper(passes: tuple[float, float, float], paper: Lab) -> Lab:
    """CIELAB D50 of a solid of an ink on a paper, its mean mottle included."""
    share = 1.0 - MEAN_MOTTLE
    light = linear_from_lab(paper) * (1.0 - share * (1.0 - np.array(passes)))
    return _triple(lab_from_linear(light))


def _triple(values: np.ndarray) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])
