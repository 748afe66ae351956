"""The demo's next job played on a tablet: planned anew, its pilot accepted, two sheets through the
bath by the plan, the answers lost, the network gone, the server killed; every entry once."""

from __future__ import annotations

import socket
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
from playwright.sync_api import Browser, expect

from browser.bench_tablet import Server, Tablet, lose_answers, touch
from quirewell.demo import next_job, practice, shelf
from quirewell.demo.bench import Bench
from quirewell.demo.companions import COMPANIONS
from quirewell.stages import pilot
from quirewell.studio.studio import Studio

pytestmark = pytest.mark.browser
WAIT = 30_000


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    bench = Bench(tmp_path_factory.mktemp("evening") / "studio")
    practice.open_books(bench)
    book = next(one for one in COMPANIONS if (one.title[:5], one.year) == ("Thrus", 1937))
    shelf._open(bench, book)
    next_job.begin(bench)
    bench.studio.close()
    with Studio.open(bench.studio.folder) as studio:
        state = studio.state(next_job.ITEM)
        at = datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
        said = {"accepted": "yes", "measured": "by rule and card as noted", "at": at}
        studio.append(next_job.ITEM, state.version, pilot.judge_pilot(state, said))
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    made = Server(bench.studio.folder, port)
    made.start()
    yield made
    made.kill()


def test_an_evening_of_the_demo_by_its_plan_loses_and_doubles_nothing(
    browser: Browser, server: Server
) -> None:
    context = browser.new_context(viewport={"width": 820, "height": 1180}, has_touch=True)
    try:
        plan = context.new_page()
        plan.goto(f"{server.base}/plan")
        plan.get_by_role("button", name="Work it out anew from what really happened").tap()
        expect(plan.locator("main")).to_contain_text("Since the plan before", timeout=60_000)
        plan.close()
        a = Tablet(context, server.base, f"?item={next_job.ITEM}")
        page, did = a.page, 0
        with Studio.open(server.folder) as studio:
            before = studio.state(next_job.ITEM).version
        lost: list[str] = []
        for turn in range(12):
            expect(page.locator("#now [data-main]")).to_be_visible(timeout=WAIT)
            if turn == 2:
                lost = lose_answers(page, 2)
            if turn == 5:
                page.evaluate("navigator.serviceWorker.ready.then(() => true)")
                a.context.set_offline(True)
                a.reading("tone 8", "w02")
                expect(page.locator("#outbox h2")).to_contain_text("not yet saved", timeout=WAIT)
                a.context.set_offline(False)
                a.until_saved()
            if turn == 8:
                server.kill()
                a.note("typed with the server dead")
                expect(page.locator("#outbox h2")).to_contain_text("not yet saved", timeout=WAIT)
                server.start()
                a.until_saved()
            main = page.locator("#now [data-main]")
            does = "Begun: " if main.inner_text() == "Start" else "Done: "
            touch(main, 1.0)
            a.ticked(does)
            a.until_saved()
            expect(main).to_have_text("Done" if does == "Begun: " else "Start", timeout=WAIT)
            did += 1
        assert len(lost) == 2 and did == 12
    finally:
        context.close()
    with Studio.open(server.folder) as studio:
        state, events = studio.state(next_job.ITEM), studio.events(next_job.ITEM)
        assert not state.overrides
        sent = Counter(event.body["id"] for event in events if event.kind == "entry.sent")
        assert max(sent.values()) == 1
        acts = Counter(event.kind for event in events[before:])
        assert acts["step.started"] + acts["step.done"] == 12
        tasks = Counter(event.body["task"] for event in events if event.kind == "step.started")
        assert max(tasks.values()) == 1, "a step was begun twice"
        assert sum(one.as_typed == "8" for one in state.readings.values()) == 1
        assert studio.connection_check() == ([], [])
