"""The light-box sheet measured back from its own vector geometry, page by page and joined."""

from __future__ import annotations

import io
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

import numpy as np
import pikepdf
import pytest

from printed_lines import PrintedPage, Stroke, printed_pages
from quirewell.report.rejoin_sheet import (
    Outline,
    PatternHole,
    light_box_drawing,
    light_box_sheet,
    pattern_and_outlines,
)
from quirewell.report.tiling import PAPERS, Tiling, lay_tiles
from quirewell.science.booklet.align import align
from quirewell.science.booklet.holes import Edges, HoleAt, Sheet
from report_case import text_of

# What the sheet promises [mm], and what is asked of the file: a printer needs the rest.
PROMISED_MM = 0.2
FILE_MM = 0.02
LEGS = (60.0, 73.0, 187.0, 200.0)
PATTERN = tuple(
    PatternHole(n + 1, x, y, 0.25)
    for n, (x, y) in enumerate(zip((0.3, 0.1, -0.2, 0.4), LEGS, strict=True))
)
HAIR, HOLE, EDGE, MARK, BAR, SLACK, INNER = 0.1, 0.45, 0.3, 0.15, 0.25, 0.12, 0.3
INK, COPPER = (38, 35, 31), (143, 74, 31)


def edges_of(name: str, width: float, height: float) -> Outline:
    return Outline(
        name,
        ((-width, 0.0), (-width, height)), ((width, 0.0), (width, height)),
        ((-width, 0.0), (width, 0.0)), ((-width, height), (width, height)),
    )  # fmt: skip


SPREADS = {
    "368x260": (edges_of("c", 184.0, 260.0), edges_of("w14", 182.6, 260.0)),
    "400x300": (edges_of("c", 200.0, 300.0), edges_of("w10", 198.8, 300.0)),
    "none": (),
}


@lru_cache
def printed(spread: str, paper: str, inner_up: bool = True) -> tuple[list[PrintedPage], Tiling]:
    outlines = SPREADS[spread]
    drawing = light_box_drawing(PATTERN, outlines, inner_up)
    pdf = light_box_sheet(PATTERN, outlines, "Copperbeck Garden Annual, 1936", paper, inner_up)
    return printed_pages(pdf), lay_tiles(drawing.box, paper, drawing.keep_clear)


def crosses(page: PrintedPage, width: float) -> list[tuple[float, float]]:
    """Where a level and an upright line of a width halve each other."""
    return [
        (upright.middle[0], level.middle[1])
        for level in page.lines(width, across=True)
        for upright in page.lines(width, across=False)
        if level.rgb == upright.rgb == INK
        and np.hypot(*np.subtract(level.middle, upright.middle)) < 0.05
    ]


def offsets(pages: list[PrintedPage], tiling: Tiling) -> dict[str, np.ndarray]:
    """Where each page comes to lie on the first when register marks are laid on each other."""
    seen = {
        tile.name: crosses(page, MARK) for tile, page in zip(tiling.tiles, pages[1:], strict=True)
    }
    first = tiling.tiles[0]
    found = {first.name: np.zeros(2)}
    windows = {tile.name: tile.window for tile in tiling.tiles}

    def at(name: str, x: float, y: float) -> np.ndarray:
        """The printed mark nearest to where it should be on that page."""
        near = np.array([x - windows[name].x0 + 7.0, y - windows[name].y0 + 7.0])
        marks = np.array(seen[name])
        return np.asarray(marks[np.argmin(np.linalg.norm(marks - near, axis=1))])

    while len(found) < len(tiling.tiles):
        for mark in tiling.marks:
            one, other = mark.tiles
            if one in found and other not in found:
                found[other] = found[one] + at(one, mark.x, mark.y) - at(other, mark.x, mark.y)
    for mark in tiling.marks:  # Every mark of every strip agrees, not only those used.
        one, other = mark.tiles
        gap = found[one] + at(one, mark.x, mark.y) - found[other] - at(other, mark.x, mark.y)
        assert np.linalg.norm(gap) < FILE_MM
    return found


def joined(pages: list[PrintedPage], tiling: Tiling) -> list[tuple[PrintedPage, np.ndarray]]:
    moved = offsets(pages, tiling)
    return [(page, moved[tile.name]) for tile, page in zip(tiling.tiles, pages[1:], strict=True)]


def merged(points: list[np.ndarray]) -> np.ndarray:
    """Points seen on several pages counted once, where they fall together."""
    out: list[np.ndarray] = []
    for point in points:
        if not any(np.linalg.norm(point - one) < 0.5 for one in out):
            out.append(point)
        else:
            near = min(float(np.linalg.norm(point - one)) for one in out)
            assert near < FILE_MM, "the same hole on two pages falls apart"
    return np.array(sorted(out, key=lambda one: one[1]))


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("spread", SPREADS)
def test_joined_pages_give_holes_and_edges_at_their_places(spread: str, paper: str) -> None:
    pages, tiling = printed(spread, paper)
    assert len(pages) == 1 + len(tiling.tiles)
    for page in pages[1:]:
        assert (page.width, page.height) == pytest.approx(tiling.page_mm, abs=0.01)
    together = joined(pages, tiling)
    holes = merged([np.add(at, by) for page, by in together for at in crosses(page, HAIR)])
    expected = np.array([(-one.x_mm, one.y_mm) for one in PATTERN])
    assert len(holes) == len(expected)
    origin = holes[0] - expected[0]
    worst = np.linalg.norm(holes - origin - expected, axis=1).max()
    assert worst < FILE_MM < PROMISED_MM
    if not SPREADS[spread]:
        assert len(pages) == 2
        assert not [one for page in pages[1:] for one in page.lines(EDGE)]
        return
    width, height = (float(one) for one in spread.split("x"))
    level, upright = [], []
    for page, by in together:
        level += [one.middle[1] + by[1] - origin[1] for one in page.lines(EDGE, across=True)]
        upright += [
            one.middle[0] + by[0] - origin[0]
            for one in page.lines(EDGE, across=False)
            if one.rgb == INK
        ]
    off = [min(abs(y), abs(y - height)) for y in level]
    off += [abs(abs(x) - width / 2) for x in upright]
    assert max(off) < FILE_MM
    assert {round(y) for y in level} == {0, round(height)}
    assert {round(x) for x in upright} == {-round(width / 2), round(width / 2)}


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("spread", SPREADS)
def test_every_page_has_both_check_bars_clear_of_what_is_laid_on(spread: str, paper: str) -> None:
    pages, _ = printed(spread, paper)
    for page in pages[1:]:
        for across in (True, False):
            bars = [one for one in page.lines(BAR, across) if one.rgb == INK and max(one.size) > 50]
            assert len(bars) == 1
            assert max(bars[0].size) == pytest.approx(100.0, abs=FILE_MM)
            ticks = [
                one.middle[0 if across else 1]
                for one in page.lines(BAR, not across)
                if one.rgb == INK and max(one.size) < 5 and _touches(one, bars[0])
            ]
            steps = np.diff(sorted(ticks))
            assert len(ticks) == 11 and steps == pytest.approx(10.0, abs=FILE_MM)
            drawn = [*page.lines(HAIR), *page.lines(EDGE), *page.rings(MARK)]
            assert min(_gap(bars[0], one) for one in drawn) >= 2.99
            for one in page.strokes:
                assert one.x0 >= 6.9 and one.x1 <= page.width - 6.9
                assert one.y0 >= 6.9 and one.y1 <= page.height - 6.9


def _touches(one: Stroke, bar: Stroke) -> bool:
    return _gap(one, bar) < 0.01


def _gap(one: Stroke, other: Stroke) -> float:
    across = max(one.x0 - other.x1, other.x0 - one.x1, 0.0)
    down = max(one.y0 - other.y1, other.y0 - one.y1, 0.0)
    return float(np.hypot(across, down))


def test_rings_of_the_slack_are_as_large_as_it_is_and_on_their_holes() -> None:
    pages, _ = printed("none", "a4")
    rings = pages[1].rings(SLACK)
    assert len(rings) == 4
    places = np.array(crosses(pages[1], HAIR))
    for ring in rings:
        assert ring.size == pytest.approx((0.5, 0.5), abs=0.005)
        assert np.linalg.norm(places - ring.middle, axis=1).min() < 0.005
    for none in (None, 0.0, 0.05):
        bare = tuple(PatternHole(one.number, one.x_mm, one.y_mm, none) for one in PATTERN)
        assert not printed_pages(light_box_sheet(bare, (), "Annual"))[1].rings(SLACK)


def test_the_inner_side_up_is_the_mirror_of_the_outer_and_both_say_so(tmp_path: Path) -> None:
    inner, _ = printed("none", "a4", True)
    outer, _ = printed("none", "a4", False)
    a, b = (np.array(sorted(crosses(one[1], HAIR), key=lambda at: at[1])) for one in (inner, outer))
    assert np.diff(a[:, 0]) == pytest.approx(-np.diff(b[:, 0]), abs=FILE_MM)
    assert np.abs(np.diff(a[:, 0])).max() > 0.1
    for up, down in (("inner", "outer"), ("outer", "inner")):
        path = tmp_path / f"{up}.pdf"
        path.write_bytes(light_box_sheet(PATTERN, SPREADS["368x260"], "A", "a4", up == "inner"))
        said = text_of(path)
        assert f"Laid with the {up} side up" in said and f"{down} side down" in said
        assert said.count(f"Laid with the {up} side up, head away from you.") == 2


def test_where_the_innermost_stands_back_is_drawn_and_said(tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    path.write_bytes(light_box_sheet(PATTERN, SPREADS["368x260"], "A", "a3"))
    assert text_of(path).count("Wrap 14 stands 1.4 mm back") == 2
    (page,) = printed_pages(path.read_bytes())[1:2]
    dashed = {round(one.middle[0], 1) for one in page.lines(INNER, False) if one.rgb == COPPER}
    whole = {round(one.middle[0], 1) for one in page.lines(EDGE, False) if one.rgb == INK}
    assert sorted(dashed)[0] - sorted(whole)[0] == pytest.approx(1.4, abs=FILE_MM)
    near = (SPREADS["368x260"][0], edges_of("w01", 183.9, 260.0))
    page = printed_pages(light_box_sheet(PATTERN, near, "A", "a3"))[1]
    assert not [one for one in page.lines(INNER, False) if one.rgb == COPPER]


def sheets(count: int = 6) -> list[Sheet]:
    """Sheets turned and shifted by known amounts; their holes 1.1 mm, one torn wide."""
    made = []
    for i in range(count):
        turn, dx, dy = 0.0015 * (-1) ** i * (i > 0), 0.1 * i, -0.05 * i
        holes = []
        for one in PATTERN:
            x, y = one.x_mm - dx, one.y_mm - 130 - dy
            x, y = x * np.cos(turn) + y * np.sin(turn), -x * np.sin(turn) + y * np.cos(turn)
            torn = i == 2 and one.number == 3
            holes.append(HoleAt(one.number, float(x), float(y) + 130, 0.05,
                                3.0 if torn else 1.1, "torn" if torn else "clean"))  # fmt: skip
        half = 184.0 - 0.2 * i
        made.append(Sheet("c" if i == 0 else f"w{i:02d}", tuple(holes),
                          Edges(-half, half, 0.0, 260.0)))  # fmt: skip
    return made


def places(pattern: Sequence[PatternHole]) -> np.ndarray:
    return np.array([(one.x_mm, one.y_mm) for one in pattern])


def test_pattern_slack_and_edges_come_from_the_matching() -> None:
    held = sheets()
    pattern, outlines = pattern_and_outlines(held, 0.5)
    laid = align(held, 0.5)
    assert places(pattern) == pytest.approx(laid.pattern)
    assert [one.slack_mm for one in pattern] == pytest.approx([0.3] * 4)
    assert [one.name for one in outlines] == ["c", "w05"]
    assert outlines[0].right == ((184.0, 0.0), (184.0, 260.0))
    inner = laid.place(laid.sheets[-1], np.array([[183.0, 0.0], [183.0, 260.0]]))
    assert outlines[1].right is not None
    assert np.array(outlines[1].right) == pytest.approx(inner)


def test_one_sheet_alone_gives_its_own_holes() -> None:
    (only,) = sheets(1)
    pattern, outlines = pattern_and_outlines([only])
    assert places(pattern) == pytest.approx(places(PATTERN))
    assert len(outlines) == 1
    with pytest.raises(ValueError, match="no sheet has a hole"):
        pattern_and_outlines([Sheet("c", (HoleAt(1, None, None, state="missing"),))])


def test_edges_known_in_part_are_drawn_in_part() -> None:
    holes = tuple(HoleAt(one.number, one.x_mm, one.y_mm) for one in PATTERN)
    pattern, outlines = pattern_and_outlines([Sheet("w01", holes, Edges(head_mm=0.0))])
    (page,) = printed_pages(light_box_sheet(pattern, outlines, "A"))[1:]
    assert len(page.lines(EDGE, across=True)) == 1 and not page.lines(EDGE, across=False)


def test_the_file_is_the_same_every_time() -> None:
    made = [light_box_sheet(PATTERN, SPREADS["400x300"], "Annual", "letter") for _ in range(2)]
    assert made[0] == made[1]


TITLES = (
    "", "A" * 4000, "two\nlines\tand a tab", "\u4e2d\u6587" * 300, "\u0634\u0631\u0642 " * 200,
    '#panic("x") $x^2$ *bold* _it_ <b> \\ `code` @key', "\u202e\x00\x07 \U0001f4d6",
    "word " * 500, "Ж" * 90,
)  # fmt: skip


@pytest.mark.parametrize("title", TITLES, ids=range(len(TITLES)))
def test_no_title_moves_a_line_or_adds_a_page(title: str) -> None:
    plain, tiling = printed("368x260", "letter")
    pages = printed_pages(light_box_sheet(PATTERN, SPREADS["368x260"], title, "letter"))
    assert len(pages) == 1 + len(tiling.tiles)
    for page, other in zip(pages[1:], plain[1:], strict=True):
        assert page.strokes == other.strokes


@pytest.mark.parametrize("paper", PAPERS)
def test_eighteen_holes_and_many_pages_leave_the_first_page_one(paper: str) -> None:
    many = tuple(PatternHole(n + 1, 0.1 * (n % 3), 12.0 + 33 * n, None) for n in range(18))
    big = (edges_of("c", 300.0, 590.0), edges_of("w24", 297.0, 590.0))
    drawing = light_box_drawing(many, big)
    tiling = lay_tiles(drawing.box, paper, drawing.keep_clear)
    pages = printed_pages(light_box_sheet(many, big, "Garden Annual " * 40, paper))
    assert len(pages) == 1 + len(tiling.tiles)
    for page in pages[1:]:
        for ring in page.rings(MARK):
            if ring.rgb == INK:
                assert min((_gap(ring, one) for one in page.lines(HOLE)), default=9.0) > 2


def test_it_is_an_archive_file_with_words_for_its_pictures() -> None:
    pdf = light_box_sheet(PATTERN, SPREADS["368x260"], "Copperbeck Garden Annual, 1936")
    with pikepdf.open(io.BytesIO(pdf)) as document:
        said = document.Root.Metadata.read_bytes().decode()
        assert "pdfaid" in said and "pdfuaid" in said
        alts = [
            str(one.Alt)
            for one in document.objects
            if isinstance(one, pikepdf.Dictionary) and "/Alt" in one
        ]
    assert sum("hole 4 200.0 mm from the head" in alt for alt in alts) == 2


def test_what_cannot_be_drawn_is_said_in_a_sentence() -> None:
    with pytest.raises(ValueError, match="there is no hole to draw"):
        light_box_sheet((), (), "A")
    with pytest.raises(ValueError, match="'foolscap' is no paper known here; take a4"):
        light_box_sheet(PATTERN, (), "A", "foolscap")
    for hole, says in (
        (PatternHole(9, 0.0, 270.0), "hole 9 lies 10.0 mm below the tail edge of the cover"),
        (PatternHole(9, 0.0, -4.0), "hole 9 lies 4.0 mm above the head edge of the cover"),
        (PatternHole(9, 190.0, 90.0), "hole 9 lies 6.0 mm right of the right reading edge"),
        (PatternHole(9, -190.0, 90.0), "hole 9 lies 6.0 mm left of the left reading edge"),
    ):
        with pytest.raises(ValueError, match=says):
            light_box_sheet((*PATTERN, hole), SPREADS["368x260"], "A")
