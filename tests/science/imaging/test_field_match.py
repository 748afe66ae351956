"""The field on plain arrays: planted displacements, whatever the picture and its type."""

from __future__ import annotations

import subprocess
import sys

import cv2
import numpy as np
import pytest
from scipy import ndimage

from paired_pages import SUPER, plant, printed_page, shoot, tint_page
from quirewell.science.imaging import match_field

SHAPE = (300, 360)


def _noise(seed: int, grain: float = 1.3) -> np.ndarray:
    picture = np.random.default_rng(seed).normal(0, 1, SHAPE)
    picture = ndimage.gaussian_filter(picture, grain)
    return 128 + 40 * picture / picture.std()


def _shifted(picture: np.ndarray, dx: float, dy: float) -> np.ndarray:
    return ndimage.shift(picture, (dy, dx), order=5, mode="grid-wrap")


def _inner(result: object, rim: float = 25.0) -> np.ndarray:
    points = result.points_px  # type: ignore[attr-defined]
    return np.all((points > rim) & (points < np.array(SHAPE[::-1]) - rim), axis=1)


def test_plain_noise_is_matched_from_a_zero_start() -> None:
    before = _noise(1)
    found = match_field(before, _shifted(before, 0.37, -2.21), step_px=16, radius_px=10)
    off = found.displacement_px[_inner(found)] - [0.37, -2.21]
    assert np.isfinite(off).all()
    assert np.abs(off).max() < 0.01
    assert found.points_px.shape == found.displacement_px.shape == found.u_px.shape


def test_the_finest_white_noise_is_matched_too() -> None:
    rng = np.random.default_rng(2)
    before = rng.integers(0, 256, SHAPE).astype(np.uint8)
    after = np.clip(np.roll(before, (3, -5), (0, 1)) + rng.normal(0, 9, SHAPE), 0, 255)
    found = match_field(before, after.astype(np.uint8), step_px=20, radius_px=10)
    off = found.displacement_px[_inner(found)] - [-5, 3]
    assert np.isfinite(off).all()
    assert np.abs(off).max() < 0.02


@pytest.mark.parametrize("kind", ["uint8", "uint16", "int32", "float32", "float64", "small floats"])
def test_any_kind_of_grey_gives_the_same_answer(kind: str) -> None:
    before = _noise(3)
    pair = before, _shifted(before, 1.5, 0.25)
    if kind == "small floats":
        one, two = ((part - 128) * 1e-4 for part in pair)
    else:
        scale = 200 if kind in ("uint16", "int32") else 1
        one, two = (np.round(np.clip(part, 1, 254) * scale).astype(kind) for part in pair)
    found = match_field(one, two, step_px=24, radius_px=12)
    off = found.displacement_px[_inner(found)] - [1.5, 0.25]
    assert np.abs(off).max() < 0.02


def test_stated_uncertainty_is_the_scatter_of_noise() -> None:
    rng = np.random.default_rng(4)
    clean = _noise(4)
    moved = _shifted(clean, 0.3, 0.6)
    before, after = (part + rng.normal(0, 6, SHAPE) for part in (clean, moved))
    found = match_field(before, after, step_px=22, radius_px=10)
    inside = _inner(found)
    score = (found.displacement_px - [0.3, 0.6])[inside] / found.u_px[inside]
    assert 0.8 < score.std() < 1.25


def test_what_lies_outside_a_mask_or_is_not_finite_has_no_answer() -> None:
    before = _noise(5)
    after = _shifted(before, 1.0, 0.0)
    before[:, 200:] = np.nan
    mask = np.ones(SHAPE, dtype=bool)
    mask[:100] = False
    found = match_field(before, after, step_px=16, radius_px=10, after_mask=mask)
    known = np.isfinite(found.displacement_px[:, 0])
    x, y = found.points_px.T
    assert not known[(x > 212) | (y < 90)].any()
    assert known[(x > 30) & (x < 180) & (y > 120) & (y < 270)].all()
    assert np.abs(found.displacement_px[known] - [1, 0]).max() < 0.03
    assert np.isnan(found.u_px[~known]).all()


def test_a_stretch_turn_and_shift_are_followed_everywhere() -> None:
    rng = np.random.default_rng(6)
    page = printed_page(rng, SHAPE)
    truth = plant(SHAPE, 0.01, -0.006, 0.001, 1.5, (9.0, -6.0))
    found = match_field(shoot(rng, page), shoot(rng, page, truth.affine, gain=0.8, lift=45))
    moved = found.points_px @ truth.affine[:, :2].T + truth.affine[:, 2] - found.points_px
    off = found.displacement_px - moved
    known = np.isfinite(off[:, 0])
    assert known.mean() > 0.85
    assert np.sqrt(np.mean(off[known] ** 2)) < 0.05


def test_stains_a_missing_piece_and_a_mend_cost_their_own_place_only() -> None:
    rng = np.random.default_rng(7)
    page = printed_page(rng, SHAPE)
    truth = plant(SHAPE, 0.003, 0.001, shift=(2.0, 1.0))
    before = shoot(rng, page).astype(np.float32)
    after = shoot(rng, page, truth.affine, gain=0.9, lift=30).astype(np.float32)
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    before -= 40 * np.exp(-((x - 90) ** 2 + (y - 200) ** 2) / 30**2)  # a stain, washed out
    after[60:110, 220:280] = rng.normal(225, 3, (50, 60))  # a mend over lost print
    after[200:, 300:] = 15  # a corner gone, dark ground seen
    found = match_field(before, after, step_px=12, radius_px=10, blur_px=0.7)
    off = found.displacement_px - (
        found.points_px @ truth.affine[:, :2].T + truth.affine[:, 2] - found.points_px
    )
    known = np.isfinite(off[:, 0])
    px, py = found.points_px.T
    lost = ((px > 228) & (px < 272) & (py > 68) & (py < 102)) | ((px > 310) & (py > 210))
    assert not known[lost].any()
    assert known[(px > 20) & (px < 200) & (py > 20) & (py < 280)].mean() > 0.9
    assert np.abs(off[known]).max() < 1.0
    assert np.mean(np.abs(off[known]) < 4 * found.u_px[known]) > 0.98
    assert np.median(np.abs(off[known])) < 0.015


def test_two_different_pictures_have_no_field_and_a_reason() -> None:
    found = match_field(_noise(8), _noise(9))
    assert np.isnan(found.displacement_px).all()
    assert found.field is None
    assert "Nothing in the two pictures agrees" in found.reason


def test_an_even_tint_has_no_honest_match() -> None:
    """Cut from the middle of a larger tint, so that no edge of it can help."""
    rng = np.random.default_rng(10)
    y, x = np.mgrid[: 380 * SUPER, : 440 * SUPER] / SUPER
    turn = 2 * np.pi / (9.2 * np.sqrt(2))
    dots = np.cos((x + y) * turn) + np.cos((x - y) * turn)
    tint = (140 - 60 * np.clip(1.5 * (dots - 0.3), -1, 1)).astype(np.float32)
    truth = plant((380, 440), 0, 0, shift=(5, 3))
    before, after = (shoot(rng, tint, affine)[40:-40, 40:-40] for affine in (None, truth.affine))
    for start in (None, np.array([[1, 0, 5 + 9.2 / np.sqrt(2)], [0, 1, 3 + 9.2 / np.sqrt(2)]])):
        assert np.isnan(match_field(before, after, start=start).displacement_px).all()


@pytest.mark.parametrize("pitches", [0.5, 1.0, 2.0, 3.0])
def test_no_dot_of_a_halftone_is_taken_for_its_neighbour(pitches: float) -> None:
    """A tint beside print, and a start that is wrong by whole dots (pitch 9.2 px)."""
    rng = np.random.default_rng(11)
    page = printed_page(rng, (360, 420))
    page[300:780, 300:900] = tint_page((160, 200), 9.2)
    truth = plant((360, 420), 0.001, 0.0005, shift=(4.0, -3.0))
    before, after = shoot(rng, page), shoot(rng, page, truth.affine, gain=0.9, lift=20)
    start = truth.affine.copy()
    start[:, 2] += pitches * 9.2 / np.sqrt(2)
    found = match_field(before, after, start=start, step_px=14, radius_px=12)
    moved = found.points_px @ truth.affine[:, :2].T + truth.affine[:, 2] - found.points_px
    off = np.hypot(*(found.displacement_px - moved).T)
    assert np.isfinite(off).mean() > 0.6
    assert np.nanmax(off) < 1.0


def test_bending_subsets_follow_a_wave_that_flat_ones_smooth() -> None:
    before = _noise(12, 1.5)
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]].astype(np.float64)
    wave = 0.5 * np.sin(2 * np.pi * x / 45)
    after = ndimage.map_coordinates(before, [y - wave, x], order=5, mode="mirror")
    short = []
    for order in (1, 2):
        found = match_field(before, after, step_px=6, radius_px=9, order=order)
        inside = _inner(found)
        true = 0.5 * np.sin(2 * np.pi * found.points_px[inside, 0] / 45)
        short.append(np.nanstd(found.displacement_px[inside, 1] - true))
    assert short[1] < 0.4 * short[0]


def test_points_are_whole_and_centred() -> None:
    found = match_field(_noise(13), _noise(13), step_px=20, radius_px=8)
    xs, ys = (np.unique(column) for column in found.points_px.T)
    assert set(np.diff(xs)) == set(np.diff(ys)) == {20.0}
    assert len(xs) * len(ys) == len(found.points_px) == found.lattice[0] * found.lattice[1]
    assert abs(xs.mean() - (SHAPE[1] - 1) / 2) <= 10


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"before": np.zeros((90, 90, 3))}, "must be grey"),
        ({"after": np.zeros((90, 90), complex)}, "real numbers"),
        ({"radius_px": 2}, "radius_px must be between 4"),
        ({"step_px": 1}, "step_px must be between 2"),
        ({"order": 3}, "order must be 1"),
        ({"start": np.eye(2)}, "2 x 3 affine"),
        ({"before_mask": np.ones((4, 4), bool)}, "before mask"),
        ({"blur_px": -1.0}, "blur_px"),
    ],
)
def test_wrong_input_is_refused_in_a_sentence(change: dict[str, object], says: str) -> None:
    given: dict[str, object] = {"before": _noise(1), "after": _noise(1)} | change
    with pytest.raises(ValueError, match=says):
        match_field(given.pop("before"), given.pop("after"), **given)  # type: ignore[arg-type]


def test_asking_for_the_package_does_not_load_the_compiler() -> None:
    code = "import sys, quirewell.science.imaging; sys.exit('numba' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_flat_pictures_have_no_match() -> None:
    flat = np.full(SHAPE, 120, np.uint8)
    assert np.isnan(match_field(flat, flat).displacement_px).all()
    assert np.isnan(match_field(_noise(1), cv2.blur(flat, (3, 3))).displacement_px).all()
