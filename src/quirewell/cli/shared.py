"""``quirewell studio move`` and ``join``: a studio's tables in a PostgreSQL database, and back."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from quirewell.cli.options import JSON
from quirewell.studio.address import keep_password, read_address
from quirewell.studio.faults import StudioError
from quirewell.studio.move import join as join_studio
from quirewell.studio.move import move as move_studio
from quirewell.studio.moved import SQLITE

_FOLDER = click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
F = TypeVar("F", bound=Callable[..., Any])
ASK_PASSWORD: Callable[[F], F] = click.option(
    "--ask-password", is_flag=True,
    help="Ask for the database's password and keep it in the studio's private `keys` folder.",
)  # fmt: skip


def prompt_password(folder: Path, address: str) -> None:
    """Ask for the password of a database and keep it; the address is read first.

    Raises:
        StudioError: it is no address.
    """
    if not address or address == SQLITE:
        raise StudioError("--ask-password belongs to the address of a PostgreSQL database")
    read_address(address)
    password = click.prompt("Password of the database", hide_input=True, err=True)
    folder.mkdir(parents=True, exist_ok=True)
    keep_password(folder, password)


@click.command()
@_FOLDER
@click.option(
    "--to", required=True, metavar="ADDRESS",
    help="postgresql://USER@HOST/DATABASE, an empty database; or sqlite, for a file in DIR.",
)  # fmt: skip
@ASK_PASSWORD
@JSON
def move(folder: Path, to: str, ask_password: bool, wants_json: bool) -> None:
    """Move the tables of the studio DIR into a PostgreSQL database, or back into a file.

    Make a backup first, and close the programs that use the studio: while the tables are moved
    nobody can write, and afterwards each must be started anew. Every journal entry goes over with
    its own hashes; both sides are checked whole before the move is decided. Stopped at any moment
    before, nothing has changed. The old tables stay, closed to writing, until you remove them.
    Originals stay where they are (`quirewell studio originals`).

    \b
    Examples:
      quirewell studio move larkmoor --to postgresql://ada@bench.local/larkmoor
      quirewell studio move larkmoor --to sqlite
    """
    try:
        if ask_password:
            prompt_password(folder, to)
        moved = move_studio(folder, to, lambda words: click.echo(words, err=True))
    except StudioError as error:
        raise click.ClickException(f"{error}.") from error
    words = (
        f"The tables of {moved.studio} are now in {moved.now}: {moved.items} items, "
        f"{moved.events} journal entries, compared on both sides.\n"
        f"Journal head: {moved.head}\n"
        f"The old tables stay in {moved.left} and take no more entries; remove them when a backup "
        "of the moved studio is made."
    )
    click.echo(json.dumps(moved.as_json(), indent=2) if wants_json else words)


@click.command()
@_FOLDER
@click.option(
    "--database", required=True, metavar="ADDRESS", help="postgresql://USER@HOST/DATABASE"
)
@ASK_PASSWORD
@JSON
def join(folder: Path, database: str, ask_password: bool, wants_json: bool) -> None:
    """Work from DIR, a new folder on this machine, in the studio that a database holds already.

    DIR holds what this machine makes for itself. The originals are to lie where all machines reach
    them; say where with `quirewell studio originals`.

    \b
    Example:
      quirewell studio join larkmoor --database postgresql://ada@bench.local/larkmoor
    """
    try:
        if ask_password:
            prompt_password(folder, database)
        with join_studio(folder, database) as studio:
            held = sum(1 for _ in studio.blobs.all())
            said = {
                "studio": str(studio.folder),
                "name": studio.name,
                "items": len(studio.items()),
                "journal_head": studio.head(),
                "originals_here": held,
            }
    except StudioError as error:
        raise click.ClickException(f"{error}.") from error
    words = (
        f"{said['studio']} works in the studio {said['name']!r}: {said['items']} items.\n"
        f"Originals reached from here: {held}. Those of other machines are reached when all lie in "
        "one place: quirewell studio originals --help"
    )
    click.echo(json.dumps(said, indent=2, ensure_ascii=False) if wants_json else words)
