"""``quirewell serve``: the pages of one studio, on this machine; with ``--lan`` for tablets too."""

from __future__ import annotations

import contextlib
import errno
import gc
import signal
import socket
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from quirewell.web.addresses import Reach
    from quirewell.web.lan import Lan

HOST = "127.0.0.1"
PORT = 8765


def bind(port: int, host: str = HOST) -> socket.socket:
    """A listening socket on the loopback address, or on another of this machine's own.

    Raises:
        click.ClickException: the port is taken or may not be used, or the address is not ours.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listening = socket.socket(family, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
    except OSError as error:
        listening.close()
        if error.errno == errno.EADDRINUSE:
            says = f"port {port} is in use by another program (perhaps this studio is open already)"
        elif error.errno == errno.EACCES:
            says = f"port {port} may only be used by the system"
        elif error.errno == errno.EADDRNOTAVAIL:
            raise click.ClickException(
                f"{host} is not an address of this machine; leave --address out to have its own "
                "found"
            ) from error
        else:
            says = f"port {port} cannot be used ({error.strerror})"
        raise click.ClickException(f"{says}; choose another with --port, or --port 0") from error
    return listening


@click.command()
@click.option(
    "--studio", "folder", required=True, metavar="DIR",
    type=click.Path(path_type=Path, file_okay=False),
    help="The studio's folder, as made by `quirewell demo` or `quirewell intake`.",
)  # fmt: skip
@click.option(
    "--port", default=PORT, show_default=True, type=click.IntRange(0, 65535),
    help="Port to listen on; 0 takes any free one.",
)  # fmt: skip
@click.option(
    "--lan", "to_tablets", is_flag=True,
    help="Let tablets on the same network in too, over TLS and by the studio's passphrase.",
)  # fmt: skip
@click.option(
    "--name", default="", metavar="NAME",
    help="With --lan: this machine's name on the network, as in bench.local.",
)  # fmt: skip
@click.option(
    "--address", "addresses", multiple=True, metavar="IP",
    help="With --lan: an address of this machine to listen on; found by itself if left out.",
)  # fmt: skip
@click.option(
    "--alarm-command", default="", metavar="COMMAND",
    help="Run at each ring of a timer, with what is due as its last word; no shell is used.",
)  # fmt: skip
@click.option("--no-alarm", is_flag=True, help="Do not ring here when a step is due.")
@click.option(
    "--log", "log_level", default="info", show_default=True,
    type=click.Choice(["off", "error", "info", "debug"]),
    help="How much is written to log/ in the studio's folder; nothing private ever is.",
)  # fmt: skip
def serve(
    folder: Path, port: int, to_tablets: bool, name: str, addresses: tuple[str, ...],
    alarm_command: str, no_alarm: bool, log_level: str,
) -> None:  # fmt: skip
    """Show the studio in a browser on this machine.

    The address is printed when the pages are ready. Nobody else on the network can reach
    them. Stop with Ctrl-C: what is being written is finished first.

    With --lan a tablet on the same network reaches them as well, by TLS with the studio's own
    certificate and by a passphrase (`quirewell studio passphrase`). Never on the open internet.

    When a step that is under way is due, the terminal rings and says so. Set a kitchen timer too.
    Backups are made by themselves once they are set up (`quirewell studio keep`).

    \b
    Examples:
      quirewell serve --studio larkmoor --port 8765
      quirewell serve --studio larkmoor --lan --name bench.local
    """
    gc.disable()  # what is loaded now stays for good; looking for what may go only takes time
    from quirewell.studio import log
    from quirewell.studio.faults import StudioError
    from quirewell.studio.health_machine import tell_start
    from quirewell.studio.studio import Studio
    from quirewell.web.alarm import Alarm
    from quirewell.web.app import build, local_door, tablets_door
    from quirewell.web.keeper import Keeper
    from quirewell.web.serving import TwoDoors, tls

    gc.freeze()
    gc.enable()
    if not to_tablets and (name or addresses):
        raise click.UsageError("--name and --address belong to --lan; give that too.")
    try:
        with Studio.open(folder, tell=_ring) as studio:
            called, opened_at = studio.name, studio.settings.opened_at
        alarm = None if no_alarm else Alarm(_ring, _command(alarm_command))
        with contextlib.ExitStack() as held:
            listening = held.enter_context(bind(port))
            port = listening.getsockname()[1]
            log.begin(folder.absolute(), "serve", log_level)
            with Studio.open(folder) as studio:
                tell_start(studio, lan=to_tablets)
            lan: Lan | None = None
            sockets: tuple[socket.socket, ...] = ()
            if to_tablets:
                reach = _reach(name, addresses)
                sockets = tuple(held.enter_context(bind(port, one)) for one in reach.addresses)
                lan = _lan(folder.absolute(), called, reach, port)
            app = build(folder, lan=lan, alarm=alarm, keeper=Keeper())
            server = TwoDoors(
                local_door(app),
                tablets_door(app, lan) if lan else None,
                sockets,
                tls(lan.trust.server) if lan else None,
                lambda: _say_open(f"http://{HOST}:{port}/", lan, folder.absolute(), opened_at),
            )
            signal.signal(signal.SIGTERM, signal.default_int_handler)
            with contextlib.suppress(KeyboardInterrupt):
                server.run(sockets=[listening])
    except StudioError as error:
        raise click.ClickException(str(error)) from error
    finally:
        log.end()
    click.echo("The studio is closed.", err=True)


def _ring(text: str) -> None:
    click.echo(text, err=True)


def _command(text: str) -> tuple[str, ...]:
    from quirewell.web.alarm import read_command

    if not text:
        return ()
    try:
        return read_command(text)
    except ValueError as error:
        raise click.ClickException(f"{error}.") from error


def _reach(name: str, addresses: tuple[str, ...]) -> Reach:
    from quirewell.web.addresses import BadAddress, find_reach

    try:
        return find_reach(name, addresses)
    except BadAddress as error:
        raise click.ClickException(f"{error}.") from error


def _lan(folder: Path, called: str, reach: Reach, port: int) -> Lan:
    from quirewell.cli.passphrase import ask_passphrase
    from quirewell.web.certificate import ready
    from quirewell.web.lan import make_lan
    from quirewell.web.passphrase import kept_passphrase

    if kept_passphrase(folder) is None:
        if not sys.stdin.isatty():
            raise click.ClickException(
                "tablets are let in by a passphrase only, and this studio has none. Set one: "
                f"quirewell studio passphrase {folder.name}"
            )
        click.echo("This studio has no passphrase yet; tablets are let in by one.", err=True)
        ask_passphrase(folder)
    return make_lan(folder, reach, port, ready(folder, called, reach))


def _say_open(address: str, lan: Lan | None, folder: Path, opened_at: str) -> None:
    from quirewell.studio.clock import now
    from quirewell.studio.keep_words import standing
    from quirewell.web.alarm import KITCHEN

    click.echo(f"The studio is open at {address}  (stop with Ctrl-C)", err=True)
    stands = standing(folder, now(), opened_at=opened_at)
    told = stands.says if stands.level == "fine" and not stands.advice else stands.words
    click.echo(told.replace("DIR", folder.name), err=True)
    if lan is None:
        return
    click.echo("\n".join(tablet_lines(lan)), err=True)
    if sys.stderr.isatty() and (sys.stderr.encoding or "").lower().startswith("utf"):
        import segno

        segno.make(f"{lan.urls[0]}trust", error="m", micro=False).terminal(
            out=sys.stderr, compact=True
        )
    click.echo(KITCHEN, err=True)


def tablet_lines(lan: Lan) -> list[str]:
    """What a person needs to bring a tablet in."""
    first, *others = lan.urls
    lines = [f"Tablets on this network: {first}"]
    if others:
        lines.append(f"  or {' or '.join(others)}")
    lines.append(f"A tablet's first time: {first}trust")
    if lan.trust.new_authority:
        lines.append("The studio's certificate is new: every tablet is to trust it (again).")
    lines.append("SHA-256 of the certificate to trust, compare it on the tablet:")
    return lines + [f"  {row}" for row in lan.trust.fingerprint]
