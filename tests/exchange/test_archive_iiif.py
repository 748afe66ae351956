"""Tiles and manifests by the letter of IIIF Image API 3.0 (level 0) and Presentation API 3.0.

Each assertion names its section; no reader of ours is used, only the files as a web server of
static files would give them.
"""

from __future__ import annotations

import io
import json
import math
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from archive_case import archive_studio, small_bytes
from quirewell.exchange.iiif import BASE, check_base
from quirewell.exchange.make import Wish, make
from quirewell.studio.studio import Studio


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("iiif")
    archive_studio(folder / "home").close()
    make(folder / "home", folder / "bag", Wish("annual", workers=1))
    return folder / "bag" / "data"


def infos(data: Path) -> list[tuple[Path, dict[str, Any]]]:
    found = [
        (place.parent, json.loads(place.read_text("utf-8")))
        for place in sorted((data / "iiif" / "images").glob("*/info.json"))
    ]
    assert len(found) == 3
    return found


def test_what_each_info_says_of_itself(data: Path) -> None:
    for folder, info in infos(data):
        assert info["@context"] == "http://iiif.io/api/image/3/context.json"  # 5.2
        assert info["type"] == "ImageService3"  # 5.2
        assert info["protocol"] == "http://iiif.io/api/image"  # 5.2
        assert info["profile"] == "level0"  # 5.2
        assert info["id"] == BASE + folder.relative_to(data).as_posix()  # 5.2: where info.json is
        assert not info["id"].endswith("/")  # 2.1
        assert isinstance(info["width"], int) and info["width"] > 0  # 5.2
        assert isinstance(info["height"], int) and info["height"] > 0  # 5.2
        assert not {"maxWidth", "maxHeight", "maxArea"} & set(info)  # 5.3: nothing is limited


def test_the_picture_is_there_whole_and_at_every_size_named(data: Path) -> None:
    for folder, info in infos(data):
        with Image.open(
            folder / "full" / "max" / "0" / "default.jpg"
        ) as whole:  # 4.1, 4.2: level 0
            assert whole.size == (info["width"], info["height"])
            assert whole.format == "JPEG"  # 4.5: level 0 asks for jpg
        for size in info.get("sizes", ()):  # 5.3: each can be asked for as full/w,h
            w, h = size["width"], size["height"]
            with Image.open(folder / "full" / f"{w},{h}" / "0" / "default.jpg") as one:
                assert one.size == (w, h)
            assert abs(w / h - info["width"] / info["height"]) < 0.02


def test_every_tile_is_there_under_its_canonical_name_and_no_other_file(data: Path) -> None:
    """5.4 and implementation notes A.3: region and size of each tile at each scale factor."""
    for folder, info in infos(data):
        assert len(info["tiles"]) == 1
        tile, full = info["tiles"][0], (info["width"], info["height"])
        assert tile["scaleFactors"] == [2**n for n in range(len(tile["scaleFactors"]))]
        wanted = {"info.json", "full/max/0/default.jpg"}
        for factor in tile["scaleFactors"]:
            step = tile["width"] * factor
            for y in range(0, full[1], step):
                for x in range(0, full[0], step):
                    w, h = min(step, full[0] - x), min(step, full[1] - y)
                    region = "full" if (x, y, w, h) == (0, 0, *full) else f"{x},{y},{w},{h}"
                    size = f"{math.ceil(w / factor)},{math.ceil(h / factor)}"
                    size = "max" if region == "full" and factor == 1 else size
                    wanted.add(f"{region}/{size}/0/default.jpg")
        there = {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}
        assert there == wanted


def test_the_tiles_show_the_original(data: Path) -> None:
    sizes = set()
    for folder, _ in infos(data):
        original = next((data / "originals").glob(f"*/{folder.name}.png"))
        with Image.open(original) as one, Image.open(folder / "full/max/0/default.jpg") as shown:
            mean = [
                Image.Image.resize(p.convert("RGB"), (1, 1)).getpixel((0, 0)) for p in (one, shown)
            ]
            sizes.add(one.size)
        assert max(abs(a - b) for a, b in zip(*mean, strict=True)) <= 3
    with Image.open(io.BytesIO(small_bytes(3))) as front:
        assert front.size in sizes


def test_a_manifest_has_a_canvas_for_each_side_with_before_and_after_to_choose(data: Path) -> None:
    said = json.loads((data / "iiif" / "annual" / "manifest.json").read_text("utf-8"))
    assert said["id"] == f"{BASE}iiif/annual/manifest.json"
    assert said["label"] == {"none": ["Copperbeck Garden Annual"]}
    assert said["requiredStatement"]["value"]["en"][0].startswith("None was given")
    labels = [canvas["label"]["en"][0] for canvas in said["items"]]
    assert labels[:2] == ["w01.outer.left", "front, front"]
    ids = [canvas["id"] for canvas in said["items"]]
    assert len(set(ids)) == len(ids) and all(one.startswith(BASE) for one in ids)
    body = said["items"][0]["items"][0]["items"][0]["body"]
    assert body["type"] == "Choice"
    assert [one["label"]["en"][0].split()[0] for one in body["items"]] == ["before", "after"]
    for one in body["items"]:  # what it names is there, at the size it says
        place = data / one["id"].removeprefix(BASE)
        with Image.open(place) as picture:
            assert picture.size == (one["width"], one["height"])
        assert (data / one["service"][0]["id"].removeprefix(BASE) / "info.json").is_file()
    for one in said["seeAlso"]:
        assert (data / one["id"].removeprefix(BASE)).is_file()


def test_without_tiles_the_originals_are_named(tmp_path: Path) -> None:
    archive_studio(tmp_path / "home").close()
    base = "https://larkmoor.example/annual/"
    make(tmp_path / "home", tmp_path / "bag", Wish("annual", tiles=False, base=base))
    said = json.loads((tmp_path / "bag/data/iiif/annual/manifest.json").read_text("utf-8"))
    body = said["items"][0]["items"][0]["items"][0]["body"]["items"][0]
    place = tmp_path / "bag" / "data" / body["id"].removeprefix(base)
    with Studio.open(tmp_path / "home") as studio:
        sha256 = studio.state("annual").captures["cb"].sha256
    assert place.read_bytes() == (tmp_path / "home/originals" / sha256[:2] / sha256).read_bytes()
    assert not (tmp_path / "bag/data/iiif/images").exists()


@pytest.mark.parametrize("base", ["", "http://x", "ftp://x/", "http://x/?a/", 'http://x/"/', "x/"])
def test_a_base_that_is_no_plain_address_is_refused(base: str) -> None:
    with pytest.raises(ValueError, match="base address"):
        check_base(base)
