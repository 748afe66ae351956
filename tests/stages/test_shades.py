"""Shades of a comparison follow the run that holds, not the one recorded last."""

from __future__ import annotations

from dataclasses import replace

from quirewell.record.finding import Finding, Input, Run
from quirewell.record.nouns import Capture, Correction, Gathering, Item, ItemState
from quirewell.stages.shades import shade

PLACE = "w01.outer.left"
CAPTURES = {
    id: Capture(id, id[0] * 64, f"{id}.png", "image/png", 500, 600, 1000, moment=moment,
                place=PLACE)
    for id, moment in (("b1", "before"), ("a1", "after"))
}  # fmt: skip


def compared(id: str, change_pct: float, **params: str) -> Run:
    inputs = (Input("before", "b1", "b" * 64), Input("after", "a1", "a" * 64))
    finding = Finding(f"{id}.0", "change.width_pct", PLACE, change_pct, 0.01, "%")
    return Run(id, "pair.compare", 2, "exact", PLACE, inputs, params, (finding,))


def state(**corrections: Correction) -> ItemState:
    part = "0,0 50,0 50,50"
    runs = {"r1": compared("r1", 0.2), "r2": compared("r2", 0.5, ignore_before=part)}
    return ItemState("annual", 9, Item("Annual"), Gathering(4), captures=CAPTURES, runs=runs,
                     touched={"r1": 1, "r2": 2}, corrections=corrections)  # fmt: skip


def test_after_a_correction_is_undone_the_earlier_comparison_colours_the_drawing() -> None:
    (mark,) = shade(state(), "change").marks
    assert mark.value == 0.2


def test_with_the_correction_the_run_made_with_it_does() -> None:
    held = Correction("b1", ignore="0,0 50,0 50,50")
    (mark,) = shade(state(**{"correction.b1": held}), "change").marks
    assert mark.value == 0.5


def test_of_two_runs_alike_the_later_one_does() -> None:
    both = replace(state(), runs={"r1": compared("r1", 0.2), "r2": compared("r2", 0.3)})
    (mark,) = shade(both, "change").marks
    assert mark.value == 0.3
