"""``quirewell studio``: make, check, back up and restore the folder everything lives in."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from quirewell.cli.doctor import doctor
from quirewell.cli.keep import keep
from quirewell.cli.links import links
from quirewell.cli.options import JSON
from quirewell.cli.originals import originals
from quirewell.cli.passphrase import passphrase
from quirewell.cli.shared import ASK_PASSWORD, join, move, prompt_password
from quirewell.studio.backup import backup as write_backup
from quirewell.studio.backup import restore as put_back
from quirewell.studio.check import CheckResult
from quirewell.studio.check import check as look_over
from quirewell.studio.faults import StudioError
from quirewell.studio.keep_restore import is_place, restore_from
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
@click.option(
    "--database", default="", metavar="ADDRESS",
    help="Keep the tables in an empty PostgreSQL database that several machines share: "
    "postgresql://USER@HOST/DATABASE. Left out, they are in a file in DIR.",
)  # fmt: skip
@ASK_PASSWORD
@JSON
def new(folder: Path, name: str, database: str, ask_password: bool, wants_json: bool) -> None:
    """Make a new studio in DIR, which must be missing or empty.

    \b
    Examples:
      quirewell studio new larkmoor --name "Larkmoor paper bench"
      quirewell studio new larkmoor --database postgresql://ada@bench.local/larkmoor
    """
    try:
        if ask_password:
            prompt_password(folder, database)
        with Studio.create(folder, name, database=database) as made:
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
@click.option(
    "--at", default="", metavar="DAY",
    help="From a place of `studio keep`: the newest backup made on or before this day, or a "
    "backup by its name; the newest of all if left out.",
)  # fmt: skip
@JSON
def restore(archive: Path, folder: Path, at: str, wants_json: bool) -> None:
    """Put BACKUP back into DIR, which must be missing or empty, and check it whole.

    BACKUP is a file or folder made by `studio backup`, or a place where `studio keep` keeps them.
    Every file is compared with the backup's own list; a damaged backup restores nothing.

    \b
    Examples:
      quirewell studio restore /media/disk/larkmoor-2031-04-02.zip larkmoor-again
      quirewell studio restore /media/disk/quirewell larkmoor-again --at 2031-04-02
    """
    try:
        if is_place(archive):
            one, result = restore_from(archive, folder, at, _bar("restored"))
            click.echo(f"from the backup {one.name}", err=True)
        elif at:
            raise StudioError(f"{archive} is one backup and no place of several; leave --at out")
        else:
            result = put_back(archive, folder, _bar("restored"))
    except StudioError as error:
        raise click.ClickException(f"{error}.") from error
    _say(result.as_json(), _check_words(result), wants_json)


studio.add_command(passphrase)
studio.add_command(links)
studio.add_command(move)
studio.add_command(join)
studio.add_command(originals)
studio.add_command(keep)
studio.add_command(doctor)


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
