"""Photographs of the whole item: names, upright by the EXIF orientation, same seed same bytes."""

from __future__ import annotations

import re
from pathlib import Path

from PIL import Image, ImageOps

from quirewell.demo.photographs import TURNED, VIEWS, write_photographs

NAME = re.compile(r"item-(front|back|spine|head|tail|lamp-left|lamp-top|gloss)-(before|after)")


def test_names_are_those_of_whole_item_pictures() -> None:
    assert all(NAME.fullmatch(view) for view in VIEWS)
    assert {"item-front-before", "item-front-after", "item-spine-before"} <= set(VIEWS)


def test_the_turned_photograph_stands_upright_by_its_orientation(tmp_path: Path) -> None:
    write_photographs(tmp_path, 50, 1936, (TURNED,))
    with Image.open(tmp_path / f"{TURNED}.jpg") as picture:
        assert picture.size == (1600, 1200)
        assert picture.getexif()[274] == 6
        upright = ImageOps.exif_transpose(picture).convert("RGB")
    assert upright.size == (1200, 1600)
    strip = upright.crop((250, 1380, 950, 1560)).convert("L")
    bench = upright.crop((250, 0, 950, 60)).convert("L")
    assert strip.getextrema()[1] > 200 > bench.getextrema()[1]


def test_the_same_seed_gives_the_same_photograph(tmp_path: Path) -> None:
    first, second = tmp_path / "one", tmp_path / "two"
    for folder in (first, second):
        folder.mkdir()
        write_photographs(folder, 50, 1936, ("item-head-before",))
    name = "item-head-before.jpg"
    assert (first / name).read_bytes() == (second / name).read_bytes()
