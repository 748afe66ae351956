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
