"""Tiles, register marks and check bars, as plain arithmetic."""

from __future__ import annotations

import io
import math

import pikepdf
import pytest
import typst

from quirewell.report.tiling import (
    MARGIN_MM,
    MARK_ARM_MM,
    OVERLAP_MM,
    PAPERS,
    Box,
    bar_place,
    clip,
    lay_tiles,
)

SIZES = [(10, 10), (190, 250), (368, 266), (400, 300), (197, 269), (820, 620), (60, 900)]


@pytest.mark.parametrize(
    ("paper", "named"),
    [("a4", "a4"), ("a3", "a3"), ("letter", "us-letter"), ("tabloid", "us-tabloid")],
)
def test_paper_sizes_are_those_the_typesetter_knows_by_name(paper: str, named: str) -> None:
    made = typst.compile(f'#set page(paper: "{named}")\n.'.encode())
    assert isinstance(made, bytes)
    with pikepdf.open(io.BytesIO(made)) as pdf:
        box = [float(one) * 25.4 / 72 for one in pdf.pages[0].MediaBox]
    assert PAPERS[paper] == pytest.approx(box[2:], abs=0.01)


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("size", SIZES)
def test_tiles_overlap_and_cover_everything(paper: str, size: tuple[float, float]) -> None:
    drawing = Box(-size[0] / 2, 3.0, size[0] / 2, 3.0 + size[1])
    tiling = lay_tiles(drawing, paper)
    windows = [tile.window for tile in tiling.tiles]
    assert len(windows) == tiling.rows * tiling.columns
    for i in range(41):
        for j in range(41):
            x = drawing.x0 + drawing.width * i / 40
            y = drawing.y0 + drawing.height * j / 40
            assert any(box.holds(x, y, -1e-9) for box in windows), (x, y)
    for one in tiling.tiles:
        assert one.window.width + 2 * MARGIN_MM == pytest.approx(tiling.page_mm[0])
        for other in tiling.tiles:
            if other.row == one.row and other.column == one.column + 1:
                assert one.window.x1 - other.window.x0 == pytest.approx(OVERLAP_MM)
            if other.column == one.column and other.row == one.row + 1:
                assert one.window.y1 - other.window.y0 == pytest.approx(OVERLAP_MM)


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("size", SIZES)
def test_no_other_way_round_takes_fewer_pages(paper: str, size: tuple[float, float]) -> None:
    """Pages are added until they reach; the other way round must not need fewer."""
    tiling = lay_tiles(Box(0, 0, *size), paper)

    def needed(page: tuple[float, float], window: Box) -> int:
        lost = page[0] - window.width, page[1] - window.height
        counts = []
        for length, whole, off in zip(size, page, lost, strict=True):
            count, reach = 1, whole - off
            while reach < length - 1e-6:
                count, reach = count + 1, reach + whole - off - OVERLAP_MM
            counts.append(count)
        return math.prod(counts)

    window = tiling.tiles[0].window
    assert len(tiling.tiles) == needed(tiling.page_mm, window)
    turned = (tiling.page_mm[1], tiling.page_mm[0])
    lost = tiling.page_mm[0] - window.width, tiling.page_mm[1] - window.height
    other = Box(0, 0, turned[0] - lost[0], turned[1] - lost[1])
    assert len(tiling.tiles) <= needed(turned, other)


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("size", SIZES)
def test_every_strip_has_two_marks_far_apart_whole_on_both_pages_only(
    paper: str, size: tuple[float, float]
) -> None:
    holes = [Box(-1, y, 1, y).grown(6) for y in (60, 73, 187, 200)]
    tiling = lay_tiles(Box(-size[0] / 2, 0, size[0] / 2, size[1]), paper, holes)
    by_name = {tile.name: tile.window for tile in tiling.tiles}
    for tile in tiling.tiles:
        for _, other, numbers in tiling.joins(tile):
            assert len(numbers) == 2
            places = [(m.x, m.y) for m in tiling.marks if m.number in numbers]
            assert math.dist(*places) > 50
            for x, y in places:
                assert by_name[tile.name].holds(x, y, MARK_ARM_MM)
                assert by_name[other].holds(x, y, MARK_ARM_MM)
                assert min(Box(x, y, x, y).grown(MARK_ARM_MM).gap(hole) for hole in holes) > 2
    for mark in tiling.marks:
        holding = {name for name, box in by_name.items() if box.holds(mark.x, mark.y)}
        assert holding == set(mark.tiles)
    pairs = tiling.rows * (tiling.columns - 1) + tiling.columns * (tiling.rows - 1)
    assert len(tiling.marks) == 2 * pairs


def test_the_upright_bar_stands_clear_and_inside() -> None:
    window = Box(-98, 0, 98, 268)
    taken = [Box(-2, 0, 2, 268), Box(-98, 0, 98, 3), Box(-98, 262, 98, 268)]
    x, y = bar_place(window, taken)
    bar = Box(x, y, x + 4, y + 100)
    assert window.holds(bar.x0, bar.y0) and window.holds(bar.x1, bar.y1)
    assert min(bar.gap(one) for one in taken) >= 15


def test_lines_are_cut_to_a_window() -> None:
    window = Box(0, 0, 10, 10)
    assert clip(-5, 5, 15, 5, window) == pytest.approx((0, 5, 10, 5))
    assert clip(0, -10, 20, 10, window) == pytest.approx((10, 0, 10, 0)) or (
        clip(0, -10, 20, 10, window) is None
    )
    assert clip(-5, 5, 5, 15, window) is None
    assert clip(2, 3, 4, 5, window) == pytest.approx((2, 3, 4, 5))
    assert clip(5, 20, 5, -20, window) == pytest.approx((5, 10, 5, 0))
    assert clip(12, 0, 12, 10, window) is None


def test_what_cannot_be_tiled_is_said_in_a_sentence() -> None:
    with pytest.raises(ValueError, match="'b5' is no paper known here; take a4, a3, letter or tab"):
        lay_tiles(Box(0, 0, 10, 10), "b5")
    with pytest.raises(ValueError, match="would take 88 pages of a4, at most 24 are printed"):
        lay_tiles(Box(0, 0, 2000, 2000), "a4")
