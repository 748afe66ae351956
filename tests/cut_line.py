"""A line to a server that is cut after so many bytes were sent through it, for tests."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass


@dataclass
class Line:
    """The port to connect to; bytes that may be sent on one connection before it is cut (None:
    never), and how many connections were cut."""

    port: int
    most: int | None = None
    cut: int = 0


@contextmanager
def line_to(port: int) -> Iterator[Line]:
    """A line to a port of this machine."""
    with socket.create_server(("127.0.0.1", 0)) as door:
        line = Line(int(door.getsockname()[1]))
        threading.Thread(target=_serve, args=(door, port, line), daemon=True).start()
        yield line
        with contextlib.suppress(OSError):
            door.shutdown(socket.SHUT_RDWR)


def _serve(door: socket.socket, port: int, line: Line) -> None:
    while True:
        try:
            near, _ = door.accept()
        except OSError:
            return
        far = socket.create_connection(("127.0.0.1", port))
        threading.Thread(target=_pass_on, args=(near, far, line, True), daemon=True).start()
        threading.Thread(target=_pass_on, args=(far, near, line, False), daemon=True).start()


def _pass_on(source: socket.socket, target: socket.socket, line: Line, counted: bool) -> None:
    sent = 0
    with contextlib.suppress(OSError):
        while data := source.recv(65536):
            sent += len(data)
            if counted and line.most is not None and sent > line.most:
                line.cut += 1
                break
            target.sendall(data)
    for one in (source, target):
        with contextlib.suppress(OSError):
            one.shutdown(socket.SHUT_RDWR)
        one.close()
