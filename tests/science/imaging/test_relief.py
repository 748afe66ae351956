"""Normals, height, creases and cockle of drawn sheets whose relief is known."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from quirewell.demo.raked_sheet import RakedSheet, rake_sheet, ring
from quirewell.science.imaging.integrate import height_mm, without_plane
from quirewell.science.imaging.lambert import dropped, normals, scaled_normals
from quirewell.science.imaging.relief import (
    cockle_mm,
    crease_lines,
    divided_by_flat,
    line_length_px,
    measure_relief,
    slope_picture,
)


def everywhere(sheet: RakedSheet) -> NDArray[np.bool_]:
    return np.ones(sheet.images.shape[1:], dtype=bool)


def error_deg(found: NDArray[np.float64], true: NDArray[np.float64]) -> float:
    return float(np.degrees(np.arccos(np.clip((found * true).sum(axis=2), -1, 1))).mean())


@pytest.mark.parametrize(("lamps", "elevation"), [(4, 10), (4, 25), (8, 25), (8, 45)])
def test_normals_of_a_printed_creased_sheet_with_flat_field(lamps: int, elevation: float) -> None:
    sheet = rake_sheet(lamps, ring(lamps, elevation), lamp_mm=600)
    flat = divided_by_flat(sheet.images, sheet.flats, sheet.lights)
    found = normals(flat, sheet.lights, everywhere(sheet))
    assert error_deg(found, sheet.normals) < 0.3


def test_height_comes_back_to_a_few_micrometres() -> None:
    sheet = rake_sheet(2, ring(8, 25), lamp_mm=600)
    flat = divided_by_flat(sheet.images, sheet.flats, sheet.lights)
    height = height_mm(normals(flat, sheet.lights, everywhere(sheet)), sheet.px_mm)
    true = without_plane(sheet.height_mm, everywhere(sheet))
    assert 1000 * float((height - true).std()) < 5


def test_near_lamps_without_flat_field_bow_a_flat_sheet() -> None:
    sheet = rake_sheet(3, ring(4, 25), lamp_mm=600, cockle_um=0.0, crease_um=0.0)
    bowed = height_mm(normals(sheet.images, sheet.lights, everywhere(sheet)), sheet.px_mm)
    assert float(np.ptp(bowed)) > 1.0
    flat = divided_by_flat(sheet.images, sheet.flats, sheet.lights)
    level = height_mm(normals(flat, sheet.lights, everywhere(sheet)), sheet.px_mm)
    assert float(np.ptp(level)) < 0.05


def test_creases_are_measured_and_none_are_invented() -> None:
    for seed, crease_um in ((1, 100.0), (5, 50.0), (3, 0.0)):
        sheet = rake_sheet(seed, ring(8, 25), crease_um=crease_um)
        found = normals(sheet.images, sheet.lights, everywhere(sheet))
        relief = measure_relief(found, sheet.px_mm, flat_fielded=True)
        assert relief.crease_mm == pytest.approx(sheet.crease_mm, abs=6.0)
        assert relief.cockle_um is not None
        true = 1000 * cockle_mm(sheet.height_mm, everywhere(sheet), sheet.px_mm)
        assert relief.cockle_um == pytest.approx(true, rel=0.03)


def test_without_flat_field_only_creases_and_slope_are_given() -> None:
    sheet = rake_sheet(1, ring(4, 25), lamp_mm=600)
    found = normals(sheet.images, sheet.lights, everywhere(sheet))
    relief = measure_relief(found, sheet.px_mm, flat_fielded=False)
    assert relief.height is None and relief.cockle_um is None
    assert relief.crease_mm == pytest.approx(sheet.crease_mm, abs=6.0)


def test_shadow_and_shine_are_left_out_from_six_lights_on() -> None:
    sheet = rake_sheet(4, ring(8, 30), printed=False, noise=0.0)
    images = sheet.images.copy()
    images[0, 100:140, 100:140] = 0.0
    images[5, 100:140, 100:140] *= 3.0
    spot = (slice(100, 140), slice(100, 140))
    found = normals(images, sheet.lights, everywhere(sheet))
    assert error_deg(found[spot], sheet.normals[spot]) < 0.5
    few = normals(images[:5], sheet.lights[:5], everywhere(sheet))
    assert error_deg(few[spot], sheet.normals[spot]) > 5
    assert dropped(5) == (0, 0) and dropped(8) == (2, 1)


def test_a_plane_is_found_exactly_and_how_light_it_is() -> None:
    true = np.array([0.2, -0.1, 1.0]) / np.linalg.norm([0.2, -0.1, 1.0])
    lights = ring(5, 35)
    images = np.tile((0.6 * lights @ true)[:, None, None], (1, 6, 7))
    mask = np.ones((6, 7), dtype=bool)
    mask[0] = False
    found, albedo = scaled_normals(images, 4.0 * lights, mask)
    assert np.allclose(found[1:], true, atol=1e-6)
    assert np.allclose(albedo[1:], 0.6, atol=1e-6)
    assert np.isnan(found[0]).all()
    whole = normals(images, lights, np.ones((6, 7), dtype=bool))
    height = height_mm(whole, 0.5, plane=False)
    assert np.allclose(np.diff(height, axis=1), -0.2 * 0.5, atol=1e-6)
    assert np.allclose(np.diff(height, axis=0), -0.1 * 0.5, atol=1e-6)


def test_a_pixel_without_light_has_no_normal() -> None:
    images = np.full((4, 3, 3), 0.5)
    images[:, 1, 1] = 0.0
    found = normals(images, ring(4, 30), np.ones((3, 3), dtype=bool))
    assert np.isnan(found[1, 1]).all() and np.isfinite(found[0, 0]).all()


@pytest.mark.parametrize(
    ("images", "lights", "says"),
    [
        (np.ones((2, 4, 4)), ring(2, 30), "three lights or more"),
        (np.ones((3, 4, 4)), ring(4, 30), "one each"),
        (np.zeros((4, 4, 4)), ring(4, 30), "all pictures are dark"),
        (-np.ones((4, 4, 4)), ring(4, 30), "none below zero"),
        (np.ones((4, 4)), ring(4, 30), "k x height x width"),
        (np.ones((4, 4, 4)), np.vstack([ring(3, 30), ring(1, 30)]), "same side"),
        (np.ones((3, 4, 4)), np.array([[1, 0, 0.1], [-1, 0, 0.3], [0.2, 0, 1]]), "one plane"),
        (np.ones((3, 4, 4)), np.array([[1, 0, 0.1], [0, 0, 0], [0, 1, 1]]), "needs a direction"),
        (np.ones((3, 4, 4)), np.ones((3, 2)), "k directions"),
    ],
)
def test_pictures_and_lights_that_do_not_fit_are_refused(
    images: NDArray[np.float64], lights: NDArray[np.float64], says: str
) -> None:
    with pytest.raises(ValueError, match=says):
        normals(images, lights, np.ones(images.shape[-2:], dtype=bool))


def test_a_mask_that_fits_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="mask has shape"):
        normals(np.ones((4, 4, 4)), ring(4, 30), np.ones((5, 4), dtype=bool))
    with pytest.raises(ValueError, match="no pixel"):
        normals(np.ones((4, 4, 4)), ring(4, 30), np.zeros((4, 4), dtype=bool))


def test_flat_sheets_must_fit_and_hold_light() -> None:
    with pytest.raises(ValueError, match="one flat sheet for each"):
        divided_by_flat(np.ones((4, 9, 9)), np.ones((3, 9, 9)), ring(4, 30))
    with pytest.raises(ValueError, match="flat sheet of lamp 1 is all dark"):
        divided_by_flat(np.ones((4, 9, 9)), np.zeros((4, 9, 9)), ring(4, 30))


@pytest.mark.parametrize("angle_deg", [0.0, 17.0, 22.5, 45.0, 71.0, 90.0])
def test_the_length_of_a_straight_line_is_right_within_five_per_cent(angle_deg: float) -> None:
    lines = np.zeros((400, 400), dtype=bool)
    way = np.arange(0, 300, 0.25)
    turn = np.radians(angle_deg)
    x, y = 40 + way * np.cos(turn), 40 + way * np.sin(turn)
    lines[np.round(y).astype(int), np.round(x).astype(int)] = True
    assert line_length_px(lines) == pytest.approx(300, rel=0.06)


def test_two_opposite_lamps_show_slope_and_hide_print() -> None:
    sheet = rake_sheet(6, ring(2, 25, 90.0), noise=0.0)
    seen = slope_picture(sheet.images[0], sheet.images[1])
    toward = sheet.normals[..., 0] / sheet.normals[..., 2]
    assert np.corrcoef(seen.ravel(), toward.ravel())[0, 1] > 0.99
    with pytest.raises(ValueError, match="one size"):
        slope_picture(sheet.images[0], sheet.images[1][1:])


def test_a_level_sheet_has_no_crease_lines() -> None:
    level = np.zeros((60, 80, 3))
    level[..., 2] = 1.0
    assert not crease_lines(level, 0.25).any()
    with pytest.raises(ValueError, match="height x width x 3"):
        height_mm(np.zeros((4, 4)), 0.2)
    with pytest.raises(ValueError, match="length in mm"):
        height_mm(level, 0.0)
