"""Forms with very many or very large fields and files: refused in a sentence, and nothing saved."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from attack_tally import Tally
from lan_process import Answer, Served, heard
from quirewell.studio.studio import Studio

LINE = "Content-Type: multipart/form-data; boundary=x"
PLAIN = "Content-Type: application/x-www-form-urlencoded"


def part(name: str, data: bytes, file: str = "") -> bytes:
    named = f'; filename="{file}"' if file else ""
    head = f'--x\r\nContent-Disposition: form-data; name="{name}"{named}\r\n\r\n'
    return head.encode() + data + b"\r\n"


BODIES = {
    "one huge field": (LINE, part("title", b"a" * 400_000) + b"--x--\r\n"),
    "very many fields": (LINE, b"".join(part(f"f{n}", b"1") for n in range(900)) + b"--x--\r\n"),
    "files where none is taken": (LINE, part("title", b"1", "x.png") * 20 + b"--x--\r\n"),
    "a huge head of a part": (LINE, part("t" * 90_000, b"1") + b"--x--\r\n"),
    "one huge plain field": (PLAIN, b"title=" + b"a" * 400_000),
    "very many plain fields": (PLAIN, b"&".join(b"f%d=1" % n for n in range(60_000))),
    "no end": (LINE, part("title", b"half")),
    "a name twice over": (LINE, part("title", b"1") * 300 + b"--x--\r\n"),
}


@pytest.fixture
def head(served: Served) -> Iterator[str]:
    with Studio.open(served.folder) as studio:
        before = studio.head()
    yield before
    with Studio.open(served.folder) as studio:
        assert studio.head() == before


@pytest.mark.parametrize("name", BODIES)
@pytest.mark.parametrize("path", ["/item/annual/describe", "/books/rates", "/item/annual/undo"])
def test_too_much_is_refused_in_a_sentence(
    served: Served, bench_cookie: str, tally: Tally, head: str, path: str, name: str
) -> None:
    line, body = BODIES[name]
    answer: Answer = served.get(path, line, bench_cookie, method="POST", body=body)
    tally.count("size", answer.status in (400, 413), (path, name, answer.status))
    assert b"Traceback" not in answer.body
    assert b"nothing was" in answer.body.lower() or b"was not taken in" in answer.body


@pytest.mark.parametrize("door", ["tablets", "machine"])
@pytest.mark.parametrize("name", ["one huge plain field", "very many plain fields"])
def test_who_is_refused_while_sending_still_hears_why(
    served: Served, bench_cookie: str, head: str, name: str, door: str
) -> None:
    line, body = BODIES[name]
    host = served.host if door == "tablets" else f"127.0.0.1:{served.port}"
    text = (
        f"POST /books/rates HTTP/1.1\r\nHost: {host}\r\n{bench_cookie}\r\n{line}\r\n"
        f"Content-Length: {4 * len(body)}\r\nConnection: close\r\n\r\n"
    )
    with served.connect(30.0, door) as talk:
        talk.sendall(text.encode() + body)
        for _ in range(3):
            # Long enough for an answer that does not wait for the rest.
            time.sleep(0.4)
            talk.sendall(body)
        answer = Answer.of(heard(talk))
    assert answer.status in (400, 413)
    assert b"nothing was" in answer.body or b"was not taken in" in answer.body
    assert len(answer.body) == int(answer.headers["content-length"])


def test_a_stated_length_is_not_trusted(served: Served, bench_cookie: str, tally: Tally) -> None:
    chunk = b"10000\r\n" + b"a" * 0x10000 + b"\r\n"
    sent = (
        (
            f"POST /books/rates HTTP/1.1\r\nHost: {served.host}\r\n{bench_cookie}\r\n{PLAIN}\r\n"
            "Transfer-Encoding: chunked\r\nConnection: close\r\n\r\n"
        ).encode()
        + chunk * 12
        + b"0\r\n\r\n"
    )
    answer = Answer.of(served.raw(sent))
    tally.count("size", answer.status == 413, answer.status)


def test_what_is_kept_for_the_doors_is_its_owners_alone(served: Served) -> None:
    keys: Path = served.folder / "keys"
    assert keys.stat().st_mode & 0o077 == 0
    for one in keys.iterdir():
        assert one.stat().st_mode & 0o077 == 0, one.name
