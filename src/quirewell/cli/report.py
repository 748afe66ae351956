"""``quirewell report``, ``recheck``, ``condition``, ``strip``: what leaves the house on paper."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

import click

from quirewell.cli.options import JSON
from quirewell.record.nouns import ItemState
from quirewell.report.condition import condition_sheet
from quirewell.report.forms import FORMS, words_wanted, write_form
from quirewell.report.languages import ENGLISH, NoLanguage, as_file, read_words
from quirewell.report.manifest import NoManifest
from quirewell.report.model import Untraceable
from quirewell.report.reader import UNITS, Reader
from quirewell.report.recheck import as_json, lines
from quirewell.report.recheck import recheck as run_recheck
from quirewell.report.strip import CHECK_BAR_MM, board_sheet, strip_sheet
from quirewell.report.treatment import Written, head_of
from quirewell.report.typeset import ReportError
from quirewell.science.imaging.charuco import Board, read_board
from quirewell.science.imaging.strip import NOMINAL_LENGTH_MM
from quirewell.studio.durable import write_whole
from quirewell.studio.faults import StudioError
from quirewell.studio.studio import Studio

F = TypeVar("F", bound=Callable[..., Any])
STUDIO = click.option(
    "--studio", "folder", required=True, metavar="DIR",
    type=click.Path(path_type=Path, file_okay=False),
    help="The studio's folder, as made by `quirewell demo` or `quirewell intake`.",
)  # fmt: skip


def _output(default: str) -> Callable[[F], F]:
    return click.option(
        "-o", "--output", default=default, show_default=True, metavar="FILE",
        type=click.Path(path_type=Path, dir_okay=False), help="Where the PDF goes.",
    )  # fmt: skip


@contextmanager
def opened(folder: Path) -> Iterator[Studio]:
    """A studio to read; its faults end the verb with their sentence."""
    try:
        with Studio.open(folder) as studio:
            yield studio
    except (StudioError, ReportError, Untraceable, NoManifest, NoLanguage) as error:
        raise click.ClickException(str(error)) from error
    except OSError as error:
        raise click.ClickException(f"{error.filename}: {error.strerror}") from error


def item_of(studio: Studio, words: str) -> ItemState:
    """The item that its id or its title names."""
    return studio.state(studio.find(words) or words)


def _tell(says: str) -> None:
    click.echo(says, err=True)


@click.command()
@click.argument("item")
@STUDIO
@_output("report.pdf")
@click.option("--by", default="bench", show_default=True, help="Who issues it, for the journal.")
@click.option(
    "--form", type=click.Choice(tuple(FORMS)), default="full", show_default=True,
    help="The full record, two pages for the owner, or what was done, for a buyer or a service.",
)  # fmt: skip
@click.option(
    "--units", type=click.Choice(UNITS), default="metric", show_default=True,
    help="Lengths in mm and warmth in C, or in inches and F; the record stays as measured.",
)  # fmt: skip
@click.option(
    "--words", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE",
    help="Another language: a TOML file of English text = text (see --words-out).",
)  # fmt: skip
@click.option(
    "--words-out", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE",
    help="Write no report but the texts it has, as a file of words to be filled.",
)  # fmt: skip
@JSON
def report(
    item: str, folder: Path, output: Path, by: str, form: str, units: str, words: Path | None,
    words_out: Path | None, wants_json: bool,
) -> None:  # fmt: skip
    """Write the treatment report of ITEM (its id or its title) as PDF.

    A manifest of every number shown goes beside it, as FILE with the ending .json. Each number
    names the finding or reading it came from; one that cannot stops the report. The report is
    recorded in the journal as issued.

    \b
    Examples:
      quirewell report annual --studio larkmoor
      quirewell report "Copperbeck Garden Annual" --studio larkmoor -o copperbeck.pdf --json
      quirewell report annual --studio larkmoor --form short --units inches -o owner.pdf
      quirewell report annual --studio larkmoor --form service -o disclosure.pdf
    """
    with opened(folder) as studio:
        state = item_of(studio, item)
        if words_out is not None:
            texts = words_wanted(form, studio, state.id)
            write_whole(words_out, as_file(texts).encode())
            told = {"words": str(words_out), "texts": len(texts)}
            says = f"{words_out}: {len(texts)} texts to fill; then give it with --words."
            click.echo(json.dumps(told, indent=2) if wants_json else says)
            return
        reader = Reader(units, read_words(words) if words else ENGLISH)
        written = write_form(
            form, studio, state.id, output, by, reader, progress=lambda says: _tell(f"{says} ...")
        )
    click.echo(json.dumps(_written_json(written), indent=2) if wants_json else _written(written))


def _written_json(written: Written) -> dict[str, object]:
    manifest = written.manifest
    return {
        "report": manifest["report"], "item": manifest["item"], "pdf": str(written.pdf),
        "manifest": str(written.json), "pdf_sha256": manifest["pdf_sha256"],
        "head": manifest["head"], "numbers": len(manifest["numbers"]),
    }  # fmt: skip


def _written(written: Written) -> str:
    count = len(written.manifest["numbers"])
    return (
        f"{written.pdf}: {written.manifest['report']}, {count} numbers, each with its source in "
        f"{written.json.name}. Check it any time with: quirewell recheck {written.pdf} --studio DIR"
    )


@click.command()
@click.argument("report", type=click.Path(path_type=Path, dir_okay=False), metavar="REPORT")
@STUDIO
@JSON
@click.pass_context
def recheck(context: click.Context, report: Path, folder: Path, wants_json: bool) -> None:
    """Compute every number of REPORT (the PDF or its .json) again and say which moved, and why.

    The journal's chain is verified first; then each method runs again on the originals, and
    each reading is read again from the journal. Exit code 0 when all agree, 1 when some differ.

    \b
    Example:
      quirewell recheck copperbeck.pdf --studio larkmoor
    """
    with opened(folder) as studio:
        checked = run_recheck(report, studio, progress=lambda says: _tell(f"again: {says}"))
    if wants_json:
        click.echo(json.dumps(as_json(checked), indent=2))
    else:
        click.echo(
            f"{checked.numbers} numbers; {checked.runs} computations done again, "
            f"{checked.readings} records read again."
        )
        click.echo("All agree." if checked.agrees else "These differ:")
        for says in lines(checked.differences):
            click.echo(f"  - {says}")
    context.exit(0 if checked.agrees else 1)


@click.command()
@click.argument("item")
@STUDIO
@_output("condition.pdf")
@JSON
def condition(item: str, folder: Path, output: Path, wants_json: bool) -> None:
    """Print the condition of ITEM on one page: photograph, defects, lines to write on.

    One photograph by phone is enough; no wrap needs to be described and nothing measured.

    \b
    Example:
      quirewell condition annual --studio larkmoor -o condition.pdf
    """
    with opened(folder) as studio:
        state = item_of(studio, item)
        head = head_of(studio, state.id)
        write_whole(output, condition_sheet(state, head.hash, head.at, studio.blobs.path))
    if wants_json:
        click.echo(json.dumps({"item": state.id, "pdf": str(output), "head": head.hash}, indent=2))
    else:
        click.echo(f"{output}: one page, ready to print.")


@click.command()
@_output("strip.pdf")
@click.option(
    "--board",
    default="",
    metavar="'7x10 20 mm'",
    help="A chequered board instead, for calibrating a scanner: squares across x down, side.",
)
@JSON
def strip(output: Path, board: str, wants_json: bool) -> None:
    """Make the bench strip: a printed scale to lay beside the sheet in every scan.

    Print it at 100 per cent, measure it once with a steel rule from the left edge of the first
    mark to the left edge of the last, and sleeve it. It never touches damp paper.

    \b
    Examples:
      quirewell strip -o strip.pdf
      quirewell strip --board "7x10 20 mm" -o board.pdf
    """
    try:
        wanted = read_board(board) if board else None
        write_whole(output, board_sheet(wanted) if wanted else strip_sheet())
    except ValueError as error:
        raise click.ClickException(f"{error}.") from error
    except OSError as error:
        raise click.ClickException(f"{output}: {error.strerror}") from error
    if wanted is not None:
        _say_board(output, wanted, wants_json)
    elif wants_json:
        sizes = {"nominal_length_mm": NOMINAL_LENGTH_MM, "check_bar_mm": CHECK_BAR_MM}
        click.echo(json.dumps({"pdf": str(output), **sizes}, indent=2))
    else:
        click.echo(
            f"{output}: print at 100 per cent; first to last mark should be "
            f"{NOMINAL_LENGTH_MM:g} mm, left edge to left edge. Measure it "
            "once, and give what you measure."
        )


def _say_board(output: Path, board: Board, wants_json: bool) -> None:
    width, height = board.size_mm
    if wants_json:
        said = {"pdf": str(output), "width_mm": width, "height_mm": height}
        click.echo(json.dumps(said | {"square_mm": board.square_mm}, indent=2))
        return
    click.echo(
        f"{output}: print at 100 per cent; the board should be {width:g} x {height:g} mm. On "
        "paper it is only as true as its printer; glass or film is better."
    )
