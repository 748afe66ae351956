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
@JSON
def passphrase(folder: Path, from_stdin: bool, wants_json: bool) -> None:
    """Set the passphrase of the studio DIR, by which tablets are let in (`serve --lan`).

    It is asked for twice and not shown. Kept is its scrypt hash only, in the studio's `keys`
    folder, which is in no backup. A new passphrase signs every tablet out, at once.

    \b
    Examples:
      quirewell studio passphrase larkmoor
      printf '%s\\n' "$WORDS" | quirewell studio passphrase larkmoor --stdin --json
    """
    from quirewell.studio.faults import StudioError
    from quirewell.studio.studio import Studio

    try:
        Studio.open(folder).close()
    except StudioError as error:
        raise click.ClickException(f"{error}.") from error
    if from_stdin:
        keep(folder, sys.stdin.readline(LONGEST_LINE).rstrip("\r\n"))
    else:
        ask_passphrase(folder)
    says = "The passphrase is set. Every tablet is to sign in (again)."
    click.echo(json.dumps({"set": True, "says": says}) if wants_json else says)


def ask_passphrase(folder: Path) -> None:
    """Ask on the terminal, twice and hidden, until one can be used, and keep it."""
    from quirewell.web.passphrase import BadPassphrase, check_new

    while True:
        first = click.prompt("Passphrase for tablets", hide_input=True, err=True)
        try:
            check_new(first)
        except BadPassphrase as error:
            click.echo(str(error), err=True)
            continue
        if click.prompt("The same again", hide_input=True, err=True) == first:
            break
        click.echo("The two differ; type it again.", err=True)
    keep(folder, first)


def keep(folder: Path, text: str) -> None:
    """Keep a passphrase.

    Raises:
        click.ClickException: it cannot be used; the earlier one stands.
    """
    from quirewell.web.passphrase import BadPassphrase, set_passphrase

    try:
        set_passphrase(folder.absolute(), text)
    except BadPassphrase as error:
        raise click.ClickException(str(error)) from error
