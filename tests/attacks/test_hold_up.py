"""Nobody holds the studio up: slow heads and bodies, unread answers, connections, guesses."""

from __future__ import annotations

import asyncio
import contextlib
import socket
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from urllib.parse import urlencode

import pytest
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import Receive, Scope, Send

from attack_tally import Tally
from lan_process import OWN, Answer, Served, heard, serve_lan
from lan_studio import CHEAP, WORDS
from quirewell.studio.studio import Studio
from quirewell.web import patience
from quirewell.web.passphrase import set_passphrase
from quirewell.web.patience import CountingListener, PatientProtocol
from quirewell.web.serving import TwoDoors

FORM = "Content-Type: application/x-www-form-urlencoded"


async def _app(scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] != "http":
        return
    body = await Request(scope, receive).body()
    large = scope["path"] == "/large"
    await Response(b"x" * (32 << 20) if large else b"%d" % len(body))(scope, receive, send)


@pytest.fixture
def hurried(monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[str, int]]:
    """A server with the same rules and shorter times, plain, in a thread of this process."""
    for name, seconds in (("HEAD_S", 0.6), ("STALL_S", 2.0), ("LOOK_S", 0.1),
                          ("SLOW_AFTER_S", 1.0)):  # fmt: skip
        monkeypatch.setattr(patience, name, seconds)
    with socket.create_server(("127.0.0.1", 0)) as listening:
        server = TwoDoors(_app)
        ready = threading.Event()
        server._opened = ready.set
        thread = threading.Thread(target=lambda: asyncio.run(server.serve([listening])))
        thread.start()
        assert ready.wait(20)
        yield listening.getsockname()
        server.should_exit = True
        thread.join(20)


def ended_after(where: tuple[str, int], first: bytes, drip: bytes, every: float) -> float:
    """How long a connection lives [s] on which this is sent first, and then dripped; at most 8."""
    begun = time.monotonic()
    with socket.create_connection(where, timeout=1) as talk:
        talk.sendall(first)
        talk.settimeout(every)
        while time.monotonic() - begun < 8:
            try:
                if talk.recv(4096) == b"":
                    return time.monotonic() - begun
            except TimeoutError:
                pass
            except OSError:
                return time.monotonic() - begun
            try:
                if drip:
                    talk.sendall(drip)
            except OSError:
                return time.monotonic() - begun
    return 8.0


HEAD = b"POST / HTTP/1.1\r\nHost: x\r\n"


@pytest.mark.parametrize(
    ("name", "first", "drip"),
    [
        ("silence", b"", b""),
        ("half a head", HEAD, b""),
        ("a head that drips", HEAD, b"X: y\r\n"),
        ("a body that never comes", HEAD + b"Content-Length: 100\r\n\r\n", b""),
        ("a body that stops", HEAD + b"Content-Length: 100\r\n\r\nhalf", b""),
        ("a body that drips", HEAD + b"Content-Length: 100000\r\n\r\n", b"x"),
        ("chunks that drip", HEAD + b"Transfer-Encoding: chunked\r\n\r\n", b"1\r\nx\r\n"),
    ],
)
def test_a_connection_that_only_waits_is_ended(
    hurried: tuple[str, int], tally: Tally, name: str, first: bytes, drip: bytes
) -> None:
    tally.count("slow", ended_after(hurried, first, drip, 0.2) < 7.5, name)


@pytest.mark.slow
def test_an_answer_that_is_not_read_is_not_held_for_ever(
    hurried: tuple[str, int], tally: Tally
) -> None:
    with socket.create_connection(hurried, timeout=10) as talk:
        talk.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 16)
        talk.sendall(b"GET /large HTTP/1.1\r\nHost: x\r\n\r\n")
        time.sleep(6)
        tally.count("slow", len(heard(talk)) < 32 << 20)


def test_a_body_that_comes_at_a_fair_pace_is_taken(hurried: tuple[str, int]) -> None:
    with socket.create_connection(hurried, timeout=10) as talk:
        talk.sendall(HEAD + b"Content-Length: 20000\r\nConnection: close\r\n\r\n")
        for _ in range(20):
            time.sleep(0.1)
            talk.sendall(b"x" * 1000)
        assert heard(talk).endswith(b"20000")


def test_so_many_connections_of_one_address_and_of_all() -> None:
    with socket.create_server(("127.0.0.1", 0)) as plain:
        where = plain.getsockname()
        listening = CountingListener(plain, one=3, every=5)
    with listening:
        callers = [socket.create_connection(where, timeout=5) for _ in range(4)]
        taken = [listening.accept()[0] for _ in range(3)]
        with pytest.raises(ConnectionAbortedError):
            listening.accept()
        assert callers[3].recv(1) == b""
        taken.pop().close()
        callers.append(socket.create_connection(where, timeout=5))
        taken.append(listening.accept()[0])
        for one in (*callers, *taken):
            one.close()
        assert listening._open.total() == 0


@pytest.fixture(scope="module")
def alone(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A server of its own: here everybody is made to wait."""
    if not OWN:
        pytest.skip("this machine has no address on a network")
    folder: Path = tmp_path_factory.mktemp("alone") / "studio"
    Studio.create(folder, "Larkmoor paper bench").close()
    set_passphrase(folder, WORDS, n=CHEAP)
    made = serve_lan(folder)
    yield made
    made.stop()


def test_a_flood_of_connections_leaves_the_studio_open(alone: Served, tally: Tally) -> None:
    """Without any TLS, and with it: the machine itself goes on, and the tablets' door after."""
    held = []
    refused = 0
    try:
        for _ in range(200):
            talk = socket.create_connection((alone.address, alone.port), timeout=5)
            held.append(talk)
        time.sleep(0.5)
        for talk in held:
            talk.settimeout(0.05)
            try:
                refused += talk.recv(1) == b""
            except TimeoutError:
                continue
            except OSError:
                refused += 1
        for _ in range(refused):
            tally.count("flood", True)
        tally.count("flood", refused >= 200 - patience.MOST_OF_ONE - 5, refused)
        assert alone.get("/", door="machine").status == 200
    finally:
        for talk in held:
            talk.close()
    until, status = time.monotonic() + 20, 0  # it has to hear first that they hung up
    while status != 200 and time.monotonic() < until:
        time.sleep(0.3)
        with contextlib.suppress(OSError):
            status = alone.get("/in").status
    assert status == 200


def tried(served: Served, words: str, *lines: str) -> Answer:
    body = urlencode({"passphrase": words}).encode()
    return served.get("/in", FORM, *lines, method="POST", body=body)


def test_guesses_side_by_side_are_as_few_as_guesses_in_a_row(alone: Served, tally: Tally) -> None:
    """Sixty at once, each with another forwarded address; five are looked at, and the right one
    among the rest is not."""

    def guess(n: int) -> Answer:
        names = ("X-Forwarded-For", "X-Real-IP", "X-Client-IP", "CF-Connecting-IP")
        lines = (f"Forwarded: for=10.2.{n}.9", *(f"{name}: 10.1.{n}.7" for name in names))
        return tried(alone, f"not the words {n}", *lines)

    with ThreadPoolExecutor(20) as pool:
        answers = list(pool.map(guess, range(60)))
    looked_at = [one for one in answers if one.status == 401]
    for one in answers:
        tally.count("guess", one.status in (401, 429) and not one.cookies, one.status)
    assert len(looked_at) <= 5
    late = tried(alone, WORDS, "X-Forwarded-For: 10.9.9.9")
    tally.count("guess", late.status == 429 and not late.cookies, late.status)
    assert int(late.headers["retry-after"]) >= 20
    assert alone.get("/", door="machine").status == 200


def test_the_protocol_is_the_patient_one() -> None:
    from quirewell.web.serving import configured

    config = configured(_app)
    config.load()
    assert config.http_protocol_class is PatientProtocol
    assert config.ws_protocol_class is None
