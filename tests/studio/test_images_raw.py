"""Camera raw files: linear, untouched by any automatic brightness, within the same budgets."""

from __future__ import annotations

import numpy as np
import pytest
import tifffile

from quirewell.studio.image_header import holds_raw
from quirewell.studio.images import ImageError, load_picture, read_header
from raw_files import LEVELS, stripes, write_raw


def light_of(pixels):
    value = pixels.astype(np.float64) / 65535.0
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def middles(pixels):
    """Mean linear light of the middle of each stripe, (6, 3)."""
    light = light_of(pixels)
    return np.array(
        [light[30:60, 20 * at + 8 : 20 * at + 12].reshape(-1, 3).mean(axis=0) for at in range(6)]
    )


def test_light_comes_out_linear_and_nothing_is_brightened(tmp_path):
    loaded = load_picture(write_raw(tmp_path / "a.dng", stripes()))
    assert loaded.pixels.dtype == np.uint16
    assert loaded.bits == 16
    assert middles(loaded.pixels) == pytest.approx(np.repeat(np.array(LEVELS)[:, None], 3, 1),
                                                   abs=3e-4)  # fmt: skip


def test_two_pictures_keep_the_ratio_of_their_exposures(tmp_path):
    full = load_picture(write_raw(tmp_path / "a.dng", stripes())).pixels
    less = load_picture(write_raw(tmp_path / "b.dng", stripes((0.7, 0.7, 0.7)))).pixels
    assert middles(less) / middles(full) == pytest.approx(0.7, rel=0.01)


def test_the_cameras_own_white_makes_grey_grey(tmp_path):
    seen = stripes((0.5, 1.0, 0.7))
    loaded = load_picture(write_raw(tmp_path / "a.dng", seen, neutral=(0.5, 1.0, 0.7)))
    found = middles(loaded.pixels)[1:5]
    assert found[:, 0] / found[:, 1] == pytest.approx(1.0, abs=0.01)
    assert found[:, 2] / found[:, 1] == pytest.approx(1.0, abs=0.01)


def test_the_header_says_its_size_upright_and_that_it_gives_no_scale(tmp_path):
    header = read_header(write_raw(tmp_path / "a.dng", stripes(), turn=6))
    assert (header.width_px, header.height_px) == (96, 120)
    assert header.media == "image/x-raw"
    assert header.resolution_dpi is None
    assert any("raw file" in says for says in header.warnings)
    assert load_picture(tmp_path / "a.dng").pixels.shape == (120, 96, 3)


def test_a_budget_holds_before_anything_is_unpacked(tmp_path):
    path = write_raw(tmp_path / "a.dng", stripes())
    with pytest.raises(ImageError, match="megapixels"):
        read_header(path, max_pixels=10_000)


def test_a_damaged_raw_file_is_refused_in_a_sentence(tmp_path):
    path = write_raw(tmp_path / "a.dng", stripes())
    data = path.read_bytes()
    for name, content in (
        ("cut.dng", data[: len(data) // 2]),
        ("noise.dng", b"IIRO" + bytes(range(256)) * 40),
    ):
        (tmp_path / name).write_bytes(content)
        with pytest.raises(ImageError, match="cut short"):
            load_picture(tmp_path / name)


def test_a_plain_tiff_is_not_taken_for_a_raw_file(tmp_path):
    path = tmp_path / "plain.tif"
    tifffile.imwrite(path, np.full((40, 50, 3), 120, np.uint8), photometric="rgb")
    assert not holds_raw(path)
    assert read_header(path).media == "image/tiff"
