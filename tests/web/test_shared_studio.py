"""The pages over a studio whose tables are in PostgreSQL, and while its server is away."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from httpx import Response

from postgres_server import Server
from postgres_studios import PostgresStudios
from quirewell.studio.studio import Studio
from quirewell.web.app import create_app
from web.conftest import BASE, ITEM, Bench, make_studio
from web_client import TestClient

PAGES = (
    "", "/intake/sheet", "/examine", "/grid", "/treat", "/decide", "/prove", "/send", "/money",
    "/owner", "/trial",
)  # fmt: skip
BENCH_PAGES = (
    "/", "/?title=copper", "/today", "/bench", "/books", "/books/memory", "/clients", "/plan",
    "/parcels", "/recipes", "/decisions", "/backups", "/bench/health",
)  # fmt: skip


@pytest.fixture
def shared(tmp_path: Path, on_postgres: PostgresStudios) -> Iterator[Bench]:
    folder = tmp_path / "studio"
    make_studio(folder)
    assert not (folder / "studio.db").exists()
    client = TestClient(create_app(folder, workers=1), base_url=BASE, raise_server_exceptions=False)
    with client, Studio.open(folder) as studio:
        yield Bench(client, studio)


def send(bench: Bench, once: str) -> Response:
    """A reading as a tablet sends it."""
    form = {
        "once": once, "item": ITEM, "command": "reading", "value": "pH 7.9 at 21C",
        "place": "w01", "moment": "after",
    }  # fmt: skip
    return bench.client.post("/today/send", data=form, headers={"accept": "application/json"})


def test_pages_show_and_save(shared: Bench) -> None:
    paths = (*BENCH_PAGES, *(shared.url(path) for path in PAGES))
    said = {path: shared.client.get(path).status_code for path in paths}
    assert {path: status for path, status in said.items() if status != 200} == {}
    answer = send(shared, "a" * 32)
    assert answer.json()["saved"] is True, answer.text
    again = send(shared, "a" * 32)
    assert again.json()["saved"] is True and len(shared.state.readings) == 1


def test_lost_server_is_a_sentence_and_what_was_sent_can_be_sent_again(
    shared: Bench, postgres: Server
) -> None:
    before = len(shared.studio.events())
    postgres.stop("immediate")
    try:
        answer = send(shared, "b" * 32)
        # A device keeps what was answered with 500 or more, and sends it again.
        assert answer.status_code == 503 and "does not answer" in answer.json()["says"]
        page = shared.client.get("/")
        assert page.status_code == 503 and "does not answer" in page.text
        assert "Traceback" not in page.text and "pg8000" not in page.text
    finally:
        postgres.start()
    assert len(shared.studio.events()) == before
    answer = send(shared, "b" * 32)
    assert answer.json()["saved"] is True
    assert len(shared.state.readings) == 1 and shared.client.get("/").status_code == 200
