"""``quirewell studio``: make, check, back up and restore the folder everything lives in."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from quirewell.cli.options import JSON
from quirewell.cli.passphrase import passphrase
from quirewell.studio.backup import backup as write_backup
from quirewell.studio.backup import restore as put_back
from quirewell.studio.check import CheckResult
from quirewell.studio.check import check as look_over
from quirewell.studio.faults import StudioError
from quirewell.studio.studio import Studio

_FOLDER = click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))


@click.group()
def studio() -> None:
    """The studio: one folder with the journal, the originals and what is derived from them.

    Pictures are kept byte for byte under their hash and never altered; the journal only grows,
    each entry chained to the one before. Keep the folder on this machine's own disk.
    """


@studio.command()
@_FOLDER
@click.option(
    "--name",
    default="",
    metavar="NAME",
    help="What the bench is called; the folder's name if left out.",
)
@JSON
def new(folder: Path, name: str, wants_json: bool) -> None:
    """Make a new studio in DIR, which must be missing or empty.

    \b
    Example:
      quirewell studio new larkmoor --name "Larkmoor paper bench"
    """
    try:
        with Studio.create(folder, name) as made:
            said = {"studio": str(made.folder), "name": made.name, "journal_head": made.head()}
    except StudioError as error:
        raise click.ClickException(f"{error}.") from error
    _say(said, f"The studio {said['name']!r} is ready in {said['studio']}.", wants_json)


@studio.command()
@_FOLDER
@click.option(
    "--head",
    default="",
    metavar="HASH",
    help="A journal head printed on a report or kept with a backup: is it still in the journal?",
)
@click.option(
    "--rebuild",
    is_flag=True,
    help="Make the tables anew from the journal first (the journal is not touched).",
)
@JSON
@click.pass_context
def check(context: click.Context, folder: Path, head: str, rebuild: bool, wants_json: bool) -> None:
    """Hash every original again, walk the journal's chain, compare the tables with it.

    The chain shows every changed or missing entry. That its end was cut off, only a head noted
    elsewhere can show: give it with --head. Ends with 0 when all is well, with 1 when not.

    \b
    Examples:
      quirewell studio check larkmoor
      quirewell studio check larkmoor --head 3f9a41... --json
    """
    try:
        if rebuild:
            with Studio.open(folder) as opened:
                opened.rebuild()
        result = look_over(folder, head)
    except StudioError as error:
        raise click.ClickException(f"{error}.") from error
    _say(result.as_json(), _check_words(result), wants_json)
    if not result.ok:
        context.exit(1)


@studio.command()
@_FOLDER
@click.argument("target", metavar="TARGET", type=click.Path(path_type=Path))
@JSON
def backup(folder: Path, target: Path, wants_json: bool) -> None:
    """Copy the studio DIR to TARGET (a .zip, or a new folder), while it may be in use.

    The copy is read back and compared before it gets its name; nothing is ever overwritten.
    Keep it on another disk, and the journal head it prints on paper.

    \b
    Example:
      quirewell studio backup larkmoor /media/disk/larkmoor-2031-04-02.zip
    """
    try:
        manifest = write_backup(folder, target, _bar("copied"))
    except StudioError as error:
        raise click.ClickException(f"{error}.") from error
    words = (
        f"{target} holds {len(manifest.files)} files, {manifest.bytes / 1e6:.1f} MB, "
        f"{manifest.events} journal entries; read back and compared.\n"
        f"Journal head: {manifest.head}"
    )
    said = {"backup": str(target), "bytes": manifest.bytes, **manifest.as_json()}
    _say(said, words, wants_json)


@studio.command()
@click.argument("archive", metavar="BACKUP", type=click.Path(path_type=Path))
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@JSON
def restore(archive: Path, folder: Path, wants_json: bool) -> None:
    """Put BACKUP back into DIR, which must be missing or empty, and check it whole.

    Every file is compared with the backup's own list; a damaged backup restores nothing.

    \b
    Example:
      quirewell studio restore /media/disk/larkmoor-2031-04-02.zip larkmoor-again
    """
    try:
        result = put_back(archive, folder, _bar("restored"))
    except StudioError as error:
        raise click.ClickException(f"{error}.") from error
    _say(result.as_json(), _check_words(result), wants_json)


studio.add_command(passphrase)


def _check_words(result: CheckResult) -> str:
    lines = [
        f"{result.folder}: items {result.items}, journal entries {result.events}, "
        f"originals {result.originals}, {result.bytes / 1e6:.1f} MB.",
        f"Journal head: {result.head}",
    ]
    if result.ok:
        lines.append("All is as it was written: every original hashed again, the chain is whole.")
    lines += [f"NOT WELL  {entry.says}." for entry in result.troubles]
    lines += [f"Note      {says}." for says in result.notes]
    return "\n".join(lines)


def _bar(words: str) -> Any:
    def show(done: int, total: int) -> None:
        if done == total or done % 20 == 0:
            click.echo(f"{words} {done} of {total}", err=True)

    return show


def _say(said: dict[str, Any], words: str, wants_json: bool) -> None:
    click.echo(json.dumps(said, indent=2, ensure_ascii=False) if wants_json else words)
