"""A tablet at the bench and a server that can be killed: what the tests of the bench page share."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterable
from pathlib import Path
from urllib.error import URLError
from urllib.request import urlopen

from playwright.sync_api import BrowserContext, Error, Locator, Page, Route, expect

from quirewell.stages.overview import open_item
from quirewell.studio.studio import Studio

ITEM = "copperbeck-garden-annual"


def make_studio(folder: Path, wraps: int = 9) -> None:
    with Studio.create(folder, "Larkmoor paper bench", zone="Europe/London") as studio:
        form = {"title": "Copperbeck Garden Annual", "year": "1936", "wraps": str(wraps)}
        studio.append(ITEM, 0, open_item(ITEM, form))


class Server:
    """The program itself in a process of its own, on one port, to be killed and started again."""

    def __init__(self, folder: Path, port: int) -> None:
        self.folder, self.port = folder, port
        self.base = f"http://127.0.0.1:{port}"
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        command = [
            sys.executable, "-c", "from quirewell.cli.main import main; main()", "serve",
            "--studio", str(self.folder), "--port", str(self.port),
        ]  # fmt: skip
        self.process = subprocess.Popen(
            command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True
        )
        for _ in range(600):
            try:
                with urlopen(f"{self.base}/today/state.json", timeout=5):
                    return
            except (URLError, OSError):
                assert self.process.poll() is None, "the server ended by itself"
                time.sleep(0.1)
        raise AssertionError("the server did not open its pages in a minute")

    def kill(self) -> None:
        """As a power cut ends it: nothing is finished, nobody is told."""
        if self.process is not None:
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()
            self.process = None


class Tablet:
    """A person with a tablet: touches, and remembers what was typed."""

    def __init__(self, context: BrowserContext, base: str, query: str = "") -> None:
        self.context, self.base, self.query = context, base, query
        self.page: Page = context.new_page()
        self.typed: list[str] = []
        self.notes: list[str] = []
        self.open()

    def open(self) -> None:
        self.page.goto(f"{self.base}/today{self.query}", wait_until="load")
        expect(self.page.locator("qw-today[data-ready]")).to_be_attached()

    def ticked(self, words: str) -> None:
        expect(self.page.locator("#tick .good")).to_contain_text(words, timeout=20_000)

    def until_saved(self) -> None:
        expect(self.page.locator("qw-today")).to_have_attribute("data-held", "0", timeout=60_000)
        expect(self.page.locator("#outbox h2")).to_have_count(0)

    def opened(self, name: str) -> Locator:
        """A folded part of the page, open; the page may be renewed while it is touched."""
        part = self.page.locator(name)
        for _ in range(20):
            if part.locator("form").is_visible():
                break
            part.locator("summary").tap()
            self.page.wait_for_timeout(150)
        return part

    def start(self, kind: str, places: str, minutes: str = "") -> None:
        form = self.opened("#by-hand")
        form.locator("#h-kind").select_option(kind)
        form.locator("#h-places").fill(places)
        form.locator("#h-planned").fill(minutes)
        form.get_by_role("button", name="Start it now").tap()

    def reading(self, text: str, place: str = "item") -> None:
        """Two touches: read back, and right."""
        part = self.opened("#q-reading")
        part.locator("[name=value]").fill(text)
        part.locator("[name=place]").select_option(place)
        part.get_by_role("button", name="Read it back").tap()
        part.get_by_role("button", name="Right, save it").tap(timeout=20_000)
        self.typed.append(text)

    def note(self, words: str) -> None:
        part = self.opened("#q-note")
        part.locator("[name=words]").fill(words)
        part.get_by_role("button", name="Save the note").tap()
        self.notes.append(words)

    def done(self) -> None:
        self.page.locator("#now form[data-entry=done] button").tap()


class Finger:
    """One finger on the middle of something, for as long as it is told to stay."""

    def __init__(self, target: Locator) -> None:
        self.page = target.page
        box = None
        for _ in range(50):  # the page may just be putting a new one in its place
            with contextlib.suppress(Error):
                target.scroll_into_view_if_needed()
                if (box := target.bounding_box()) is not None:
                    break
            self.page.wait_for_timeout(100)
        assert box is not None
        at = {"x": box["x"] + box["width"] / 2, "y": box["y"] + box["height"] / 2}
        self.hand = self.page.context.new_cdp_session(self.page)
        self.hand.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [at]})

    def lift(self) -> None:
        self.hand.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})


def touch(target: Locator, seconds: float) -> None:
    finger = Finger(target)
    finger.page.wait_for_timeout(1000 * seconds)
    finger.lift()


def lose_answers(page: Page, count: int) -> list[str]:
    """Let the next sendings reach the server, which commits them, and drop what it answers."""
    lost: list[str] = []

    def drop(route: Route) -> None:
        if len(lost) < count:
            answer = route.fetch()
            lost.append(answer.text())
            route.abort("connectionreset")
        else:
            route.continue_()

    page.route("**/today/send", drop)
    return lost


def kinds_of(studio: Studio) -> Counter[str]:
    return Counter(event.kind for event in studio.events(ITEM))


def held_once(folder: Path, readings: Iterable[str], notes: Iterable[str]) -> None:
    """Every reading and note exactly once, the chain whole, the tables as the journal says."""
    with Studio.open(folder) as studio:
        state = studio.state(ITEM)
        kept = Counter(one.as_typed for one in state.readings.values())
        wanted = Counter(_value(text) for text in readings)
        for text in wanted:
            wanted[text] *= 2 if " x " in text else 1  # a size leaves two readings
        assert kept == wanted
        words = [line for step in state.steps.values() for line in step.note.splitlines()]
        words += [line.rsplit(": ", 1)[-1].split("UTC, ")[-1]
                  for line in state.item.notes.splitlines()]  # fmt: skip
        assert sorted(words) == sorted(notes)
        assert studio.connection_check() == ([], [])
        assert not studio.rebuild_differs()
        sent = [event.body["id"] for event in studio.events(ITEM) if event.kind == "entry.sent"]
        assert len(sent) == len(set(sent)), "an entry stands twice in the journal"


def _value(text: str) -> str:
    """What stands in the record as typed: the value behind the quantity's name."""
    return text.removeprefix("pH ").removeprefix("L* ").strip()
