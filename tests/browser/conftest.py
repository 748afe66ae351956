"""A studio with real scans of one wrap, served on a free port, and Debian's browser."""

from __future__ import annotations

import json
import shutil
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from urllib.request import urlopen

import pytest
import uvicorn
from playwright.sync_api import Browser, Page, Playwright, expect, sync_playwright

import quirewell.stages.comparing  # noqa: F401  (registers its method)
from quirewell.cli.serve import bind
from quirewell.demo.scans import generate
from quirewell.stages import survey, treat
from quirewell.stages.noting import note_defect
from quirewell.stages.overview import open_item
from quirewell.stages.taking_in import folder_sources, take_in
from quirewell.stages.working import keep
from quirewell.studio.studio import Studio
from quirewell.web.app import create_app

ITEM = "copperbeck-garden-annual"
PLACE = "w01.outer.left"
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip


@dataclass(frozen=True)
class Served:
    """Where the studio is served, and the folder it is in."""

    base: str
    folder: Path
    scans: Path

    def url(self, path: str = "") -> str:
        return f"{self.base}/item/{ITEM}{path}"

    def look(self) -> str:
        """Path of the close-up of the first scan of PLACE."""
        with Studio.open(self.folder) as studio:
            captures = studio.state(ITEM).captures.values()
            named = next(one for one in captures if one.filename == "w01-outer-left-before.tif")
            return f"/look/{named.id}"

    def wait_until_idle(self) -> None:
        """Work in hand turns its page over when it ends: let it end first."""
        while True:
            with urlopen(self.url("/in-hand.json"), timeout=30) as answer:
                if not json.load(answer)["running"]:
                    return
            time.sleep(0.2)


def _fill(folder: Path, scans: Path) -> None:
    with Studio.create(folder, "Larkmoor paper bench") as studio:
        form = {"title": "Copperbeck Garden Annual", "year": "1936", "wraps": "9"}
        studio.append(ITEM, 0, open_item(ITEM, form))
        assert not take_in(studio, ITEM, folder_sources(scans)).refused
        for command, form in (
            (note_defect, {"term": "tideline", "place": "w01.outer", "extent": "60 mm"}),
            (treat.plan_step, {"kind": "wash", "places": "w01"}),
            (treat.mix_bath, {"strength": "0.5", "temperature_c": "20", "litres": "4"}),
            (
                treat.record_reading,
                {
                    "quantity": "pH",
                    "value": "5.2 at 21C",
                    "place": "w01",
                    "method": "strip on the paper",
                },
            ),
            (keep("dose"), {"litres": "4"}),
            (keep("press"), {"above": "aluminium; card", "below": "release sheet; wood 12"}),
        ):
            state = studio.state(ITEM)
            studio.append(ITEM, state.version, command(state, form))
        state = studio.state(ITEM)
        measured = [
            call
            for call in survey.to_measure(state, studio.blobs.path)
            if call.arguments[1] == PLACE
        ]
        for call in (*measured, *survey.to_compare(state, studio.blobs.path)):
            body = survey.carry_out(*call.arguments)
            studio.append(ITEM, None, survey.recorded(studio.state(ITEM), body))


@pytest.fixture(scope="session")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    home = tmp_path_factory.mktemp("browser")
    generate(home / "demo", dpi=60, sheets=("w01",), workers=1)
    scans = home / "demo" / "scans"
    _fill(home / "studio", scans)
    listening = bind(0)
    config = uvicorn.Config(
        create_app(home / "studio", workers=1), log_level="error", timeout_graceful_shutdown=3
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.05)
    yield Served(f"http://127.0.0.1:{listening.getsockname()[1]}", home / "studio", scans)
    server.should_exit = True
    thread.join(timeout=10)


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    """The one driver of a session: two cannot run in one thread."""
    with sync_playwright() as driver:
        yield driver


@pytest.fixture(scope="session")
def browser(playwright: Playwright) -> Iterator[Browser]:
    found = shutil.which("chromium")
    assert found, "the browser tests need chromium: apt-get install chromium"
    expect.set_options(timeout=20_000)  # a busy machine is slow, not wrong
    opened = playwright.chromium.launch(executable_path=found, args=FLAGS)
    yield opened
    opened.close()


class Complaints(list[str]):
    """What a page says on its console and what broke in it."""

    def listen(self, page: Page) -> None:
        page.on("console", lambda said: self.append(said.text) if said.type == "error" else None)
        page.on("pageerror", lambda error: self.append(str(error)))
