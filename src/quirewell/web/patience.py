"""How long a connection may take, and how many there may be: a server that nobody can hold up.

A head that does not come to its end, a body that drips, an answer that is not read: each holds a
connection, and enough of them hold the studio. So each has its time here, and each address its
number of connections, counted as they are taken, before any TLS.
"""

from __future__ import annotations

import asyncio
import socket
import threading
from collections import Counter
from collections.abc import Callable
from time import monotonic
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from quirewell.web.limits import counted_as

HEAD_S = 15.0
# A tablet at the edge of a wireless network may fall silent for a while; a photograph waits for it.
STALL_S, LOOK_S = 60.0, 3.0
SLOW_AFTER_S, LEAST_BYTES_S = 60.0, 200.0
# A browser takes six at a time; several tablets may stand behind one address.
MOST_OF_ONE, MOST_OF_ALL = 48, 300
# As on every answer (`security.py`), where none of ours is asked: a request that is no HTTP.
BARE = (
    (b"content-security-policy", b"default-src 'none'; frame-ancestors 'none'; base-uri 'none'"),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cache-control", b"no-store"),
)


class PatientProtocol(H11Protocol):
    """HTTP/1.1 as uvicorn speaks it, with an end to waiting."""

    _since = _last = 0.0
    _bytes = _unread = 0
    _watch: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """A connection begins, and its time with it."""
        super().connection_made(transport)
        self._since = self._last = monotonic()
        self._watch = self.loop.call_later(LOOK_S, self._look)

    def connection_lost(self, exc: Exception | None) -> None:
        """A connection is over."""
        if self._watch is not None:
            self._watch.cancel()
            self._watch = None
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Some bytes came; a request begins where none was under way."""
        self._last = monotonic()
        self._bytes += len(data)
        super().data_received(data)

    def on_response_complete(self) -> None:
        """An answer is out: the next request has its own time."""
        self._since, self._bytes = monotonic(), 0
        super().on_response_complete()

    def _look(self) -> None:
        self._watch = None
        if self.transport.is_closing():
            # Closed by us, and the other side takes nothing any more: it is not waited for.
            self._watch = self.loop.call_later(STALL_S, self.transport.abort)
            return
        if self._held_up(monotonic()):
            self.transport.abort()
            return
        self._watch = self.loop.call_later(LOOK_S, self._look)

    def _held_up(self, now: float) -> bool:
        """Whether the other side has had its time."""
        waiting = self.transport.get_write_buffer_size()
        if waiting and waiting == self._unread:
            return now - self._last > STALL_S
        self._unread = waiting
        if waiting:
            self._last = now
            return False
        if self.conn.their_state is h11.IDLE:
            return now - self._since > HEAD_S
        if self.conn.their_state is h11.SEND_BODY and not self.flow.read_paused:
            slow = self._bytes < LEAST_BYTES_S * (now - self._since)
            return now - self._last > STALL_S or (now - self._since > SLOW_AFTER_S and slow)
        return False

    def send_400_response(self, msg: str) -> None:
        """What is no HTTP is told so, under the same policy as every answer."""
        headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"connection", b"close")]
        said = f"{msg}\n".encode("ascii")
        for event in (
            h11.Response(status_code=400, headers=[*headers, *BARE], reason=b"Bad Request"),
            h11.Data(data=said),
            h11.EndOfMessage(),
        ):
            self.transport.write(self.conn.send(event) or b"")
        self.transport.close()


class _Held(socket.socket):
    """A connection that says when it is closed."""

    given_back: Callable[[], None] | None = None

    def close(self) -> None:
        said, self.given_back = self.given_back, None
        super().close()
        if said is not None:
            said()


class CountingListener(socket.socket):
    """A listening socket that takes so many connections of each address, and of all together.

    It takes the place of ``listening``, which is closed to others from then on.
    """

    def __init__(
        self, listening: socket.socket, one: int = MOST_OF_ONE, every: int = MOST_OF_ALL
    ) -> None:
        super().__init__(listening.family, listening.type, listening.proto, listening.detach())
        self._one, self._every = one, every
        self._open: Counter[str] = Counter()
        self._lock = threading.Lock()

    def accept(self) -> tuple[socket.socket, Any]:
        """The next connection.

        Raises:
            ConnectionAbortedError: there are too many; it was closed again.
        """
        taken, address = super().accept()
        key = counted_as(str(address[0]))
        with self._lock:
            full = self._open[key] >= self._one or self._open.total() >= self._every
            if not full:
                self._open[key] += 1
        if full:
            taken.close()
            raise ConnectionAbortedError(f"too many connections from {key}")
        held = _Held(taken.family, taken.type, taken.proto, taken.detach())
        held.given_back = lambda: self._given_back(key)
        return held, address

    def _given_back(self, key: str) -> None:
        with self._lock:
            self._open[key] -= 1
            if self._open[key] <= 0:
                del self._open[key]
