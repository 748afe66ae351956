"""What a survey's row says beside the measuring method: share without a scale, what a tone rests
on, the small picture, and how they are kept."""

from __future__ import annotations

import base64
import io
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from PIL import Image

from quirewell.jobs.engine import SerialEngine
from quirewell.science.imaging.leaf import find_leaf
from quirewell.science.imaging.loss import find_loss
from quirewell.science.imaging.strip import draw_strip
from quirewell.stages import collection_run
from quirewell.stages.collection_picture import LONG_PX, MOST_BYTES, small_picture
from quirewell.stages.collection_rows import PART_SCHEMA, SCHEMA, RowStore
from quirewell.stages.collection_run import Survey
from quirewell.stages.collection_scan import ROW_VERSION, measure_scan
from quirewell.stages.collection_tone import PRINTED_U_L, UNLIKE
from quirewell.stages.measuring_said import BadParameter
from quirewell.studio.blobs import hash_file
from survey_case import DPI, scan, write

DOCS = Path(__file__).parents[2] / "docs/survey.md"


def measured(path: Path, **params: str) -> dict[str, Any]:
    return measure_scan(str(path), hash_file(path), params)


# --- share of the leaf without a scale --------------------------------------------------


def test_a_share_without_a_scale_is_that_with_one_within_its_band(tmp_path: Path) -> None:
    pixels, truth = scan(4)
    scaled = measured(write(tmp_path / "scaled.tif", pixels))
    bare = measured(write(tmp_path / "bare.tif", pixels, dpi=72))
    assert (scaled["loss_basis"], bare["loss_basis"]) == ("mm", "pixels")
    assert bare["loss_mm2"] is None and bare["loss_pct_u"] >= scaled["loss_pct_u"]
    planted = 100 * truth.loss_mm2 / (truth.width_mm * truth.height_mm)
    assert bare["loss_pct"] == pytest.approx(scaled["loss_pct"], abs=2 * bare["loss_pct_u"])
    assert bare["loss_pct"] == pytest.approx(planted, abs=3 * bare["loss_pct_u"] + 0.01)


def test_no_share_is_given_of_a_leaf_that_is_not_whole_in_the_picture(tmp_path: Path) -> None:
    pixels, _ = scan(1)
    half = np.ascontiguousarray(pixels[:, : pixels.shape[1] // 2])
    row = measured(write(tmp_path / "half.tif", half, dpi=72))
    assert row["leaf_found"] and row["loss_pct"] is None and row["loss_basis"] is None
    assert "pixels only" in row["size_says"]


# --- what a tone rests on ---------------------------------------------------------------


def with_strip(gain: float = 1.0, shade: float = 1.0) -> np.ndarray:
    """A leaf with the strip below it, as a scanner with another exposure gives it (``gain`` of
    linear light); ``shade`` on three of the grey steps only."""
    pixels, _ = scan(3)
    strip = np.repeat(draw_strip(25400 / DPI)[..., None], 3, axis=2)
    if shade != 1.0:
        part = strip[:, 200:350].astype(float)
        strip[:, 200:350] = np.round(part * shade).astype(np.uint8)
    high, wide = pixels.shape[0] + strip.shape[0] + 60, strip.shape[1] + 40
    whole = np.full((high, wide, 3), 40, np.uint8)
    at = (wide - pixels.shape[1]) // 2
    whole[: pixels.shape[0], at : at + pixels.shape[1]] = pixels
    whole[pixels.shape[0] + 30 : pixels.shape[0] + 30 + strip.shape[0], 20:-20] = strip
    light = gain * (whole / 255.0) ** 2.2
    return np.asarray(np.round(255 * np.clip(light, 0, 1) ** (1 / 2.2)), np.uint8)


def test_the_strip_undoes_another_exposure(tmp_path: Path) -> None:
    """The same leaf scanned 30 % darker: its lightness by the greys stays, that as scanned not."""
    rows = [measured(write(tmp_path / f"{gain}.tif", with_strip(gain))) for gain in (1.0, 0.7)]
    assert [row["tone_basis"] for row in rows] == ["strip", "strip"]
    assert rows[0]["tone_L"] - rows[1]["tone_L"] > 8
    apart = abs(rows[0]["tone_greys_L"] - rows[1]["tone_greys_L"])
    assert apart < 2 * rows[1]["tone_L_within_u"] and apart < 1.0
    assert rows[1]["greys_off_L"] < -5 and abs(rows[0]["greys_off_L"]) < 1
    assert rows[0]["tone_greys_L_u"] > PRINTED_U_L > rows[0]["tone_L_within_u"]


def test_greys_read_by_an_instrument_make_the_tone_absolute(tmp_path: Path) -> None:
    path = write(tmp_path / "a.tif", with_strip())
    drawn = measured(path)
    greys = "17 32 47 62 77 89 | 0.3 | instrument"
    known = measured(path, greys=greys)
    assert drawn["tone_greys_L"] - known["tone_greys_L"] == pytest.approx(3.0, abs=0.7)
    assert known["tone_greys_L_u"] < 2 < drawn["tone_greys_L_u"]
    assert known["tone_L"] == drawn["tone_L"]
    with pytest.raises(BadParameter, match="six lightnesses"):
        Survey(tmp_path, tmp_path / "out", {"greys": "1 2 3"})


def test_greys_that_are_shaded_are_not_used_and_that_is_said(tmp_path: Path) -> None:
    row = measured(write(tmp_path / "a.tif", with_strip(shade=0.5)))
    assert row["tone_basis"] == "raw" and row["tone_greys_L"] is None
    assert UNLIKE in row["warnings"]


def test_a_raw_tone_is_less_sure_than_one_with_a_profile(tmp_path: Path) -> None:
    from PIL import ImageCms

    pixels, _ = scan(2)
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    for name, more in (("raw.png", {}), ("profile.png", {"icc_profile": profile})):
        Image.fromarray(pixels).save(tmp_path / name, dpi=(DPI, DPI), **more)
    raw, held = measured(tmp_path / "raw.png"), measured(tmp_path / "profile.png")
    assert (raw["tone_basis"], held["tone_basis"]) == ("raw", "profile")
    assert raw["tone_L_u"] > held["tone_L_u"]
    assert raw["tone_L_within_u"] > held["tone_L_within_u"]


# --- the small picture ------------------------------------------------------------------


def opened(text: str) -> np.ndarray:
    data = base64.b64decode(text, validate=True)
    assert len(data) <= MOST_BYTES
    with Image.open(io.BytesIO(data)) as picture:
        assert picture.format == "WEBP"
        return np.asarray(picture.convert("RGB")).astype(int)


def missing_drawn(small: np.ndarray) -> np.ndarray:
    """Where the picture is of the hatching's colour, which no leaf has."""
    return (small[..., 0] > 110) & (small[..., 0] - small[..., 1] > 70)


def test_what_is_missing_is_hatched_where_it_is_missing() -> None:
    pixels, _ = scan(2)
    leaf = find_leaf(pixels, 25.4 / DPI, "whole", [])
    assert leaf is not None
    head, right = int(leaf.corners_px[:, 1].min()), int(leaf.corners_px[:, 0].max())
    chipped = pixels.copy()
    chip = slice(head - 5, head + 60), slice(right - 50, right + 5)
    chipped[chip] = pixels[:8, :8].reshape(-1, 3).mean(0).astype(np.uint8)
    found = find_leaf(chipped, 25.4 / DPI, "whole", [])
    assert found is not None
    loss = find_loss(chipped, found, 25.4 / DPI)
    assert loss is not None and loss.area_px > 1500
    small = opened(small_picture(chipped, found, loss))
    assert max(small.shape) <= LONG_PX
    drawn = missing_drawn(small)
    corner = drawn[: small.shape[0] // 3, small.shape[1] // 2 :]
    assert corner.sum() > 100 and corner.sum() > 0.6 * drawn.sum()
    assert missing_drawn(opened(small_picture(chipped, found, None))).sum() == 0


def test_any_picture_becomes_a_small_one_within_the_bound() -> None:
    noise = np.random.default_rng(1).integers(0, 65535, (2000, 1400, 3), dtype=np.uint16)
    assert max(opened(small_picture(noise, None, None)).shape) == LONG_PX
    assert opened(small_picture(noise[:9, :7], None, None)).shape == (9, 7, 3)


# --- how they are kept ------------------------------------------------------------------


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(collection_run, "TASK", "survey_quick.measure")


@pytest.mark.usefixtures("quick")
def test_pictures_lie_in_the_parts_and_not_in_the_results(tmp_path: Path) -> None:
    folder, out = tmp_path / "in", tmp_path / "out"
    folder.mkdir()
    for number in range(3):
        (folder / f"{number}.tif").write_bytes(b"%d" % number)
    asked = Survey(folder, out)
    table = asked.run(SerialEngine())
    assert "picture" not in table.schema.names and "picture" in PART_SCHEMA.names
    assert table.schema.metadata[b"quirewell.survey.row_version"] == b"%d" % ROW_VERSION
    assert asked.pictures(["1.tif", "2.tif", "gone.tif"]) == {
        "1.tif": "cGljdHVyZSAx", "2.tif": "cGljdHVyZSAy"
    }  # fmt: skip
    (folder / "1.tif").write_bytes(b"77")
    (folder / "twin.tif").write_bytes(b"2")
    asked.run(SerialEngine())
    held = asked.pictures(["1.tif", "twin.tif"])
    assert base64.b64decode(held["1.tif"]) == b"picture 77" and held["twin.tif"] == "cGljdHVyZSAy"


@pytest.mark.usefixtures("quick")
def test_a_picture_survives_the_end_of_the_process(tmp_path: Path) -> None:
    store = RowStore(tmp_path)
    row = dict.fromkeys(("file", "sha256", "error"), "") | {"bytes": 1, "mtime_ns": 1}
    store.add(row | {"file": "a", "picture": "AAAA"})
    assert store._stream is not None
    store._stream.close()  # as kill -9 does
    assert RowStore(tmp_path).pictures(["a"]) == {"a": "AAAA"}


@pytest.mark.usefixtures("quick")
def test_parts_of_an_earlier_version_are_read_and_measured_anew(tmp_path: Path) -> None:
    folder, out = tmp_path / "in", tmp_path / "out"
    folder.mkdir()
    (folder / "1.tif").write_bytes(b"1")
    asked = Survey(folder, out)
    asked.run(SerialEngine())
    part = next((out / "parts").glob("part-*.parquet"))
    new = ("picture", "loss_basis", "tone_basis", "tone_greys_L", "tone_greys_L_u", "greys_off_L")
    old = pq.read_table(part).drop_columns(list(new)).replace_schema_metadata(None)
    at = old.schema.get_field_index("row_version")
    old = old.set_column(at, "row_version", pa.array([1], pa.int64()))
    pq.write_table(old, part)
    table = asked.run(SerialEngine())
    assert table["row_version"].to_pylist() == [ROW_VERSION]
    assert len(list((out / "parts").glob("part-*.parquet"))) == 2
    assert not list((out / "parts").glob("*.damaged"))


def test_every_column_has_its_line_in_the_documentation() -> None:
    text = DOCS.read_text(encoding="utf-8")
    for name in SCHEMA.names:
        told = name[:-2] if name.endswith("_u") and name != "tone_L_within_u" else name
        assert f"`{told}`" in text, told
