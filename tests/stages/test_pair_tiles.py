"""A pair's layers on disk: the after picture on the before grid, and the clear map."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from paired_pages import plant, printed_page, shoot
from quirewell.science.colour.exposure import KnownGreys, expose_pair
from quirewell.science.colour.spaces import lab_from_srgb, linear_from_srgb, srgb_from_linear
from quirewell.science.imaging.paper_change import LightChange
from quirewell.science.imaging.strip import GREYS
from quirewell.stages.methods import run_method
from quirewell.stages.pair_tiles import (
    drawn_match,
    exposed_alike,
    write_after_tiles,
    write_difference_map,
    write_map,
)

SHAPE = (420, 300)


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """A page before, and the same page moved, turned and stretched."""
    rng = np.random.default_rng(11)
    page = printed_page(rng, SHAPE)
    moved = plant(SHAPE, 0.002, 0.0, rotation_deg=0.4, shift=(6.0, -4.0))
    folder = tmp_path_factory.mktemp("pair")
    shots = {"before": shoot(rng, page), "after": shoot(rng, page, moved.affine)}
    for role, grey in shots.items():
        cv2.imwrite(str(folder / f"{role}.png"), cv2.cvtColor(grey, cv2.COLOR_GRAY2BGR))
    return {role: folder / f"{role}.png" for role in shots}


@pytest.mark.parametrize("recorded", [True, False])
def test_the_after_picture_is_cut_into_tiles_on_the_grid_of_the_before_picture(
    pair: dict[str, Path], tmp_path: Path, recorded: bool
) -> None:
    drawing = {}
    if recorded:
        drawing = run_method("pair.compare", "w01", pair, params={"dpi": "100"}).drawing
        assert drawn_match(drawing, (SHAPE[1], SHAPE[0])) is not None
    write_after_tiles(pair, {"dpi": "100"}, drawing, tmp_path)
    info = json.loads((tmp_path / "after" / "info.json").read_text())
    assert (info["width"], info["height"]) == (SHAPE[1], SHAPE[0])
    tile = cv2.imread(str(tmp_path / "after" / "full" / "max" / "0" / "default.jpg"), 0)
    before, after = (cv2.imread(str(pair[role]), 0).astype(float) for role in ("before", "after"))
    inner = (slice(40, -40), slice(40, -40))
    laid = np.abs(tile[inner] - before[inner]).mean()
    assert laid < 0.35 * np.abs(after[inner] - before[inner]).mean()
    assert not (tmp_path / "after.png").exists()


def test_the_recorded_bend_is_followed_and_its_scale_brought_back() -> None:
    ratio = 0.98  # the second picture was scanned at another resolution
    x, y = (part.ravel() for part in np.meshgrid(np.arange(0, 300, 20.0), np.arange(0, 420, 20.0)))
    after_x = 1.01 * x + 3 + 2 * np.sin(y / 60)
    after_y = 1.005 * y - 2
    even = np.column_stack([x, y, np.ones_like(x)])
    affine = [np.linalg.lstsq(even, one, rcond=None)[0] for one in (after_x, after_y)]
    field = " ".join(
        f"{a},{b},{ratio * c - a:.3f},{ratio * d - b:.3f},0,0"
        for a, b, c, d in zip(x, y, after_x, after_y, strict=True)
    )
    words = ";".join(" ".join(f"{value:.9g}" for value in row) for row in affine)
    match = drawn_match({"before_to_after_px": words, "field": field}, (300, 420))
    assert match is not None
    ys = np.arange(20.0, 390.0, 7.0)
    found_x, found_y = match.after_at(np.array([150.0]), ys)
    wanted = 1.01 * 150 + 3 + 2 * np.sin(ys / 60)
    np.testing.assert_allclose(found_x[:, 0], wanted, atol=0.05)
    np.testing.assert_allclose(found_y[:, 0], 1.005 * ys - 2, atol=0.05)


def test_a_leaf_that_lay_turned_or_a_run_without_a_field_is_matched_anew() -> None:
    assert drawn_match({}, (300, 420)) is None
    field = " ".join(f"{n},{n * n},0,0,0,0" for n in range(20))
    turned = {"turn": "upside down", "field": field, "before_to_after_px": "1 0 0;0 1 0"}
    assert drawn_match(turned, (300, 420)) is None


def test_the_difference_is_clear_outside_the_paper_compared(
    pair: dict[str, Path], tmp_path: Path
) -> None:
    write_difference_map(pair, {"dpi": "100"}, tmp_path / "layers" / "difference.png")
    clear = cv2.imread(str(tmp_path / "layers" / "difference.png"), cv2.IMREAD_UNCHANGED)
    assert clear.shape == (*SHAPE, 4) and set(np.unique(clear[..., 3])) == {0, 255}


def test_a_pair_that_cannot_be_laid_on_each_other_leaves_no_layers(tmp_path: Path) -> None:
    rng = np.random.default_rng(12)
    files = {}
    for role in ("before", "after"):
        files[role] = tmp_path / f"{role}.png"
        other = cv2.cvtColor(shoot(rng, printed_page(rng, SHAPE)), cv2.COLOR_GRAY2BGR)
        cv2.imwrite(str(files[role]), other)
    with pytest.raises(ValueError):
        write_after_tiles(files, {"dpi": "100"}, {}, tmp_path / "layers")
    with pytest.raises(ValueError):
        write_difference_map(files, {"dpi": "100"}, tmp_path / "layers" / "difference.png")
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


def test_known_greys_take_a_tone_curve_out_of_the_after_picture() -> None:
    steps = np.array(GREYS)
    greys = lab_from_srgb(np.repeat(steps[:, None] / 255.0, 3, axis=1))[:, 0]
    known = KnownGreys(tuple(map(float, greys)), 0.3, True)

    def curved(values: np.ndarray, power: float) -> np.ndarray:
        light = 0.95 * linear_from_srgb(values / 255.0) ** power
        return np.repeat(255 * srgb_from_linear(light)[..., None], 3, axis=-1)

    exposed = expose_pair(curved(steps, 1.0) / 255, curved(steps, 1.3) / 255, known)
    assert exposed is not None
    true = np.arange(60, 230, dtype=float).reshape(1, -1)
    before, after = (np.round(curved(true, power)).astype(np.uint8) for power in (1.0, 1.3))
    assert np.abs(after.astype(int) - before).max() > 15
    shown = exposed_alike(after, None, exposed)
    assert np.abs(shown.astype(int) - before).max() <= 2
