"""The bench page by touch: two tablets at once, a sleeping one, a drop of water, a foot pedal, a
refused entry set right, a clock that is off."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import uvicorn
from playwright.sync_api import Browser, BrowserContext, Route, expect

from browser.bench_tablet import ITEM, Finger, Tablet, held_once, kinds_of, make_studio, touch
from browser.conftest import Complaints
from quirewell.cli.serve import bind
from quirewell.stages import today_keep, treat
from quirewell.stages.once import send
from quirewell.studio.studio import Studio
from quirewell.web.app import create_app

pytestmark = pytest.mark.browser
WAIT = 20_000
Opened = Callable[..., Tablet]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    make_studio(tmp_path / "studio")
    return tmp_path / "studio"


@pytest.fixture
def base(folder: Path) -> Iterator[str]:
    listening = bind(0)
    config = uvicorn.Config(
        create_app(folder, workers=1), log_level="error", timeout_graceful_shutdown=3
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.05)
    yield f"http://127.0.0.1:{listening.getsockname()[1]}"
    server.should_exit = True
    thread.join(timeout=10)


@pytest.fixture
def opened(browser: Browser, base: str) -> Iterator[Opened]:
    """Open a tablet; ``before`` is done to its browser first."""
    contexts: list[BrowserContext] = []

    def make(before: Callable[[BrowserContext], None] = lambda context: None) -> Tablet:
        context = browser.new_context(viewport={"width": 820, "height": 1180}, has_touch=True)
        contexts.append(context)
        before(context)
        return Tablet(context, base)

    yield make
    for context in contexts:
        context.close()


def begin(folder: Path, kind: str, place: str, minutes_ago: float = 0, **form: str) -> str:
    """A step begun some minutes ago, as another device would have saved it."""
    at = (datetime.now(UTC) - timedelta(minutes=minutes_ago)).isoformat(timespec="seconds")
    with Studio.open(folder) as studio:
        whole = {
            "once": f"{int(time.time() * 1e6):032x}", "command": "start", "kind": kind,
            "places": place, "at": at.replace("+00:00", "Z"), "override": "a spare wrap for trial",
            **form,
        }  # fmt: skip
        kept = send(studio, ITEM, whole, today_keep.start)
        return next(key for key in kept.entry.record.split() if key.startswith("step-"))


def state_of(folder: Path, step: str) -> str:
    with Studio.open(folder) as studio:
        return studio.state(ITEM).steps[step].state


def test_two_tablets_at_once_keep_everything_of_both(folder: Path, opened: Opened) -> None:
    step = begin(folder, "surface-clean", "1")
    a, b = opened(), opened()
    for at in range(6):
        a.reading(f"pH 6.{at} at 21C", "w01")
        b.reading(f"pH 7.{at} at 20C", "w02")
        b.note(f"line {at} of the other tablet")
    a.until_saved()
    b.until_saved()
    expect(a.page.locator("#now .tells")).to_contain_text("line 5 of the other", timeout=WAIT)
    held_once(folder, [*a.typed, *b.typed], b.notes)
    a.done()
    a.ticked("Done: Surface cleaned")
    assert state_of(folder, step) == "done"


def test_done_on_both_tablets_is_done_once_and_the_other_is_told(
    folder: Path, opened: Opened
) -> None:
    begin(folder, "surface-clean", "1")
    a, b = opened(), opened()
    b.context.set_offline(True)
    b.done()
    expect(b.page.locator("#now [data-main]")).to_have_text("Kept here, not yet saved")
    a.done()
    a.ticked("Done: Surface cleaned")
    b.context.set_offline(False)
    line = b.page.locator("#outbox > ul > li")
    expect(line).to_contain_text("This step is done", timeout=WAIT)
    line.get_by_role("button", name="Throw it away").tap()
    line.get_by_role("button", name="Really throw it away?").tap()
    b.until_saved()
    with Studio.open(folder) as studio:
        assert kinds_of(studio)["step.done"] == 1


def test_a_drop_of_water_does_not_end_a_bath_and_a_held_knuckle_does(
    folder: Path, opened: Opened
) -> None:
    step = begin(folder, "wash", "3", 5, planned="20", most="30")
    tablet = opened()
    expect(tablet.page.locator("#now h1")).to_have_text("Washed")
    main = tablet.page.locator("#now [data-main]")
    assert (main.bounding_box() or {})["height"] >= 64
    touch(main, 0.15)
    expect(tablet.page.locator("#hint")).to_have_text("Hold it until the bar is full.")
    tablet.page.wait_for_timeout(1000)
    assert state_of(folder, step) == "started"
    touch(main, 1.0)
    tablet.ticked("Done: Washed, wrap 3")
    assert state_of(folder, step) == "done"
    expect(tablet.page.locator("#tick button")).to_have_count(0)
    wet = tablet.page.locator("#bench .say.care")
    expect(wet).to_contain_text("Wrap 3 of Copperbeck Garden Annual: wet", timeout=WAIT)
    tablet.page.get_by_role("button", name="It goes on").tap()
    tablet.ticked("Goes on: Washed")
    assert state_of(folder, step) == "started"


def test_nothing_moves_under_a_finger_whatever_is_saved_meanwhile(
    folder: Path, opened: Opened
) -> None:
    begin(folder, "surface-clean", "1")
    a, b = opened(), opened()
    bench, note = a.page.locator("#bench"), a.page.locator("#q-note")
    before = bench.get_attribute("data-mark") or ""
    finger = Finger(note.locator("summary"))
    b.note("saved while the finger is down")
    b.ticked("A note")
    a.page.wait_for_timeout(3500)  # longer than the page waits between two askings
    expect(bench).to_have_attribute("data-mark", before)
    finger.lift()
    if not note.locator("form").is_visible():  # so long a touch sends no click on some devices
        note.locator("summary").tap()
    expect(bench).not_to_have_attribute("data-mark", before, timeout=WAIT)
    expect(note.locator("form")).to_be_visible()
    assert a.page.url.endswith("/today")


def test_a_finger_that_stays_after_the_bar_is_full_touches_nothing_else(
    folder: Path, opened: Opened
) -> None:
    step = begin(folder, "wash", "3", 5, planned="20", most="30")
    tablet = opened()
    page = tablet.page
    page.evaluate("window.heard = []; addEventListener('click', () => heard.push('click'))")
    finger = Finger(page.locator("#now [data-main]"))
    tablet.ticked("Done: Washed, wrap 3")
    page.wait_for_timeout(1500)
    assert state_of(folder, step) == "done"
    expect(page.locator("#now h1")).to_have_text("Washed")  # not renewed yet
    finger.lift()
    expect(page.locator("#now h1")).to_have_text("Today", timeout=WAIT)
    assert page.evaluate("heard") == []
    assert page.locator("details[name=quick][open]").count() == 0


def test_a_long_touch_does_what_a_short_one_does_where_none_is_asked(
    folder: Path, opened: Opened
) -> None:
    """And once, though some devices send no click after a long touch and others do."""
    for swallowed in (False, True):
        step = begin(folder, "surface-clean", "2" if swallowed else "1")
        tablet = opened()
        if swallowed:
            tablet.page.evaluate(
                "addEventListener('click', (event) => {event.preventDefault();"
                "event.stopImmediatePropagation()}, {capture: true})"
            )
        touch(tablet.page.locator("#now [data-main]"), 1.0)
        tablet.ticked("Done: Surface cleaned")
        assert state_of(folder, step) == "done"
    with Studio.open(folder) as studio:
        assert kinds_of(studio)["step.done"] == 2


def test_done_touched_twice_does_not_begin_what_comes_next(folder: Path, opened: Opened) -> None:
    """Two touches within half a second, the other button having come to stand there."""
    first = begin(folder, "surface-clean", "1")
    with Studio.open(folder) as studio:
        form = {"kind": "surface-clean", "places": "2"}
        studio.append(ITEM, None, treat.plan_step(studio.state(ITEM), form))
        second = next(key for key in studio.state(ITEM).steps if key != first)
    tablet = opened()
    touched = """names => { for (const name of names) document.querySelector(
      `form[data-entry=${name}] [data-main]`
    ).dispatchEvent(new MouseEvent("click", {detail: 1, bubbles: true, cancelable: true})); }"""
    tablet.page.evaluate(touched, ["done", "start"])
    tablet.ticked("Done: Surface cleaned")
    tablet.until_saved()
    assert (state_of(folder, first), state_of(folder, second)) == ("done", "planned")
    tablet.page.wait_for_timeout(600)
    tablet.page.evaluate(touched, ["start"])
    tablet.ticked("Begun: Surface cleaned")
    assert state_of(folder, second) == "started"


def test_a_page_that_is_busy_counts_by_the_touch_and_not_by_its_own_hearing(
    folder: Path, opened: Opened
) -> None:
    """Both ends of a touch heard at once, each with the moment it was made."""
    step = begin(folder, "wash", "3", 5, planned="20", most="30")
    tablet = opened()
    heard = """([from, to]) => {
      for (const [name, at] of [["pointerdown", from], ["pointerup", to]]) {
        const event = new PointerEvent(name, {bubbles: true, button: 0, pointerId: 7});
        Object.defineProperty(event, "timeStamp", {value: at});
        document.querySelector("#now [data-main]").dispatchEvent(event);
      }
    }"""
    tablet.page.evaluate(heard, [1000, 1500])
    expect(tablet.page.locator("#hint")).to_have_text("Hold it until the bar is full.")
    assert state_of(folder, step) == "started"
    tablet.page.evaluate(heard, [2000, 2800])
    tablet.ticked("Done: Washed, wrap 3")
    assert state_of(folder, step) == "done"


def test_a_foot_pedal_and_keys_work_once_they_are_allowed(folder: Path, opened: Opened) -> None:
    step = begin(folder, "wash", "3", 5, planned="20", most="30")
    tablet = opened()
    page = tablet.page
    page.keyboard.press("PageDown")
    page.wait_for_timeout(400)
    page.locator("#settings summary").tap()
    page.get_by_role("button", name="Keys and foot pedal").tap()
    page.evaluate("document.activeElement.blur()")
    page.keyboard.press("PageUp")
    tablet.ticked("More time: Washed")
    page.keyboard.press("PageDown")
    expect(page.locator("#hint")).to_have_text("Press once more.")
    assert state_of(folder, step) == "started"
    page.wait_for_timeout(300)
    page.keyboard.press("PageDown")
    tablet.ticked("Done: Washed, wrap 3")
    page.keyboard.press("n")
    expect(page.locator("#n-words")).to_be_focused()
    page.keyboard.type("nnn")
    assert page.locator("#n-words").input_value() == "nnn"


def test_after_a_sleep_the_timer_is_right_and_rings(folder: Path, opened: Opened) -> None:
    begin(folder, "surface-clean", "1", planned="20", most="30")
    tablet = opened(lambda context: context.clock.install())
    big = tablet.page.locator("#now .big-time")
    expect(big).to_contain_text("left")
    tablet.context.set_offline(True)  # asleep: no studio to set the clock by
    tablet.context.clock.fast_forward("24:00")
    expect(big).to_contain_text("over its time", timeout=WAIT)
    shown = big.inner_text().split()[0]
    assert shown.startswith("+04:") or shown.startswith("+03:5"), shown
    ring = tablet.page.locator("#ring")
    expect(ring).to_contain_text("Time is up: Surface cleaned, wrap 1")
    ring.get_by_role("button", name="Silence").tap()
    expect(ring.locator("button")).to_have_count(0)
    tablet.context.clock.fast_forward("07:00")
    expect(big).to_contain_text("too long by")
    expect(ring.locator("button")).to_have_count(0)


def test_a_clock_that_is_off_shifts_neither_timer_nor_record(folder: Path, opened: Opened) -> None:
    begin(folder, "surface-clean", "1", planned="20")
    ahead = datetime.now(UTC) + timedelta(hours=2)
    tablet = opened(lambda context: context.clock.install(time=ahead))
    big = tablet.page.locator("#now .big-time")
    expect(big).to_contain_text("left", timeout=WAIT)
    assert big.inner_text().startswith(("20:", "19:"))
    tablet.note("typed two hours ahead")
    expect(tablet.page.locator("#tick")).to_contain_text("clock is 2 h", timeout=WAIT)
    expect(tablet.page.locator("#tick")).to_contain_text("ahead; the time was set right")
    with Studio.open(folder) as studio:
        entry = next(one for one in studio.state(ITEM).sent.values() if one.command == "note")
    typed = datetime.fromisoformat(entry.at.replace("Z", "+00:00"))
    assert abs((datetime.now(UTC) - typed).total_seconds()) < 60


def test_a_refused_entry_stays_over_a_reload_and_is_set_right(folder: Path, opened: Opened) -> None:
    begin(folder, "surface-clean", "1")
    tablet = opened()
    tablet.context.set_offline(True)
    tablet.reading("pH 79 at 21C", "w01")
    tablet.context.set_offline(False)
    line = tablet.page.locator("#outbox > ul > li")
    expect(line).to_contain_text("is a decimal point missing?", timeout=WAIT)
    tablet.open()
    expect(line).to_contain_text("is a decimal point missing?", timeout=WAIT)
    line.locator("input[name=value]").fill("pH 7.9 at 21C")
    line.get_by_role("button", name="Send it again").tap()
    tablet.ticked("pH 7.9 at 21 °C")
    held_once(folder, ["pH 7.9 at 21C"], [])


def test_a_caution_holds_a_step_up_until_a_reason_is_given(folder: Path, opened: Opened) -> None:
    tablet = opened()
    tablet.start("wash", "2", "20")
    line = tablet.page.locator("#outbox > ul > li")
    expect(line).to_contain_text("ink test", timeout=WAIT)
    line.locator("input[name=override]").fill("a spare wrap for a trial")
    line.get_by_role("button", name="Send it again").tap()
    tablet.ticked("Begun: Washed, wrap 2")
    expect(tablet.page.locator("#now h1")).to_have_text("Washed", timeout=WAIT)


def test_what_waits_for_a_sign_in_is_kept_and_sent_after_it(folder: Path, opened: Opened) -> None:
    begin(folder, "surface-clean", "1")
    tablet = opened()
    told = '{"saved": false, "says": "Sign in again.", "sign_in": "/in"}'

    def turned_away(route: Route) -> None:
        route.fulfill(status=401, content_type="application/json", body=told)

    for path in ("**/today/send", "**/today/state.json"):
        tablet.page.route(path, turned_away)
    tablet.note("typed while signed out")
    box = tablet.page.locator("#outbox")
    expect(box).to_contain_text("asks for its passphrase", timeout=WAIT)
    expect(box.get_by_role("link", name="Sign in again")).to_have_attribute(
        "href", "/in?back=%2Ftoday"
    )
    expect(box).to_contain_text("“typed while signed out”")
    for path in ("**/today/send", "**/today/state.json"):
        tablet.page.unroute(path)
    tablet.until_saved()
    held_once(folder, [], tablet.notes)


def test_what_is_saved_can_be_taken_back_at_once(folder: Path, opened: Opened) -> None:
    begin(folder, "surface-clean", "1")
    tablet = opened()
    tablet.reading("12.5 g", "w01")
    tablet.ticked("Mass 12.5 g")
    tablet.page.locator("#tick").get_by_role("button", name="Undo").tap()
    tablet.ticked("Undone")
    tablet.until_saved()
    held_once(folder, [], [])


def test_the_looks_are_kept_and_nothing_complains_at_any_width(
    browser: Browser, folder: Path, base: str
) -> None:
    begin(folder, "wash", "3,4", 32, planned="20", most="30")
    begin(folder, "surface-clean", "1")
    for width, height in ((320, 700), (820, 1180), (1180, 820)):
        context = browser.new_context(viewport={"width": width, "height": height}, has_touch=True)
        page = context.new_page()
        complaints = Complaints()
        complaints.listen(page)
        page.goto(f"{base}/today")
        expect(page.locator("qw-today[data-ready]")).to_be_attached()
        page.locator("#settings summary").tap()
        page.get_by_role("button", name="Glare").tap()
        page.reload()
        expect(page.locator("html")).to_have_attribute("data-look", "glare")
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        for button in page.locator("qw-today button:visible").all():
            box = button.bounding_box()
            assert box and box["height"] >= 63, button.inner_text()
        context.close()
        assert not complaints
