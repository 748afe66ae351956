"""A line in the log for each request: which kind of page, how it ended, how long, how large.

The route's pattern is written (``/item/{item}/treat``), never the address itself: that may hold
names. A request that was turned away at a door stands as ``(door)``, one that found nothing as
``(none)``.
"""

from __future__ import annotations

import logging
import time

from starlette.types import Message, Receive, Scope, Send

from quirewell.studio import log
from quirewell.web.lan import BY_LAN
from quirewell.web.security import LocalOnly

# Asked for by the hundred, by pages and scripts of our own: written only when all is.
MANY = ("/static", "/tiles/", "/picture/")
POLLED = ("state.json", "in-hand.json")


class RequestLog:
    """Middleware outside a door; ``app`` is the application behind it."""

    def __init__(self, door: LocalOnly) -> None:
        self.app = door.app
        self._door = door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._door(scope, receive, send)
            return
        began = time.perf_counter()
        status, size = 500, 0

        async def counted(message: Message) -> None:
            nonlocal status, size
            if message["type"] == "http.response.start":
                status = message["status"]
            else:
                size += len(message.get("body", b""))
            await send(message)

        try:
            await self._door(scope, receive, counted)
        finally:
            _write(scope, status, size, (time.perf_counter() - began) * 1000)


def _write(scope: Scope, status: int, size: int, ms: float) -> None:
    route = route_of(scope)
    often = route.startswith(MANY) or route.endswith(POLLED)
    level = logging.DEBUG if often and status < 400 else logging.INFO
    log.told(
        "request", level, method=scope["method"] if scope["method"].isalpha() else "(other)",
        route=route, status=status, ms=round(ms, 1), bytes=size,
        door="tablets" if scope.get(BY_LAN) else "machine",
    )  # fmt: skip


def route_of(scope: Scope) -> str:
    """The pattern of the route that a request found."""
    if "app" not in scope:
        return "(door)"
    found = getattr(scope.get("route"), "path", "")
    return found if isinstance(found, str) and found else "(none)"
