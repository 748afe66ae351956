"""``quirewell studio doctor``: how the studio and the machine under it are, a line each."""

from __future__ import annotations

import textwrap
from pathlib import Path

import click

from quirewell.cli.options import JSON
from quirewell.cli.output import print_json
from quirewell.studio.health import Health, examine

MARKS = {"fine": "fine ", "look": "LOOK ", "wrong": "WRONG"}


@click.command()
@click.argument("folder", metavar="[DIR]", default=".", type=click.Path(path_type=Path))
@click.option("--whole", is_flag=True, help="Read every original again, too; this may take long.")
@JSON
@click.pass_context
def doctor(context: click.Context, folder: Path, whole: bool, wants_json: bool) -> None:
    """Look at the studio DIR (this folder if left out) and at the machine under it.

    Disks and backups, journal and tables, permissions, the clock, leftovers, faults in the log,
    certificates: each a line, fine, to be looked at, or wrong, with what to do. Nothing is
    changed. Ends with 0 when all is fine, 1 when something is to be looked at, 2 when it is wrong.

    \b
    Examples:
      quirewell studio doctor larkmoor
      quirewell studio doctor larkmoor --whole --json
    """
    health = examine(folder, whole=whole)
    if wants_json:
        print_json(health.as_json())
    else:
        click.echo("\n".join(lines(health, folder.absolute().name)))
    context.exit(health.level)


def lines(health: Health, folder: str) -> list[str]:
    """The lines for the terminal; advice below what it belongs to."""
    out = []
    for row in health.rows:
        says, advice = (text.replace("DIR", folder) for text in (row.says, row.advice))
        out += textwrap.wrap(
            f"{MARKS[row.level]}  {row.what}: {says}", 88, subsequent_indent="       "
        )
        if advice and row.level != "fine":
            out += textwrap.wrap(
                advice, 88, initial_indent="       > ", subsequent_indent="         "
            )
    return [*out, "", health.says]
