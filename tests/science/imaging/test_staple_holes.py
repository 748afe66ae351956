"""Staple holes found in generated scans: every state on every ground, and what is no hole."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from hole_scans import LEGS_MM, Plant, Scan, plants, scan
from quirewell.science.imaging.pointed import Said
from quirewell.science.imaging.staple_holes import HolesFound, find_holes
from quirewell.studio.images import load_picture

LIGHTS = ("dark", "light", "transmitted")
PANELS = ("whole", "left", "right")
MIXED = ("clean", "torn", "rusted", "plugged")
SAMPLES = Path(__file__).parents[3].parent / "shared" / "samples"


@lru_cache(maxsize=64)
def drawn(seed: int, dpi: int, light: str, states: tuple[str, ...]) -> tuple[Scan, HolesFound]:
    panel = PANELS[seed % 3]
    made = scan(seed, dpi, light, plants(seed, states), panel=panel)
    return made, find_holes(made.pixels, made.px_mm, panel=panel)  # type: ignore[arg-type]


def errors(made: Scan, found: HolesFound) -> list[tuple[float, float, float, float, str]]:
    """Errors of x and y, their u, and the state found, of each planted hole by its number."""
    by_number = {hole.number: hole for hole in found.holes}
    out = []
    for number, plant in enumerate(made.plants, 1):
        hole = by_number[number]
        assert hole.x_mm is not None and hole.y_mm is not None, (number, plant, hole)
        assert hole.u_x_mm is not None and hole.u_y_mm is not None
        out.append(
            (hole.x_mm - plant.x_mm, hole.y_mm - plant.y_mm, hole.u_x_mm, hole.u_y_mm, hole.state)
        )
    return out


@pytest.mark.parametrize("dpi", [300, 600])
@pytest.mark.parametrize("light", LIGHTS)
def test_clean_holes_lie_within_a_twentieth_of_a_millimetre(light: str, dpi: int) -> None:
    seeds = range(6) if dpi == 300 else range(2)
    rows = [row for seed in seeds for row in errors(*drawn(seed, dpi, light, ("clean",) * 4))]
    away = np.abs(np.array([row[:2] for row in rows]))
    assert np.quantile(away, 0.95) <= 0.05
    assert [row[4] for row in rows].count("clean") >= len(rows) - 1


@pytest.mark.parametrize("light", LIGHTS)
def test_clean_holes_at_150_dpi_lie_within_a_tenth(light: str) -> None:
    rows = [row for seed in range(4) for row in errors(*drawn(seed, 150, light, ("clean",) * 4))]
    assert np.quantile(np.abs(np.array([row[:2] for row in rows])), 0.95) <= 0.10


@pytest.mark.parametrize("light", LIGHTS)
def test_every_state_is_told_and_its_u_covers_its_error(light: str) -> None:
    rows = [row for seed in range(6) for row in errors(*drawn(seed, 300, light, MIXED))]
    told = [row[4] for row in rows]
    assert sum(a == b for a, b in zip(told, MIXED * 6, strict=True)) >= 22
    miss = np.array([row[:2] for row in rows]) / np.array([row[2:4] for row in rows])
    assert (np.abs(miss) <= 2.0).mean() >= 0.95


@pytest.mark.parametrize("light", LIGHTS)
def test_what_scatters_from_hole_to_hole_is_covered_by_the_holes_own_u(light: str) -> None:
    """Shift and turn of the frame taken out, what is left is each hole's own."""
    score = []
    for seed in range(6):
        made, found = drawn(seed, 300, light, ("clean",) * 4)
        rows = errors(made, found)
        y = np.array([plant.y_mm for plant in made.plants])
        x_miss, y_miss = (np.array([row[axis] for row in rows]) for axis in (0, 1))
        x_left = x_miss - np.polyval(np.polyfit(y, x_miss, 1), y)
        u = np.array([hole.u_mm for hole in found.holes], dtype=float)
        score += [*(x_left / u * np.sqrt(4 / 2)), *((y_miss - y_miss.mean()) / u * np.sqrt(4 / 3))]
    assert np.sqrt(np.mean(np.square(score))) <= 1.2


@pytest.mark.parametrize("light", LIGHTS)
def test_print_and_worms_near_the_fold_are_no_holes(light: str) -> None:
    decoys = (
        Plant("ink", 0.1, 48.0, 0.8), Plant("worm", 1.9, 40.0, 0.5),
        Plant("ink", -0.9, 12.0, 0.7), Plant("worm", -1.9, 70.0, 0.5),
    )  # fmt: skip
    for seed in range(3):
        made = scan(seed, 300, light, plants(seed), decoys=decoys)
        found = find_holes(made.pixels, made.px_mm)
        assert [hole.state for hole in found.holes] == ["clean"] * 4
        why = {round(one.y_mm): one.why for one in found.rejected}
        assert "off the fold" in why[40] and "off the fold" in why[70]
        assert "ink" in why[48] or "print" in why[48]


@pytest.mark.parametrize("light", LIGHTS)
def test_a_sheet_without_holes_gives_none(light: str) -> None:
    made = scan(11, 300, light, ())
    assert find_holes(made.pixels, made.px_mm).holes == ()
    said = find_holes(made.pixels, made.px_mm, count=4)
    assert said.holes == ()
    assert any("None of the holes expected" in says for says in said.warnings)


def test_a_missing_hole_is_told_and_given_no_place() -> None:
    planted = tuple(p for p in plants(5) if abs(p.y_mm - LEGS_MM[2]) > 3.0)
    made = scan(5, 300, "dark", planted)
    for found in (
        find_holes(made.pixels, made.px_mm, count=4),
        find_holes(made.pixels, made.px_mm, expected=LEGS_MM),
        find_holes(made.pixels, made.px_mm),
    ):
        assert [hole.state for hole in found.holes] == ["clean", "clean", "missing", "clean"]
        assert found.holes[2].x_mm is None and found.holes[2].px is None
        assert found.holes[2].expected_y_mm == pytest.approx(LEGS_MM[2], abs=1.5)


def test_the_inner_side_is_mirrored() -> None:
    made = scan(2, 300, "dark", plants(2), panel="right")
    outer = find_holes(made.pixels, made.px_mm, panel="right")
    inner = find_holes(made.pixels, made.px_mm, panel="right", side="inner")
    for one, other in zip(outer.holes, inner.holes, strict=True):
        assert one.x_mm is not None and other.x_mm == pytest.approx(-one.x_mm)
        assert (one.y_mm, one.px) == (other.y_mm, other.px)
    assert inner.frame is not None
    px = inner.holes[0].px
    assert px is not None
    back = inner.frame.matrix() @ np.array([*px, 1.0])
    assert back == pytest.approx([inner.holes[0].x_mm, inner.holes[0].y_mm], abs=1e-6)


def test_sixteen_bits_and_eight_agree_and_grey_says_what_it_cannot_tell() -> None:
    planted = plants(7)
    eight = scan(7, 300, "light", planted)
    sixteen = scan(7, 300, "light", planted, depth=16)
    grey = scan(7, 300, "light", planted, grey=True)
    a, b = (find_holes(one.pixels, one.px_mm) for one in (eight, sixteen))
    for one, other in zip(a.holes, b.holes, strict=True):
        assert one.x_mm == pytest.approx(other.x_mm, abs=0.005)
        assert one.y_mm == pytest.approx(other.y_mm, abs=0.005)
    found = find_holes(grey.pixels[..., 0].copy(), grey.px_mm)
    assert len(found.holes) == 4
    assert any("no colours" in says for says in found.warnings)


def test_corners_placed_by_hand_set_the_frame() -> None:
    made = scan(4, 300, "dark", plants(4), panel="left", skew_deg=0.0)
    free = find_holes(made.pixels, made.px_mm, panel="left")
    assert free.frame is not None
    head = free.frame.to_px(0.5, 0.0)
    foot = free.frame.to_px(0.5, free.frame.height_mm)
    held = find_holes(
        made.pixels, made.px_mm, panel="left", said=Said((None, head, foot, None))
    )  # fmt: skip
    for one, other in zip(free.holes, held.holes, strict=True):
        assert one.x_mm is not None and other.x_mm == pytest.approx(one.x_mm - 0.5, abs=0.02)
    assert held.frame is not None and held.frame.fold_u_mm > 0.06


@pytest.mark.parametrize(
    "pixels",
    [
        np.zeros((500, 400, 3), np.uint8),
        np.full((500, 400, 3), 255, np.uint8),
        np.zeros((3, 3, 3), np.uint8),
        np.zeros((1, 1), np.uint8),
        np.full((3000, 12, 3), 200, np.uint8),
        np.random.default_rng(1).integers(0, 65535, (700, 600), dtype=np.uint16),
    ],
    ids=["black", "white", "tiny", "one", "thin", "noise"],
)
def test_what_is_no_sheet_gives_no_hole_and_a_sentence(pixels: np.ndarray) -> None:
    for light in ("", *LIGHTS):
        found = find_holes(pixels, (0.085, 0.085), light=light, count=4)  # type: ignore[arg-type]
        assert found.holes == () and found.warnings


def test_what_is_no_picture_is_refused_in_a_sentence() -> None:
    with pytest.raises(ValueError, match="8 or 16 bits"):
        find_holes(np.zeros((90, 90, 3)), (0.1, 0.1))  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="one or three colours"):
        find_holes(np.zeros((90, 90, 2), np.uint8), (0.1, 0.1))
    with pytest.raises(ValueError, match=r"0\.001 to 2 mm"):
        find_holes(np.zeros((90, 90, 3), np.uint8), (0.0, 0.1))


@pytest.mark.skipif(not SAMPLES.is_dir(), reason="no folder of real scans beside the project")
@pytest.mark.parametrize("panel", PANELS)
def test_real_pages_without_staples_give_no_hole(panel: str) -> None:
    for path in sorted(SAMPLES.glob("*.tif")):
        pixels = load_picture(path).pixels
        found = find_holes(pixels, (25.4 / 300, 25.4 / 300), panel=panel)  # type: ignore[arg-type]
        assert found.holes == (), path.name
