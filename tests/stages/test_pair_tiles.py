"""A pair's layers on disk: the after picture on the before grid, and the clear map."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from paired_pages import plant, printed_page, shoot
from quirewell.science.colour.spaces import linear_from_srgb, srgb_from_linear
from quirewell.science.imaging.paper_change import LightChange
from quirewell.stages.pair_tiles import exposed_alike, write_map, write_pair_layers

SHAPE = (420, 300)


def test_the_after_picture_is_cut_into_tiles_on_the_grid_of_the_before_picture(
    tmp_path: Path,
) -> None:
    rng = np.random.default_rng(11)
    page = printed_page(rng, SHAPE)
    before = shoot(rng, page)
    moved = plant(SHAPE, 0.002, 0.0, rotation_deg=0.4, shift=(6.0, -4.0))
    after = shoot(rng, page, moved.affine)
    files = {}
    for role, grey in (("before", before), ("after", after)):
        files[role] = tmp_path / f"{role}.png"
        cv2.imwrite(str(files[role]), cv2.cvtColor(grey, cv2.COLOR_GRAY2BGR))
    write_pair_layers(files, {"dpi": "100"}, tmp_path / "layers")
    info = json.loads((tmp_path / "layers" / "after" / "info.json").read_text())
    assert (info["width"], info["height"]) == (SHAPE[1], SHAPE[0])
    tile = cv2.imread(str(tmp_path / "layers" / "after" / "full" / "max" / "0" / "default.jpg"), 0)
    inner = (slice(40, -40), slice(40, -40))
    laid = np.abs(tile[inner].astype(float) - before[inner]).mean()
    unlaid = np.abs(after[inner].astype(float) - before[inner]).mean()
    assert laid < 0.35 * unlaid
    clear = cv2.imread(str(tmp_path / "layers" / "difference.png"), cv2.IMREAD_UNCHANGED)
    assert clear.shape == (*SHAPE, 4) and set(np.unique(clear[..., 3])) <= {0, 255}
    assert not (tmp_path / "layers" / "after.png").exists()


def test_a_pair_that_cannot_be_laid_on_each_other_leaves_no_layers(tmp_path: Path) -> None:
    rng = np.random.default_rng(12)
    files = {}
    for role in ("before", "after"):
        files[role] = tmp_path / f"{role}.png"
        other = cv2.cvtColor(shoot(rng, printed_page(rng, SHAPE)), cv2.COLOR_GRAY2BGR)
        cv2.imwrite(str(files[role]), other)
    with pytest.raises(ValueError):
        write_pair_layers(files, {"dpi": "100"}, tmp_path / "layers")
    assert not (tmp_path / "layers" / "after" / "info.json").exists()


def test_an_after_picture_exposed_otherwise_is_shown_as_the_before_was() -> None:
    before = np.arange(40, 200, dtype=np.uint8).reshape(1, -1).repeat(3, 0)
    light = linear_from_srgb(before / 255.0)
    after = np.round(255 * srgb_from_linear(1.2 * light + 0.01)).astype(np.uint8)
    change = LightChange(8.0, 1.2, 0.01, differs=True)
    same = exposed_alike(np.dstack([after] * 3), change)
    assert np.abs(same[..., 0].astype(int) - before).max() <= 1
    untouched = LightChange(0.2, 1.2, 0.01, differs=False)
    for calm in (None, untouched):
        np.testing.assert_array_equal(exposed_alike(after, calm), after)


def test_the_map_is_clear_where_nothing_was_compared_and_dark_where_it_differs(
    tmp_path: Path,
) -> None:
    difference = np.array([[0.0, 12.0, 30.0, 5.0]])
    seen = np.array([[True, True, True, False]])
    write_map(tmp_path / "map.png", difference, seen)
    written = cv2.imread(str(tmp_path / "map.png"), cv2.IMREAD_UNCHANGED)
    assert written[0, :, 3].tolist() == [255, 255, 255, 0]
    lightness = written[0, :3, :3].astype(int).sum(axis=1)
    assert lightness[0] > 700 and lightness[1] == lightness[2] < 120
    assert [path.name for path in tmp_path.iterdir()] == ["map.png"]
