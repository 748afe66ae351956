"""``quirewell archive``: the record in open formats, to be kept and read without this program."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from quirewell.cli.options import JSON
from quirewell.exchange.iiif import BASE
from quirewell.exchange.look_over import Looked, check_archive
from quirewell.exchange.make import Made, Wish
from quirewell.exchange.make import make as write_archive
from quirewell.exchange.read_back import read_archive
from quirewell.studio.faults import StudioError

_BAG = click.argument("bag", metavar="BAG", type=click.Path(path_type=Path))


@click.group()
def archive() -> None:
    """Keep a studio, or one item, in open formats that need no program of ours.

    An archive is a BagIt bag: the journal entry by entry, every original byte for byte, the
    record as JSON and as tables, reports, pictures in tiles, and a page that says how to read it
    all. docs/archive.md says what each file is.
    """


@archive.command()
@click.option("--studio", "folder", required=True, metavar="DIR", help="The studio.",
              type=click.Path(path_type=Path))  # fmt: skip
@click.argument("out", metavar="OUT", type=click.Path(path_type=Path))
@click.option("--item", default="", metavar="ITEM", help="Of one item only; all if left out.")
@click.option("--zip", "zipped", is_flag=True, help="One zip file (also when OUT ends in .zip).")
@click.option("--no-tiles", is_flag=True, help="Leave out the pictures in tiles.")
@click.option(
    "--with-private", is_flag=True,
    help="Of one item: also owner, custody, quotes, costs, prices, hours and reports.",
)  # fmt: skip
@click.option("--licence", default="", metavar="TEXT", help="A licence, as an address or words.")
@click.option(
    "--base", default=BASE, show_default=True, metavar="ADDRESS",
    help="Web address under which the bag's data folder will lie, for picture viewers.",
)  # fmt: skip
@JSON
def make(
    folder: Path, out: Path, item: str, zipped: bool, no_tiles: bool, with_private: bool,
    licence: str, base: str, wants_json: bool,
) -> None:  # fmt: skip
    """Write an archive to OUT, which must not exist; read back before it gets its name.

    \b
    Examples:
      quirewell archive make --studio larkmoor /media/disk/larkmoor-2031
      quirewell archive make --studio larkmoor annual.zip --item copperbeck-garden-annual
    """
    wish = Wish(item, not no_tiles, with_private, licence, base)
    try:
        made = write_archive(folder, out, wish, zipped, _progress())
    except (StudioError, ValueError) as error:
        raise click.ClickException(f"{error}.") from error
    _say(made.as_json(), _made_words(made), wants_json)


@archive.command()
@_BAG
@JSON
@click.pass_context
def check(context: click.Context, bag: Path, wants_json: bool) -> None:
    """Name every changed, missing or extra file of BAG; walk the journal's chain.

    Record and tables are made again from the journal and compared. Ends with 0 when all is well,
    with 1 when not. That somebody wrote the whole archive anew, only a head noted elsewhere shows.

    \b
    Example:
      quirewell archive check /media/disk/larkmoor-2031
    """
    try:
        looked = check_archive(bag, _progress())
    except StudioError as error:
        raise click.ClickException(f"{error}.") from error
    _say(looked.as_json(), _looked_words(looked), wants_json)
    if not looked.ok:
        context.exit(1)


@archive.command()
@_BAG
@click.option("--studio", "folder", required=True, metavar="NEW",
              help="Folder of the new studio; missing or empty.",
              type=click.Path(path_type=Path))  # fmt: skip
@JSON
def read(bag: Path, folder: Path, wants_json: bool) -> None:
    """Make a new studio out of BAG, after checking all of it; all or nothing.

    A whole studio comes back entry for entry, hash for hash. One item comes back with its entries
    chained anew, each with its own time and with where it came from.

    \b
    Example:
      quirewell archive read /media/disk/larkmoor-2031 --studio larkmoor-again
    """
    try:
        result = read_archive(bag, folder, _progress())
    except StudioError as error:
        raise click.ClickException(f"{error}.") from error
    words = (
        f"{result.folder}: items {result.items}, journal entries {result.events}, originals "
        f"{result.originals}.\nJournal head: {result.head}"
    )
    _say(result.as_json(), words, wants_json)


def _made_words(made: Made) -> str:
    lines = [
        f"{made.path}: items {made.items}, journal entries {made.entries}, originals "
        f"{made.originals}; {made.files} files, {made.bytes / 1e6:.1f} MB; read back and compared.",
        f"Journal head: {made.head}",
    ]
    if made.withheld:
        lines.append(f"Entries withheld, in part or whole: {made.withheld}")
    lines += [f"Left out  {one}." for one in made.left_out]
    lines += [f"Note      {one}" for one in made.notes]
    return "\n".join(lines)


def _looked_words(looked: Looked) -> str:
    lines = [
        f"{looked.archive}: {looked.files} files, {looked.bytes / 1e6:.1f} MB, journal entries "
        f"{looked.entries}.",
        f"Journal head: {looked.said.head}",
    ]
    if looked.ok:
        lines.append("All is as it was written: every file hashed, the chain holds, parts agree.")
    lines += [f"NOT WELL  {one.says}." for one in looked.troubles]
    lines += [f"Left out  {one}." for one in looked.said.left_out]
    lines += [f"Note      {one}." for one in looked.notes]
    return "\n".join(lines)


def _progress() -> Any:
    def show(words: str, done: int, total: int) -> None:
        if done == total or done % max(1, total // 10) == 0:
            click.echo(f"{words} {done} of {total}", err=True)

    return show


def _say(said: dict[str, Any], words: str, wants_json: bool) -> None:
    click.echo(json.dumps(said, indent=2, ensure_ascii=False) if wants_json else words)
