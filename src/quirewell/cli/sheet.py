"""``quirewell sheet``: sheets printed at 1:1 from staple holes, for the light box and the board."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from quirewell.cli.options import JSON, PlainFirst, sentence
from quirewell.cli.output import fail, paragraphs, print_json
from quirewell.report.rejoin_sheet import light_box_drawing, light_box_sheet, pattern_and_outlines
from quirewell.report.relief_board import Wanted, relief, relief_board_sheet, relief_drawing
from quirewell.report.tiling import BAR_MM, PAPERS, Tiling, lay_tiles
from quirewell.report.typeset import ReportError
from quirewell.science.booklet.holes import Sheet
from quirewell.stages.hole_table import MOST_CHARACTERS, read_holes
from quirewell.studio.durable import write_whole

F = TypeVar("F", bound=Callable[..., Any])
_SIZE = re.compile(r"\s*(\d{1,4}(?:[.,]\d{1,3})?)\s*[x×*]\s*(\d{1,4}(?:[.,]\d{1,3})?)\s*(?:mm)?\s*")
_HOLES = click.argument("holes", type=click.Path(path_type=Path, dir_okay=False),
                        metavar="HOLES.csv")  # fmt: skip
_PAPER = click.option("--paper", default="a4", show_default=True, metavar="NAME",
                      help=f"What is in the printer: {', '.join(PAPERS)}.")  # fmt: skip
_TITLE = click.option("--title", default="", metavar="TEXT",
                      help="What stands on every page (the table's file name).")  # fmt: skip
_WIRE = click.option("--wire-mm", default="0.5", show_default=True, metavar="MM",
                     help="The staple's wire.")  # fmt: skip


def _output(default: str) -> Callable[[F], F]:
    return click.option("-o", "--output", default=default, show_default=True, metavar="FILE",
                        type=click.Path(path_type=Path, dir_okay=False),
                        help="Where the PDF goes.")  # fmt: skip


@click.group(cls=PlainFirst, plain="light-box")
def sheet() -> None:
    """Print sheets at 1:1 from staple holes: for the light box, or a centrefold board.

    \b
    Examples:
      quirewell sheet holes.csv -o sheet.pdf --paper a3
      quirewell sheet board holes.csv -o board.pdf
    """


@sheet.command("light-box")
@_HOLES
@_output("sheet.pdf")
@_PAPER
@_WIRE
@_TITLE
@click.option("--outer-up", is_flag=True,
              help="Sheets are laid with their outer side up (usually the inner).")  # fmt: skip
@JSON
def light_box(
    holes: Path, output: Path, paper: str, wire_mm: str, title: str, outer_up: bool,
    wants_json: bool,
) -> None:  # fmt: skip
    """The holes all sheets share, fold and edges at 1:1, to lay sheets on over a light box.

    \b
    Examples:
      quirewell sheet holes.csv -o sheet.pdf
      quirewell sheet holes.csv --paper tabloid --wire-mm 0.6 --title "Garden Annual, 1936"

    HOLES.csv has the columns wrap, hole, x_mm, y_mm, u_mm, hole_mm, state and, where edges were
    measured, left_mm, right_mm, head_mm, tail_mm (quirewell rejoin tells them). Pages that make
    one sheet are joined at register marks; a bar of 100 mm each way checks the printer.
    """
    try:
        pattern, outlines = pattern_and_outlines(
            _read(holes, output), _millimetres(wire_mm, "--wire-mm")
        )
        drawing = light_box_drawing(pattern, outlines, not outer_up)
        tiling = lay_tiles(drawing.box, paper.lower(), drawing.keep_clear)
        pdf = light_box_sheet(pattern, outlines, title or holes.stem, paper.lower(), not outer_up)
        write_whole(output, pdf)
    except OSError as error:
        fail(f"{error.filename}: {error.strerror}; check the name.", wants_json)
    except (ValueError, ReportError) as error:
        fail(sentence(error), wants_json)
    up = "outer" if outer_up else "inner"
    _say(
        output, tiling, wants_json,
        {
            "laid": f"{up} side up",
            "holes": [
                {"number": one.number, "x_mm": one.x_mm, "y_mm": one.y_mm, "slack_mm": one.slack_mm}
                for one in pattern
            ],
            "edges": [one.name for one in outlines],
        },
        [f"Sheets are laid with the {up} side up, heads away; the first page says how."],
    )  # fmt: skip


@sheet.command("board")
@_HOLES
@_output("board.pdf")
@_PAPER
@_WIRE
@_TITLE
@click.option("--page-mm", default="", metavar="WxH",
              help="A page's width and height (those of the table's edges).")  # fmt: skip
@click.option("--margin-mm", default="3", show_default=True, metavar="MM",
              help="The board is so much smaller on each side.")  # fmt: skip
@click.option("--fold-mm", default="0.5", show_default=True, metavar="MM",
              help="And so much at the fold.")  # fmt: skip
@click.option("--slot-mm", default="8", show_default=True, metavar="MM",
              help="Width of a slot across the fold.")  # fmt: skip
@click.option("--past-mm", default="4", show_default=True, metavar="MM",
              help="A slot reaches so far past the legs.")  # fmt: skip
@click.option("--spread", is_flag=True,
              help="A board over both pages of the open centre.")  # fmt: skip
@JSON
def board(
    holes: Path, output: Path, paper: str, wire_mm: str, title: str, page_mm: str,
    spread: bool, wants_json: bool, **sizes: str,
) -> None:  # fmt: skip
    """A template at 1:1 for a board in the centrefold, cut out round the staples' legs.

    \b
    Examples:
      quirewell sheet board holes.csv -o board.pdf
      quirewell sheet board holes.csv --page-mm 184x260 --margin-mm 5 --spread

    Drawn from the innermost sheet's holes. All defaults are common practice, no source.
    """
    try:
        sheets = _read(holes, output)
        wanted = Wanted(
            _page(page_mm),
            **{name: _millimetres(text, "--" + name.replace("_", "-"))
               for name, text in sizes.items()},
            spread=spread,
        )  # fmt: skip
        made = relief(sheets, wanted)
        drawing = relief_drawing(made, wanted)
        tiling = lay_tiles(drawing.box, paper.lower(), drawing.keep_clear)
        pdf = relief_board_sheet(
            sheets, title or holes.stem, paper.lower(), wanted, _millimetres(wire_mm, "--wire-mm")
        )
        write_whole(output, pdf)
    except OSError as error:
        fail(f"{error.filename}: {error.strerror}; check the name.", wants_json)
    except (ValueError, ReportError) as error:
        fail(sentence(error), wants_json)
    _say(
        output, tiling, wants_json,
        {
            "board_mm": [made.board.width, made.board.height],
            "slots": [
                {
                    "staples": list(slot.staples),
                    "x_mm": [slot.box.x0, slot.box.x1],
                    "y_mm": [slot.box.y0, slot.box.y1],
                }
                for slot in made.slots
            ],
            "notes": list(made.notes),
        },
        [f"The board is {made.board.width:.1f} x {made.board.height:.1f} mm.", *made.notes],
    )  # fmt: skip


def _read(path: Path, output: Path) -> list[Sheet]:
    if path.resolve() == output.resolve():
        raise ValueError(f"{output} is the table itself; name another file for the PDF")
    if path.stat().st_size > 4 * MOST_CHARACTERS:
        raise ValueError(f"{path.name} is too large for a table of holes")
    try:
        return read_holes(path.read_text(encoding="utf-8"))
    except UnicodeDecodeError as error:
        raise ValueError(f"{path.name} is no text in UTF-8; save the table as CSV") from error


def _millimetres(text: str, name: str) -> float:
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise ValueError(f"{name} is {text[:40]!r}, which is no number; write millimetres as 0.5")
    return value


def _page(text: str) -> tuple[float, float] | None:
    if not text.strip():
        return None
    match = _SIZE.fullmatch(text)
    if match is None:
        raise ValueError(
            f"--page-mm is {text[:40]!r}; write a page's width and height in mm, as 184x260"
        )
    return float(match[1].replace(",", ".")), float(match[2].replace(",", "."))


def _say(
    output: Path, tiling: Tiling, wants_json: bool, more: dict[str, Any], says: list[str]
) -> None:
    count = len(tiling.tiles)
    if wants_json:
        print_json(
            {
                "pdf": str(output),
                "paper": tiling.paper,
                "landscape": tiling.landscape,
                "tiles": [tile.name for tile in tiling.tiles],
                "marks": [
                    {"number": one.number, "x_mm": one.x, "y_mm": one.y, "tiles": list(one.tiles)}
                    for one in tiling.marks
                ],
                "check_bar_mm": BAR_MM,
                **more,
            }
        )
        return
    lines = [f"{output}: how to use it, then {count} page{'s' if count > 1 else ''} of "
             f"{tiling.paper}{', lengthwise' if tiling.landscape else ''}."]  # fmt: skip
    lines += paragraphs("What to know", [
        *says,
        f"Print at 100 per cent, without fit to page; both bars on every page are {BAR_MM:g} mm, "
        "or the page is not used.",
    ])  # fmt: skip
    click.echo("\n".join(lines))
