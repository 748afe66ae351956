"""The shared page from a disk, without any network: pictures, curtain by keys and by touch."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from quirewell.exchange.share import ONE_FILE, write_share
from quirewell.exchange.share_plan import Wanted, make_plan
from report_case import report_studio

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    base = tmp_path_factory.mktemp("shared")
    with report_studio(base / "s", pairs=2) as studio:
        state, bench = studio.state("annual"), studio.bench()
        wanted = Wanted(film="webm", plates=False, one_file=True)
        write_share(make_plan(state, bench, wanted), state, bench, studio.blobs.path, base / "out")
    return base / "out"


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": 820, "height": 1100}, has_touch=True)
    yield context.new_page()
    context.close()


def wait_for(page: Page, what: str) -> None:
    """Wait for a condition, asked from outside: the page's policy lets no test evaluate in it."""
    for _ in range(200):
        if page.evaluate(what):
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"never came true: {what}")


def opened(page: Page, path: Path) -> tuple[list[str], list[str]]:
    """Open a file; what it asked for elsewhere, and what the console said."""
    asked: list[str] = []
    said: list[str] = []
    page.on("request", lambda one: asked.append(one.url))
    page.on("console", lambda one: said.append(one.text))
    page.on("pageerror", lambda one: said.append(str(one)))
    page.goto(path.as_uri())
    for image in page.locator("img").all():
        image.scroll_into_view_if_needed()
    wait_for(page, "[...document.images].every((one) => one.complete && one.naturalWidth)")
    return [url for url in asked if not url.startswith(("file:", "data:"))], said


@pytest.mark.parametrize("name", ["index.html", ONE_FILE])
def test_it_opens_from_a_disk_with_no_request_elsewhere_and_no_word_in_the_console(
    page: Page, folder: Path, name: str
) -> None:
    asked, said = opened(page, folder / name)
    assert asked == [] and said == []
    assert page.locator("figure img").count() == 6
    assert page.evaluate("document.documentElement.scrollWidth") <= 820


def clip(page: Page) -> str:
    return str(page.locator(".curtain .side").nth(1).evaluate("one => one.style.clipPath"))


def test_the_curtain_moves_by_keys(page: Page, folder: Path) -> None:
    opened(page, folder / "index.html")
    slider = page.get_by_role("slider").first
    assert clip(page) == "inset(0px 50% 0px 0px)"
    slider.focus()
    for _ in range(10):
        page.keyboard.press("ArrowRight")
    assert clip(page) == "inset(0px 40% 0px 0px)"
    assert slider.get_attribute("aria-valuetext") == "60 of 100 parts after treatment"
    page.keyboard.press("Home")
    assert clip(page) == "inset(0px 100% 0px 0px)"


def test_the_curtain_moves_by_touch(page: Page, folder: Path) -> None:
    opened(page, folder / "index.html")
    sides = page.locator(".sides.curtain").first
    sides.scroll_into_view_if_needed()
    box = sides.bounding_box()
    assert box
    page.touchscreen.tap(box["x"] + 0.2 * box["width"], box["y"] + 60)
    shown = page.get_by_role("slider").first.input_value()
    assert 17 <= int(shown) <= 23 and clip(page).startswith(f"inset(0px {100 - int(shown)}%")


def test_it_is_laid_side_by_side_by_a_button_and_without_a_script(
    page: Page, browser: Browser, folder: Path
) -> None:
    opened(page, folder / "index.html")
    page.get_by_role("button", name="Side by side").first.click()
    first, second = (page.locator("[data-curtain] .side img").nth(n).bounding_box() for n in (0, 1))
    assert first and second and second["x"] >= first["x"] + first["width"] - 1
    plain = browser.new_context(java_script_enabled=False, viewport={"width": 820, "height": 900})
    bare = plain.new_page()
    bare.goto((folder / "index.html").as_uri())
    first, second = (bare.locator("[data-curtain] .side img").nth(n).bounding_box() for n in (0, 1))
    assert first and second and second["x"] >= first["x"] + first["width"] - 1
    assert bare.get_by_role("slider").count() == 0
    assert bare.locator("figcaption").first.inner_text()
    plain.close()


def test_the_film_plays_in_the_page(page: Page, folder: Path) -> None:
    opened(page, folder / "index.html")
    page.evaluate("document.querySelector('video').play()")
    wait_for(page, "document.querySelector('video').currentTime > 0.3")
    assert page.evaluate("document.querySelector('video').videoWidth") == 1280
