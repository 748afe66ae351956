"""The map of paper tones a comparison draws, and how it is read."""

from __future__ import annotations

import numpy as np

from quirewell.record.finding import Run
from quirewell.stages.pair_tone_maps import tone_maps
from quirewell.stages.pair_tones import tones_text


def drawn(text: str) -> Run:
    return Run("r", "pair.compare", 3, "seeded", "w01", (), drawing={"tones": text})


def test_planted_tones_come_back_in_their_places_with_their_numbers() -> None:
    first = np.full((40, 28, 3), (80.0, 3.0, 17.0))
    second = first + np.array([4.0, -1.0, -3.0])
    second[:20, :16] += [-6.0, 0.0, 0.0]  # a corner that went darker
    first[5, 5] = np.nan  # print
    text = tones_text(first, second, 10.0)
    change, yellow, before, after = tone_maps(drawn(text))
    assert len(change.cells) == 7 * 10
    dark = [one for one in change.cells if one.x < 150 and one.y < 190]
    light = [one for one in change.cells if one.x > 150 or one.y > 190]
    assert {one.says for one in dark} == {"\u22122.0"} and {one.says for one in light} == {"+4.0"}
    assert {one.step for one in dark} == {"m1"} and {one.step for one in light} == {"p2"}
    assert {one.says for one in yellow.cells} == {"\u22123.0"}
    assert {one.says for one in before.cells} == {"80.0"}
    assert {one.says for one in after.cells} == {"84.0", "78.0"}
    assert before.scale == after.scale and before.scale[0][1] == "78"
    total = sum(one.width * one.height for one in change.cells)
    assert total == 400 * 280


def test_parts_without_enough_bare_paper_are_left_out() -> None:
    first = np.full((14, 7, 3), np.nan)
    first[:, :2] = (80.0, 3.0, 17.0)
    text = tones_text(first, first + 1.0, 5.0)
    assert all(int(part.split(",")[-1]) >= 5 for part in text.split())
    assert tones_text(np.full((4, 4, 3), np.nan), first[:4, :4], 5.0) == ""


def test_a_comparison_that_drew_none_has_none() -> None:
    assert tone_maps(drawn("")) == () and tone_maps(drawn("1,2,3")) == ()
