"""The centrefold board measured back from its own vector geometry."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from printed_lines import PrintedPage, printed_pages
from quirewell.report.relief_board import Wanted, relief, relief_board_sheet, relief_drawing
from quirewell.report.tiling import PAPERS, lay_tiles
from quirewell.science.booklet.holes import Edges, HoleAt, Sheet
from report_case import text_of

CUT, HAIR = 0.3, 0.1
FILE_MM = 0.02
EDGES = Edges(-183.0, 182.0, 0.0, 260.0)


def sheet(name: str, *places: tuple[float, float], edges: Edges | None = EDGES) -> Sheet:
    holes = tuple(HoleAt(n + 1, x, y, 0.05, 1.0) for n, (x, y) in enumerate(places))
    return Sheet(name, holes, edges)


OUTER = sheet("c", (0.0, 58.0), (0.0, 71.0), (0.0, 185.0), (0.0, 198.0))
INNER = sheet("w10", (0.3, 60.0), (0.2, 73.0), (-0.1, 187.0), (-0.4, 200.0))


def corners(page: PrintedPage) -> tuple[set[float], set[float]]:
    """Where cut lines stand: x of upright ones, y of level ones."""
    return (
        {round(one.middle[0], 2) for one in page.lines(CUT, across=False)},
        {round(one.middle[1], 2) for one in page.lines(CUT, across=True)},
    )


def hole_middle(page: PrintedPage) -> list[tuple[float, float]]:
    level = sorted(page.lines(HAIR, across=True), key=lambda one: one.middle[1])
    upright = sorted(page.lines(HAIR, across=False), key=lambda one: one.middle[1])
    return [(b.middle[0], a.middle[1]) for a, b in zip(level, upright, strict=True)]


@pytest.mark.parametrize("paper", ["a4", "a3", "tabloid"])
def test_cut_lines_stand_where_the_innermost_sheets_holes_put_them(paper: str) -> None:
    pages = printed_pages(relief_board_sheet([OUTER, INNER], "Annual", paper))
    assert len(pages) == 2
    holes = hole_middle(pages[1])
    assert len(holes) == 4
    fold, head = holes[0][0] - 0.3, holes[0][1] - 60.0
    assert [x - fold for x, _ in holes] == pytest.approx([0.3, 0.2, -0.1, -0.4], abs=FILE_MM)
    xs, ys = corners(pages[1])
    # The fold's gap, slots half of 8 mm past the hole farthest from the fold, 182 less 3.
    assert sorted(x - fold for x in xs) == pytest.approx([0.5, 4.3, 4.4, 179.0], abs=FILE_MM)
    # 260 less 3 at either end; legs at 60..73 and 187..200 with 4 mm past them.
    assert sorted(y - head for y in ys) == pytest.approx(
        [3.0, 56.0, 77.0, 183.0, 204.0, 257.0], abs=FILE_MM
    )


def test_a_spread_board_lies_as_the_open_centre_does_mirrored(tmp_path: Path) -> None:
    wanted = Wanted(spread=True, margin_mm=5.0, slot_mm=10.0, past_mm=6.0)
    path = tmp_path / "board.pdf"
    path.write_bytes(relief_board_sheet([OUTER, INNER], "Annual", "a3", wanted))
    pages = printed_pages(path.read_bytes())
    assert len(pages) == 2
    holes = hole_middle(pages[1])
    fold, head = holes[0][0] + 0.3, holes[0][1] - 60.0
    xs, ys = corners(pages[1])
    assert sorted(x - fold for x in xs) == pytest.approx(
        [-177.0, -5.3, -4.9, 4.8, 5.4, 178.0], abs=FILE_MM
    )
    assert sorted(y - head for y in ys) == pytest.approx(
        [5.0, 54.0, 79.0, 181.0, 206.0, 255.0], abs=FILE_MM
    )
    assert "the front half on the left" in text_of(path)


@pytest.mark.parametrize("paper", PAPERS)
def test_every_page_has_both_bars_at_a_hundred_millimetres(paper: str) -> None:
    wanted = Wanted(spread=True)
    drawing = relief_drawing(relief([INNER], wanted), wanted)
    tiling = lay_tiles(drawing.box, paper, drawing.keep_clear)
    pages = printed_pages(relief_board_sheet([INNER], "Annual", paper, wanted))
    assert len(pages) == 1 + len(tiling.tiles)
    for page in pages[1:]:
        for across in (True, False):
            long = [max(one.size) for one in page.lines(0.25, across) if one.rgb == (38, 35, 31)]
            assert max(long) == pytest.approx(100.0, abs=FILE_MM)


def test_a_hole_gone_inside_is_taken_from_the_next_sheet_and_said() -> None:
    gone = replace(INNER, holes=(*INNER.holes[:3], HoleAt(4, None, None, state="missing")))
    made = relief([OUTER, gone])
    assert made.slots[1].box.y1 == pytest.approx(198.0 + 4.0)
    assert made.notes == ("Hole 4 was taken from the cover: it is missing in wrap 10.",)


def test_one_leg_alone_gets_a_staples_length_to_both_sides() -> None:
    made = relief([replace(INNER, holes=INNER.holes[:3])])
    slot = made.slots[1].box
    assert (slot.y0, slot.y1) == pytest.approx((187 - 13 - 4, 187 + 13 + 4))
    assert "only hole 3 is known" in made.notes[0]
    with pytest.raises(ValueError, match="of staple 1 only hole 1 is known"):
        relief([replace(INNER, holes=INNER.holes[:1])])


def test_slots_that_meet_are_one() -> None:
    close = sheet("w01", (0.0, 60.0), (0.0, 73.0), (0.0, 80.0), (0.0, 93.0))
    (slot,) = relief([close]).slots
    assert slot.staples == (1, 2)
    assert (slot.box.y0, slot.box.y1) == (56.0, 97.0)


def test_a_page_size_may_be_asked_where_no_edges_are_known() -> None:
    bare = replace(INNER, edges=None)
    with pytest.raises(ValueError, match="does not say how large a page is"):
        relief([bare])
    made = relief([bare], Wanted(page_mm=(168.0, 257.0), margin_mm=0.0, fold_mm=0.0))
    assert (made.board.width, made.board.height) == (168.0, 257.0)


def test_what_cannot_be_cut_is_said_in_a_sentence() -> None:
    for wanted, says in (
        ({"margin_mm": 90.0}, "the margin lies between 0 and 60 mm, got 90"),
        ({"slot_mm": 1.0}, "the width of a slot lies between 2 and 60 mm, got 1"),
        ({"slot_mm": float("nan")}, "the width of a slot lies between"),
        ({"page_mm": (1.0, 260.0)}, "a page is 40 to 1000 mm wide and high, got 1 x 260 mm"),
    ):
        with pytest.raises(ValueError, match=says):
            Wanted(**wanted)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match=r"the slot of staple 2 \(183.0 to 204.0 mm"):
        relief([INNER], Wanted(page_mm=(184.0, 200.0)))
    with pytest.raises(ValueError, match="no sheet has a hole"):
        relief([Sheet("c", ())])
    with pytest.raises(ValueError, match=r"wire is 0\.1 to 2 mm thick, got 9"):
        relief_board_sheet([INNER], "Annual", wire_mm=9.0)


def test_blades_and_the_object_stand_before_the_work_and_defaults_are_named(tmp_path: Path) -> None:
    path = tmp_path / "board.pdf"
    path.write_bytes(relief_board_sheet([INNER], "Annual", wire_mm=0.6))
    said = text_of(path)
    assert said.index("A blade cuts fingers") < said.index("Cutting the board")
    assert said.index("Try the board before any weight") < said.index("Cutting the board")
    assert "at least one wire, 0.6 mm" in said
    assert "common practice, no source" in said
    assert path.read_bytes() == relief_board_sheet([INNER], "Annual", wire_mm=0.6)
