"""Every page in a real browser: no complaints, nothing cut off, readable by everyone.

Accessibility rules: WCAG 2.0, 2.1 and 2.2, levels A and AA, as tested by axe-core.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from browser.conftest import ITEM, PLACE, Complaints, Served

pytestmark = pytest.mark.browser

AXE = Path(__file__).parents[2] / "node_modules" / "axe-core" / "axe.min.js"
ALL: dict[str, object] = {
    "type": "tag",
    "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
}
# The rules whose answer hangs on the colours; the other colours change nothing else.
SEEN: dict[str, object] = {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}
PAGES = [
    "/", "/new", "/item/{}", "/item/{}?show=change", "/item/{}/intake", "/item/{}/examine",
    "/item/{}/examine/w01", "/item/{}/decide", "/item/{}/treat", "/item/{}/finish",
    "/item/{}/rejoin", "/item/{}/rejoin/lay/w01", "/item/{}/rejoin/holes/w01",
    "/item/{}/prove",
    f"/item/{{}}/prove/{PLACE}", "/nowhere", "/bench", "/bench/press",
    "/clients", "/item/{}/owner", "/today", "/backups", "/bench/health",
    "/item/{}{look}", "/item/{}{look}/correct",
]  # fmt: skip


@pytest.mark.parametrize("width", [320, 820, 1440])
def test_pages_are_whole_at_every_width(browser: Browser, served: Served, width: int) -> None:
    context = browser.new_context(
        viewport={"width": width, "height": 900}, color_scheme="light", reduced_motion="reduce"
    )
    found: list[str] = []
    for template in PAGES:
        path = template.format(ITEM, look=served.look())
        page = context.new_page()
        complaints = Complaints()
        complaints.listen(page)
        served.wait_until_idle()
        page.goto(served.base + path)
        page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
        page.wait_for_load_state("networkidle", timeout=90_000)
        over = page.evaluate(
            "document.documentElement.scrollWidth - document.documentElement.clientWidth"
        )
        if over > 0:
            found.append(f"{path}: {over} px too wide")
        found += [f"{path}: {broken}" for broken in violations(page)]
        page.emulate_media(color_scheme="dark")
        found += [f"{path}, dark: {broken}" for broken in violations(page, SEEN)]
        found += [f"{path}: {said}" for said in complaints if "404" not in said]
        page.close()
    context.close()
    assert not found


def violations(page: Page, rules: dict[str, object] = ALL) -> list[str]:
    """Rules of axe-core that the page breaks, with the first place."""
    page.evaluate(AXE.read_text())
    broken: list[str] = page.evaluate(
        "rules => axe.run({runOnly: rules}).then(result => result.violations.map("
        "one => `${one.id} (${one.nodes.length}): ${one.nodes[0].html.slice(0, 150)}`))",
        rules,
    )
    return broken


def test_the_checker_would_see_a_fault(browser: Browser, served: Served) -> None:
    page = browser.new_page()
    page.goto(served.base)
    page.evaluate("document.querySelector('main').append(document.createElement('img'))")
    assert any(broken.startswith("image-alt") for broken in violations(page))
    page.emulate_media(color_scheme="dark")
    assert not violations(page, SEEN)
    page.evaluate("document.querySelector('main p').style.color = 'rgb(40, 40, 40)'")
    assert any(broken.startswith("color-contrast") for broken in violations(page, SEEN))
    page.close()


def test_every_target_is_large_enough_for_a_wet_knuckle(browser: Browser, served: Served) -> None:
    page = browser.new_page(viewport={"width": 320, "height": 900})
    item = f"/item/{ITEM}"
    look = f"{item}{served.look()}"
    rejoin = (f"{item}/rejoin", f"{item}/rejoin/lay/w01", f"{item}/rejoin/holes/w01")
    paths = ("/new", f"{item}/treat", f"{item}/intake", look, f"{look}/correct", *rejoin)
    for path in (*paths, f"{item}/prove/{PLACE}"):
        page.goto(served.base + path)
        page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
        small = page.evaluate(
            """() => [...document.querySelectorAll(`main button, main select, main .button, main
            summary, main input:not([type=hidden], [type=checkbox], [type=radio]), .course a`)]
            .filter(one => one.offsetParent && one.getBoundingClientRect().height < 44)
            .map(one => one.outerHTML.slice(0, 80))"""
        )
        assert small == []
    page.close()


def test_pages_read_without_javascript(browser: Browser, served: Served) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(served.url(f"/prove/{PLACE}"))
    assert page.locator(".sides img").count() == 3
    page.goto(served.url(served.look()))
    outline = page.locator('.over [data-layer="outline"]')
    assert outline.is_visible()
    page.get_by_label("Edges as fitted").uncheck()
    assert not outline.is_visible()
    page.get_by_role("link", name="Correct").click()
    assert page.get_by_label("Upper left").is_visible()
    page.goto(served.url("/intake"))
    assert page.locator('input[type="file"]').is_visible()
    page.goto(served.base + "/new")
    page.get_by_label("Title").fill("Larkmoor seed list")
    page.get_by_role("button", name="Open the item").click()
    assert page.get_by_role("heading", level=1).inner_text() == "Larkmoor seed list"
    context.close()


def test_the_first_stop_of_the_keyboard_skips_to_the_page(browser: Browser, served: Served) -> None:
    page = browser.new_page()
    page.goto(served.url("/treat"))
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the page"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"
    page.close()


def test_a_page_of_another_site_cannot_frame_or_post(browser: Browser, served: Served) -> None:
    page = browser.new_page()
    page.route("http://elsewhere.test/", lambda route: route.fulfill(
        content_type="text/html",
        body=f'<iframe src="{served.url()}"></iframe><form id=f method=post action='
             f'"{served.url("/examine/defect")}"><input name=term value=planted></form>',
    ))  # fmt: skip
    page.goto("http://elsewhere.test/")
    page.evaluate("document.getElementById('f').submit()")
    page.wait_for_url("**/examine/defect")
    assert "sent from another site" in page.inner_text("body")
    page.goto(served.url("/examine"))
    assert "planted" not in page.inner_text("main")
    page.close()
