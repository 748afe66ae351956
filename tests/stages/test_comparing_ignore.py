"""What a person painted out of a scan is left out of its comparison."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from paired_pages import plant, printed_page, shoot
from quirewell.stages.comparing import read_params
from quirewell.stages.methods import run_method

SHAPE = (560, 400)
HAND = np.array([[240, 200], [399, 180], [399, 420], [250, 400], [210, 300]])


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """A pair whose second picture has a hand in it, with stripes that look like print."""
    rng = np.random.default_rng(5)
    page = printed_page(rng, SHAPE)
    after = shoot(rng, page, plant(SHAPE, 0.001, 0.0, shift=(3.0, 2.0)).affine)
    hand = np.full(SHAPE, 90, np.uint8)
    hand[::6] = 140
    cover = cv2.fillPoly(np.zeros(SHAPE, np.uint8), [HAND.astype(np.int32)], 1)
    after[cover > 0] = hand[cover > 0]
    folder = tmp_path_factory.mktemp("hand")
    found = {}
    for role, grey in (("before", shoot(rng, page)), ("after", after)):
        found[role] = folder / f"{role}.png"
        cv2.imwrite(str(found[role]), cv2.cvtColor(grey, cv2.COLOR_GRAY2BGR))
    return found


def test_no_point_is_matched_and_no_colour_read_where_a_hand_was_painted_out(
    files: dict[str, Path],
) -> None:
    shape = " ".join(f"{x},{y}" for x, y in HAND)
    run = run_method("pair.compare", "w01.outer.left", files, params={"dpi": "100"})
    less = {"dpi": "100", "ignore_after": shape}
    painted = run_method("pair.compare", "w01.outer.left", files, params=less)
    points = [tuple(map(float, part.split(","))) for part in painted.drawing["points_px"].split()]
    ring = HAND.astype(np.float32)
    assert len(points) > 40
    assert not [p for p in points if cv2.pointPolygonTest(ring, (p[0] + 3, p[1] + 2), True) > 3]
    tone = {one.quantity: one for one in painted.findings}["paper.dE00"]
    plain = {one.quantity: one for one in run.findings}["paper.dE00"]
    assert tone.value is not None and tone.value < 1.0
    assert plain.note != tone.note  # fewer tiles
    assert run.id != painted.id


def test_a_part_that_is_no_shape_is_refused_in_a_sentence() -> None:
    with pytest.raises(ValueError, match="ignore_before: a point is two pixel numbers"):
        read_params({"ignore_before": "1,2 x"})
