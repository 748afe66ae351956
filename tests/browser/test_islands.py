"""The islands by mouse, touch and keyboard: viewer, upload, work in hand."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from browser.conftest import Complaints, Served

pytestmark = pytest.mark.browser


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": 820, "height": 1000}, has_touch=True)
    opened = context.new_page()
    complaints = Complaints()
    complaints.listen(opened)
    yield opened
    context.close()
    assert not complaints


def test_the_viewer_opens_zooms_and_is_reached_by_keyboard(page: Page, served: Served) -> None:
    page.goto(served.url("/examine/w01"))
    page.get_by_role("link", name="open the close-up").first.click()
    viewer = page.locator("qw-viewer")
    expect(viewer).to_have_attribute("data-state", "open", timeout=20_000)
    whole = page.locator("qw-viewer .overlay").get_attribute("viewBox")
    page.get_by_role("button", name="Closer").click()
    page.wait_for_timeout(900)
    closer = page.locator("qw-viewer .overlay").get_attribute("viewBox")
    assert whole and closer
    assert float(closer.split()[2]) < 0.8 * float(whole.split()[2])
    page.locator("qw-viewer [role=application]").focus()
    page.keyboard.press("0")
    page.wait_for_timeout(900)
    again = page.locator("qw-viewer .overlay").get_attribute("viewBox") or ""
    assert float(again.split()[2]) == pytest.approx(float(whole.split()[2]), rel=0.01)


DROP = """([names, texts]) => {
  const data = new DataTransfer();
  names.forEach((name, at) => {
    const bytes = Uint8Array.from(atob(texts[at]), sign => sign.charCodeAt(0));
    data.items.add(new File([bytes], name));
  });
  document.querySelector('qw-upload').dispatchEvent(
    new DragEvent('drop', {dataTransfer: data, bubbles: true, cancelable: true}));
}"""


def test_many_files_are_dropped_and_each_says_what_became_of_it(page: Page, served: Served) -> None:
    import base64

    from web.conftest import picture_bytes

    page.goto(served.url("/intake"))
    texts = [picture_bytes(21), picture_bytes(22), b"no picture"]
    names = ["w02-outer-left-before.png", "snap of the shed.png", "notes.png"]
    page.evaluate(DROP, [names, [base64.b64encode(data).decode() for data in texts]])
    expect(page.locator("[data-status]")).to_contain_text("2 of 3 files are in", timeout=20_000)
    arrived = page.locator(".arrivals li").all_inner_texts()
    assert [line.split(":")[0] for line in arrived] == names
    page.get_by_role("link", name="Go on with what arrived").click()
    expect(page.get_by_role("heading", name="To be assigned by hand")).to_be_visible()
    expect(page.get_by_text("snap of the shed.png").first).to_be_visible()


def test_the_work_in_hand_is_told_and_ends(page: Page, served: Served) -> None:
    page.goto(served.url("/prove"))
    page.get_by_role("button", name="Write the report").click()
    page.wait_for_function("() => !document.querySelector('qw-work progress')", timeout=60_000)
    expect(page.get_by_role("link", name="Download").first).to_be_visible(timeout=60_000)
    with page.expect_download() as got:
        page.get_by_role("link", name="Download").first.click()
    assert got.value.path().read_bytes()[:5] == b"%PDF-"
