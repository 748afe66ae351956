"""One real server on this machine's own network address, for all attacks of a run."""

from __future__ import annotations

import re
from collections.abc import Iterator
from urllib.parse import urlencode

import pytest

from attack_tally import TALLY, Tally
from lan_process import OWN, Served, serve_lan
from lan_studio import WORDS
from quirewell.web.links import Links
from visitors import GUEST_WORDS, ITEM, planted_studio


@pytest.fixture(scope="session")
def tally() -> Iterator[Tally]:
    yield TALLY
    TALLY.write()


@pytest.fixture(scope="session")
def link_token(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, str]]:
    yield {}


@pytest.fixture(scope="session")
def served(
    tmp_path_factory: pytest.TempPathFactory, link_token: dict[str, str]
) -> Iterator[Served]:
    if not OWN:
        pytest.skip("this machine has no address on a network")
    folder = tmp_path_factory.mktemp("attacked") / "studio"
    planted_studio(folder)
    link_token["token"], _ = Links(folder).make(ITEM, "14")
    made = serve_lan(folder)
    yield made
    made.stop()


def signed_in(served: Served, words: str) -> str:
    """The cookie line of a tablet that signed in."""
    body = urlencode({"passphrase": words}).encode()
    kind = "Content-Type: application/x-www-form-urlencoded"
    answer = served.get("/in", kind, method="POST", body=body)
    assert answer.status == 303, answer
    found = re.match(r"([^=]+=[^;]+)", answer.cookies[0])
    assert found is not None
    return f"Cookie: {found[1]}"


@pytest.fixture(scope="session")
def bench_cookie(served: Served) -> str:
    return signed_in(served, WORDS)


@pytest.fixture(scope="session")
def guest_cookie(served: Served) -> str:
    return signed_in(served, GUEST_WORDS)


@pytest.fixture(scope="session")
def owner_cookie(served: Served, link_token: dict[str, str]) -> str:
    answer = served.get(f"/seen/{link_token['token']}")
    assert answer.status == 303, answer
    found = re.match(r"([^=]+=[^;]+)", answer.cookies[0])
    assert found is not None
    return f"Cookie: {found[1]}"
