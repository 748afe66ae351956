"""Where the edges of a sheet lie, as its scans measured them."""

from __future__ import annotations

from quirewell.record.nouns import ItemState
from quirewell.science.booklet.holes import Edges
from quirewell.stages.results import MEASURE, latest_runs


def edges_of(state: ItemState, place: str) -> Edges | None:
    """A sheet's edges where its scans measured them: half widths from the fold, and the height;
    after treatment before before it. None where no scan did."""
    best: dict[str, tuple[tuple[bool, bool, int], float]] = {}
    heights: dict[bool, list[float]] = {}
    for (subject, moment), run in latest_runs(state, MEASURE).items():
        parts = subject.split(".")
        if parts[0] != place or len(parts) != 3:
            continue
        outer = parts[1] == "outer"
        half = parts[2] if outer else {"left": "right", "right": "left"}[parts[2]]
        rank = (moment == "after", outer, state.touched.get(run.id, 0))
        size = {one.quantity: one.value for one in run.findings}
        wide, tall = size.get("leaf.width_mm"), size.get("leaf.height_mm")
        if wide is not None and (half not in best or rank > best[half][0]):
            best[half] = rank, float(wide)
        if tall is not None:
            heights.setdefault(moment == "after", []).append(float(tall))
    if not best and not heights:
        return None
    tall_now = heights.get(True) or heights.get(False)
    return Edges(
        -best["left"][1] if "left" in best else None,
        best["right"][1] if "right" in best else None,
        0.0 if tall_now else None, sum(tall_now) / len(tall_now) if tall_now else None,
    )  # fmt: skip
