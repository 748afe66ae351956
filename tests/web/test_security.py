"""Hosts, origins and headers, as a browser or a foreign page would send them.

The rules: WHATWG Fetch (``Origin``, ``null`` for opaque origins), W3C Fetch Metadata
(``Sec-Fetch-Site``), W3C Content Security Policy Level 3.
"""

from __future__ import annotations

import re

import pytest
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from quirewell.web.security import POLICY, LocalOnly
from web_client import TestClient


def _echo(request: Request) -> Response:
    return PlainTextResponse(request.method)


def _burst(request: Request) -> Response:
    raise RuntimeError("planted")


@pytest.fixture
def client() -> TestClient:
    app = Starlette(
        routes=[
            Route("/", _echo, methods=["GET", "POST", "PUT", "DELETE", "PATCH"]),
            Route("/burst", _burst),
        ]
    )
    return TestClient(
        LocalOnly(app), base_url="http://127.0.0.1:8765", raise_server_exceptions=False
    )


@pytest.mark.parametrize("method", ["GET", "HEAD", "POST", "DELETE"])
@pytest.mark.parametrize(
    "host",
    ["evil.example", "evil.example:8765", "127.0.0.1.evil.example:8765", "127.0.0.1", "localhost",
     "127.0.0.1:80", "[::1]", "127.0.0.1:8765.evil.example", "127.0.0.2:8765", "0.0.0.0:8765", "",
     "127.0.0.1:8765@evil.example", "localhost:8765, evil.example"],
)  # fmt: skip
def test_refuses_every_foreign_host_on_reads_and_writes(
    client: TestClient, host: str, method: str
) -> None:
    assert client.request(method, "/", headers={"Host": host}).status_code == 400


@pytest.mark.parametrize(
    "host", ["127.0.0.1:8765", "localhost:8765", "LOCALHOST:8765", "[::1]:8765"]
)
def test_answers_the_loopback_names_with_their_port(client: TestClient, host: str) -> None:
    assert client.get("/", headers={"Host": host}).status_code == 200
    assert client.post("/", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE"])
@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({}, 200),
        ({"Origin": "http://127.0.0.1:8765"}, 200),
        ({"Origin": "http://127.0.0.1:8765", "Sec-Fetch-Site": "same-origin"}, 200),
        ({"Sec-Fetch-Site": "none"}, 200),
        ({"Origin": "null"}, 403),
        ({"Origin": "null", "Sec-Fetch-Site": "same-origin"}, 403),
        ({"Origin": "http://127.0.0.1:9999"}, 403),
        ({"Origin": "https://127.0.0.1:8765"}, 403),
        ({"Origin": "http://localhost:8765"}, 403),
        ({"Origin": "http://evil.example"}, 403),
        ({"Origin": "http://evil.example", "Sec-Fetch-Site": "same-origin"}, 403),
        ({"Sec-Fetch-Site": "cross-site"}, 403),
        ({"Sec-Fetch-Site": "same-site"}, 403),
        ({"Origin": "http://127.0.0.1:8765", "Sec-Fetch-Site": "cross-site"}, 403),
    ],
)
def test_lets_through_only_our_own_writes(
    client: TestClient, method: str, headers: dict[str, str], status: int
) -> None:
    assert client.request(method, "/", headers=headers).status_code == status


def test_a_link_from_another_site_may_still_open_a_page(client: TestClient) -> None:
    assert client.get("/", headers={"Sec-Fetch-Site": "cross-site"}).status_code == 200


@pytest.mark.parametrize(
    ("path", "headers"),
    [("/", {}), ("/", {"Host": "evil.example"}), ("/nowhere", {}), ("/burst", {})],
)
def test_every_answer_carries_the_policy(
    client: TestClient, path: str, headers: dict[str, str]
) -> None:
    answer = client.get(path, headers=headers)
    assert answer.headers["content-security-policy"] == POLICY
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["referrer-policy"] == "same-origin"
    assert answer.headers["cross-origin-opener-policy"] == "same-origin"
    assert answer.headers["cross-origin-resource-policy"] == "same-origin"


@pytest.mark.parametrize(
    ("path", "lines", "status"),
    [("/" + "a" * 16_400, {}, 414), ("/?x=" + "a" * 16_400, {}, 414),
     ("/?x=" + "a" * 16_000, {}, 200), ("/", {"X": "a" * 65_600}, 431),
     ("/", {f"X-{n}": "a" * 60 for n in range(1000)}, 431),
     ("/", {f"X-{n}": "a" * 60 for n in range(500)}, 200)],
)  # fmt: skip
def test_a_head_is_too_large_in_whatever_pieces_it_comes(
    client: TestClient, path: str, lines: dict[str, str], status: int
) -> None:
    """RFC 9110, 15.5.15 and RFC 6585, 5; here whole, as one piece off the network would be."""
    for method in ("GET", "POST"):
        assert client.request(method, path, headers=lines).status_code == status


def test_the_policy_allows_no_inline_code_and_no_foreign_address() -> None:
    assert "unsafe" not in POLICY
    assert not re.search(r"https?:|\*", POLICY)
    for rule in ("default-src 'none'", "frame-ancestors 'none'", "base-uri 'none'"):
        assert rule in POLICY
