"""Photographs of a light box made flat: places, holes, bands, what cannot be made flat. Planted
truth: a pinhole camera with a lens bent by another law than the one fitted."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from hole_scans import HEIGHT_MM, Scan, plants, scan
from light_box_photos import Photo, photograph
from quirewell.science.imaging.photo_plane import Flattened, flatten
from quirewell.science.imaging.staple_holes import HolesFound, find_holes

TIMES = 1.3
HIGH = TIMES * HEIGHT_MM
SEEDS = range(6)


@lru_cache(maxsize=8)
def taken(seed: int) -> tuple[Scan, Photo, Flattened, HolesFound]:
    rng = np.random.default_rng([seed, 5])
    panel = ("whole", "left", "right")[seed % 3]
    made = scan(seed, 254, "transmitted", plants(seed, ("clean",) * 4, TIMES), times=TIMES)
    lean = float(rng.uniform(-6, 6)), float(rng.uniform(-6, 6))
    photo = photograph(
        made, seed, lean_deg=lean, turn_deg=float(rng.uniform(-3, 3)), panel=panel,
        bend=(float(rng.normal(0, 0.004)), float(rng.normal(0, 0.001))),
    )  # fmt: skip
    flat = flatten(photo.pixels, panel=panel, height_mm=HIGH)  # type: ignore[arg-type]
    assert flat is not None
    assert flat.lean_deg == pytest.approx(np.hypot(*lean), abs=1.0)
    px = HIGH / flat.height_px
    return made, photo, flat, find_holes(flat.pixels, (px, px), panel=panel)  # type: ignore[arg-type]


def test_holes_in_photographs_of_whole_and_half_sheets_lie_within_their_band() -> None:
    score = []
    for seed in SEEDS:
        made, _, flat, found = taken(seed)
        assert [hole.state for hole in found.holes] == ["clean"] * 4
        unsure = flat.unsure(np.array([hole.px for hole in found.holes]), HIGH / flat.height_px)
        for at, (hole, plant) in enumerate(zip(found.holes, made.plants, strict=True)):
            assert hole.x_mm is not None and hole.y_mm is not None
            u = [
                np.hypot(own or 0.0, np.hypot(*(part[at, axis] for part in unsure.values())))
                for axis, own in enumerate((hole.u_x_mm, hole.u_y_mm))
            ]
            miss = hole.x_mm - plant.x_mm, hole.y_mm - plant.y_mm
            assert np.hypot(*miss) <= 0.25
            score += [miss[0] / u[0], miss[1] / u[1]]
    assert (np.abs(score) <= 2.0).mean() >= 0.95


def test_without_being_made_flat_the_same_photographs_are_far_off() -> None:
    """What the way through the edges gains: the test above would fail without it."""
    worst = 0.0
    for seed in SEEDS:
        made, photo, flat, _ = taken(seed)
        px = HIGH / flat.height_px
        panel = ("whole", "left", "right")[seed % 3]
        found = find_holes(photo.pixels, (px, px), panel=panel, light="transmitted")  # type: ignore[arg-type]
        for hole, plant in zip(found.holes, made.plants, strict=False):
            if hole.y_mm is not None:
                worst = max(worst, abs(hole.y_mm - plant.y_mm))
    assert worst > 0.5


def test_a_place_goes_there_and_back() -> None:
    _, _, flat, _ = taken(0)
    rng = np.random.default_rng(1)
    points = rng.uniform(100, 1000, (50, 2))
    assert flat.photo(flat.flat(points)) == pytest.approx(points, abs=0.01)


def test_the_bend_of_a_lens_is_found_where_a_large_sheet_shows_it() -> None:
    made = scan(9, 127, "transmitted", plants(9, ("clean",) * 4, 2.6), times=2.6)
    for bend in (0.0, 0.02):
        photo = photograph(made, 9, lean_deg=(2.0, 1.0), bend=(bend, 0.0))
        flat = flatten(photo.pixels, height_mm=2.6 * HEIGHT_MM)
        assert flat is not None
        assert flat.bend == pytest.approx(bend, abs=2.0 * flat.bend_u)
        assert flat.bend_u < 0.005


def test_what_has_no_edges_is_not_made_flat() -> None:
    rng = np.random.default_rng(3)
    noise = rng.integers(0, 255, (300, 400, 3), dtype=np.uint8)
    assert flatten(noise) is None
    assert flatten(np.full((300, 400, 3), 255, np.uint8)) is None
    made, _, _, _ = taken(0)
    cut = made.pixels[60:-60, 200:-200]
    assert flatten(np.ascontiguousarray(cut), height_mm=HIGH) is None
