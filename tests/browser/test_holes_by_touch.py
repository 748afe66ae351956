"""Staple holes set right with a finger on a tablet: by a button for each hole, never only by
dragging."""

from __future__ import annotations

import io
import threading
import time
from collections.abc import Iterator

import pytest
import tifffile
import uvicorn
from playwright.sync_api import Browser, Page, expect

from browser.conftest import Complaints
from hole_scans import plants, scan
from quirewell.cli.serve import bind
from quirewell.jobs.runner import Runner
from quirewell.stages import finding_holes
from quirewell.stages.overview import open_item
from quirewell.stages.taking_in import Source, take_in
from quirewell.studio.studio import Studio
from quirewell.web.app import create_app

pytestmark = pytest.mark.browser
ITEM = "copperbeck-garden-annual"
PLANTED = plants(3, ("clean", "clean", "clean", "clean"))


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    folder = tmp_path_factory.mktemp("holes") / "studio"
    file = io.BytesIO()
    made = scan(3, 300, "dark", PLANTED, panel="right")
    across, down = made.px_mm
    tifffile.imwrite(
        file, made.pixels, photometric="rgb", resolution=(25.4 / across, 25.4 / down),
        resolutionunit=2,
    )  # fmt: skip
    with Studio.create(folder, "Larkmoor paper bench") as studio:
        form = {"title": "Copperbeck Garden Annual", "wraps": "2"}
        studio.append(ITEM, 0, open_item(ITEM, form))
        file.seek(0)
        assert not take_in(studio, ITEM, [Source("w01-outer-right-before.tif", file)]).refused
        with Runner(workers=1) as runner:
            finding_holes.start_finding(studio, ITEM, runner).wait()
        assert len(studio.state(ITEM).holes["holes.w01"].holes) == 4
    listening = bind(0)
    config = uvicorn.Config(
        create_app(folder, workers=1), log_level="error", timeout_graceful_shutdown=3
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.05)
    yield f"http://127.0.0.1:{listening.getsockname()[1]}/item/{ITEM}"
    server.should_exit = True
    thread.join(timeout=10)


@pytest.fixture(params=[(320, 800), (820, 1180), (1180, 820)])
def page(browser: Browser, base: str, request: pytest.FixtureRequest) -> Iterator[Page]:
    width, height = request.param
    context = browser.new_context(viewport={"width": width, "height": height}, has_touch=True)
    made, complaints = context.new_page(), Complaints()
    complaints.listen(made)
    made.goto(f"{base}/rejoin/holes/w01")
    expect(made.locator("qw-holes[data-state=ready]")).to_be_visible(timeout=20_000)
    yield made
    assert made.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    context.close()
    assert not complaints


def test_each_hole_is_found_large_by_its_button_and_moved_without_dragging(page: Page) -> None:
    says = page.locator(".where-hole")
    for number, plant in enumerate(PLANTED, 1):
        page.locator("qw-holes .tools button", has_text=f"Hole {number}").tap()
        page.wait_for_timeout(900)
        canvas = page.locator("qw-holes .canvas").bounding_box()
        ring = page.locator("qw-holes .handle").nth(number - 1).bounding_box()
        assert canvas and ring
        assert ring["width"] >= 48 and ring["height"] >= 48
        # Its ring stands in the middle of what is seen, and that is on the screen.
        assert abs(ring["x"] + ring["width"] / 2 - canvas["x"] - canvas["width"] / 2) < 4
        assert abs(ring["y"] + ring["height"] / 2 - canvas["y"] - canvas["height"] / 2) < 4
        assert ring["y"] + ring["height"] < page.evaluate("window.innerHeight")
        assert float(page.input_value(f"[name='y.{number}']")) == pytest.approx(plant.y_mm, abs=0.1)
    # Twenty taps of 0.05 mm downwards are a millimetre, less what two digits leave of each.
    before = float(page.input_value("[name='y.4']"))
    for _ in range(20):
        page.get_by_role("button", name="Move the chosen hole's ring down by 0.05 mm").tap()
    assert float(page.input_value("[name='y.4']")) == pytest.approx(before + 1.0, abs=0.02)
    now = page.input_value("[name='y.4']")
    expect(says).to_contain_text(f"{now} mm from the head edge")
    assert page.input_value("[name='u.4']") == ""  # what was found was surer than a finger
    page.locator("qw-holes .handle").nth(3).press("Escape")
    assert float(page.input_value("[name='y.4']")) == before


def test_a_hole_said_to_be_missing_loses_its_ring_and_gets_it_back(page: Page) -> None:
    assert page.locator("qw-holes .handle").count() == 4
    page.select_option("[name='state.2']", "missing")
    assert page.locator("qw-holes .handle").count() == 3
    expect(page.locator(".where-hole")).to_have_text(
        "Hole 2 is said to be missing: nothing to set."
    )
    page.select_option("[name='state.2']", "torn")
    assert page.locator("qw-holes .handle").count() == 4
