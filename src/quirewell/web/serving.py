"""One application, served at two doors: plain on the loopback address, TLS for tablets."""

from __future__ import annotations

import asyncio
import socket
import ssl
from collections.abc import Callable
from pathlib import Path

import uvicorn
from starlette.types import ASGIApp

from quirewell.web.patience import CountingListener, PatientProtocol


def tls(pem: Path) -> ssl.SSLContext:
    """What the tablets' door shows: the server's certificate, TLS 1.2 and newer."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.load_cert_chain(pem)
    return context


def configured(app: ASGIApp) -> uvicorn.Config:
    """How either door is served. Forwarded headers are never believed: there is no proxy."""
    return uvicorn.Config(
        app, log_level="warning", access_log=False, server_header=False, proxy_headers=False,
        timeout_graceful_shutdown=10, http=PatientProtocol, ws="none",
    )  # fmt: skip


class TwoDoors(uvicorn.Server):
    """Serves ``app`` as usual and, where given, ``tablets`` on further sockets under TLS."""

    def __init__(
        self,
        app: ASGIApp,
        tablets: ASGIApp | None = None,
        sockets: tuple[socket.socket, ...] = (),
        context: ssl.SSLContext | None = None,
        opened: Callable[[], None] = lambda: None,
    ) -> None:
        super().__init__(configured(app))
        self._tablets = configured(tablets) if tablets is not None else None
        self._sockets = sockets
        self._context = context
        self._opened = opened

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        if not self.started:
            return
        if self._tablets is not None:
            await self._open_to_tablets(self._tablets)
        self._opened()

    async def _open_to_tablets(self, config: uvicorn.Config) -> None:
        config.load()
        loop = asyncio.get_running_loop()

        def protocol() -> asyncio.Protocol:
            made: asyncio.Protocol = config.http_protocol_class(  # type: ignore[call-arg]
                config=config, server_state=self.server_state, app_state=self.lifespan.state,
                _loop=loop,
            )  # fmt: skip
            return made

        if self._context is None:
            raise RuntimeError("the tablets' door is never opened without TLS")
        for listening in self._sockets:
            counting = CountingListener(listening)
            counting.setblocking(False)
            opened = await loop.create_server(
                protocol, sock=counting, ssl=self._context, backlog=config.backlog,
                ssl_handshake_timeout=20,
            )  # fmt: skip
            self.servers.append(opened)
