"""Planted open tears: slits that run from an edge into the sheet, with their true length."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from quirewell.demo.outline import EDGES, Outline, Points, Run

_STEP_MM = 0.25


@dataclass(frozen=True, slots=True)
class Tear:
    """An open tear: ``at_mm`` from the start of its edge (edges run clockwise), ``length_mm``
    along it, gap ``mouth_mm`` at the edge and ``tip_mm`` at its end, leaning by ``lean_deg``
    and bent sideways by ``bend_mm`` half-way."""

    edge: str
    at_mm: float
    length_mm: float
    mouth_mm: float = 0.3
    tip_mm: float = 0.1
    lean_deg: float = 0.0
    bend_mm: float = 0.0


def with_tears(outline: Outline, tears: Sequence[Tear]) -> Outline:
    """The outline with slits cut into intact stretches of its edges.

    Raises
    ------
    ValueError
        when a tear does not begin on an intact stretch of its edge
    """
    runs = list(outline.runs)
    for tear in tears:
        runs = _cut(runs, tear)
    return Outline(tuple(runs), outline.holes)


def _cut(runs: list[Run], tear: Tear) -> list[Run]:
    first = next(run for run in runs if run.edge == tear.edge).points[0]
    for index, run in enumerate(runs):
        if run.edge != tear.edge or run.loss:
            continue
        along = np.hypot(*(run.points - first).T)
        before, after = along < tear.at_mm - tear.mouth_mm, along > tear.at_mm + tear.mouth_mm
        if before.sum() < 3 or after.sum() < 3:
            continue
        slit = _slit(run.points[before][-1], run.points[after][0], tear)
        return [
            *runs[:index],
            Run(run.edge, run.points[before]),
            Run(run.edge, slit, "tear"),
            Run(run.edge, run.points[after]),
            *runs[index + 1 :],
        ]
    raise ValueError(
        f"no intact stretch of the {tear.edge} edge lies at {tear.at_mm} mm; edges are "
        f"{', '.join(EDGES)} and chips must stay clear of tears"
    )


def _slit(start: Points, stop: Points, tear: Tear) -> Points:
    forward = (stop - start) / np.hypot(*(stop - start))
    inward = np.array([-forward[1], forward[0]])
    share = np.linspace(0.0, 1.0, max(4, round(tear.length_mm / _STEP_MM)))
    lean = np.radians(tear.lean_deg)
    middle = 0.5 * (start + stop)
    run = tear.length_mm * share[:, None]
    path = middle + run * (np.cos(lean) * inward + np.sin(lean) * forward)
    path = path + (tear.bend_mm * np.sin(np.pi * share))[:, None] * forward
    half = 0.5 * (tear.mouth_mm + (tear.tip_mm - tear.mouth_mm) * share)[:, None] * forward
    return np.concatenate([path - half, (path + half)[::-1]])


def true_length_mm(tear: Tear) -> float:
    """Length of a planted tear along its course [mm]."""
    share = np.linspace(0.0, 1.0, 400)
    side = tear.bend_mm * np.sin(np.pi * share)
    return float(np.sum(np.hypot(np.diff(side), tear.length_mm / 399.0)))
