from __future__ import annotations

import cv2
import numpy as np
import pytest

from paired_pages import blank_paper, plant, printed_page, shoot, tint_page
from quirewell.science.imaging.register import NoRegistration, Registration, register
from quirewell.science.imaging.strain import sheet_strain

SHAPE = (420, 320)


def _registered(before: np.ndarray, after: np.ndarray, **masks: np.ndarray) -> Registration:
    result = register(before, after, **masks)
    assert isinstance(result, Registration), result
    return result


def _refused(before: np.ndarray, after: np.ndarray) -> NoRegistration:
    result = register(before, after)
    assert isinstance(result, NoRegistration), "a match was claimed where there is none"
    return result


def test_planted_strain_and_turn_are_found_under_a_washed_tone() -> None:
    rng = np.random.default_rng(1)
    page = printed_page(rng, SHAPE)
    truth = plant(SHAPE, 0.0030, -0.0010, 2e-4, 0.4, (3.3, -5.1))
    before = shoot(rng, page)
    after = shoot(rng, page, truth.affine, gain=0.85, lift=40)
    result = _registered(before, after)
    strain = sheet_strain(result.fit)
    assert strain.exx == pytest.approx(truth.exx, abs=4e-5)
    assert strain.eyy == pytest.approx(truth.eyy, abs=4e-5)
    assert strain.rotation_deg == pytest.approx(0.4, abs=0.002)
    truth_found = result.points @ truth.affine[:, :2].T + truth.affine[:, 2]
    assert np.sqrt(np.mean((result.found - truth_found) ** 2)) < 0.05
    assert result.residual_px < 0.06


def test_an_identical_pair_has_no_strain_but_not_endless_certainty() -> None:
    rng = np.random.default_rng(2)
    picture = shoot(rng, printed_page(rng, SHAPE))
    strain = sheet_strain(_registered(picture, picture).fit)
    assert abs(strain.exx) < 1e-7
    assert abs(strain.eyy) < 1e-7
    assert strain.u_exx > 1e-6


def test_a_bent_sheet_is_followed_and_its_even_stretch_told_apart() -> None:
    rng = np.random.default_rng(3)
    page = printed_page(rng, SHAPE)
    before = shoot(rng, page)
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]].astype(np.float32)
    bend = 0.6 * np.sin(2 * np.pi * y / 300).astype(np.float32)
    bent = cv2.remap(shoot(rng, page).astype(np.float32), x + bend, y, cv2.INTER_CUBIC)
    result = _registered(before, bent)
    at = np.clip(np.round(result.found[:, 1]).astype(int), 0, SHAPE[0] - 1)
    expected = -bend[at, 0]
    assert np.corrcoef(result.found[:, 0] - result.points[:, 0], expected)[0, 1] > 0.99
    assert result.bend_px == pytest.approx(0.6 / np.sqrt(2), rel=0.1)
    strain = sheet_strain(result.fit)
    assert abs(strain.exx) < 4 * strain.u_exx
    assert strain.u_exx < 3e-5


@pytest.mark.parametrize(
    ("quarters", "turn"), [(0, "upright"), (1, "quarter turn"), (2, "upside down")]
)
def test_a_turned_leaf_is_matched_and_named(quarters: int, turn: str) -> None:
    rng = np.random.default_rng(4)
    page = printed_page(rng, SHAPE)
    after = np.ascontiguousarray(np.rot90(shoot(rng, page), quarters))
    result = _registered(shoot(rng, page), after)
    assert result.turn == turn
    assert abs(sheet_strain(result.fit).exx) < 5e-5


def test_a_mirrored_picture_is_refused_by_name() -> None:
    rng = np.random.default_rng(5)
    page = printed_page(rng, SHAPE)
    refused = _refused(shoot(rng, page), np.ascontiguousarray(shoot(rng, page)[:, ::-1]))
    assert refused.reason == "mirrored"
    assert "mirror image" in refused.says


def test_two_different_pages_are_refused() -> None:
    rng = np.random.default_rng(6)
    before, after = (shoot(rng, printed_page(rng, SHAPE)) for _ in range(2))
    assert _refused(before, after).reason == "no agreement"


def test_two_pages_that_share_only_a_running_head_are_refused() -> None:
    rng = np.random.default_rng(7)
    first, second = (printed_page(rng, SHAPE) for _ in range(2))
    second[: first.shape[0] // 8] = first[: first.shape[0] // 8]
    assert _refused(shoot(rng, first), shoot(rng, second)).reason in (
        "no agreement", "too little agrees",
    )  # fmt: skip


def test_a_blank_leaf_is_said_to_be_blank() -> None:
    rng = np.random.default_rng(8)
    before, after = (shoot(rng, blank_paper(rng, SHAPE, texture=0)) for _ in range(2))
    assert _refused(before, after).reason == "blank before"
    printed = shoot(rng, printed_page(rng, SHAPE))
    assert _refused(printed, after).reason == "blank after"


@pytest.mark.parametrize("pitch_px", [3.1, 4.6, 9.2])
def test_an_even_halftone_never_locks(pitch_px: float) -> None:
    rng = np.random.default_rng(9)
    tint = tint_page(SHAPE, pitch_px)
    truth = plant(SHAPE, 0.002, 0.0, shift=(3.3, -7.1))
    _refused(shoot(rng, tint), shoot(rng, tint, truth.affine))


def test_only_what_lies_on_paper_counts() -> None:
    """A printed strip beside the leaf that did not move must not speak for the paper."""
    rng = np.random.default_rng(10)
    shape = (420, 480)
    leaf, strip = printed_page(rng, (420, 320)), printed_page(rng, (420, 160))
    truth = plant((420, 320), 0.004, 0.003)
    before = np.hstack([shoot(rng, leaf), shoot(rng, strip)])
    after = np.hstack([shoot(rng, leaf, truth.affine), shoot(rng, strip)])
    mask = np.zeros(shape, dtype=bool)
    mask[:, :316] = True
    result = _registered(before, after, before_mask=mask, after_mask=mask)
    strain = sheet_strain(result.fit)
    assert strain.exx == pytest.approx(0.004, abs=5e-5)
    assert strain.eyy == pytest.approx(0.003, abs=5e-5)
    assert result.points[:, 0].max() < 316


def test_another_resolution_is_matched_with_its_scale() -> None:
    rng = np.random.default_rng(11)
    page = printed_page(rng, (840, 640))
    before = shoot(rng, page)
    after = cv2.resize(shoot(rng, page), (320, 420), interpolation=cv2.INTER_AREA)
    strain = sheet_strain(_registered(before, after).fit, (1.0, 1.0), (2.0, 2.0))
    assert abs(strain.exx) < 2e-4
    assert abs(strain.eyy) < 2e-4


def test_colour_pictures_and_crumbs_are_refused_with_a_sentence() -> None:
    with pytest.raises(ValueError, match="must be grey and at least 64 px"):
        register(np.zeros((100, 100, 3), np.uint8), np.zeros((100, 100), np.uint8))
    with pytest.raises(ValueError, match="after picture"):
        register(np.zeros((100, 100), np.uint8), np.zeros((30, 100), np.uint8))
