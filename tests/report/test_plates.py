"""Plates: same scale, laid on each other, as scanned."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from quirewell.record.nouns import ItemState
from quirewell.report.plates import EDGE_MM, chosen, jpeg, load_sample, make_plate, photograph
from quirewell.stages.results import page_results
from quirewell.studio.studio import Studio
from report_case import report_studio


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    return report_studio(tmp_path_factory.mktemp("plates") / "s", pairs=6)


def pixels(data: bytes | None) -> np.ndarray:
    assert data is not None
    return np.asarray(Image.open(io.BytesIO(data)).convert("L"), dtype=float)


def plate_of(studio: Studio, index: int = 0, width_mm: float = 60.0, **changes: object):  # type: ignore[no-untyped-def]
    state = studio.state("annual")
    result = replace(page_results(state)[index], **changes)  # type: ignore[arg-type]
    return make_plate(result, state, studio.blobs.path, width_mm, dpi=75 * 174 / 60)


def test_after_is_laid_on_before_by_the_comparison(studio: Studio) -> None:
    plate = plate_of(studio)
    before, after = pixels(plate.before), pixels(plate.after)
    assert plate.registered and before.shape == after.shape
    dark = before < 90
    # Both scans hold the same print; the second lay 6 pixels aside and its paper is lighter.
    assert np.mean((after < 110)[dark]) > 0.97
    assert np.mean((after > 150)[before > 150]) > 0.97


def test_without_a_comparison_each_is_cut_by_its_own_outline_at_the_same_scale(
    studio: Studio,
) -> None:
    plate = plate_of(studio, pair=None)
    assert not plate.registered
    a, b = pixels(plate.before), pixels(plate.after)
    assert abs(a.shape[0] - b.shape[0]) <= 1 and abs(a.shape[1] - b.shape[1]) <= 1


def test_scale_of_the_plate_is_paper_over_print(studio: Studio) -> None:
    plate = plate_of(studio, width_mm=58.0)
    assert plate.per == pytest.approx((168 + 2 * EDGE_MM) / 58.0, rel=2e-3)
    width_px = pixels(plate.before).shape[1]
    assert width_px == pytest.approx(58.0 / 25.4 * 75 * 174 / 60, abs=1)


def test_nothing_is_brightened(studio: Studio) -> None:
    plate = np.asarray(Image.open(io.BytesIO(plate_of(studio).before)))
    paper = np.median(plate[40:60, 60:-60], axis=(0, 1))
    assert np.abs(paper - [222, 200, 158]).max() <= 2


def test_one_picture_alone_makes_half_a_plate(studio: Studio) -> None:
    plate = plate_of(studio, after=None, pair=None)
    assert plate.before is not None and plate.after is None and not plate.registered


def test_no_outline_no_plate(studio: Studio) -> None:
    assert plate_of(studio, before=None, after=None) is None


def test_large_plates_are_the_cover_then_what_changed(studio: Studio) -> None:
    state: ItemState = studio.state("annual")
    places = [entry.place for entry in chosen(page_results(state), state, 3)]
    assert places == ["c.outer.right", "c.outer.left", "w01.outer.right"]


def test_photographs_are_made_small_and_carry_no_metadata(studio: Studio) -> None:
    capture = studio.state("annual").captures["front-before"]
    small = Image.open(io.BytesIO(photograph(capture, studio.blobs.path, 200)))
    assert max(small.size) == 200
    assert not small.getexif()


def test_sixteen_bits_become_eight(tmp_path: Path) -> None:
    import tifffile

    picture = np.full((40, 30, 3), 257 * 100, dtype=np.uint16)
    tifffile.imwrite(tmp_path / "a.tif", picture, photometric="rgb", resolution=(75, 75))
    loaded = load_sample(tmp_path / "a.tif")
    assert loaded.dtype == np.uint8 and abs(int(loaded[5, 5, 0]) - 100) <= 1
    assert jpeg(loaded)[:2] == b"\xff\xd8"


def test_a_shrunk_picture_is_the_mean_of_its_pixels(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    fine = rng.integers(0, 256, (120, 80, 3), dtype=np.uint8)
    Image.fromarray(fine).save(tmp_path / "a.png")
    means = fine.reshape(30, 4, 20, 4, 3).mean(axis=(1, 3))
    small = load_sample(tmp_path / "a.png", 0.25)
    assert small.shape == (30, 20, 3)
    assert np.abs(small - means).max() <= 0.51


@pytest.mark.parametrize("shrink", [0.25, 0.3])
def test_a_jpeg_is_shrunk_as_it_is_decoded_and_looks_the_same(
    tmp_path: Path, shrink: float
) -> None:
    y, x = np.mgrid[0:400, 0:320] / 400.0
    smooth = np.stack([200 * x, 255 * y, 90 + 80 * x * y], axis=-1).astype(np.uint8)
    Image.fromarray(smooth).save(tmp_path / "a.jpg", quality=95, exif=_turned())
    small = load_sample(tmp_path / "a.jpg", shrink)
    whole = load_sample(tmp_path / "a.jpg")
    assert whole.shape == (320, 400, 3)  # the tag turns it
    assert small.shape == (round(320 * shrink), round(400 * shrink), 3)
    asked = np.asarray(Image.fromarray(whole).resize(small.shape[1::-1], Image.Resampling.BOX))
    assert np.abs(small.astype(int) - asked).max() <= 4


def _turned() -> bytes:
    exif = Image.Exif()
    exif[0x0112] = 6
    return exif.tobytes()


def test_what_was_cut_is_kept_and_a_broken_file_is_cut_again(
    studio: Studio, tmp_path: Path
) -> None:
    state, asked = studio.state("annual"), list[Path]()

    def load(path: Path, shrink: float) -> np.ndarray:
        asked.append(path)
        return load_sample(path, shrink)

    def plate() -> tuple[bytes | None, bytes | None]:
        result = page_results(state)[0]
        made = make_plate(result, state, studio.blobs.path, 37.0, load, kept=tmp_path / "kept")
        assert made is not None
        return made.before, made.after

    first = plate()
    assert len(asked) == 2 and plate() == first and len(asked) == 2
    one = sorted((tmp_path / "kept").glob("*.jpg"))[0]
    one.write_bytes(one.read_bytes()[:-40])
    assert plate() == first and len(asked) == 3
