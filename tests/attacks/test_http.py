"""Raw talk with the doors: hosts, targets, methods, smuggling, sizes, TLS; by the bytes themselves.

The rules: RFC 9110 and RFC 9112 (HTTP), WHATWG Fetch (Origin), W3C Fetch Metadata, RFC 8996 (old
TLS is not to be spoken).
"""

from __future__ import annotations

import re
import socket
import ssl

import pytest

from attack_tally import Tally
from lan_process import Answer, Served


def hosts(served: Served) -> list[str]:
    """Hosts that are none of ours, by tricks that worked somewhere."""
    ip, port = served.address, served.port
    return [
        "evil.example", f"evil.example:{port}", ip, f"{ip}:80", f"{ip}:443", f"{ip}.:{port}",
        f"{ip}.evil.example:{port}", f"{ip}.nip.example:{port}", f"{ip}:{port}.evil.example",
        f"x@{ip}:{port}", f"{ip}:{port}@evil.example", f"{ip}:{port}, evil.example",
        f"{ip}:{port}/", f"{ip}:{port}#", f"{ip}:{port}?", f"[{ip}]:{port}", f"[::1]:{port}",
        f"[::ffff:{ip}]:{port}", f"127.0.0.1:{port}", f"localhost:{port}", f"LOCALHOST:{port}",
        f"localhost.:{port}", f"0.0.0.0:{port}", f"0:{port}", f"0x7f000001:{port}",
        f"{ip}:0{port}", f"{ip}:{port}0", f"{ip}:+{port}", f"{ip}:", ":" + str(port), "", " ",
        f"{ip}\t:{port}", f"{ip}%00:{port}", f"https://{ip}:{port}", "*", "_", "a" * 3000,
    ]  # fmt: skip


def test_no_other_host_is_answered_at_the_tablets_door(
    served: Served, bench_cookie: str, tally: Tally
) -> None:
    for host in hosts(served):
        for cookie in ("Cookie: x=y", bench_cookie):
            for method in ("GET", "POST", "HEAD"):
                answer = served.get("/", cookie, method=method, host=host)
                tally.count("host", answer.status == 400 and b"Larkmoor" not in answer.body, host)


def test_no_other_host_is_answered_on_the_machine_itself(served: Served, tally: Tally) -> None:
    fine = {f"127.0.0.1:{served.port}", f"localhost:{served.port}", f"LOCALHOST:{served.port}",
            f"[::1]:{served.port}"}  # fmt: skip
    for host in [*hosts(served), served.host, "rebound.example"]:
        if host in fine or not host.strip():
            continue
        answer = served.get("/", host=host, door="machine")
        tally.count("host", answer.status == 400 and b"Larkmoor" not in answer.body, host)
    for host in fine - {f"[::1]:{served.port}"}:
        assert served.get("/", host=host, door="machine").status == 200


@pytest.mark.parametrize("door", ["tablets", "machine"])
def test_heads_that_name_two_hosts_none_or_another_place_are_refused(
    served: Served, bench_cookie: str, tally: Tally, door: str
) -> None:
    own = served.host if door == "tablets" else f"127.0.0.1:{served.port}"
    scheme = "https" if door == "tablets" else "http"
    heads = [
        f"GET / HTTP/1.1\r\nHost: {own}\r\nHost: evil.example\r\n",
        f"GET / HTTP/1.1\r\nHost: evil.example\r\nHost: {own}\r\n",
        f"GET / HTTP/1.1\r\nHost: {own}\r\nHost: {own}\r\n",
        "GET / HTTP/1.1\r\n", "GET / HTTP/1.0\r\n",
        f"GET / HTTP/1.1\r\nHost : {own}\r\n", f"GET / HTTP/1.1\r\n Host: {own}\r\n",
        f"GET / HTTP/1.1\r\nX: y\r\n Host: {own}\r\n",
        f"GET {scheme}://evil.example/ HTTP/1.1\r\nHost: {own}\r\n",
        f"GET {scheme}://{own}/ HTTP/1.1\r\nHost: {own}\r\n",
        f"GET {scheme}://{own}/ HTTP/1.1\r\nHost: evil.example\r\n",
        f"CONNECT evil.example:443 HTTP/1.1\r\nHost: {own}\r\n",
        f"OPTIONS * HTTP/1.1\r\nHost: {own}\r\n",
        f"GET \\\\evil\\share HTTP/1.1\r\nHost: {own}\r\n",
        f"GET today HTTP/1.1\r\nHost: {own}\r\n", f"GET ?x HTTP/1.1\r\nHost: {own}\r\n",
        f"GET / HTTP/9.9\r\nHost: {own}\r\n", f"GET /\r\nHost: {own}\r\n",
        f"GET  /  HTTP/1.1\r\nHost: {own}\r\n", f"G\x00T / HTTP/1.1\r\nHost: {own}\r\n",
        f"GET /\x01 HTTP/1.1\r\nHost: {own}\r\n", f"GET /%00 HTTP/1.1\r\nHost: {own}\r\n",
        f"GET /%0d%0aX:%20y HTTP/1.1\r\nHost: {own}\r\n",
        f"GET /item%5c..%5c HTTP/1.1\r\nHost: {own}\r\n",
    ]  # fmt: skip
    for head in heads:
        for cookie in ("", f"{bench_cookie}\r\n"):
            sent = f"{head}{cookie}Connection: close\r\n\r\n".encode("latin-1")
            answer = Answer.of(served.raw(sent, door=door))
            kept = answer.status in (400, 0) and b"Larkmoor" not in answer.body
            tally.count("target", kept, (head, answer.status))


def test_methods_that_are_none_of_ours_do_nothing(
    served: Served, bench_cookie: str, tally: Tally
) -> None:
    for method in ("TRACE", "TRACK", "OPTIONS", "PUT", "DELETE", "PATCH", "PROPFIND", "get", "Get",
                   "DEBUG", "MOVE", "X" * 200):  # fmt: skip
        for path in ("/", "/item/annual", "/new", "/static/house.css", "/in", "/out"):
            lines = (bench_cookie, "X-Probe: seven-of-nine")
            answer = served.get(path, *lines, method=method)
            tally.count("method", answer.status == 405, (method, path, answer.status))
            assert b"seven-of-nine" not in answer.body


@pytest.mark.parametrize("name", ["X-HTTP-Method-Override", "X-HTTP-Method", "X-Method-Override",
                                  "_method"])  # fmt: skip
def test_a_read_is_never_made_a_write_by_a_header(
    served: Served, bench_cookie: str, tally: Tally, name: str
) -> None:
    for path in ("/item/annual/undo?seq=1", "/new?title=x&_method=POST", "/out"):
        for method in ("POST", "DELETE"):
            answer = served.get(path, bench_cookie, f"{name}: {method}")
            tally.count("method", answer.status in (200, 405), (path, answer.status))
    assert served.get("/", bench_cookie).status == 200


def test_lengths_that_disagree_are_never_read_in_two_ways(
    served: Served, bench_cookie: str, tally: Tally
) -> None:
    """Request smuggling: what lies behind the first request is answered as nothing."""
    behind = f"GET /today HTTP/1.1\r\nHost: {served.host}\r\n{bench_cookie}\r\n\r\n"
    ways = [
        ("Content-Length: 4\r\nTransfer-Encoding: chunked", "0\r\n\r\n"),
        ("Transfer-Encoding: chunked\r\nContent-Length: 4", "0\r\n\r\n"),
        ("Transfer-Encoding: chunked\r\nTransfer-Encoding: identity", "0\r\n\r\n"),
        ("Transfer-Encoding: xchunked", "0\r\n\r\n"),
        ("Transfer-Encoding: identity, chunked", "0\r\n\r\n"),
        ("Transfer-Encoding : chunked", "0\r\n\r\n"),
        ("Transfer-Encoding:\x0bchunked", "0\r\n\r\n"),
        ("Content-Length: 0\r\nContent-Length: 5", "hello"),
        ("Content-Length: +5", "hello"),
        ("Content-Length: -1", ""),
        ("Content-Length: 0x5", "hello"),
        ("Content-Length: 5, 5x", "hello"),
        ("Content-Length: 99999999999999999999999", "hello"),
        ("Transfer-Encoding: chunked", "zz\r\nhello\r\n0\r\n\r\n"),
        ("Transfer-Encoding: chunked", "-5\r\nhello\r\n0\r\n\r\n"),
        ("Transfer-Encoding: chunked", "0x5\r\nhello\r\n0\r\n\r\n"),
        ("Transfer-Encoding: chunked", "ffffffffffffffffffffff\r\nhello\r\n0\r\n\r\n"),
        ("Transfer-Encoding: chunked", "5\r\nhelloXX0\r\n\r\n"),
        ("Transfer-Encoding: chunked", "5;" + "x" * 70000 + "\r\nhello\r\n0\r\n\r\n"),
    ]
    for head, body in ways:
        sent = (f"POST /in HTTP/1.1\r\nHost: {served.host}\r\n{head}\r\n\r\n{body}{behind}").encode(
            "latin-1"
        )
        said = served.raw(sent, timeout=3)
        answers = re.findall(rb"HTTP/1\.1 (\d{3})", said)
        # One answer, and it is a refusal; or the sender's own second request after a body that
        # was read to its end in the one way there is (both lengths given: RFC 9112, 6.3, chunked).
        kept = b"HTTP/1.1 200" not in said or answers[0] in (b"400", b"401")
        tally.count("smuggling", kept and answers[:1] != [b"200"], (head, body[:20], answers))


def test_large_heads_and_many_lines_are_refused(served: Served, tally: Tally) -> None:
    for lines in (["X: " + "a" * 100_000], [f"X-{n}: {n}" for n in range(9000)],
                  ["Cookie: " + "a=b; " * 20_000], ["X" * 70_000 + ": y"]):  # fmt: skip
        answer = served.get("/in", *lines)
        tally.count("size", answer.status in (0, 400, 431), answer.status)
    answer = served.get("/" + "a" * 100_000)
    tally.count("size", answer.status in (0, 400, 414), answer.status)
    assert served.get("/in").status == 200


def test_what_is_no_http_is_told_so_under_the_same_policy(served: Served, tally: Tally) -> None:
    for sent in (b"\x00" * 50 + b"\r\n\r\n", b"HELO x\r\n\r\n", b"GET / HTTP/1.1\r\nbad\r\n\r\n",
                 b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n", b"\xff" * 2000 + b"\r\n\r\n"):  # fmt: skip
        answer = Answer.of(served.raw(sent, timeout=20))
        tally.count("no http", answer.status == 400, sent[:20])
        assert "default-src 'none'" in answer.headers["content-security-policy"]
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert b"Traceback" not in answer.body and b".py" not in answer.body


def test_no_plain_talk_at_the_tablets_door(served: Served, tally: Tally) -> None:
    for sent in (f"GET / HTTP/1.1\r\nHost: {served.host}\r\n\r\n".encode(), b"x" * 5000, b"\n"):
        said = served.raw(sent, timeout=4, door="plain")
        tally.count("plain", b"HTTP/1.1" not in said and b"Larkmoor" not in said, said[:40])


@pytest.mark.filterwarnings("ignore:ssl.TLSVersion:DeprecationWarning")
@pytest.mark.parametrize("version", [ssl.TLSVersion.TLSv1, ssl.TLSVersion.TLSv1_1])
def test_old_tls_is_not_spoken(served: Served, tally: Tally, version: ssl.TLSVersion) -> None:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    context.minimum_version = context.maximum_version = version
    context.set_ciphers("ALL:@SECLEVEL=0")
    with (
        socket.create_connection((served.address, served.port), timeout=20) as plain,
        pytest.raises((ssl.SSLError, ConnectionError)),
        context.wrap_socket(plain),
    ):
        raise AssertionError("it was spoken")
    tally.count("tls", True)


@pytest.mark.parametrize("version", [ssl.TLSVersion.TLSv1_2, ssl.TLSVersion.TLSv1_3])
def test_new_tls_is_spoken_and_the_certificate_is_the_studios(
    served: Served, version: ssl.TLSVersion
) -> None:
    context = ssl.create_default_context(cadata=served.get("/trust/certificate.crt").body)
    context.minimum_version = context.maximum_version = version
    with (
        socket.create_connection((served.address, served.port), timeout=20) as plain,
        context.wrap_socket(plain, server_hostname=served.address) as talk,
    ):
        assert talk.version() == version.name.replace("_", ".")
        cipher = talk.cipher()
        assert cipher is not None and not any(old in cipher[0] for old in ("RC4", "CBC", "NULL"))


def test_a_websocket_is_not_begun(served: Served, bench_cookie: str, tally: Tally) -> None:
    lines = ("Upgrade: websocket", "Sec-WebSocket-Version: 13", "Sec-WebSocket-Key: x3JJHMbDL1Ez",
             bench_cookie)  # fmt: skip
    with served.connect() as talk:
        head = "\r\n".join(
            (f"GET / HTTP/1.1\r\nHost: {served.host}", "Connection: Upgrade", *lines)
        )
        talk.sendall(f"{head}\r\n\r\n".encode())
        talk.settimeout(5)
        first = talk.recv(200)
    tally.count("method", b" 101 " not in first, first[:30])
