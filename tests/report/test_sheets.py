"""The two printable pages: the bench strip at 1:1, and the condition as received."""

from __future__ import annotations

import io
import shutil
import subprocess
from datetime import UTC, datetime
from pathlib import Path

import cv2
import numpy as np
import pikepdf
import pytest

from quirewell.record import nouns
from quirewell.report.condition import best_photograph, condition_sheet
from quirewell.report.strip import board_sheet, strip_sheet
from quirewell.science.imaging.charuco import Board, find_board
from quirewell.science.imaging.strip import NOMINAL_LENGTH_MM, find_strip
from quirewell.studio.studio import Studio
from report_case import add, add_capture, report_studio, scan_bytes, text_of

AT = datetime(2026, 3, 14, 18, 0, tzinfo=UTC)
DPI = 300


def raster(pdf: Path, dpi: int) -> np.ndarray:
    """Page 1 of a PDF as grey pixels."""
    tool = shutil.which("pdftoppm")
    assert tool, "pdftoppm is part of the test set-up (poppler-utils)"
    stem = pdf.with_suffix("")
    subprocess.run([tool, "-r", str(dpi), "-gray", "-singlefile", str(pdf), str(stem)], check=True)
    picture = cv2.imread(str(stem.with_suffix(".pgm")), cv2.IMREAD_GRAYSCALE)
    assert picture is not None
    return picture


def test_printed_strip_is_found_by_measuring_and_is_true_to_scale(tmp_path: Path) -> None:
    """Rastered by an independent program (poppler) at 300 dpi, read by our own finder."""
    (tmp_path / "strip.pdf").write_bytes(strip_sheet())
    page = raster(tmp_path / "strip.pdf", DPI)
    upper = page[: page.shape[0] // 5].copy()
    found = find_strip(upper)
    assert found is not None
    assert found.um_per_px_x == pytest.approx(25400 / DPI, rel=2e-4)
    assert found.um_per_px_y == pytest.approx(25400 / DPI, rel=2e-3)
    assert found.marks == 6


def test_strip_page_is_one_page_the_same_every_time_and_gives_its_length() -> None:
    first = strip_sheet()
    assert first == strip_sheet()
    with pikepdf.open(io.BytesIO(first)) as pdf:
        assert len(pdf.pages) == 1
        assert [round(float(x), 1) for x in pdf.pages[0].MediaBox] == [0, 0, 595.3, 841.9]
    assert NOMINAL_LENGTH_MM == 160.0


def test_printed_board_is_found_by_measuring_and_is_true_to_scale(tmp_path: Path) -> None:
    """Rastered by an independent program (poppler), read by our own finder."""
    (tmp_path / "board.pdf").write_bytes(board_sheet(Board()))
    found = find_board(raster(tmp_path / "board.pdf", DPI), Board())
    assert found is not None
    assert len(found.ids) == 54
    assert found.um_per_px_x == pytest.approx(25400 / DPI, rel=5e-4)
    assert found.um_per_px_y == pytest.approx(25400 / DPI, rel=5e-4)
    with pikepdf.open(tmp_path / "board.pdf") as pdf:
        assert len(pdf.pages) == 1
    with pytest.raises(ValueError, match="does not fit"):
        board_sheet(Board(9, 12, 25.0))


def one_photo(folder: Path, defects: int = 0) -> Studio:
    studio = Studio.create(folder)
    add(studio, "annual", ("item.opened", nouns.Item("Copperbeck Garden Annual", "1936")))
    add_capture(studio, "annual", "phone-1", scan_bytes(3), "", "before", "phone")
    for index in range(defects):
        words = "long words about it, " * 3
        add(studio, "annual", ("defect.noted", nouns.Defect(f"d{index}", "item", "tear", words)))
    return studio


@pytest.mark.parametrize("defects", [0, 1, 5, 9, 30])
def test_condition_of_one_photograph_fits_one_page(tmp_path: Path, defects: int) -> None:
    with one_photo(tmp_path / "s", defects) as studio:
        state = studio.state("annual")
        assert state.gathering is None
        path = tmp_path / "c.pdf"
        path.write_bytes(condition_sheet(state, studio.head(), AT, studio.blobs.path))
    with pikepdf.open(path) as pdf:
        assert len(pdf.pages) == 1
        assert len(pdf.pages[0].get_images()) == 1


def test_condition_says_how_many_defects_more_the_record_holds(tmp_path: Path) -> None:
    with one_photo(tmp_path / "s", 12) as studio:
        path = tmp_path / "c.pdf"
        data = condition_sheet(studio.state("annual"), studio.head(), AT, studio.blobs.path)
        path.write_bytes(data)
    assert "And 3 more in the record." in text_of(path)


def test_condition_takes_the_front_before_treatment(tmp_path: Path) -> None:
    with report_studio(tmp_path / "s", pairs=1) as studio:
        chosen = best_photograph(studio.state("annual"))
        assert chosen is not None and chosen.id == "front-before"


def test_condition_of_an_item_without_a_picture_leaves_the_place_blank(tmp_path: Path) -> None:
    with Studio.create(tmp_path / "s") as studio:
        add(studio, "annual", ("item.opened", nouns.Item("A title")))
        data = condition_sheet(studio.state("annual"), studio.head(), AT, studio.blobs.path)
    assert data.startswith(b"%PDF")
