"""Serves a studio as ``quirewell serve`` does, and keeps a line of each answer.

python web_served.py STUDIO PORT LOG
"""

from __future__ import annotations

import sys
from pathlib import Path

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from quirewell.web.app import build, local_door
from quirewell.web.serving import TwoDoors


class Counted:
    """Writes method, status and path of every answer to a file."""

    def __init__(self, app: ASGIApp, log: Path) -> None:
        self._app = app
        self._out = log.open("a", buffering=1)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def told(message: Message) -> None:
            if message["type"] == "http.response.start":
                line = [scope["method"], str(message["status"]), repr(scope["path"])]
                self._out.write("\t".join(line) + "\n")
            await send(message)

        await self._app(scope, receive, told)


def main() -> None:
    """Serve until killed."""
    studio, port, log = Path(sys.argv[1]), int(sys.argv[2]), Path(sys.argv[3])
    server = TwoDoors(Counted(local_door(build(studio)), log))
    server.config.host, server.config.port = "127.0.0.1", port
    server.run()


if __name__ == "__main__":
    main()
