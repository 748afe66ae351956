"""``quirewell studio passphrase``: set what a tablet is asked for."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import click

from quirewell.cli.options import JSON

LONGEST_LINE = 4096


@click.command()
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option(
    "--stdin", "from_stdin", is_flag=True, help="Read it from the first line of standard input."
)
@click.option(
    "--guest",
    is_flag=True,
    help="Set the guests' own: they read the record, without names and prices, and change nothing.",
)
@click.option("--none", "away", is_flag=True, help="With --guest: let no guests in any more.")
@JSON
def passphrase(folder: Path, from_stdin: bool, guest: bool, away: bool, wants_json: bool) -> None:
    """Set the passphrase of the studio DIR, by which tablets are let in (`serve --lan`).

    It is asked for twice and not shown. Kept is its scrypt hash only, in the studio's `keys`
    folder, which is in no backup. A new passphrase signs every tablet out, at once; a new one for
    guests (--guest) signs every guest out.

    \b
    Examples:
      quirewell studio passphrase larkmoor
      quirewell studio passphrase larkmoor --guest
      printf '%s\\n' "$WORDS" | quirewell studio passphrase larkmoor --stdin --json
    """
    from quirewell.studio.faults import StudioError
    from quirewell.studio.studio import Studio

    try:
        Studio.open(folder).close()
    except StudioError as error:
        raise click.ClickException(f"{error}.") from error
    if away:
        says = _no_guests(folder, guest)
    else:
        if from_stdin:
            keep(folder, sys.stdin.readline(LONGEST_LINE).rstrip("\r\n"), guest)
        else:
            ask_passphrase(folder, guest)
        says = "The passphrase is set. Every tablet is to sign in (again)."
        if guest:
            says = "The guests' passphrase is set. Every guest is to sign in (again)."
    click.echo(json.dumps({"set": not away, "says": says}) if wants_json else says)


def _no_guests(folder: Path, guest: bool) -> str:
    from quirewell.web.passphrase import no_guests

    if not guest:
        raise click.UsageError("--none belongs to --guest; tablets are always asked for one.")
    if no_guests(folder.absolute()):
        return "Guests are let in no more; those who were in are out."
    return "Guests had no passphrase; nothing is changed."


def ask_passphrase(folder: Path, guest: bool = False) -> None:
    """Ask on the terminal, twice and hidden, until one can be used, and keep it."""
    from quirewell.web.passphrase import BadPassphrase, check_new

    while True:
        first = click.prompt(
            f"Passphrase for {'guests' if guest else 'tablets'}", hide_input=True, err=True
        )
        try:
            check_new(first)
        except BadPassphrase as error:
            click.echo(str(error), err=True)
            continue
        if click.prompt("The same again", hide_input=True, err=True) == first:
            break
        click.echo("The two differ; type it again.", err=True)
    keep(folder, first, guest)


def keep(folder: Path, text: str, guest: bool = False) -> None:
    """Keep a passphrase.

    Raises:
        click.ClickException: it cannot be used; the earlier one stands.
    """
    from quirewell.web.passphrase import BadPassphrase, set_passphrase

    try:
        set_passphrase(folder.absolute(), text, guest=guest)
    except BadPassphrase as error:
        raise click.ClickException(str(error)) from error
