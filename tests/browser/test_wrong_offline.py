"""When it goes wrong with the studio away: noted by one touch, with its time and picture, once."""

from __future__ import annotations

import socket
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, expect

from browser.bench_tablet import ITEM, Server, lose_answers, make_studio
from quirewell.record.nouns import ItemState
from quirewell.studio.studio import Studio
from web.conftest import picture_bytes

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    folder = tmp_path_factory.mktemp("wrong") / "studio"
    make_studio(folder)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    made = Server(folder, port)
    made.start()
    yield made
    made.kill()


def state(server: Server) -> ItemState:
    with Studio.open(server.folder) as studio:
        return studio.state(ITEM)


def test_noted_while_the_studio_is_away_it_is_saved_once_with_its_picture(
    browser: Browser, server: Server
) -> None:
    context = browser.new_context(viewport={"width": 820, "height": 1180}, has_touch=True)
    try:
        page = context.new_page()
        page.goto(f"{server.base}/wrong")
        expect(page.get_by_role("link", name="When it goes wrong")).to_be_visible()
        context.set_offline(True)
        ink = page.locator("#ink")
        ink.locator("input[type=file]").set_input_files(
            {"name": "ink.png", "mimeType": "image/png", "buffer": picture_bytes(5)}
        )
        ink.get_by_role("button", name="It happened").tap()
        expect(ink.get_by_role("status")).to_contain_text("sent when it does", timeout=15_000)
        assert not state(server).mishaps
        context.set_offline(False)
        expect(page.locator("#noted")).to_contain_text("Ink bleeds", timeout=60_000)
        (held,) = state(server).mishaps.values()
        assert held.kind == "ink" and state(server).captures[held.capture].view == "bench"
    finally:
        context.close()


def test_an_answer_lost_after_the_commit_doubles_nothing(browser: Browser, server: Server) -> None:
    context = browser.new_context(viewport={"width": 820, "height": 1180}, has_touch=True)
    try:
        page = context.new_page()
        page.goto(f"{server.base}/wrong")
        before = len(state(server).mishaps)
        lose_answers(page, 1)
        page.locator("#tideline").get_by_role("button", name="It happened").tap()
        expect(page.locator("#noted")).to_contain_text("A tideline forms", timeout=60_000)
        assert len(state(server).mishaps) == before + 1
    finally:
        context.close()
