"""Paper tone: print, halftone and solid ink must not pull the tone of bare paper."""

import cv2
import numpy as np
import pytest

from quirewell.science.colour.paper_tone import summarise, tone_tiles
from quirewell.science.colour.spaces import linear_from_lab, srgb_from_linear

PAPER = (76.0, 5.0, 22.0)


def sheet(seed=0, size=(400, 320), lab=PAPER):
    rng = np.random.default_rng(seed)
    light = np.tile(linear_from_lab(np.array(lab)), (*size, 1))
    light = light * (1 + 0.03 * rng.standard_normal((*size, 1)))
    return light


def encoded(light, seed=1):
    rng = np.random.default_rng(seed)
    values = 255 * srgb_from_linear(np.clip(light, 0, 1)) + rng.standard_normal(light.shape)
    return np.clip(np.round(values), 0, 255).astype(np.uint8)


def summed(pixels, side=8):
    shape = pixels.shape[0] // side, pixels.shape[1] // side
    tiles = tone_tiles(pixels, side, np.ones(shape, bool))
    y = np.minimum(np.arange(shape[0]), np.arange(shape[0])[::-1])[:, None] * 2.0
    x = np.minimum(np.arange(shape[1]), np.arange(shape[1])[::-1])[None, :] * 2.0
    return tiles, summarise(tiles, np.minimum(x, y), np.ones(shape, bool))


def test_bare_paper_reads_as_planted():
    tiles, summary = summed(encoded(sheet()))
    assert summary.median == pytest.approx(PAPER, abs=0.25)
    assert tiles.bare.mean() > 0.98


def test_print_does_not_darken_the_paper():
    light = sheet()
    ink = np.zeros(light.shape[:2], np.uint8)
    for row in range(20, 380, 14):
        for column in range(20, 300, 10):
            cv2.putText(ink, "e", (column, row), 0, 0.35, 255, 1, cv2.LINE_AA)
    light = light * (1 - 0.93 * (ink / 255.0))[..., None]
    _, summary = summed(encoded(light))
    assert summary.median == pytest.approx(PAPER, abs=0.8)


def test_solid_ink_and_a_dense_halftone_are_left_out():
    light = sheet()
    light[40:200, 40:280] *= 0.12
    y, x = np.mgrid[0:120, 0:240]
    dots = (np.sin(x * 1.6) + np.sin(y * 1.6)) > -0.9
    light[240:360, 40:280] *= np.where(dots, 0.1, 1.0)[..., None]
    tiles, summary = summed(encoded(light))
    assert not tiles.bare[8:22, 8:32].any()
    assert summary.median == pytest.approx(PAPER, abs=0.4)


def test_margin_and_centre_are_kept_apart():
    light = sheet()
    brown = linear_from_lab(np.array([64.0, 9.0, 28.0]))
    y = np.minimum(np.arange(400), np.arange(400)[::-1])[:, None]
    x = np.minimum(np.arange(320), np.arange(320)[::-1])[None, :]
    share = (np.minimum(x, y) < 40)[..., None]
    light = np.where(share, brown, light)
    tiles = tone_tiles(encoded(light), 8, np.ones((50, 40), bool))
    from_edge = (np.minimum(x, y)[4::8, 4::8] + 0.0) / 4.0
    summary = summarise(tiles, from_edge, from_edge > 20)
    assert summary.margin == pytest.approx((64.0, 9.0, 28.0), abs=0.4)
    assert summary.centre == pytest.approx(PAPER, abs=0.4)
    assert summary.profile[0][1] < summary.profile[-1][1] - 10


def test_a_black_page_has_no_paper_tone():
    light = np.full((400, 320, 3), 0.02)
    light *= 1 + 0.8 * np.random.default_rng(3).standard_normal((400, 320, 1))
    tiles = tone_tiles(encoded(light), 8, np.zeros((50, 40), bool))
    assert summarise(tiles, np.zeros((50, 40)), np.ones((50, 40), bool)) is None


def test_sixteen_bit_reads_the_same():
    pixels = encoded(sheet())
    _, eight = summed(pixels)
    _, sixteen = summed(pixels.astype(np.uint16) * 257)
    assert sixteen.median == pytest.approx(eight.median, abs=1e-3)


INKS = {"red": (42.0, 58.0, 40.0), "yellow": (71.0, 8.0, 58.0), "orange": (58.0, 40.0, 50.0)}


@pytest.mark.parametrize("ink", INKS)
def test_a_solid_of_warm_ink_is_not_taken_for_brown_paper(ink):
    light = sheet()
    light[40:360, 40:280] = sheet(3, (320, 240), INKS[ink])
    light[150:250, 80:240] = sheet(4, (100, 160))
    tiles, summary = summed(encoded(light))
    assert not tiles.bare[6:18, 6:34].any()
    assert summary.median == pytest.approx(PAPER, abs=0.3)


@pytest.mark.parametrize("brown", [(93.0, 0.5, 5.0), (60.0, 9.0, 30.0), (50.0, 12.0, 34.0)])
def test_a_stain_stays_paper_whether_the_sheet_is_new_or_brown(brown):
    light = sheet(lab=brown)
    darker = (brown[0] - 8.0, brown[1] + 2.5, brown[2] + 8.0)
    light[160:240, 120:200] = sheet(5, (80, 80), darker)
    tiles, _ = summed(encoded(light))
    assert tiles.bare[21:29, 16:24].mean() > 0.9


def test_paper_coloured_in_the_pulp_stays_paper():
    tiles, summary = summed(encoded(sheet(lab=(82.0, 6.0, 55.0))))
    assert tiles.bare.mean() > 0.98
    assert summary.median == pytest.approx((82.0, 6.0, 55.0), abs=0.6)
