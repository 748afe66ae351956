"""A pair looked at four ways: side by side, curtain, one for the other and difference; by finger
and by keys, never faster than eyes may be asked to bear, and as plain pictures without a script."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import pytest
from playwright.sync_api import Browser, Page, expect

from browser.conftest import PLACE, Complaints, Served

pytestmark = pytest.mark.browser
WATCH = """() => {
  window.turns = [];
  new MutationObserver(() => window.turns.push(performance.now()))
    .observe(document.querySelector('qw-pair .tag.left'), {childList: true});
}"""


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": 820, "height": 1300}, has_touch=True)
    made, complaints = context.new_page(), Complaints()
    complaints.listen(made)
    yield made
    context.close()
    assert not complaints


def laid(page: Page, served: Served) -> None:
    page.goto(served.url(f"/prove/{PLACE}"))
    expect(page.locator("qw-pair")).to_have_attribute("data-state", "laid", timeout=90_000)


def tag(page: Page) -> str:
    return page.locator("qw-pair .canvas .tag.left").inner_text()


def test_side_by_side_moves_and_zooms_as_one(page: Page, served: Served) -> None:
    laid(page, served)
    page.get_by_role("radio", name="Side by side").check()
    second = page.locator("qw-pair .canvas2")
    expect(second).to_be_visible()
    expect(second.locator(".tag")).to_have_text("After")
    expect(page.locator("qw-pair .canvas .tag.left")).to_have_text("Before")
    sizes = [page.locator(f"qw-pair {one}").bounding_box() for one in (".canvas", ".canvas2")]
    assert sizes[0] and sizes[1]
    assert sizes[0]["width"] == pytest.approx(sizes[1]["width"], abs=2)
    assert sizes[0]["y"] == pytest.approx(sizes[1]["y"], abs=1)
    page.wait_for_timeout(800)
    bars = page.locator("qw-pair .scale-bar span")
    if bars.count() == 2:
        page.get_by_role("button", name="Closer").click()
        page.wait_for_timeout(1200)
        assert bars.nth(0).inner_text() == bars.nth(1).inner_text()
    page.get_by_role("radio", name="Curtain").check()
    expect(second).to_have_count(0)
    expect(page.get_by_role("slider")).to_be_visible()


def test_the_other_is_seen_for_as_long_as_a_finger_or_key_holds(page: Page, served: Served) -> None:
    laid(page, served)
    page.get_by_role("radio", name="Before").check()
    held = page.get_by_role("button", name="Hold to see the other")
    held.scroll_into_view_if_needed()
    box = held.bounding_box()
    assert box and box["height"] > 47.9
    hand = page.context.new_cdp_session(page)
    at = {"x": box["x"] + 20, "y": box["y"] + 20}
    hand.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [at]})
    expect(page.locator("qw-pair .canvas .tag.left")).to_have_text("After")
    page.wait_for_timeout(500)
    assert tag(page) == "After", "it stays while it is held"
    hand.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    expect(page.locator("qw-pair .canvas .tag.left")).to_have_text("Before")
    page.wait_for_timeout(400)
    held.focus()
    page.keyboard.down(" ")
    expect(page.locator("qw-pair .canvas .tag.left")).to_have_text("After")
    page.keyboard.up(" ")
    expect(page.locator("qw-pair .canvas .tag.left")).to_have_text("Before")


def test_however_fast_a_hand_is_no_more_than_three_changes_come_in_a_second(
    page: Page, served: Served
) -> None:
    """WCAG 2.3.1 allows three flashes, each a pair of changes, in any one second."""
    laid(page, served)
    page.get_by_role("radio", name="Before").check()
    page.evaluate(WATCH)
    page.evaluate(
        """async () => {
          const wait = (ms) => new Promise((done) => setTimeout(done, ms));
          const press = (name) =>
            [...document.querySelectorAll('qw-pair button')].find((b) => b.textContent === name);
          const swap = press('Swap before and after');
          const held = press('Hold to see the other');
          for (let i = 0; i < 25; i += 1) {
            swap.click();
            held.dispatchEvent(new KeyboardEvent('keydown', {key: ' '}));
            held.dispatchEvent(new KeyboardEvent('keyup', {key: ' '}));
            await wait(60);
          }
        }"""
    )
    page.wait_for_timeout(600)
    turns = page.evaluate("window.turns.filter((at, n, all) => !n || at - all[n - 1] > 5)")
    assert len(turns) >= 2
    assert min(later - one for one, later in pairwise(turns)) > 300


def test_without_a_script_the_pictures_stand_side_by_side_with_the_key(
    browser: Browser, served: Served
) -> None:
    context = browser.new_context(
        viewport={"width": 820, "height": 1300}, java_script_enabled=False
    )
    page = context.new_page()
    page.goto(served.url(f"/prove/{PLACE}"))
    for name in ("Before treatment", "After treatment, laid on the before picture"):
        expect(page.get_by_role("img", name=name, exact=True)).to_be_visible()
    expect(page.get_by_role("img", name="Picture of the colour difference")).to_be_visible()
    page.get_by_text("What the colours of the difference mean").click()
    expect(page.get_by_text("common practice, no source").first).to_be_visible()
    context.close()
