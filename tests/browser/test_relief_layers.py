"""Relief laid in place of the pictures: in the close-up and in the pair, under the curtain too."""

from __future__ import annotations

import io
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import uvicorn
from PIL import Image
from playwright.sync_api import Browser, Page, expect

from browser.conftest import Complaints
from quirewell.cli.serve import bind
from quirewell.web.app import create_app
from raked_studio import ITEM, PAGE, treated_studio

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def lit(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    folder: Path = tmp_path_factory.mktemp("lit")
    studio = treated_studio(folder)
    before = next(one.id for one in studio.state(ITEM).captures.values() if one.moment == "before")
    studio.close()
    listening = bind(0)
    app = create_app(folder / "studio", workers=1)
    server = uvicorn.Server(
        uvicorn.Config(app, log_level="error", timeout_graceful_shutdown=3)
    )  # fmt: skip
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.05)
    base = f"http://127.0.0.1:{listening.getsockname()[1]}/item/{ITEM}"
    yield f"{base} {base}/look/{before}"
    server.should_exit = True
    thread.join(timeout=10)


@pytest.fixture(params=[320, 820, 1440])
def page(browser: Browser, request: pytest.FixtureRequest) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": request.param, "height": 1100})
    made, complaints = context.new_page(), Complaints()
    complaints.listen(made)
    yield made
    context.close()
    assert not complaints


def colour(page: Page, element: str, left: float, right: float) -> np.ndarray:
    """Mean colour of a part of the viewer, between two shares of its width."""
    page.wait_for_timeout(700)
    shot = page.locator(f"{element} .canvas").screenshot()
    pixels = np.asarray(Image.open(io.BytesIO(shot)).convert("RGB"), dtype=float)
    height, width = pixels.shape[:2]
    part = pixels[
        round(0.4 * height) : round(0.6 * height), round(left * width) : round(right * width)
    ]
    mean: np.ndarray = part.reshape(-1, 3).mean(axis=0)
    return mean


def choose(page: Page, name: str) -> None:
    page.get_by_text("More instruments: relief").scroll_into_view_if_needed()
    box = page.get_by_role("radio", name=name, exact=True)
    if not box.is_visible():
        page.get_by_text("More instruments: relief").click()
    assert not page.locator("[data-relief-plain]").first.is_visible()
    box.check()
    page.wait_for_timeout(300)


def worked_out(page: Page, selector: str) -> None:
    """Wait until the relief of the side shown is drawn; a busy machine takes its time for each."""
    until = time.monotonic() + 90.0
    while greyness(colour(page, selector, 0.30, 0.34)) <= 15 and time.monotonic() < until:
        page.wait_for_timeout(300)


def greyness(mean: np.ndarray) -> float:
    return float(mean.max() - mean.min())


def test_the_close_up_shows_height_in_place_of_the_scan(page: Page, lit: str) -> None:
    page.goto(lit.split()[1])
    expect(page.locator("qw-viewer")).to_have_attribute("data-state", "open", timeout=20_000)
    assert greyness(colour(page, "qw-viewer", 0.4, 0.6)) < 4
    choose(page, "Height")
    expect(page.locator("qw-viewer [role=status]")).to_have_text("", timeout=90_000)
    assert greyness(colour(page, "qw-viewer", 0.4, 0.6)) > 15
    choose(page, "The picture itself")
    assert greyness(colour(page, "qw-viewer", 0.4, 0.6)) < 4
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_the_curtain_parts_the_relief_before_from_the_relief_after(page: Page, lit: str) -> None:
    page.goto(f"{lit.split()[0]}/prove/{PAGE}")
    expect(page.locator("qw-pair")).to_have_attribute("data-state", "laid", timeout=60_000)
    choose(page, "Height")
    expect(page.locator("qw-pair [role=status]").first).to_have_text("", timeout=90_000)
    page.get_by_role("radio", name="Before", exact=True).check()
    worked_out(page, "qw-pair")
    before = colour(page, "qw-pair", 0.30, 0.34), colour(page, "qw-pair", 0.66, 0.70)
    page.get_by_role("radio", name="After", exact=True).check()
    worked_out(page, "qw-pair")
    after = colour(page, "qw-pair", 0.30, 0.34), colour(page, "qw-pair", 0.66, 0.70)
    page.get_by_role("radio", name="Curtain", exact=True).check()
    both = colour(page, "qw-pair", 0.30, 0.34), colour(page, "qw-pair", 0.66, 0.70)
    assert np.abs(both[0] - before[0]).max() < 3 < np.abs(both[0] - after[0]).max()
    assert np.abs(both[1] - after[1]).max() < 3 < np.abs(both[1] - before[1]).max()
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_without_scripts_the_relief_is_a_plain_picture(browser: Browser, lit: str) -> None:
    context = browser.new_context(java_script_enabled=False, viewport={"width": 820, "height": 900})
    made = context.new_page()
    made.goto(lit.split()[1])
    made.get_by_text("More instruments: relief").click()
    assert made.get_by_role("img", name="Height, before treatment").is_visible()
    assert not made.get_by_role("radio", name="Height", exact=True).is_visible()
    context.close()
