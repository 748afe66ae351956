"""A whole day at the bench on a tablet: the network cut twice (once by losing the answers of what
was saved already), the server killed, the page loaded anew; no reading lost, none doubled."""

from __future__ import annotations

import socket
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, BrowserContext, expect

from browser.bench_tablet import (
    ITEM,
    Server,
    Tablet,
    held_once,
    kinds_of,
    lose_answers,
    make_studio,
)
from quirewell.studio.studio import Studio
from web.conftest import picture_bytes

pytestmark = pytest.mark.browser
WAIT = 30_000


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    folder = tmp_path_factory.mktemp("day") / "studio"
    make_studio(folder)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    made = Server(folder, port)
    made.start()
    yield made
    made.kill()


def tablet_of(browser: Browser) -> BrowserContext:
    return browser.new_context(viewport={"width": 820, "height": 1180}, has_touch=True)


def test_a_day_with_two_cuts_and_a_killed_server_keeps_every_reading_once(
    browser: Browser, server: Server
) -> None:
    one, two = tablet_of(browser), tablet_of(browser)
    try:
        a, b = Tablet(one, server.base), Tablet(two, server.base)
        _morning(a, b)
        _cut_after_the_commit(a)
        _cut_and_loaded_anew(a, b)
        _killed(a, b, server)
        _evening(a)
        held_once(server.folder, [*a.typed, *b.typed], [*a.notes, *b.notes])
        with Studio.open(server.folder) as studio:
            kinds = kinds_of(studio)
            state = studio.state(ITEM)
        assert kinds["step.started"] == 4 and kinds["step.done"] == 4
        assert [step.state for step in state.steps.values()] == ["done"] * 4
        pictures = [one for one in state.captures.values() if one.view == "bench"]
        assert len(pictures) == kinds["capture.added"] == 1
        late = next(step for step in state.steps.values() if step.places == ("w05",))
        assert late.started_at < late.done_at
    finally:
        one.close()
        two.close()


def _morning(a: Tablet, b: Tablet) -> None:
    a.start("surface-clean", "1-4", "20 min")
    a.ticked("Begun: Surface cleaned, wraps 1 to 4")
    for wrap in range(1, 5):
        a.reading(f"pH 5.{wrap} at 21C", f"w0{wrap}")
        a.ticked(f"pH 5.{wrap} at 21 °C")
    expect(b.page.locator("#now h1")).to_have_text("Surface cleaned", timeout=WAIT)
    b.note("soft brush, the red holds")
    b.ticked("A note: Surface cleaned")


def _cut_after_the_commit(a: Tablet) -> None:
    """The server has saved it, the answer never comes: the page must send again, and once."""
    lost = lose_answers(a.page, 3)
    a.reading("184.5 x 260", "w01")
    a.reading("12.5 g", "w02")
    a.note("the answer of this one is lost")
    expect.set_options(timeout=WAIT)
    a.until_saved()
    a.ticked("A note")
    assert len(lost) == 3 and all('"saved":true' in text for text in lost)
    a.page.unroute("**/today/send")


def _cut_and_loaded_anew(a: Tablet, b: Tablet) -> None:
    """No network at all; the page is loaded anew meanwhile, and a step begins and ends."""
    a.page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    a.page.wait_for_timeout(1500)
    a.context.set_offline(True)
    expect(a.page.locator("#outbox")).to_contain_text("does not answer", timeout=WAIT)
    a.reading("L* 78", "w03")
    a.note("typed without a network")
    a.start("house", "5", "10")
    expect(a.page.locator("#outbox h2")).to_have_text("3 entries not yet saved")
    a.open()
    expect(a.page.locator("#outbox h2")).to_have_text("3 entries not yet saved", timeout=WAIT)
    expect(a.page.locator("#outbox")).to_contain_text("“typed without a network”")
    a.page.wait_for_timeout(1200)
    a.page.locator("#outbox form[data-entry=done] button").tap()
    expect(a.page.locator("#outbox h2")).to_have_text("4 entries not yet saved")
    b.reading("pH 6.1 at 20C", "w09")
    b.ticked("pH 6.1")
    a.context.set_offline(False)
    a.until_saved()


def _killed(a: Tablet, b: Tablet, server: Server) -> None:
    """The server is killed under both tablets; both go on typing."""
    server.kill()
    for tablet, place in ((a, "w06"), (b, "w07")):
        tablet.reading(f"pH 7.9 at 2{place[-1]}C", place)
        tablet.note(f"typed with the server dead, {place}")
        expect(tablet.page.locator("#outbox h2")).to_have_text(
            "2 entries not yet saved", timeout=WAIT
        )
    server.start()
    a.until_saved()
    b.until_saved()


def _evening(a: Tablet) -> None:
    expect(a.page.locator("#now h1")).to_have_text("Surface cleaned", timeout=WAIT)
    a.opened("#q-photo")
    picture = {"name": "w03.png", "mimeType": "image/png", "buffer": picture_bytes(33)}
    a.page.locator("#p-photo").set_input_files([picture])  # type: ignore[list-item]
    a.page.locator("#q-photo").get_by_role("button", name="Keep the picture").tap()
    a.ticked("A picture of")
    a.done()
    a.ticked("Done: Surface cleaned")
    for sheet in ("6", "7"):
        a.start("house", sheet)
        a.ticked(f"Begun: Housed, wrap {sheet}")
        expect(a.page.locator("#now h1")).to_have_text("Housed", timeout=WAIT)
        a.done()
        a.ticked(f"Done: Housed, wrap {sheet}")
