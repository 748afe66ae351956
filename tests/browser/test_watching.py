"""Measuring watched and set right, pairs laid on each other: by mouse, touch and keyboard."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import pairwise

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from browser.conftest import PLACE, Complaints, Served

pytestmark = pytest.mark.browser


def opened(context: BrowserContext) -> tuple[Page, Complaints]:
    page = context.new_page()
    complaints = Complaints()
    complaints.listen(page)
    return page, complaints


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": 820, "height": 1300}, has_touch=True)
    made, complaints = opened(context)
    yield made
    context.close()
    assert not complaints


def to_correct(page: Page, served: Served) -> None:
    page.goto(served.url(f"{served.look()}/correct"))
    expect(page.locator("qw-correct")).to_have_attribute("data-state", "ready", timeout=20_000)
    page.locator("qw-correct").evaluate("one => one.scrollIntoView()")
    page.wait_for_timeout(700)


def middle(page: Page, name: str) -> tuple[float, float]:
    box = page.get_by_role("button", name=name).bounding_box()
    assert box and min(box["width"], box["height"]) > 47.9
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def corner(page: Page, number: int) -> list[float]:
    return [float(part) for part in page.locator(f"#corner_{number}").input_value().split(",")]


def test_a_switch_hides_its_layer_in_the_deep_zoom(page: Page, served: Served) -> None:
    page.goto(served.url(served.look()))
    expect(page.locator("qw-viewer")).to_have_attribute("data-state", "open", timeout=20_000)
    outline = page.locator('.overlay [data-layer="outline"]')
    assert outline.evaluate("one => getComputedStyle(one).display") != "none"
    page.get_by_label("Edges as fitted").uncheck()
    assert outline.evaluate("one => getComputedStyle(one).display") == "none"
    dashes = page.evaluate(
        "[...document.querySelectorAll('.swatch > :last-child')]"
        ".map(one => getComputedStyle(one).strokeDasharray + getComputedStyle(one).fill"
        " + getComputedStyle(one).strokeWidth)"
    )
    assert len(set(dashes)) == len(dashes) > 3


@pytest.mark.parametrize("typed", ["1,2", "abc"])
def test_what_was_typed_goes_at_the_first_click_and_is_kept(
    browser: Browser, served: Served, typed: str
) -> None:
    page = browser.new_context(viewport={"width": 820, "height": 1300}).new_page()
    to_correct(page, served)
    page.locator("#ignore").fill(typed)
    page.get_by_role("button", name="Measure again").click()
    expect(page.locator("#wrong-ignore")).to_be_visible()
    expect(page.locator("#ignore")).to_have_value(typed)
    page.context.close()


def test_a_corner_is_dragged_by_mouse_and_the_glass_shows_beside_it(
    page: Page, served: Served
) -> None:
    to_correct(page, served)
    name = re.compile("Lower left corner")
    x, y = middle(page, name)  # type: ignore[arg-type]
    page.mouse.move(x + 5, y - 5)
    page.mouse.down()
    page.mouse.move(x + 45, y - 45, steps=6)
    glass = page.locator(".loupe")
    expect(glass).to_be_visible()
    box = glass.bounding_box()
    assert box and not (box["x"] <= x + 40 <= box["x"] + box["width"] and box["y"] + 150 > y)
    page.mouse.up()
    expect(glass).to_be_hidden()
    now = middle(page, name)  # type: ignore[arg-type]
    assert now == pytest.approx((x + 40, y - 40), abs=1.5)
    start = page.locator("#corner_4").get_attribute("data-found") or ""
    found = [float(part) for part in start.split(",")]
    moved = corner(page, 4)
    assert moved[0] > found[0] + 5 and moved[1] < found[1] - 5


def test_a_corner_is_dragged_by_a_finger_and_the_page_stays(page: Page, served: Served) -> None:
    to_correct(page, served)
    x, y = middle(page, "Upper left corner")
    scrolled = page.evaluate("scrollY")
    hand = page.context.new_cdp_session(page)
    path = [(x + 3 * step, y + 4 * step) for step in range(11)]
    for number, (across, down) in enumerate(path):
        kind = "touchMove" if number else "touchStart"
        points = [{"x": across, "y": down}]
        hand.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    hand.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    assert middle(page, "Upper left corner") == pytest.approx((x + 30, y + 40), abs=1.5)
    assert page.evaluate("scrollY") == scrolled
    assert page.locator("#corner_1").input_value()


def test_a_corner_moves_by_arrow_keys_and_goes_back_by_escape(page: Page, served: Served) -> None:
    to_correct(page, served)
    knob = page.get_by_role("button", name="Upper right corner")
    knob.focus()
    found = [
        float(part)
        for part in (page.locator("#corner_2").get_attribute("data-found") or "").split(",")
    ]
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("Shift+ArrowDown")
    assert corner(page, 2) == pytest.approx([found[0] - 1, found[1] + 10], abs=0.06)
    assert "set by hand" in (knob.get_attribute("aria-label") or "")
    page.keyboard.press("Escape")
    assert page.locator("#corner_2").input_value() == ""
    assert "as found" in (knob.get_attribute("aria-label") or "")


def test_a_number_typed_moves_the_handle(page: Page, served: Served) -> None:
    to_correct(page, served)
    before = middle(page, "Upper left corner")
    found = (page.locator("#corner_1").get_attribute("data-found") or "").split(",")
    page.locator("#corner_1").fill(f"{float(found[0]) + 60}, {found[1]}")
    after = middle(page, "Upper left corner")
    assert after[0] > before[0] + 20 and after[1] == pytest.approx(before[1], abs=0.5)


def test_a_hand_is_painted_out_and_taken_back(page: Page, served: Served) -> None:
    to_correct(page, served)
    toggle = page.get_by_role("button", name="Leave out: draw round it")
    toggle.click()
    expect(toggle).to_have_attribute("aria-pressed", "true")
    box = page.locator("qw-correct .canvas").bounding_box()
    assert box
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    for right, down in ((60, 0), (60, 50), (0, 50), (0, 3)):
        page.mouse.move(x + right, y + down, steps=6)
    page.mouse.up()
    toggle.click()
    drawn = page.locator("#ignore").input_value()
    assert 4 <= len(drawn.split()) <= 9
    page.get_by_role("button", name="Leave out a box").click()
    assert page.locator("#ignore").input_value().count(";") == 1
    page.keyboard.press("ArrowRight")
    page.get_by_role("button", name="Take back part 1").click()
    assert len(page.locator("#ignore").input_value().split()) == 4


def test_measured_again_the_page_tells_both_values_and_undoes(page: Page, served: Served) -> None:
    served.wait_until_idle()
    to_correct(page, served)
    page.get_by_role("button", name="Lower right corner").focus()
    for _ in range(2):
        page.keyboard.press("Shift+ArrowUp")
    page.get_by_role("button", name="Measure again").click()
    expect(page.get_by_role("heading", name="Corrected by hand")).to_be_visible()
    table = page.get_by_role("region", name="Values before and after the correction")
    expect(table).to_be_visible(timeout=60_000)
    expect(table.get_by_role("row", name="Height of the paper").locator("strong")).to_be_visible()
    page.get_by_role("button", name="Undo the correction").click()
    expect(page.get_by_role("heading", name="Corrected by hand")).to_have_count(0)
    served.wait_until_idle()


def laid(page: Page, served: Served) -> None:
    page.goto(served.url(f"/prove/{PLACE}"))
    expect(page.locator("qw-pair")).to_have_attribute("data-state", "laid", timeout=60_000)
    page.locator("qw-pair").evaluate("one => one.scrollIntoView()")
    page.wait_for_timeout(600)


def edge(page: Page) -> float:
    return float(page.locator("qw-pair .edge").evaluate("one => parseFloat(one.style.left)"))


def look_at(page: Page, left: float, right: float) -> bytes:
    """What a part of the canvas shows, its width as shares."""
    box = page.locator("qw-pair .canvas").bounding_box()
    assert box
    part = {"x": box["x"] + left * box["width"], "y": box["y"] + 60,
            "width": (right - left) * box["width"], "height": box["height"] - 120}  # fmt: skip
    page.wait_for_timeout(500)
    return page.screenshot(clip=part)  # type: ignore[arg-type]


def test_the_curtain_moves_by_keys_and_shows_after_on_its_right(page: Page, served: Served) -> None:
    laid(page, served)
    slider = page.get_by_role("slider")
    assert edge(page) == 50
    halves = look_at(page, 0.3, 0.45), look_at(page, 0.55, 0.7)
    page.get_by_role("radio", name="Before").check()
    before = look_at(page, 0.3, 0.45), look_at(page, 0.55, 0.7)
    page.get_by_role("radio", name="After").check()
    after = look_at(page, 0.3, 0.45), look_at(page, 0.55, 0.7)
    assert halves[0] == before[0] != after[0]
    assert halves[1] == after[1] != before[1]
    page.get_by_role("radio", name="Curtain").check()
    slider.focus()
    page.keyboard.press("Home")
    assert edge(page) == 0
    assert "before on the left 0 %" in (slider.get_attribute("aria-valuetext") or "")


def test_the_curtain_is_dragged_on_the_picture(page: Page, served: Served) -> None:
    laid(page, served)
    box = page.locator("qw-pair .canvas").bounding_box()
    assert box
    y = box["y"] + 120
    page.mouse.move(box["x"] + box["width"] / 2, y)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * 0.25, y, steps=4)
    page.mouse.up()
    assert edge(page) == pytest.approx(25, abs=1)


def test_before_and_after_lie_on_one_grid(page: Page, served: Served) -> None:
    page.goto(served.url(f"/prove/{PLACE}"))
    with page.context.expect_event("response", lambda one: "/after/info.json" in one.url) as got:
        pass
    base = page.locator("qw-pair").get_attribute("data-info") or ""
    one = page.request.get(served.base + base).json()
    two = got.value.json()
    assert (one["width"], one["height"]) == (two["width"], two["height"])


def test_the_difference_comes_with_its_key_in_words(page: Page, served: Served) -> None:
    laid(page, served)
    key = page.locator("[data-difference-key]")
    expect(key).to_be_hidden()
    page.get_by_role("radio", name="Difference").check()
    expect(key).to_be_visible()
    expect(key).to_contain_text("12 or more")
    expect(page.locator("qw-pair .tag.left")).to_have_text("Difference", timeout=60_000)


def test_swapping_by_itself_is_asked_for_slow_and_stops(page: Page, served: Served) -> None:
    page.clock.install()
    page.goto(served.url(f"/prove/{PLACE}"))
    expect(page.locator("qw-pair")).to_have_attribute("data-state", "laid", timeout=60_000)
    page.evaluate(
        """() => {
          window.swaps = [];
          new MutationObserver(() => window.swaps.push(Date.now()))
            .observe(document.querySelector('qw-pair .tag.left'), {childList: true});
        }"""
    )
    page.get_by_role("button", name="Swap eight times by itself").click()
    page.clock.run_for(20_000)
    swaps = page.evaluate("window.swaps.filter((at, n, all) => !n || at > all[n - 1])")
    assert len(swaps) == 8
    assert min(later - one for one, later in pairwise(swaps)) > 500
    expect(page.get_by_text("Swapped eight times, and stopped.")).to_be_visible()


def test_with_reduced_motion_only_the_hand_swaps(browser: Browser, served: Served) -> None:
    context = browser.new_context(reduced_motion="reduce")
    page, complaints = opened(context)
    page.goto(served.url(f"/prove/{PLACE}"))
    expect(page.locator("qw-pair")).to_have_attribute("data-state", "laid", timeout=60_000)
    assert page.get_by_role("button", name="by itself").count() == 0
    page.get_by_role("button", name="Swap before and after").click()
    expect(page.locator("qw-pair .tag.left")).to_have_text("After")
    context.close()
    assert not complaints
