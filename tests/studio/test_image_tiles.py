"""Deep-zoom tiles: together they are the picture, and their names are those of the standard."""

import json

import numpy as np
import pytest
import tifffile
from PIL import Image

from quirewell.studio.images import ImageError
from quirewell.studio.tiles import image_info, make_tiles, scale_factors


@pytest.fixture
def scan(tmp_path):
    y, x = np.mgrid[0:700, 0:1301]
    pixels = np.stack([x / 6, y / 4, 60 + 0 * x], axis=2).astype(np.uint8)
    path = tmp_path / "scan.tif"
    tifffile.imwrite(path, pixels, photometric="rgb")
    return path, pixels


def test_full_size_tiles_put_together_are_the_picture(tmp_path, scan):
    path, pixels = scan
    info = json.loads(make_tiles(path, tmp_path / "tiles").read_text("utf-8"))
    assert (info["width"], info["height"]) == (1301, 700)
    assert info["tiles"][0]["scaleFactors"] == [1, 2, 4]
    whole = np.zeros_like(pixels)
    for y in range(0, 700, 512):
        for x in range(0, 1301, 512):
            w, h = min(512, 1301 - x), min(512, 700 - y)
            place = tmp_path / "tiles" / f"{x},{y},{w},{h}" / f"{w},{h}" / "0" / "default.jpg"
            with Image.open(place) as tile:
                whole[y : y + h, x : x + w] = np.asarray(tile)
    assert np.abs(whole.astype(int) - pixels).mean() < 2


def test_halved_levels_round_up_and_the_smallest_is_the_whole(tmp_path, scan):
    path, _ = scan
    make_tiles(path, tmp_path / "tiles", base="/tiles/abc")
    second = tmp_path / "tiles" / "1024,0,277,700" / "139,350" / "0" / "default.jpg"
    with Image.open(second) as tile:
        assert tile.size == (139, 350)
    with Image.open(tmp_path / "tiles" / "full" / "326,175" / "0" / "default.jpg") as tile:
        assert tile.size == (326, 175)


def test_a_picture_smaller_than_a_tile_is_one_file(tmp_path):
    path = tmp_path / "small.tif"
    tifffile.imwrite(path, np.full((100, 200, 3), 90, np.uint8), photometric="rgb")
    make_tiles(path, tmp_path / "tiles")
    files = [p for p in (tmp_path / "tiles").rglob("*") if p.is_file()]
    names = sorted(str(p.relative_to(tmp_path / "tiles")) for p in files)
    assert names == ["full/max/0/default.jpg", "info.json"]


def test_factors_end_when_one_tile_holds_all():
    assert scale_factors(512, 512, 512) == [1]
    assert scale_factors(513, 10, 512) == [1, 2]
    assert image_info(513, 10, 512, "x")["sizes"][0] == {"width": 257, "height": 5}


def test_no_info_is_left_by_a_file_that_is_no_picture(tmp_path):
    bad = tmp_path / "bad.tif"
    bad.write_bytes(b"II*\0 nothing")
    with pytest.raises(ImageError):
        make_tiles(bad, tmp_path / "tiles")
    assert not (tmp_path / "tiles" / "info.json").exists()
