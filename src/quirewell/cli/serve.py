"""``quirewell serve``: the pages of one studio, on this machine only."""

from __future__ import annotations

import contextlib
import errno
import signal
import socket
from pathlib import Path

import click

HOST = "127.0.0.1"
PORT = 8765


def bind(port: int) -> socket.socket:
    """A listening socket on the loopback address.

    Raises:
        click.ClickException: the port is taken or may not be used.
    """
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((HOST, port))
    except OSError as error:
        listening.close()
        if error.errno == errno.EADDRINUSE:
            says = f"port {port} is in use by another program (perhaps this studio is open already)"
        elif error.errno == errno.EACCES:
            says = f"port {port} may only be used by the system"
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
def serve(folder: Path, port: int) -> None:
    """Show the studio in a browser on this machine.

    The address is printed when the pages are ready. Nobody else on the network can reach
    them. Stop with Ctrl-C: what is being written is finished first.

    \b
    Example:
      quirewell serve --studio larkmoor --port 8765
    """
    import uvicorn

    from quirewell.studio.faults import StudioError
    from quirewell.studio.studio import Studio
    from quirewell.web.app import create_app

    try:
        Studio.open(folder).close()
    except StudioError as error:
        raise click.ClickException(str(error)) from error
    listening = bind(port)
    address = f"http://{HOST}:{listening.getsockname()[1]}/"
    config = uvicorn.Config(
        create_app(folder), log_level="warning", access_log=False, server_header=False,
        timeout_graceful_shutdown=10,
    )  # fmt: skip

    class Announced(uvicorn.Server):
        """Prints the address when the pages can be opened, not before."""

        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await super().startup(sockets)
            if self.started:
                click.echo(f"The studio is open at {address}  (stop with Ctrl-C)", err=True)

    signal.signal(signal.SIGTERM, signal.default_int_handler)
    with listening, contextlib.suppress(KeyboardInterrupt):
        Announced(config).run(sockets=[listening])
    click.echo("The studio is closed.", err=True)
