"""Damage drawn on a page by mouse, by finger and by keyboard: the form gets its millimetres."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from playwright.sync_api import Browser, Locator, Page, Route, expect

from browser.conftest import Complaints, Served
from quirewell.studio.studio import Studio

pytestmark = pytest.mark.browser
PATH = "/examine/w01/damage/outer/left/before"


@pytest.fixture(params=[(320, 800), (820, 1180), (1440, 900)])
def page(browser: Browser, served: Served, request: pytest.FixtureRequest) -> Iterator[Page]:
    width, height = request.param
    context = browser.new_context(viewport={"width": width, "height": height}, has_touch=True)
    made, complaints = context.new_page(), Complaints()
    complaints.listen(made)
    served.wait_until_idle()
    made.goto(served.url(PATH))
    expect(made.locator("qw-damage[data-state=ready]")).to_be_visible(timeout=30_000)
    made.wait_for_timeout(700)
    yield made
    assert made.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    context.close()
    assert not complaints


def tool(page: Page, name: str) -> Locator:
    return page.locator("qw-damage .tools button", has_text=name)


def points(page: Page) -> list[list[tuple[float, float]]]:
    text = page.input_value("#points")
    return [
        [tuple(float(part) for part in word.split(",")) for word in shape.split()]  # type: ignore[misc]
        for shape in text.split(";")
        if shape.strip()
    ]


def spot(page: Page, x_mm: float, y_mm: float) -> dict[str, float]:
    """Where a millimetre of the page lies in the canvas [screen px], by what is shown of it."""
    frame = page.locator("qw-damage").get_attribute("data-frame") or ""
    seen = page.locator("qw-damage .overlay").get_attribute("viewBox") or ""
    x, y, w = np.linalg.inv(np.array(frame.split(), float).reshape(3, 3)) @ (x_mm, y_mm, 1.0)
    left, top, wide, tall = (float(part) for part in seen.split())
    box = page.locator("qw-damage .canvas").bounding_box()
    assert box
    return {"x": (x / w - left) / wide * box["width"], "y": (y / w - top) / tall * box["height"]}


def test_an_area_is_drawn_with_the_mouse_a_point_dragged_and_the_whole_saved(
    page: Page, served: Served
) -> None:
    canvas = page.locator("qw-damage .canvas")
    tool(page, "Area").click()
    planned = [(40.0, 60.0), (110.0, 60.0), (110.0, 150.0)]
    for at in planned:
        canvas.click(position=spot(page, *at))  # type: ignore[arg-type]
    (drawn,) = points(page)
    # A screen pixel of the whole page is about half a millimetre, more on a phone.
    assert np.abs(np.array(drawn) - planned).max() < 1.6
    expect(page.locator("qw-damage [role=status]")).to_contain_text("square millimetres")
    tool(page, "Take the last point back").click()
    assert len(points(page)[0]) == 2
    canvas.click(position=spot(page, 100.0, 170.0))  # type: ignore[arg-type]
    tool(page, "Finish this part").click()
    page.locator("qw-damage .tools button", has_text="Draw").last.click()
    ring = page.locator("qw-damage .handle").nth(2)
    ring.scroll_into_view_if_needed()
    box = ring.bounding_box()
    assert box and box["width"] >= 48
    page.mouse.move(box["x"] + 24, box["y"] + 24)
    page.mouse.down()
    page.mouse.move(box["x"] + 24, box["y"] + 54, steps=4)
    page.mouse.up()
    assert points(page)[0][2][1] > 172
    assert "mm from the left" in (ring.get_attribute("aria-label") or "")
    page.select_option("[name=term]", "loss")
    page.get_by_role("button", name="Save the damage").click()
    expect(page.locator("#noted + *")).to_contain_text("loss")
    expect(page.locator("#noted + *")).to_contain_text("mm²")
    with Studio.open(served.folder) as studio:
        made = list(studio.state("copperbeck-garden-annual").defects.values())[-1]
    assert made.region.startswith("polygon ") and made.u_mm and made.extent.count("mm2") == 2


def test_a_tear_is_drawn_with_a_finger_from_near(page: Page) -> None:
    canvas = page.locator("qw-damage .canvas")
    tool(page, "Line").tap()
    tool(page, "Closer").tap()
    page.wait_for_timeout(900)
    planned = [(70.0, 110.0), (78.0, 126.0)]
    for at in planned:
        canvas.tap(position=spot(page, *at))  # type: ignore[arg-type]
        page.wait_for_timeout(400)
    (drawn,) = points(page)
    assert np.abs(np.array(drawn) - planned).max() < 1.0
    expect(page.locator("qw-damage [role=status]")).to_contain_text("mm long")
    tool(page, "Finish this part").tap()
    canvas.tap(position=spot(page, 90.0, 120.0))  # type: ignore[arg-type]
    assert len(points(page)) == 2
    tool(page, "Start over").tap()
    assert points(page) == []


def test_by_keyboard_alone_the_crosshair_steps_in_millimetres(page: Page) -> None:
    page.get_by_role("button", name="Draw as area").focus()
    page.keyboard.press("Enter")
    cross = page.locator("qw-damage .handle.cross")
    cross.focus()
    said = cross.get_attribute("aria-label") or ""
    assert "mm from the left" in said and "Enter sets a point" in said
    page.keyboard.press("Enter")
    for key in ("ArrowRight", "ArrowRight", "ArrowRight"):
        page.keyboard.press(key)
    page.keyboard.press("Enter")
    page.keyboard.press("Shift+ArrowDown")
    page.keyboard.press("Enter")
    (drawn,) = points(page)
    a, b, c = np.array(drawn)
    assert b - a == pytest.approx((3.0, 0.0), abs=0.11)
    assert c - b == pytest.approx((0.0, 10.0), abs=0.11)
    page.keyboard.press("Backspace")
    assert len(points(page)[0]) == 2
    page.keyboard.press("Escape")
    expect(page.locator("qw-damage [role=status]")).to_contain_text("needs 1 more point")
    page.keyboard.press("Enter")
    page.keyboard.press("Escape")
    page.keyboard.press("Shift+ArrowLeft")
    page.keyboard.press("Enter")
    assert [len(part) for part in points(page)] == [3, 1]


def test_millimetres_typed_are_drawn_and_what_cannot_be_read_stays(page: Page) -> None:
    page.check("[name=kind][value=line]")
    page.fill("#points", "20,20 60,20; 20,40 60,48 and so on")
    expect(page.locator("qw-damage polyline.layer-damage-drawing:not(.under)")).to_have_count(2)
    assert page.input_value("#points").endswith("and so on")
    assert page.locator("qw-damage .handle").count() == 4


def test_the_plain_page_stands_in_place_until_its_close_up_is_ready(page: Page) -> None:
    held: list[Route] = []
    page.route("**/info.json", lambda route: held.append(route))
    page.reload()
    plain = page.locator("qw-damage .canvas > .waiting")
    expect(plain).to_be_visible()
    page.wait_for_function("document.querySelector('qw-damage .waiting').naturalWidth > 0")
    at = plain.evaluate("one => getComputedStyle(one).objectFit")
    over = page.locator("qw-damage .overlay")
    # Both are fitted whole into the frame, so that what is noted lies on the picture.
    assert (at, over.get_attribute("preserveAspectRatio")) == ("contain", "xMidYMid meet")
    assert held
    for one in held:
        one.continue_()
    expect(plain).to_have_count(0, timeout=30_000)
    expect(over).to_have_attribute("preserveAspectRatio", "none")
