"""A studio served by a process of its own, as ``quirewell serve --lan`` is; raw talk with it."""

from __future__ import annotations

import contextlib
import re
import signal
import socket
import ssl
import subprocess
import sys
import threading
from dataclasses import dataclass, field
from pathlib import Path

from quirewell.web.addresses import own_addresses

OWN = own_addresses()


@dataclass
class Served:
    """A running server: its port, the address it has on the network, what it said."""

    process: subprocess.Popen[str]
    port: int
    address: str
    folder: Path
    said: list[str] = field(default_factory=list)

    @property
    def host(self) -> str:
        return f"{self.address}:{self.port}"

    def connect(self, timeout: float = 10.0, door: str = "tablets") -> socket.socket:
        """An open connection: to the tablets' door by TLS, or plain to either."""
        to = self.address if door != "machine" else "127.0.0.1"
        plain = socket.create_connection((to, self.port), timeout=timeout)
        if door != "tablets":
            return plain
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        context.check_hostname = False
        context.verify_mode = ssl.CERT_NONE
        return context.wrap_socket(plain, server_hostname=None)

    def raw(self, sent: bytes, timeout: float = 10.0, door: str = "tablets") -> bytes:
        """What comes back for these bytes until the server closes or says no more."""
        with self.connect(30.0, door) as talk:
            talk.settimeout(timeout)
            # Closed while we send: what came before that is read all the same.
            with contextlib.suppress(OSError):
                talk.sendall(sent)
            return heard(talk)

    def get(self, path: str, *lines: str, method: str = "GET", body: bytes = b"",
            host: str | None = None, door: str = "tablets") -> Answer:  # fmt: skip
        """One request over a connection of its own, its path sent as it is."""
        named = self.host if door == "tablets" else f"127.0.0.1:{self.port}"
        head = [f"{method} {path} HTTP/1.1", f"Host: {named if host is None else host}",
                "Connection: close", *lines]  # fmt: skip
        if body:
            head.append(f"Content-Length: {len(body)}")
        text = "\r\n".join((*head, "", "")).encode("latin-1")
        return Answer.of(self.raw(text + body, door=door))

    def stop(self) -> None:
        """End it, and leave nothing running."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
            try:
                self.process.wait(timeout=30)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()
        for pipe in (self.process.stdout, self.process.stderr):
            if pipe is not None:
                pipe.close()


@dataclass(frozen=True)
class Answer:
    """An answer taken apart; ``status`` 0 where the connection was closed without one."""

    status: int
    headers: dict[str, str]
    body: bytes
    cookies: tuple[str, ...]

    @classmethod
    def of(cls, data: bytes) -> Answer:
        head, _, body = data.partition(b"\r\n\r\n")
        first, *lines = head.decode("latin-1").split("\r\n")
        found = re.fullmatch(r"HTTP/1\.1 (\d{3}) ?.*", first)
        pairs = [line.split(": ", 1) for line in lines if ": " in line]
        cookies = tuple(text for name, text in pairs if name.lower() == "set-cookie")
        headers = {name.lower(): text for name, text in pairs}
        return cls(int(found[1]) if found else 0, headers, body, cookies)


def heard(talk: socket.socket) -> bytes:
    """Everything until the other side closes or falls silent for its time."""
    parts = []
    try:
        while part := talk.recv(65536):
            parts.append(part)
    except (TimeoutError, OSError):
        pass
    return b"".join(parts)


def serve_lan(folder: Path, *options: str) -> Served:
    """Serve the studio in ``folder`` to the network; it has a passphrase already."""
    run = "from quirewell.cli.serve import serve; serve()"
    process = subprocess.Popen(
        [sys.executable, "-c", run, "--studio", str(folder), "--port", "0", "--lan", "--no-alarm",
         "--address", OWN[0], *options],
        stderr=subprocess.PIPE, stdout=subprocess.PIPE, text=True, stdin=subprocess.DEVNULL,
    )  # fmt: skip
    assert process.stderr is not None
    said: list[str] = []
    for line in process.stderr:
        said.append(line.rstrip("\n"))
        if "kitchen timer" in line:
            break
    found = re.search(r"http://127\.0\.0\.1:(\d+)/", "\n".join(said))
    assert found is not None, said
    pipe = process.stderr
    threading.Thread(target=lambda: said.extend(pipe), daemon=True).start()
    return Served(process, int(found[1]), OWN[0], folder, said)
